"""Tanks like mine: whose experience is nearest, and what they settled on."""
