"""Holding a label up, and what comes of it."""
