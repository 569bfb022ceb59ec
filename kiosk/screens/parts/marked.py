"""A row with a drawing before it, a name, and a sentence below that may run over two lines.

For lists where the sentence is what counts (where a piece is, what is wrong with a line) and must not be cut off.
"""

from __future__ import annotations

from dataclasses import dataclass

from kivy.properties import ColorProperty

from kiosk.rules.holder_drawing import Drawing
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paged import PagedRow


@dataclass(frozen=True, slots=True)
class Marked:
    """What a row shows.  `side`: a few signs at its right end.  `tone` of the icon: plain, done, stop or heat.

    drawing: what it is, in a pocket's size.
    """

    key: str
    text: str
    note: str = ""
    side: str = ""
    icon: str = ""
    tone: str = "plain"
    drawing: Drawing | None = None


class MarkedRow(PagedRow):
    """Shows a `Marked`."""

    least_wide_mm = 90.0  # icon, drawing and a side besides
    ink = ColorProperty()


load_beside(__file__)
