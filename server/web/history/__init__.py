"""Leaving a tank alone: its history, two moments compared, and the chores that come round."""
