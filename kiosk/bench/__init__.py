"""Ratios against named peers on the same input in one run."""
