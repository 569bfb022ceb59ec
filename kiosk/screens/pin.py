"""The supervisor's PIN: who, then the figures; wrong tries wait.

A supervisor without a PIN chooses one here, twice.  What a PIN opens is never the end of a hold.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import ListProperty, NumericProperty, StringProperty

from kiosk.desk import Desk
from kiosk.desk.people import PinRefused
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import clock, t

WHO, FIGURES = 0, 1
LEAST = 4


class PinScreen(View):
    """Opens `goal` for a supervisor."""

    name = "pin"
    rail = "shop"
    covers = Covers.RAIL

    step = NumericProperty(WHO)
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
        self.step = WHO
        self.clerk.ask(_supervisors, self._found)

    def choose(self, choice: Choice) -> None:
        """This supervisor."""
        self._who, self._new, self._first = choice.key, bool(choice.note), ""
        self.title = t("pin.new", name=choice.text) if self._new else choice.text
        self.ids.pad.clear()
        self.step = FIGURES

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
        self.clerk.ask(lambda desk: _open(desk, who, pin, new), self._opened, self._failed)

    def _found(self, people: list[Choice]) -> None:
        self.people = people
        if len(people) == 1:
            self.choose(people[0])

    def _opened(self, key: str) -> None:
        self.clerk.play(Sound.DONE)
        self.clerk.go(self._goal, supervisor=key, **self._about)

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        if isinstance(error, PinRefused):
            self.trouble = t("pin.wait", left=clock(error.wait_s)) if error.wait_s else t("pin.wrong")
        else:
            self.trouble = fault_words(error)


def _supervisors(desk: Desk) -> list[Choice]:
    return [
        Choice(card.key, card.name, "" if desk.people.has_pin(card.key) else t("pin.none"))
        for card in desk.people.operators()
        if card.role == "supervisor" and not card.retired
    ]


def _open(desk: Desk, key: str, pin: str, new: bool) -> str:
    if new:
        desk.people.first_pin(key, pin)
    return desk.people.unlock(key, pin).key


load_beside(__file__)
