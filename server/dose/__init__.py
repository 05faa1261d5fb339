"""Light summed over a day, and the way up to it."""
