"""Measurement sessions: making one, looking at it, correcting it, sending one by script."""
