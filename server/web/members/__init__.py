"""Joining, signing in, the member's own account, and who belongs to the club."""
