"""A tank's day: its schedule, what its control can run, and the dose of every animal."""
