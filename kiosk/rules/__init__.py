"""What may happen: pure values in, a decision out."""
