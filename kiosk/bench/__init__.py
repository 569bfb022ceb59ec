"""Ratios against named peers on the same input in one run."""

BENCHES = ("start", "cooling", "reader", "hints", "labels", "ledger", "magazine")
