"""A tank with all that belongs to it, as an open bundle that travels between clubs."""
