"""Building up, measuring and tearing down at the bench."""
