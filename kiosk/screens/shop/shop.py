"""The shop: places and holders as lists, and the way to everything that is done less often.

From any of them two touches lead to its label.  What a supervisor may change stands behind a PIN.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import ListProperty, OptionProperty, StringProperty

from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.screens.clerk import coupling_words, fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import common
from kiosk.screens.questions import shop as asks
from kiosk.screens.view import View
from kiosk.words import t


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    MENU = "menu"
    LIST = "list"


class ShopScreen(View):
    """The menu, and one list at a time: `listing` is `places` or `holders`."""

    name = "shop"
    rail = "shop"

    page = OptionProperty(Page.MENU, options=list(Page))
    listing = StringProperty()
    title = StringProperty()
    choices = ListProperty()
    trouble = StringProperty()

    def shown(self, **_: Any) -> None:
        self.page = Page.MENU
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
        if listing == "holders":
            self.clerk.ask(asks.holders(), self._holders, self._failed)
        else:
            self.clerk.ask(asks.places(), self._places, self._failed)

    def chosen(self, choice: Choice) -> None:
        """A row was touched: a holder has a screen of its own, the others lead to their label."""
        if self.listing == "holders" and self.clerk.knows("holder"):
            self.clerk.go("holder", key=choice.key)
        else:
            self.clerk.ask(common.code_of(choice.key), self._label, self._failed)

    def back(self) -> None:
        self.page = Page.MENU

    def _holders(self, cards: tuple[HolderCard, ...]) -> None:
        self._listed([Choice(card.holder.key, card.name, coupling_words(card)) for card in cards])

    def _places(self, cards: tuple[PlaceCard, ...]) -> None:
        self._listed([Choice(card.place.code, card.name, t(f"kind.{card.place.kind.value}")) for card in cards])

    def _listed(self, choices: list[Choice]) -> None:
        self.choices = choices
        self.page = Page.LIST

    def _label(self, code: str) -> None:
        self.clerk.go("labels", code=code)

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)
        self.page = Page.MENU


load_beside(__file__)
