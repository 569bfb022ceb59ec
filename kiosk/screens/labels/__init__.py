"""Labels to be shown and printed."""
