"""How numbers, lengths and dates are written, for sentences of the account and pages alike."""
