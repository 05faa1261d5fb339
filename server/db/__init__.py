"""Rows to domain inputs and back; the only translator."""
