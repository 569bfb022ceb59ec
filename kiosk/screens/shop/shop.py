"""The shop: places and holders as lists, and the way to everything that is done less often.

From any of them two touches lead to its label.  What a supervisor may change stands behind a PIN.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import ListProperty, NumericProperty, StringProperty

from kiosk.desk import Desk
from kiosk.screens.clerk import coupling_words, fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.view import View
from kiosk.words import t

MENU, LIST = 0, 1


class ShopScreen(View):
    """The menu, and one list at a time: `listing` is `places` or `holders`."""

    name = "shop"
    rail = "shop"

    step = NumericProperty(MENU)
    listing = StringProperty()
    title = StringProperty()
    choices = ListProperty()
    trouble = StringProperty()

    def shown(self, **_: Any) -> None:
        self.step = MENU
        self.trouble = ""

    def returned(self) -> None:
        self.trouble = ""

    def open(self, screen: str, **about: Any) -> None:
        """Go on to a screen of its own."""
        self.clerk.go(screen, **about)

    def show_list(self, listing: str) -> None:
        """Show a list."""
        self.listing = listing
        self.title = t(f"shop.{listing}")
        self.clerk.ask(_LISTS[listing], self._listed, self._failed)

    def chosen(self, choice: Choice) -> None:
        """A row was touched: a holder has a screen of its own, the others lead to their label."""
        if self.listing == "holders" and self.clerk.knows("holder"):
            self.clerk.go("holder", key=choice.key)
        else:
            self.clerk.ask(lambda desk: _code_of(desk, choice.key), self._label, self._failed)

    def back(self) -> None:
        self.step = MENU

    def _listed(self, choices: list[Choice]) -> None:
        self.choices = choices
        self.step = LIST

    def _label(self, code: str) -> None:
        self.clerk.go("labels", code=code)

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)
        self.step = MENU


def _places(desk: Desk) -> list[Choice]:
    return [Choice(card.place.code, card.name, t(f"kind.{card.place.kind.value}")) for card in desk.shop.places()]


def _holders(desk: Desk) -> list[Choice]:
    found: list[Choice] = []
    while page := desk.shop.holders(len(found), 200):
        found += [Choice(card.holder.key, card.name, coupling_words(card)) for card in page]
        if len(page) < 200:
            break
    return found


_LISTS = {"places": _places, "holders": _holders}


def _code_of(desk: Desk, key: str) -> str:
    return desk.shop.code_of(key)


load_beside(__file__)
