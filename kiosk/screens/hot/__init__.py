"""What is hot, and readings of it."""
