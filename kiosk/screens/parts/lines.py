"""A row of two lines, with a sign before it and a word after it: what was found, what differs, what happened.

Sign and word say in shape and words what the colour of the sign says; the row decides nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paged import PagedRow


@dataclass(frozen=True, slots=True)
class RowText:
    """What a row shows.  `sign`: a character, or `HEAT`.  `tone`: its colour: done, stop, heat, or plain for none."""

    key: str
    text: str
    note: str = ""
    word: str = ""
    sign: str = ""
    tone: str = "plain"


class Sign(BoxLayout):
    """A sign on its colour, as much larger as its row is.  `HEAT` is drawn, as everywhere."""

    grown = NumericProperty(1.0)
    sign = StringProperty()
    tone = StringProperty("plain")


class LineRow(PagedRow):
    """Shows a `RowText`; what it says may take `most_lines` where one is too short, and `most_below` below it."""

    most_lines = NumericProperty(2)
    most_below = NumericProperty(2)
    narrow = BooleanProperty(False)
    word_below = BooleanProperty(False)  # the word stands under the rest, which then has the whole width


class WholeRow(LineRow):
    """The same for the book: what was done or refused is at a line's end, so narrow panels give it a third one."""


class NamedRow(LineRow):
    """The same for names that tell holders apart by their last figures: narrow panels have the word below them."""


class TouchRow(LineRow):
    """The same as a target for a glove: it is touched and not only turned over."""


load_beside(__file__)
