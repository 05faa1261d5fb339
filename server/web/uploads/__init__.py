"""Files of readings: what was understood, mapping columns by hand, and storing them."""
