"""Ratios against other libraries on the same input in one run."""

BENCHES = ("start", "idle", "cooling", "reader", "hints", "labels", "ledger", "magazine", "kiosks")
