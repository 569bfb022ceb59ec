"""A row for what a hand may end: a name, what is known of it, and the key that ends it, which asks once more.

Shows; what ends is the screen's.
"""

from __future__ import annotations

from dataclasses import dataclass

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paged import PagedRow


@dataclass(frozen=True, slots=True)
class Ending:
    """What a row shows.  `sure`: it was touched once, and a second touch ends it."""

    key: str
    text: str
    note: str
    sure: bool


class EndingRow(PagedRow):
    """Shows an `Ending`."""


load_beside(__file__)
