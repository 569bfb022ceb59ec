"""Several kiosks in one shop: who there is, a code for one more, joining, and where this kiosk stands.

A supervisor lets a kiosk in and locks one out, each by two touches once the PIN was given.
"""

from __future__ import annotations

from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, OptionProperty, StringProperty

from kiosk.rules.cards import PlaceCard
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Pick
from kiosk.screens.parts.marked import Marked
from kiosk.screens.parts.square import Square as Square
from kiosk.screens.questions import kiosks as asks
from kiosk.screens.questions import shop as shop_asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import clock, t

INVITE, LOCK_OUT, STANDS, JOIN = "invite", "lock_out", "stands", "join"
INVITES = "HKJOIN:"  # what the square on another kiosk's screen begins with
LONGEST_NAME = 40
_WRONG_CLOCK_S = 60.0
_SIGNS = {
    asks.How.HEARD: ("done", "done"), asks.How.OTHER_VERSION: ("find", "stop"), asks.How.NOT_HEARD: ("stop", "stop"),
    asks.How.AT_REST: ("missing", "plain"), asks.How.TO_JOIN: ("find", "stop"), asks.How.LEFT: ("missing", "plain"),
}  # fmt: skip


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    ALONE = "alone"
    LIST = "list"
    KIOSK = "kiosk"
    CODE = "code"
    CODE_HERE = "code_here"
    SERVER = "server"
    NAME = "name"
    PLACES = "places"
    ANSWER = "answer"


