"""Underlamp: the light over a club's reef tanks, planned, measured and shared."""
