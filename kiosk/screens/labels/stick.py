"""Where labels go that were just printed: on a holder, drawn; at places; cards; and each of the batch by name.

Shows what the rules say (`rules.label_place`) and asks nothing.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import ListProperty, ObjectProperty, OptionProperty

from kiosk.rules.label_place import BEARS_C
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import labels as asks
from kiosk.screens.questions.labels import LabelContent, Tag
from kiosk.screens.view import Covers, View
from kiosk.words import t

CARDS = (Tag.BADGE, Tag.COMMAND)


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    HOW = "how"
    EACH = "each"


class StickScreen(View):
    """How labels of these kinds are stuck on; and where each of them goes."""

    name = "stick"
    rail = "labels"
    covers = Covers.RAIL

    page = OptionProperty(Page.HOW, options=list(Page))
    drawing = ObjectProperty(None, allownone=True)
    lines = ListProperty(["", "", "", ""])
    rows = ListProperty()

    def shown(self, contents: tuple[LabelContent, ...] = (), **_: Any) -> None:
        """`contents`: the labels that were printed."""
        self.page, self.drawing = Page.HOW, None
        tags = {content.tag for content in contents}
        kinds = [name for name, found in (
            ("holder", Tag.HOLDER in tags), ("place", Tag.PLACE in tags), ("card", not tags.isdisjoint(CARDS))
        ) if found]  # fmt: skip
        said = [t(f"stick.{kind}", bears_c=BEARS_C) for kind in kinds]
        if kinds != ["card"]:
            said.append(t("stick.clean"))
        self.lines = [*said, "", "", "", ""][:4]
        self.rows = [Choice(each.code.text, _thing(each), each.code.grouped) for each in contents]
        holder = next((each for each in contents if each.tag is Tag.HOLDER), None)
        if holder is not None:
            self.clerk.ask(asks.drawn_place(holder), self._drawn)

    def _drawn(self, drawing: Any) -> None:
        self.drawing = drawing

    def each(self) -> None:
        """Where each one goes."""
        self.page = Page.EACH

    def back(self) -> None:
        """One page back, or to the labels."""
        if self.page == Page.EACH:
            self.page = Page.HOW
        else:
            self.clerk.back()


def _thing(content: LabelContent) -> str:
    """What a label is for, and what that lies in: `1-03 · Drawer 1`."""
    within = content.details[0] if content.tag is Tag.PLACE and content.details else ""
    return " · ".join(part for part in (within, content.name) if part)


load_beside(__file__)
