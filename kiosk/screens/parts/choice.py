"""A row to pick from a list: a word, and a smaller one that tells it from the others.

Shows; what picking does is the screen's.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from kivy.properties import BooleanProperty

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paged import PagedRow
from kiosk.screens.parts.text import width_px
from kiosk.words import t


@dataclass(frozen=True, slots=True)
class Choice:
    """One row to pick: a size, a queue, a cabinet, a machine, a person."""

    key: str
    text: str
    note: str = ""
    sign: str = ""  # of a `ReasonRow`: done or stop; of one of `BigKeys`: the name of an icon


def ticked(choices: Iterable[Choice], used: str) -> list[Choice]:
    """The choices, the one in use with a tick before its note, or before a word for that.  `used`: its key."""
    said = t("settings.in_use")
    return [replace(each, note=f"✓ {each.note or said}") if each.key == used else each for each in choices]


class ChoiceRow(PagedRow):
    """Shows a `Choice`."""

    @staticmethod
    def aside_px(choice: Choice | None, size_px: float, width: float) -> float:
        """Width of a choice's note beside its word in a row that is `width` px wide inside.

        No more than it needs; where one line of both is too wide, what the word leaves it, and two fifths at the least.
        """
        if choice is None or not choice.note:
            return 0.0
        word, note = width_px(choice.text, size_px, bold=True), width_px(choice.note, size_px) + size_px * 0.7
        return min(note, max(width - word - size_px * 0.7, width * 0.4))


class ReasonRow(PagedRow):
    """Shows a `Choice` whose note is a sentence: it wraps and shrinks, and is never cut.  Its sign stands before it."""


@dataclass(frozen=True, slots=True)
class Pick:
    """One of the values that something can have.  `used`: the one it has, as `note` says besides."""

    key: str
    text: str
    note: str = ""
    used: bool = False


class PickRow(PagedRow):
    """Shows a `Pick` as a key, the one in use by a frame, a tick and its note."""

    used = BooleanProperty(False)


load_beside(__file__)
