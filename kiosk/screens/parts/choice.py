"""A row to pick from a list: a word, and a smaller one that tells it from the others.

Shows; what picking does is the screen's.
"""

from __future__ import annotations

from dataclasses import dataclass

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paged import PagedRow


@dataclass(frozen=True, slots=True)
class Choice:
    """One row to pick: a size, a queue, a cabinet, a machine, a person."""

    key: str
    text: str
    note: str = ""


class ChoiceRow(PagedRow):
    """Shows a `Choice`."""


class ReasonRow(PagedRow):
    """Shows a `Choice` whose note is a sentence: it wraps and shrinks, and is never cut."""


load_beside(__file__)
