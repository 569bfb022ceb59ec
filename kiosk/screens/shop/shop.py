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
    """The menu, and one list at a time: `listing` is `places`, `holders`, or `standing` (what is at one place)."""

    name = "shop"
    rail = "shop"

    page = OptionProperty(Page.MENU, options=list(Page))
    listing = StringProperty()
    title = StringProperty()
    choices = ListProperty()
    trouble = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._place = ""  # code of the place whose holders are listed

    def shown(self, **_: Any) -> None:
        self.page = Page.MENU
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
        """A row was touched: a place shows what stands there, a holder has a screen of its own, then the labels."""
        if self.listing == "places":
            self._place, self.title = choice.key, choice.text
            self.clerk.ask(asks.standing(choice.key), self._standing, self._failed)
        elif choice.key and self.clerk.knows("holder"):
            self.clerk.go("holder", key=choice.key)
        else:
            self.clerk.ask(common.code_of(self._place), self._label, self._failed)

    def back(self) -> None:
        if self.listing == "standing":
            self.show_list("places")
        else:
            self.page = Page.MENU

    def _standing(self, cards: tuple[HolderCard, ...]) -> None:
        self.listing = "standing"
        rows = [Choice(card.holder.key, card.name, card.at.name if card.at else "") for card in cards]
        self._listed([*rows, Choice("", t("shop.place_label"), "" if rows else t("shop.nothing_there"))])

    def _holders(self, cards: tuple[HolderCard, ...]) -> None:
        self._listed([Choice(card.holder.key, card.name, coupling_words(card)) for card in cards])

    def _places(self, found: tuple[tuple[PlaceCard, tuple[str, ...]], ...]) -> None:
        self._listed([Choice(card.place.code, card.name, _standing_words(card, names)) for card, names in found])

    def _listed(self, choices: list[Choice]) -> None:
        self.choices, self.trouble = choices, ""
        self.page = Page.LIST

    def _label(self, code: str) -> None:
        self.clerk.go("labels", code=code)

    def _failed(self, error: Exception) -> None:
        """Said in the list's place: the menu's keys leave no room for it."""
        self._listed([])
        self.trouble = fault_words(error)


def _standing_words(card: PlaceCard, names: tuple[str, ...]) -> str:
    """What stands at a place in a few words; else what kind of place it is."""
    if not names:
        return t(f"kind.{card.place.kind.value}")
    return names[0] if len(names) == 1 else t("shop.stand_there", count=len(names))


load_beside(__file__)
