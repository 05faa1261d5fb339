"""Entering readings by the tank, one at a time, with or without a network."""
