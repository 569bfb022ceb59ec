"""What kiosks that worked apart tell differently: every claim, and how a hand settles it.

Where a holder is, is settled by scanning it and its place; the rest by choosing what is the case, once somebody looked.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, OptionProperty, StringProperty

from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import apart as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t

_IDS = ("apart.", "condition.")  # what a claim may say as the id of a message


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    LIST = "list"
    ONE = "one"


class ApartScreen(View):
    """The list; one difference with its claims."""

    name = "apart"
    rail = "shop"
    covers = Covers.RAIL
    stays = True  # whoever settles it goes and looks at the steel first

    page = OptionProperty(Page.LIST, options=list(Page))
    rows = ListProperty()
    claims = ListProperty()
    title = StringProperty()
    what_to_do = StringProperty()
    settled = StringProperty()  # what was settled just now
    trouble = StringProperty()
    hot = BooleanProperty(False)  # what to do is about hot steel

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._found: dict[str, asks.ToldDifferently] = {}
        self._key = ""

    def shown(self, **_: Any) -> None:
        self.page = Page.LIST
        self.clerk.ask(asks.told_differently(), self._told, self._failed)

    def tick(self) -> None:
        if self.page == Page.LIST:
            self.clerk.ask(asks.told_differently(), self._told)

    def back(self) -> None:
        """One state back, or out."""
        self.trouble = self.settled = ""
        if self.page == Page.LIST:
            self.clerk.go("kiosks")
        else:
            self.page = Page.LIST

    def _told(self, found: tuple[asks.ToldDifferently, ...]) -> None:
        self._found = {each.key: each for each in found}
        self.rows = [Choice(each.key, each.name, t(f"term.matter.{each.matter.value}")) for each in found]
        self.trouble = self.settled = ""

    def choose(self, choice: Choice) -> None:
        """One difference."""
        found = self._found[choice.key]
        self._key, self.title = found.key, found.name
        self.claims = [Choice(each.value, *_said(each)) for each in found.offers]
        alarm = found.alarm
        self.hot = alarm is not None
        self.what_to_do = f"{t(alarm.key, **dict(alarm.values))}. {t('apart.alarm_remedy')}" if alarm else _asked(found)
        self.page = Page.ONE

    def take(self, choice: Choice) -> None:
        """What is the case, where no scan says it better."""
        found = self._found[self._key]
        if found.matter is asks.Matter.PLACE:
            self.trouble = t("apart.by_scan")
            self.clerk.play(Sound.REFUSED)
            return
        self.clerk.ask(asks.settle(found.key, choice.key), lambda left: self._settled(left, choice), self._locked)

    def _settled(self, left: tuple[asks.ToldDifferently, ...], choice: Choice) -> None:
        self.clerk.play(Sound.DONE)
        self._told(left)
        self.settled = t("apart.settled", what=choice.text)
        self.page = Page.LIST

    def _locked(self, error: Exception) -> None:
        """What the shop goes by is a supervisor's to say."""
        if type(error).__name__ == "Locked":
            self.clerk.go("pin", goal=self.name)
        else:
            self._failed(error)

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble = fault_words(error)


def _asked(found: asks.ToldDifferently) -> str:
    """What a hand does about it, and what cannot be chosen though a kiosk said so."""
    if found.matter is asks.Matter.PLACE:
        return t("apart.by_scan")
    if found.not_now:
        return t("apart.last_pin", told=". ".join(": ".join(reversed(_said(each))) for each in found.not_now))
    return t("apart.choose")


def _said(claim: asks.ToldHere) -> tuple[str, str]:
    what = t(claim.what) if claim.what.startswith(_IDS) else claim.what
    return what, t("apart.claim", kiosk=claim.kiosk, who=claim.who, told_at=claim.told_utc_s) if claim.kiosk else ""


load_beside(__file__)
