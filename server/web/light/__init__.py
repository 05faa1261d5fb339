"""What light is made of: spectrum, units, watts, shimmer, photometric files; pages and JSON."""
