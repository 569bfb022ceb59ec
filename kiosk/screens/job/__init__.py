"""A job to be set up on a machine: its pieces, its magazine, its control and the presetter."""
