"""One comparison with another library or with a goal, as every bench yields it.

A row says what was compared on which case and how much better (or worse) we are; it never hides a loss.
Fields and their names are the contract of `bench --json`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Ratio:
    """ours and theirs in `unit`; ratio is written so that larger is better for us."""

    bench: str
    case: str
    peer: str
    ours: float
    theirs: float
    ratio: float
    unit: str