class KiosksScreen(View):
    """The list; one kiosk; a code to show; a code to take, its server and a name; places; what was done."""

    name = "kiosks"
    rail = "shop"
    covers = Covers.RAIL
    stays = True  # joining takes its time, and says here how it went

    page = OptionProperty(Page.LIST, options=list(Page))
    kiosks = ListProperty()
    places = ListProperty()
    title = StringProperty()
    facts = StringProperty()
    code = StringProperty()
    server = StringProperty()
    modules = ListProperty()
    done = StringProperty()
    joining = StringProperty()  # that it is on its way
    trouble = StringProperty()
    can_lock_out = BooleanProperty(False)
    parted = StringProperty()  # why the shop does not take this kiosk's book any more, and what to do

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._rows: dict[str, asks.KioskRow] = {}
        self._key = ""
        self._said = ""
        self._joined = False
        self._anew: asks.Anew | None = None
        self._joining = False

    def shown(self, act: str = "", key: str = "", **_: Any) -> None:
        """`act`: what was asked for before the PIN, about the kiosk `key`."""
        self.trouble = ""
        self.tells_first = self.clerk.untold is not None
        self._key = key
        self.page = Page.LIST
        self.clerk.ask(asks.kiosks(), partial(self._listed, act=act), self._failed)

    def left(self) -> None:
        self.tells_first = False
        self._end_typing()

    def tick(self) -> None:
        if self.page == Page.LIST:
            self.clerk.ask(asks.kiosks(), self._told)

    def scanned(self, text: str) -> bool:
        """The square on another kiosk's screen says where its shop is; what a quick hand types is a scan as well."""
        if self.page == Page.CODE_HERE or text.startswith(INVITES):
            self.take_code(text)
        elif self.page == Page.SERVER:
            self.take_server(text)
        return self.page in (Page.CODE_HERE, Page.SERVER, Page.NAME)

    def back(self) -> None:
        """One state back, or out."""
        self._end_typing()
        self.trouble = ""
        if self.tells_first:
            self.tells_first = False
            self.clerk.back()
        elif self.page in (Page.ALONE, Page.LIST):
            self.clerk.go("shop")
        elif self.page in (Page.NAME, Page.SERVER):
            self._begin()
        else:
            self.page = Page.LIST if self._joined else Page.ALONE

    def _told(self, found: asks.Kiosks) -> None:
        self._joined, self._anew = found.joined and found.anew is None, found.anew
        self.parted = fault_words(found.parted) if found.parted else ""
        self._rows = {row.key: row for row in found.rows}
        self.kiosks = [Marked(row.key, row.name, _note(row), "", *_SIGNS[row.how]) for row in found.rows]

    def _listed(self, found: asks.Kiosks, act: str) -> None:
        self._told(found)
        self.page = Page.LIST if self._joined else Page.ALONE
        if self.clerk.untold is not None:
            untold, self.clerk.untold = self.clerk.untold, None
            self._tell(untold)
        elif act == INVITE:
            self.invite()
        elif act == LOCK_OUT and self._key in self._rows:
            self._choose(self._rows[self._key])
        elif act == STANDS:
            self.stands()
        elif act == JOIN:
            self._joins()

    def choose(self, chosen: Marked) -> None:
        """One kiosk."""
        self._choose(self._rows[chosen.key])

    def _choose(self, row: asks.KioskRow) -> None:
        self._key, self.title = row.key, row.name
        off = abs(row.off_s) > _WRONG_CLOCK_S and row.how is asks.How.HEARD
        parts = (
            _note(row),
            t("kiosks.version", version=row.version) if row.version else "",
            t("kiosks.clock_off", off_s=clock(abs(row.off_s))) if off else "",
        )
        self.facts = " · ".join(part for part in parts if part)
        self.can_lock_out = not row.mine and (row.how is not asks.How.LEFT or row.counts)
        self.page = Page.KIOSK

    # One more, one less ---------------------------------------------------------------------------------------

    def invite(self) -> None:
        """A code for one more kiosk, if a supervisor is there."""
        self._supervised(INVITE, lambda: self.clerk.ask(asks.invite(), self._shows, self._failed))

    def _shows(self, found: asks.Invitation) -> None:
        self.code, self.server, self.modules = found.code, found.server, list(found.modules)
        self.page = Page.CODE

    def lock_out(self) -> None:
        """The kiosk shown works here no more, if a supervisor says so."""
        key = self._key
        self._supervised(LOCK_OUT, lambda: self.clerk.ask(asks.lock_out(key), self._locked_out, self._failed))

    def _locked_out(self, told: asks.LockedOut) -> None:
        sentence = "kiosks.locked_out_lost" if told.unshared else "kiosks.locked_out"
        self._answer(t(sentence, name=told.name, count=told.unshared))

    # Joining --------------------------------------------------------------------------------------------------

    def join(self) -> None:
        """This kiosk becomes one of a shop's, if a supervisor is there."""
        self._supervised(JOIN, self._joins)

    def _joins(self) -> None:
        """With what another kiosk shows, or anew by itself: then as it was called, and its book is laid aside."""
        if self._joining:
            return  # a second touch must not join twice
        if self._anew is asks.Anew.BY_ITSELF:
            self.trouble, self.joining = "", t("kiosks.joining")
            self._said = ""
            self.clerk.ask(asks.where_data_is(), lambda folder: self._join(folder, ""), self._failed)
        else:
            self._begin()

    def _begin(self) -> None:
        self.trouble = ""
        self.page = Page.CODE_HERE
        self.ids.code_here.begin()

    def _end_typing(self) -> None:
        for entry in ("code_here", "server", "name"):
            self.ids[entry].end()

    def take_code(self, text: str) -> None:
        """What the other kiosk shows: the square says where the server is, ten characters do not."""
        if not text.strip():
            return
        self._said = text
        self.trouble = ""
        self.page = Page.NAME if "@" in text else Page.SERVER
        self.ids[self.page].begin()

    def take_server(self, text: str) -> None:
        """Where the shop's server is, as it stands beside the square."""
        if text:
            self.take_code(f"{self._said}@{text.removeprefix('@')}")

    def take_name(self, text: str) -> None:
        """How this kiosk is called: all that was lacking."""
        name = " ".join(text.split())[:LONGEST_NAME]
        if not name:
            self.trouble = t("kiosks.no_name")
            return
        self.trouble, self.joining = "", t("kiosks.joining")
        self.clerk.ask(asks.where_data_is(), lambda folder: self._join(folder, name), self._failed)

    def _join(self, folder: Path, name: str) -> None:
        if self._joining:
            return
        self._joining = True
        joined = t("kiosks.joined_anew" if self._anew else "kiosks.joined")

        def done() -> None:
            self._went(joined)

        def failed(error: Exception) -> None:
            self._went(error)

        self.clerk.reopen(asks.joins(folder, self._said, name), done, failed)

    def _went(self, how: str | Exception) -> None:
        """How joining went is said at once, or, where something else is in sight, once this screen comes again."""
        self._joining, self.joining = False, ""
        if self.clerk.view is self:
            self._tell(how)
            return
        self.clerk.untold = how
        if self.clerk.holding is not None:
            self.clerk.go(self.name)

    def _tell(self, how: str | Exception) -> None:
        if isinstance(how, Exception):
            self._failed(how)
        else:
            self._answer(how)

    # Where it stands ------------------------------------------------------------------------------------------

    def stands(self) -> None:
        """At which place, if a supervisor is there."""
        self._supervised(STANDS, lambda: self.clerk.ask(asks.stands(), self._places, self._failed))

    def _places(self, found: tuple[tuple[PlaceCard, ...], str]) -> None:
        """These can be chosen; the one where it stands is marked."""
        places, here = found
        rows = [(card.place.code, card.name, t(f"kind.{card.place.kind.value}")) for card in places]
        self.places = [
            Pick(code, name, t("settings.in_use") if code == here else note, code == here)
            for code, name, note in (("", t("kiosks.nowhere"), ""), *rows)
        ]
        self.page = Page.PLACES

    def take_place(self, choice: Pick) -> None:
        self.clerk.ask(asks.stand_at(choice.key), self._stands, self._failed)

    def _stands(self, place: str | None) -> None:
        self._answer(t("kiosks.stands_now", place=place) if place else t("kiosks.stands_nowhere"))

    def _answer(self, done: str) -> None:
        self._end_typing()
        self.clerk.play(Sound.DONE)
        self.trouble, self.done = "", done
        self.page = Page.ANSWER

    def _supervised(self, act: str, then: Any) -> None:
        key = self._key
        self.clerk.ask(
            shop_asks.supervised(),
            lambda open_: then() if open_ else self.clerk.go("pin", goal=self.name, act=act, key=key),
            self._failed,
        )

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble = fault_words(error)
        if self.page in (Page.CODE_HERE, Page.SERVER, Page.NAME):  # there is room to say why where it was begun
            self._end_typing()
            self.page = Page.LIST if self._joined else Page.ALONE


def _note(row: asks.KioskRow) -> str:
    match row.how:
        case asks.How.HEARD:
            how = t("kiosks.heard_waiting", count=row.waiting) if row.waiting else t("kiosks.heard")
        case asks.How.NOT_HEARD:
            how = t("kiosks.not_heard", since_at=row.since_at)
        case _:
            how = t(f"kiosks.{row.how}")
    return f"{t('kiosks.this_one')} · {how}" if row.mine else how


load_beside(__file__)
