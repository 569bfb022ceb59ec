"""What was done: history, heatings, shifts, audits, and their reports."""
