"""The way up of a tank: planning it, walking it step by step, holding it."""
