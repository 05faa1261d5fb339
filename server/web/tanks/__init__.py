"""Tanks: measures, what hangs over them, who lives in them."""
