"""Choosing from a list what cannot be scanned: a holder or a place, by name, with a search.

It counts as a scan of the label of what was chosen, with all that speaks against it; what wears no label
is not here.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import ListProperty, OptionProperty, StringProperty

from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import choose as asks
from kiosk.screens.view import Covers, View
from kiosk.words import t

HOLDER, PLACE, ANY = "holder", "place", "any"


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    WHAT = "what"
    LIST = "list"
    TYPE = "type"


class ChooseScreen(View):
    """`what`: holder, place, or any where either may come next; then that is asked first."""

    name = "choose"
    covers = Covers.RAIL

    page = OptionProperty(Page.LIST, options=list(Page))
    what = StringProperty(HOLDER)
    sought = StringProperty()
    choices = ListProperty()
    trouble = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._asked = HOLDER

    def shown(self, what: str = HOLDER, **_: Any) -> None:
        self._asked, self.trouble = what, ""
        if what == ANY:
            self.page = Page.WHAT
        else:
            self.begin(what)

    def left(self) -> None:
        self.ids.entry.end()

    def begin(self, what: str) -> None:
        """Holders, or places."""
        self.what, self.choices = what, []
        self.page = Page.LIST
        self.look("")

    def look(self, text: str) -> None:
        """Those that answer to a text."""
        self.ids.entry.end()
        self.sought, self.trouble = text, ""
        self.page = Page.LIST
        question = asks.holders(text) if self.what == HOLDER else asks.places(text)
        self.clerk.ask(question, lambda found: self.show(text, found), self._failed)

    def show(self, text: str, found: tuple[asks.Pick, ...]) -> None:
        """Show what was found, unless something else is looked for by now."""
        if text == self.sought:
            word = (lambda where: where) if self.what == HOLDER else (lambda where: t(f"kind.{where}"))
            self.choices = [Choice(pick.code, pick.name, word(pick.where) if pick.where else "") for pick in found]

    def search(self) -> None:
        """Type a part of the name."""
        self.page = Page.TYPE
        self.ids.entry.begin()

    def choose(self, choice: Choice) -> None:
        """Back to the screen that asked, which takes it as a scan."""
        self.clerk.back()
        self.clerk.scanned(choice.key)

    def back(self) -> None:
        """One page back, or out."""
        if self.page == Page.TYPE:
            self.page = Page.LIST
        elif self.page == Page.LIST and self._asked == ANY:
            self.page = Page.WHAT
        else:
            self.clerk.back()

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)


load_beside(__file__)
