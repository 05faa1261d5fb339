"""Readings against the plan: the measured map, its verdicts and what to do next."""
