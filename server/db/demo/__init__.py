"""The demo club: an invented club, its members, tanks, lamps and readings."""
