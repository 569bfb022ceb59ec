"""Holder Kiosk: where each cutter holder is, whether it is still hot, and where it may go next."""

__version__ = "0.1.0"
