"""Ratios against other libraries on the same input in one run."""

BENCHES = ("start", "cooling", "reader", "hints", "labels", "ledger", "magazine")
