"""The supervisor's PIN: who, then the figures; wrong tries wait.

A supervisor without a PIN chooses one here, twice.  What a PIN opens is never the end of a hold.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import ListProperty, OptionProperty, StringProperty

from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import shop as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import clock, t

LEAST = 4


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    WHO = "who"
    FIGURES = "figures"


class PinScreen(View):
    """Opens `goal` for a supervisor."""

    name = "pin"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.WHO, options=list(Page))
    people = ListProperty()
    title = StringProperty()
    masked = StringProperty()
    trouble = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._goal = "shop"
        self._about: dict[str, Any] = {}
        self._who = ""
        self._first = ""
        self._new = False

    def shown(self, goal: str = "shop", **about: Any) -> None:
        self._goal, self._about = goal, about
        self.trouble = ""
        self.page = Page.WHO
        self.clerk.ask(asks.supervisors(), self._found)

    def choose(self, choice: Choice) -> None:
        """This supervisor."""
        self._who, self._new, self._first = choice.key, bool(choice.note), ""
        self.title = t("pin.new", name=choice.text) if self._new else choice.text
        self.ids.pad.clear()
        self.page = Page.FIGURES

    def typed(self, text: str) -> None:
        self.masked = "•" * len(text)

    def take(self) -> None:
        """The PIN is whole."""
        pin = self.ids.pad.text
        if len(pin) < LEAST:
            self.trouble = t("pin.short", count=LEAST)
            return
        self.ids.pad.clear()
        if self._new and not self._first:
            self._first = pin
            self.trouble = t("pin.twice")
            return
        if self._new and pin != self._first:
            self._first = ""
            self.trouble = t("pin.differ")
            return
        who, new = self._who, self._new
        self.clerk.ask(asks.unlock(who, pin, new), self._opened, self._failed)

    def _found(self, people: tuple[asks.Supervisor, ...]) -> None:
        self.people = [Choice(one.key, one.name, "" if one.has_pin else t("pin.none")) for one in people]
        if len(people) == 1:
            self.choose(self.people[0])

    def _opened(self, key: str) -> None:
        self.clerk.play(Sound.DONE)
        self.clerk.go(self._goal, supervisor=key, **self._about)

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        if isinstance(error, asks.PinRefused):
            self.trouble = t("pin.wait", left=clock(error.wait_s)) if error.wait_s else t("pin.wrong")
        else:
            self.trouble = fault_words(error)


load_beside(__file__)
