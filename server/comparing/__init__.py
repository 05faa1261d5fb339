"""Setups side by side, tanks alike, what the club measured of a lamp, and which lamp fits."""
