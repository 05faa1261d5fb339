"""The first page: what needs doing, or what this place is."""
