"""A copy of the book put back by touch: which one, what is lost by it, and what came of it.

Drives the list and the page of `HealthScreen`, which has all the parts it needs.  A supervisor's PIN stands before it;
where the book cannot be read nobody's can be asked, and then this is the first that the window shows.  What it does is
the same as the command's: whatever ends it, the one book is there or the other, and nothing hot counts as cool by it.
While it is at work the desk is closed: nothing else is shown, and what is scanned is not taken.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from kivy.clock import Clock

from kiosk.screens.parts.marked import Marked
from kiosk.screens.press import Press
from kiosk.screens.questions import first
from kiosk.screens.questions import put_back as asks
from kiosk.screens.sounds import Sound
from kiosk.words import t

if TYPE_CHECKING:
    from kiosk.screens.shop.health import HealthScreen

A = TypeVar("A")

ACT = "put_back"  # what a PIN is given for
_AGAIN = "again"

log = logging.getLogger("kiosk.put_back")


class PutBack:
    """For one screen.  `on`: it has the screen's pages.  `working`: a copy is being put back, or the book is tried."""

    def __init__(self, screen: HealthScreen) -> None:
        self.on = self.working = self.broken = False
        self._screen, self._press = screen, Press()
        self._turn = 0  # which look for copies is waited for
        self._where: asks.Where | None = None
        self._kept: dict[str, asks.Kept] = {}
        self._seen: dict[str, asks.Seen] = {}
        self._one = ""  # the copy on the page; empty: the list is in sight
        self._reading = False
        self._done: asks.RestoreDone | None = None
        self._from = ""  # the screen that led here

    @property
    def holds(self) -> bool:
        """Whether nothing that is scanned can be taken."""
        return self.on and (self.working or self.broken)

    @property
    def untold(self) -> bool:
        """Whether the screen's pages say what nobody has left yet: a damaged book, or what came of a copy."""
        return self.holds or (self.on and self._done is not None)

    def begin(self, led_here: str) -> None:
        """The copies there are.  led_here: the screen to which their list leads back."""
        self.on, self._from = True, led_here
        self._screen.clerk.ask(asks.where(), self._look, self._failed)

    def begin_broken(self, data: Path) -> None:
        """The book cannot be read: what can be put back in its place."""
        self.on, self.broken, self.working = True, True, False
        self._screen.tells_first = True
        self._look(asks.Where(data, self._screen.clerk.settings.backup.second_folder))

    def end(self) -> None:
        """What is read is not waited for any more."""
        self._press.cancel()
        self._turn += 1
        self._reading = False

    def rest(self) -> None:
        """Another screen is in sight; what is at work goes on."""
        if not self.working:
            self.end()

    # Which one ------------------------------------------------------------------------------------------------

    def _look(self, where: asks.Where) -> None:
        self.end()
        self._where, self._kept, self._seen, self._one = where, {}, {}, ""
        self._screen.summary, self._screen.rows = t("put_back.looking"), []
        self._screen.page = "list"
        turn = self._turn

        def found(kept: tuple[asks.Kept, ...]) -> None:
            if turn == self._turn:
                self._kept = {str(at): each for at, each in enumerate(kept)}
                self._list()
                self.read_on()

        self._press.run(lambda *_: asks.found(where), found, self._failed)

    def _list(self) -> None:
        """The list as far as it is known."""
        read, total = len(self._seen), len(self._kept)
        if not total:
            self._screen.summary = t("put_back.none")
        elif read < total:
            self._screen.summary = t("put_back.reading", done=read, total=total)
        else:
            self._screen.summary = t("put_back.unreadable" if self.broken else "put_back.which")
        again = Marked(_AGAIN, t("update.again"), t("put_back.plug_in"), icon="find")
        self._screen.rows = [*(self._row(key, kept) for key, kept in self._kept.items()), again]

    def _row(self, key: str, kept: asks.Kept) -> Marked:
        name, lies = t("put_back.made", made_on=kept.made_utc_s), _lies(kept)
        seen = self._seen.get(key)
        if seen is None:
            return Marked(key, name, lies, "", "forward")
        if seen.fault is not None:
            return Marked(key, name, lies, t("put_back.mark.bad"), "stop", "stop")
        entries = t("put_back.entries", count=seen.lines)
        note = " · ".join(part for part in (entries, seen.kiosk, lies) if part)
        return Marked(key, name, note, t("put_back.mark.good"), "done", "done")

    def read_on(self) -> None:
        """Read the next copy that was not read yet, first of all the one on the page."""
        unread = [key for key in self._kept if key not in self._seen]
        if not self.on or self.working or self._reading or not unread:
            return
        key = self._one if self._one in unread else unread[0]
        kept, turn = self._kept[key], self._turn
        self._reading = True

        def read(seen: asks.Seen | None) -> None:
            if turn != self._turn:
                return
            self._reading = False
            if seen is not None:
                self._seen[key] = seen
            if self._one == key:
                self._page()
            elif not self._one:
                self._list()
            self.read_on()

        def progress(done: int, total: int) -> None:
            if turn == self._turn and self._one == key:
                self._screen.remedy = t("busy.of", done=done, total=total)

        self._press.run(lambda tell, cancelled: asks.look(kept, tell, cancelled), read, self._failed, progress)

    def choose(self, row: Marked) -> None:
        """One of them, or look again."""
        if self.working:
            return
        if row.key == _AGAIN:
            assert self._where is not None
            self._look(self._where)
            return
        self.end()  # another one is read meanwhile: it comes later
        self._one = row.key
        self._screen.title, self._screen.page = row.text, "part"
        self._page()
        self.read_on()

    # What is lost by it ---------------------------------------------------------------------------------------

    def _page(self) -> None:
        seen, where, kept = self._seen.get(self._one), self._where, self._kept[self._one]
        if seen is None or where is None:
            self._tell("", t("put_back.reads"), "")
        elif seen.fault is not None:
            self._tell(t("put_back.mark.bad"), asks.why(seen.fault), t("put_back.another_one"), good=False)
        else:
            self._tell("", t("put_back.compares"), "")
            one = self._one

            def known(lost: asks.Lost) -> None:
                if self._one == one and not self.working:
                    self._show(kept, lost)

            self._press.run(lambda *_: asks.lost(where, kept, seen), known, self._failed)

    def _show(self, kept: asks.Kept, lost: asks.Lost) -> None:
        made = kept.made_utc_s
        if lost.lines is None:
            what = t("put_back.lost_unknown", made_on=made)
        elif lost.new:
            what = t("put_back.lost_new")
        elif lost.another:
            what = t("put_back.lost_shop", count=lost.lines)
        elif lost.earlier:
            what = t("put_back.lost", count=lost.lines, made_on=made) if lost.lines else t("put_back.lost_nothing")
        else:
            what = t("put_back.lost_parted", count=lost.lines)
        heat = t("put_back.heat" if lost.earlier else "put_back.heat_unknown")
        kept_too = "" if lost.new else t("put_back.ask" if self.broken else "put_back.kept")
        word = t("put_back.mark.other" if lost.another else "put_back.mark.good")
        self._tell(word, what, f"{heat} {kept_too}".rstrip(), t("put_back.take"), good=not lost.another)

    def _tell(self, word: str, what: str, remedy: str, offer: str = "", *, good: bool = True) -> None:
        screen = self._screen
        screen.word, screen.what, screen.remedy, screen.offer, screen.good = word, what, remedy, offer, good
        screen.sign = "done" if good else "stop"

    # Put back -------------------------------------------------------------------------------------------------

    def do(self) -> None:
        """This one, once a supervisor answers for it; or what is hot, once it was put back."""
        if self.working or not self._screen.offer:
            return  # a second touch must not begin it twice
        if self._done is not None:
            self._leave("hot")
        elif self.broken:
            self._begin(None)
        else:
            turn, one = self._turn, self._one

            def answered(then: Callable[[A], None]) -> Callable[[A], None]:
                """Only while what was touched is still in sight."""
                return lambda answer: then(answer) if (turn, one) == (self._turn, self._one) else None

            self._screen.clerk.ask(asks.may(), answered(self._begin), answered(self._locked))

    def _locked(self, error: Exception) -> None:
        if type(error).__name__ == "Locked":
            self._screen.clerk.go("pin", goal=self._screen.name, act=ACT)
        else:
            self._failed(error)

    def _begin(self, who: str | None) -> None:
        kept, where = self._kept.get(self._one), self._where
        if self.working or kept is None or where is None:
            return
        self.end()
        self.working = self._screen.tells_first = True
        self._screen.offer = ""
        self._tell("", t("put_back.at_work"), t("put_back.no_scan"))
        log.info("A copy is put back, by %s: %s", who or "nobody's PIN", kept.path)
        turn = self._turn

        def tell(done: int, total: int) -> None:
            Clock.schedule_once(lambda _: self._progress(turn, done, total))

        def meanwhile() -> None:
            self._done = asks.put_back(where, kept, tell)

        self._screen.clerk.reopen(
            meanwhile, lambda: self._put_back(turn, kept), lambda error: self._refused(turn, error)
        )

    def _progress(self, turn: int, done: int, total: int) -> None:
        if self.working and turn == self._turn:
            self._screen.what = f"{t('put_back.at_work')}\n{t('busy.of', done=done, total=total)}"

    def _put_back(self, turn: int, kept: asks.Kept) -> None:
        done = self._done
        if turn != self._turn or done is None:
            return  # what opened at last is another one
        self.working = self.broken = False
        self._screen.clerk.ask(first.finished(), None, self._failed)  # whatever they asked: it has a shop now
        log.info("It is put back up to line %d; %d hot, %d not known", done.line, len(done.holders), len(done.unsure))
        self._screen.clerk.play(Sound.DONE)
        parts = (
            t("put_back.hot", count=len(done.holders)) if done.holders else "",
            t("put_back.unsure", count=len(done.unsure)) if done.unsure else "",
            t("put_back.kept") if done.aside else "",
        )
        what = t("put_back.done", made_on=kept.made_utc_s)
        self._tell(t("things_screen.done"), what, " ".join(part for part in parts if part), t("put_back.see_hot"))

    def _refused(self, turn: int, error: Exception) -> None:
        if turn != self._turn:
            return
        self.working, self._screen.tells_first = False, self.broken
        log.warning("The copy was not put back: %s", error)
        remedy = t("put_back.another_one" if self.broken else "put_back.unchanged")
        self._done = None
        self._screen.clerk.play(Sound.REFUSED)
        self._tell(t("card.word.refused"), asks.why(error), remedy, good=False)

    def scanned(self) -> None:
        """A label was shown that nobody can take now."""
        self._screen.clerk.play(Sound.REFUSED)
        if self._one:
            self._screen.remedy = t("put_back.no_scan")
        else:
            self._screen.summary = t("put_back.no_scan")

    def back(self) -> None:
        """The list again, or out; where the book cannot be read it is tried once more."""
        if self.working:
            return
        if self._done is not None:
            self._leave("scan")
        elif self._one:
            self._one = ""
            self._screen.page = "list"
            self._list()
            self.read_on()
        elif self.broken:
            self.working = True  # whatever else were begun would be done at the next damage, unasked
            self._screen.summary = t("put_back.opens")
            self._screen.clerk.reopen(lambda: None, lambda: self._leave("scan"), self._not_opened)
        else:
            self._leave(self._from)

    def _not_opened(self, error: Exception) -> None:
        self.working = False
        self._failed(error)
        self.read_on()

    def _leave(self, name: str) -> None:
        self.end()
        self.on = self.working = self.broken = self._screen.tells_first = False
        self._done, self._one = None, ""
        self._screen.clerk.go(name)

    def _failed(self, error: Exception) -> None:
        self._reading = False
        self._screen.clerk.play(Sound.REFUSED)
        if self._one:
            self._tell("", asks.why(error), t("put_back.another_one"), good=False)
        else:
            self._screen.summary = asks.why(error)


def _lies(kept: asks.Kept) -> str:
    return kept.drive if kept.lies is asks.Lies.DRIVE else t(f"put_back.lies.{kept.lies}")
