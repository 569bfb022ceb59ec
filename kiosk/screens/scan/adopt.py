"""A label nobody knows: on which holder it is, one of the book's or a new one.

Nothing is bound before a hand has said so on the last page; what may be bound is the desk's.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, ObjectProperty, OptionProperty, StringProperty

from kiosk import words
from kiosk.rules.cards import HolderCard
from kiosk.rules.holder_drawing import Drawing, draw_holder
from kiosk.rules.say import Say
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import counts_as_hot
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import common
from kiosk.screens.questions import hot as hot_asks
from kiosk.screens.questions import scan as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t

FIND, NEW = "find", "new"


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    WHOSE = "whose"
    SURE = "sure"
    GIVEN = "given"


class AdoptScreen(View):
    """Whose label it is, whether that is sure, and that it is done.  `home`: where it came from."""

    name = "adopt"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.WHOSE, options=list(Page))
    title = StringProperty()  # the label's text
    said = StringProperty()
    holder = StringProperty()
    drawing = ObjectProperty(None, allownone=True)  # of that holder; a hot one's would have to say how warm it is
    hot = BooleanProperty(False)  # the label was given to something hot, or not known to be cool
    trouble = StringProperty()
    choices = ListProperty()
    waiting = BooleanProperty(False)  # the desk writes; a second touch must not ask again

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._text = ""
        self._home = "scan"
        self._key = ""
        self._stray: asks.Stray | None = None

    def shown(self, text: str = "", home: str = "", key: str = "", **_: Any) -> None:
        self._text = text or self._text
        self._home = home or self._home
        self.trouble, self.said, self.choices = "", "", []
        self.title = words.grouped(self._text)
        self.page, self.waiting = Page.WHOSE, False
        asked = self._text
        self.clerk.ask(asks.stray(asked), lambda found: self._show(found, key), self._failed)

    def scanned(self, text: str) -> bool:
        """Another label on the same holder says whose it is."""
        if self.page == Page.GIVEN:
            self.go_on()
            return False
        if text != self._text:
            self.clerk.ask(asks.holder_with(text), self._sure, self._failed)
        return True

    def _show(self, found: asks.Asked, key: str) -> None:
        self.show(found)
        if key:
            self.clerk.ask(common.holder(key), self._sure, self._failed)

    def show(self, found: asks.Asked) -> None:
        """Show what the desk says of the label."""
        self._stray = found.stray
        self.said = t(f"adopt.{found.stray.origin.value}")
        if found.stray.origin is asks.Origin.OTHER:
            self.choices = []
            return
        near = [
            Choice(each.card.holder.key, each.card.name, t("adopt.missing", place=each.place)) for each in found.likely
        ]
        self.choices = [*near, Choice(FIND, t("adopt.find")), Choice(NEW, t("adopt.new"))]

    def choose(self, key: str) -> None:
        """A button was touched."""
        if key == FIND:
            self.clerk.go("find", whose=self._text)
        elif key == NEW:
            self.clerk.go("register", text=self._text, home=self._home)
        else:
            self.clerk.ask(common.holder(key), self._sure, self._failed)

    def _sure(self, card: HolderCard) -> None:
        """Ask before anything is bound."""
        if self._stray is None:
            return
        self._key, self.holder, self.trouble = card.holder.key, card.name, ""
        self.drawing = None if counts_as_hot(card) else draw_holder(card.holder, card.assembly)
        ours = self._stray.origin is asks.Origin.OURS
        old = words.grouped(card.code) if card.code != card.holder.key else None
        self.said = t("adopt.replaces" if ours else "adopt.beside", old=old)
        self.page = Page.SURE

    def give(self) -> None:
        """It is on that holder."""
        if self.waiting:
            return
        self.waiting = True
        text, key = self._text, self._key
        self.clerk.ask(asks.give(text, key), self._given, self._failed)

    def _given(self, card: HolderCard) -> None:
        self.waiting = False
        self.clerk.play(Sound.DONE)
        self.hot = counts_as_hot(card)
        self.said = t("adopt.given", name=card.name)
        if self.hot:  # what is said where it is scanned on hot steel
            self.said = words.say(Say("label_bound_hot", (("name", card.name), ("old_code", None))))
            self.drawing = None
            self.clerk.ask(hot_asks.drawing(card.holder.key), self._drawn, self._failed)
        self.page = Page.GIVEN

    def _drawn(self, drawing: Drawing) -> None:
        self.drawing = drawing

    def back(self) -> None:
        """One step back, or to where it came from."""
        if self.page == Page.SURE:
            self.shown()
        else:
            self.go_on()

    def go_on(self) -> None:
        """Back to where the label was seen; what was said of it there holds no longer once it is given."""
        self.clerk.go(self._home, anew=self.page == Page.GIVEN)

    def _failed(self, error: Exception) -> None:
        self.waiting = False
        self.clerk.play(Sound.REFUSED)
        self.trouble = fault_words(error)


load_beside(__file__)
