"""Walking through a cabinet or a machine and settling what differs from the book."""
