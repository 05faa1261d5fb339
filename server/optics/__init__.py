"""Light through air, water and glass. Knows numpy and nothing of ours."""
