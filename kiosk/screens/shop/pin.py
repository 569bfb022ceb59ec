"""The supervisor's PIN: who, then the figures; wrong tries wait.

A supervisor without a PIN chooses one here, twice; where others have one, one of them gives theirs first, and where
nobody has, a supervisor's badge is scanned first.  What a PIN opens is never the end of a hold.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, OptionProperty, StringProperty

from kiosk.rules import tries
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import shop as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import clock, t


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    WHO = "who"
    FIGURES = "figures"


class PinScreen(View):
    """Opens `goal` for a supervisor, at once where one has opened within the last minutes.

    `vouches`: another supervisor's PIN is asked for, so that somebody may choose one.
    """

    name = "pin"
    rail = "shop"
    covers = Covers.RAIL
    signs_in = True  # a first PIN is chosen by whose badge has just been scanned

    page = OptionProperty(Page.WHO, options=list(Page))
    people = ListProperty()
    title = StringProperty()
    masked = StringProperty()
    trouble = StringProperty()
    vouches = BooleanProperty(False)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._goal = "shop"
        self._about: dict[str, Any] = {}
        self._known: dict[str, asks.Supervisor] = {}
        self._open_by = ""
        self._who = ""  # whose figures are typed; empty: the newcomer's
        self._name = ""  # and what they are called
        self._chooser = ""  # whose PIN is chosen, now or once another supervisor has opened
        self._newcomer = ""  # the name of whoever becomes a supervisor with the PIN chosen, and is nobody before
        self._choosing = False
        self._first = ""
        self._badge_first = False

    def shown(self, goal: str = "shop", chooser: str = "", newcomer: str = "", **about: Any) -> None:
        """`chooser`: the supervisor who is to have a new PIN.  `newcomer`: the name of one who is not in the book."""
        self._goal, self._about, self._chooser, self._newcomer = goal, about, chooser, newcomer
        self.trouble, self.people, self.vouches = "", [], False
        self.page = Page.WHO
        self.clerk.ask(asks.door(), self._door_known)

    def choose(self, choice: Choice) -> None:
        """This supervisor."""
        if self._known[choice.key].has_pin:
            self._figures(choice.key, choosing=False)
        else:
            self._chooser = choice.key
            self._let_choose()

    def typed(self, text: str) -> None:
        self.masked = "•" * len(text)

    def take(self) -> None:
        """The PIN is whole."""
        pin = self.ids.pad.text
        if not tries.may_be_pin(pin):
            self.trouble = t("pin.short", count=tries.LEAST_FIGURES)
            return
        self.ids.pad.clear()
        if not self._choosing:
            self.clerk.ask(asks.unlock(self._who, pin), self._opened, self._failed)
        elif self._badge_is_wanted():
            self.clerk.play(Sound.REFUSED)
        elif not self._first:
            self._first, self.trouble = pin, ""
            self.title = t("pin.repeat", name=self._name)
        elif pin != self._first:
            self._first, self.trouble = "", t("pin.differ")
            self.title = t("pin.new", name=self._name)
        elif self._who:
            self.clerk.ask(asks.choose_pin(self._who, pin), self._chosen, self._failed)
        else:
            self.clerk.ask(asks.add_supervisor(self._newcomer, pin), self._chosen, self._failed)

    def _door_known(self, door: asks.Door) -> None:
        self._known = {one.key: one for one in door.supervisors}
        self._open_by, self._badge_first = door.open_by, door.badge_first
        if self._chooser or self._newcomer:
            self._let_choose()
        elif door.open_by:
            self._go_on(door.open_by)
        else:
            self._list(door.supervisors)
            if len(door.supervisors) == 1:
                self.choose(self.people[0])

    def _list(self, people: Iterable[asks.Supervisor]) -> None:
        self.people = [Choice(one.key, one.name, "" if one.has_pin else t("pin.none")) for one in people]

    def _let_choose(self) -> None:
        """The chooser types a new PIN, once one of those who have one has opened."""
        others = [one for one in self._known.values() if one.has_pin]
        if self._open_by or not others:
            self._figures(self._chooser, choosing=True)
            return
        self.vouches = True
        self._list(others)
        self.page = Page.WHO

    def _figures(self, who: str, *, choosing: bool) -> None:
        name = self._known[who].name if who else self._newcomer
        self._who, self._name, self._choosing, self._first, self.trouble = who, name, choosing, "", ""
        self.title = t("pin.new", name=name) if choosing else name
        self.ids.pad.clear()
        self.page = Page.FIGURES
        if choosing:
            self._badge_is_wanted()

    def _badge_is_wanted(self) -> bool:
        """Whether a supervisor must sign in before this PIN is chosen; then that is said."""
        at_work = self.clerk.operator
        wanted = self._badge_first and (at_work is None or at_work.role != "supervisor")
        if wanted:
            self.trouble = f"{t('refused.supervisor_first')}. {t('remedy.supervisor_first')}."
        return wanted

    def _opened(self, key: str) -> None:
        self.clerk.play(Sound.DONE)
        self._open_by = key
        if self._chooser or self._newcomer:
            self._let_choose()
        else:
            self._go_on(key)

    def _chosen(self, key: str) -> None:
        self.clerk.play(Sound.DONE)
        self._go_on(key)

    def _go_on(self, key: str) -> None:
        self.clerk.go(self._goal, supervisor=key, **self._about)

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        if isinstance(error, asks.PinRefused):
            self.trouble = t("pin.wait", left=clock(error.wait_s)) if error.wait_s else t("pin.wrong")
        else:
            self.trouble = fault_words(error)


load_beside(__file__)
