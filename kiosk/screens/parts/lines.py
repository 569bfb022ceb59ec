"""A row of two lines, with a sign before it and a word after it: what was found, what differs, what happened.

Sign and word say in shape and words what the colour of the sign says; the row decides nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from kivy.properties import StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paged import PagedRow
from kiosk.screens.parts.text import width_px


@dataclass(frozen=True, slots=True)
class RowText:
    """What a row shows.  `tone`: colour of the sign, one of done, stop, heat, or plain for none."""

    key: str
    text: str
    note: str = ""
    word: str = ""
    sign: str = ""
    tone: str = "plain"


class Sign(BoxLayout):
    """A sign on its colour."""

    sign = StringProperty()
    tone = StringProperty("plain")


class LineRow(PagedRow):
    """Shows a `RowText`."""

    @staticmethod
    def beside(value: RowText | None, width: float, size_px: float) -> str:
        """The note, left out where not even its first part is seen beside the word."""
        if value is None or (value.word and width_px(value.note.split(" · ")[0], size_px) + size_px > width):
            return ""
        return value.note


class TouchRow(LineRow):
    """The same as a target for a glove: it is touched and not only turned over."""


load_beside(__file__)
