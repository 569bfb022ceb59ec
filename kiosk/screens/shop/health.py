"""How the kiosk is: its parts, each with a sign and a word, what needs a hand first; a touch says what to do.

Looked up when it comes into sight and again when it is touched; nothing is looked up while nobody is here.  A copy of
the book is put back here too (`put_back.py`), and where the book cannot be read this is what the window shows.
"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, OptionProperty, StringProperty

from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.marked import Marked
from kiosk.screens.parts.touch import BigButton
from kiosk.screens.press import Press
from kiosk.screens.questions import health as asks
from kiosk.screens.shop.put_back import ACT, PutBack
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import say, t

SIGNS = {
    asks.Mark.GOOD: ("done", "done"), asks.Mark.LOOK: ("find", "stop"), asks.Mark.BAD: ("stop", "stop"),
    asks.Mark.OFF: ("missing", "plain"), asks.Mark.TOLD: ("forward", "plain"),
}  # fmt: skip
_COPIES = (asks.Part.COPIES, asks.Part.SECOND)
_FIRST = (asks.Mark.BAD, asks.Mark.LOOK)


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    LIST = "list"
    PART = "part"


class HealthScreen(View):
    """The list of parts, worst first; one of them with what to do."""

    name = "health"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.LIST, options=list(Page))
    rows = ListProperty()
    summary = StringProperty()
    title = StringProperty()
    word = StringProperty()
    what = StringProperty()
    remedy = StringProperty()
    sign = StringProperty()
    good = BooleanProperty(True)
    offer = StringProperty()  # what can be done about it here, in words; empty: nothing
    other = StringProperty()  # what else can be

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press, self._folders = Press(), Press()
        self._found: dict[asks.Part, asks.Finding] = {}
        self._one = asks.Part.VERSION
        self._copying = False
        self._other_key: BigButton | None = None
        self.putting = PutBack(self)

    @property
    def stays(self) -> bool:
        """While a copy is put back, or the book cannot be read, there is nothing else to show."""
        return self.putting.holds

    def shown(self, act: str = "", data: Path | None = None, putting_back_from: str = "", **_: Any) -> None:
        """`act`: what a PIN was given for.  `data`: the folder whose book cannot be read.

        `putting_back_from`: the screen that led straight to the copies, and to which their list leads back.
        """
        if data is not None:
            self.putting.begin_broken(data)
        elif putting_back_from and not self.putting.untold:
            self.putting.begin(putting_back_from)
        elif act == ACT and self.putting.on:
            self.putting.do()
        elif not self.putting.untold:
            self.putting.on, self.other = False, ""
            self.page = Page.LIST
            self.look()

    def left(self) -> None:
        self.putting.rest()

    def returned(self) -> None:
        if self.putting.on:
            self.putting.read_on()

    def scanned(self, text: str) -> bool:
        if self.putting.holds:
            self.putting.scanned()
        return self.putting.holds

    def look(self) -> None:
        """Look everything up anew."""
        self._found, self.rows, self.summary = {}, [], t("health.looking")
        queue = self.clerk.settings.labels.queue
        self.clerk.ask(asks.findings(), self.show, self._failed)
        self.clerk.ask(asks.copy_folders(), self._look_for_copies, self._failed)
        if self.clerk.eye is not None:
            self.show((asks.of_camera(self.clerk.eye.why),))
        self._press.run(lambda *_: asks.printer(queue), lambda found: self.show((found,)), self._failed)

    def _look_for_copies(self, folders: asks.CopyFolders) -> None:
        self._folders.run(lambda *_: asks.copies(folders), self.show, self._failed)

    def show(self, found: tuple[asks.Finding, ...]) -> None:
        """These parts are known now; what needs a hand comes first."""
        self._found |= {each.part: each for each in found}
        if self.putting.on:
            return
        order = {part: number for number, part in enumerate(asks.Part)}
        known = sorted(self._found.values(), key=lambda each: (_rank(each.mark), order[each.part]))
        self.rows = [_row(each) for each in known]
        bad = sum(each.mark in _FIRST for each in known)
        self.summary = t("health.to_look", count=bad) if bad else t("health.all_good")

    def choose(self, row: Marked) -> None:
        """One part, and what to do about it; or a copy that may be put back."""
        if self.putting.on:
            self.putting.choose(row)
            return
        found = self._found[asks.Part(row.key)]
        self.title, self.word, self.what = row.text, row.side, say(found.what)
        self.sign, self.good = row.icon, found.mark not in _FIRST
        self.remedy = say(found.remedy) if found.remedy else t("health.nothing_to_do")
        self._one = found.part
        newer, copies = found.part is asks.Part.VERSION, found.part in _COPIES
        self.offer = t("update.look_for") if newer else t("health.copy_now") if copies and not self._copying else ""
        self.other = t("put_back.key") if copies and not self._copying else ""
        self.page = Page.PART
        if copies and self._copying:
            self._say_copying()

    def do(self) -> None:
        """Look for a newer version, make a copy, or put one back."""
        if self.putting.on:
            self.putting.do()
        elif self._one is asks.Part.VERSION:
            self.clerk.go("update")
        elif self.offer:
            self.offer, self.other, self._copying = "", "", True  # a second touch must not make a second one
            self._say_copying()
            self.clerk.ask(asks.copies_go, self._copy, self._not_copied)

    def do_other(self) -> None:
        """Put a copy back."""
        self.other = ""
        self.putting.begin(self.name)

    def on_other(self, *_: object) -> None:
        """Its key stands beside the other while there is something to do by it, and is built when there first is."""
        key = self._other_key
        if key is None:
            if not self.other:
                return
            key = self._other_key = BigButton(on_release=lambda _: self.do_other())
        if key.parent is None:
            self.ids.acts.add_widget(key, index=len(self.ids.acts.children))
        if self.other:
            key.text = self.other
        else:
            self.ids.acts.remove_widget(key)

    def _say_copying(self) -> None:
        self.word, self.what, self.remedy = "", t("health.copying"), t("health.copying_note")

    def _copy(self, goes: tuple[Path, tuple[Path, ...], int]) -> None:
        self._press.run(lambda *_: asks.copy_now(*goes), self.copied, self._not_copied)

    def copied(self, made: tuple[int, str]) -> None:
        """What came of it."""
        lines, why = made
        self._copying = False
        self.clerk.play(Sound.REFUSED if why else Sound.DONE)
        if self.page != Page.PART or self._one not in _COPIES:
            return  # another part is in sight
        self.good = not why
        self.sign = "done" if self.good else "stop"
        self.word = t(f"health.mark.{'good' if self.good else 'bad'}")
        self.what = why or t("health.copied", count=lines)
        self.remedy = t("health.copied_note") if self.good else t("health.not_copied")
        self.offer = "" if self.good else t("health.copy_now")

    def _not_copied(self, error: Exception) -> None:
        self.copied((0, fault_words(error)))

    def back(self) -> None:
        """One state back, or out."""
        self.other = ""
        if self.putting.on:
            self.putting.back()
        elif self.page == Page.LIST:
            self.clerk.go("shop")
        else:
            self.page = Page.LIST
            self.look()

    def _failed(self, error: Exception) -> None:
        if not self.putting.on:
            self.summary = fault_words(error)


def _rank(mark: asks.Mark) -> int:
    return _FIRST.index(mark) if mark in _FIRST else len(_FIRST)


def _row(found: asks.Finding) -> Marked:
    icon, tone = SIGNS[found.mark]
    name = t(f"health.part.{found.part.value}")
    return Marked(found.part.value, name, say(found.what), t(f"health.mark.{found.mark.value}"), icon, tone)


load_beside(__file__)
