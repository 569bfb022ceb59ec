"""Looking for a holder, and the way to it."""
