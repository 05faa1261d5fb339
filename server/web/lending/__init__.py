"""Meters: the calendar, the queue, handing over, the stewards, messages, feeds and mail."""
