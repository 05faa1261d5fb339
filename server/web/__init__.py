"""Pages and JSON addresses."""
