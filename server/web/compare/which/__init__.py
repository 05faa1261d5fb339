"""Which lamp: what of the shelf would do over this tank."""
