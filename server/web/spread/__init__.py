"""The light in a tank, and how high to hang it: two calculators and their JSON."""
