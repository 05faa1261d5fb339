"""The list of the open calculators."""
