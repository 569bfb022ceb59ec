"""Files in and out: shop data from a stick or a shared folder, with a look at what changes first, and the way back.

A file is read on a thread of its own and held against the shop by the desk; only what was shown is written, all of it
or nothing, with a supervisor's PIN where one is asked for.  Once read, the stick may be pulled out.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any

from kivy.clock import Clock
from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.screens.clerk import fault_words
from kiosk.screens.dates import clock_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.marked import Marked
from kiosk.screens.press import Press
from kiosk.screens.questions import bring_in as asks
from kiosk.screens.questions.bring_in import How
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.telling import column_words, file_fault_words
from kiosk.words import catalogue, language, say, t

REASONS = ("wrong_file", "wrong_figures", "other_shop")
TAKE, UNDO = "take", "undo"
_SIGNS = {How.CONFLICT: ("stop", "stop"), How.KEPT: ("missing", "plain"), How.CHANGED: ("forward", "plain"),
          How.NEW: ("done", "done")}  # fmt: skip
AGAIN_S = 3.0  # after somebody asked something: a pair of scans is seldom further apart
TELL_EACH = 500  # lines
_DETAILS = 3  # of one entry, in its row
_PLACES = 4  # decimals of a figure, at most
_SHOWN = 500  # of each; nobody reads more on a panel, and the count is said


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    FILES = "files"
    BUSY = "busy"
    WRITING = "writing"
    LOOK = "look"
    PAST = "past"
    ONE = "one"
    ANSWER = "answer"


class BringInScreen(View):
    """Which file; what it would change; what was imported before; what came of it."""

    name = "bring_in"
    rail = "shop"
    covers = Covers.RAIL
    stays = True  # somebody goes and mends the file, and comes back to it

    page = OptionProperty(Page.FILES, options=list(Page))
    choices = ListProperty()
    rows = ListProperty()
    options = ListProperty()
    reasons = ListProperty()
    folder = StringProperty()
    title = StringProperty()
    busy = StringProperty()
    note = StringProperty()
    act = StringProperty()  # what the large button of a look does: "take", "fill" or nothing
    act_words = StringProperty()
    answer = StringProperty()
    good = BooleanProperty(True)
    labels = BooleanProperty(False)  # what came may have new labels
    count = NumericProperty(0)
    trouble = StringProperty()
    written = NumericProperty(0)  # lines so far; none of them counts before all are
    to_write = NumericProperty(0)
    waits = BooleanProperty(False)  # somebody is at work, and it goes on after them

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press = Press()
        self._asked = 0  # which reading is waited for
        self._where: asks.Where | None = None
        self._path = Path()
        self._look: asks.Look | None = None
        self._past: dict[str, asks.ImportRow] = {}
        self._one = ""
        self._told = False  # what came of it was seen
        self._given_up = False  # what is being written

    def shown(self, act: str = "", reason: str = "", **_: Any) -> None:
        """`act`: what a PIN was given for."""
        self.trouble = ""
        if self.page == Page.WRITING or (self.page == Page.ANSWER and not self._told):
            self._told = self.page == Page.ANSWER  # it went on while somebody was elsewhere
        elif act == TAKE and self._look is not None:
            self._write()
        elif act == UNDO and self._one:
            self._undo(reason)
        else:
            self.look_around()

    def left(self) -> None:
        self._asked += 1

    def scanned(self, text: str) -> bool:
        """While a file is looked at or a reason asked nothing else is taken in."""
        return self.page in (Page.LOOK, Page.ONE) and bool(self.clerk.not_taken(text))

    def back(self) -> None:
        """One page back, or out."""
        self._asked += 1
        self.trouble = ""
        if self.page == Page.FILES:
            self.clerk.go("things")
        elif self.page == Page.ONE:
            self.show_past()
        else:
            self.look_around()

    # Which file -------------------------------------------------------------------------------------------------

    def look_around(self) -> None:
        """What lies on sticks, in shared folders and in the kiosk's own."""
        self._busy(t("bring_in.looking"))
        self.clerk.ask(asks.where(), partial(self._look_on, self._asked), self._failed)

    def _look_on(self, asked: int, where: asks.Where) -> None:
        self._where, self.folder = where, where.inbox
        self._press.run(lambda *_: asks.found(where.data), partial(self._only, asked, self.found), self._failed)

    def _only(self, asked: int, then: Any, answer: Any) -> None:
        """An answer that somebody still waits for."""
        if asked == self._asked:
            then(answer)

    def found(self, found: tuple[asks.Found, ...]) -> None:
        """Show what there is."""
        self.choices = [
            Marked(str(each.path), each.path.name, f"{each.drive} · {clock_words(each.changed_utc_s)}")
            for each in found
        ]
        self.page = Page.FILES

    def choose(self, row: Marked) -> None:
        """This one."""
        self._path, self.title = Path(row.key), row.text
        self._read()

    def _read(self) -> None:
        self._look = None
        where, path = self._where, self._path
        if where is None:
            return
        self._busy(t("bring_in.reading", file=path.name))
        asked = self._asked
        self._press.run(
            lambda *_: asks.read(path, where.places),
            partial(self._only, asked, self._hold_against),
            partial(self._only, asked, self._unreadable),
        )

    def _hold_against(self, entries: Any) -> None:
        asked = self._asked

        def ask() -> None:
            if asked == self._asked:
                show = partial(self._only, asked, self.show)
                self.clerk.ask(asks.against(entries), show, self._later(ask, self._failed))

        ask()

    def _later(self, ask: Callable[[], object], failed: Callable[[Exception], object]) -> Callable[[Exception], None]:
        """What becomes of an error: work that gave way to somebody is asked for again after them."""

        def again(error: Exception) -> None:
            if isinstance(error, asks.GaveWay) and not self._given_up:
                self.waits, self.written = True, 0
                Clock.schedule_once(lambda _: self._no_more() if self._given_up else ask(), AGAIN_S)
            elif isinstance(error, asks.GaveWay | asks.GivenUp):
                self._no_more()
            else:
                failed(error)

        return again

    def _at(self, number: int) -> None:
        """On the desk's thread: so many lines are there.  Raises GivenUp, and then there is none of them."""
        if self._given_up:
            raise asks.GivenUp
        if number % TELL_EACH == 0:
            Clock.schedule_once(lambda _: self.far(number))

    def far(self, number: int) -> None:
        """Show how far it is."""
        self.waits, self.written = False, number

    def _busy(self, words: str) -> None:
        self._asked += 1
        self.busy = words
        self.page = Page.BUSY

    def _at_work(self, words: str) -> None:
        """The desk writes, all of it or nothing, in slices: somebody who scans meanwhile comes first."""
        self.busy, self.waits, self.written, self.to_write, self._told = words, False, 0, 0, False
        self._given_up = False
        self.page = Page.WRITING

    def give_up(self) -> None:
        """Not after all: nothing of it is written, unless all of it is by now."""
        self._given_up = True

    def _no_more(self) -> None:
        if self.page == Page.WRITING:
            self._given_up = False
            self.look_around()

    def cancel(self) -> None:
        """Not this one after all."""
        self._asked += 1
        self._press.cancel()
        if self._where is not None:
            self.page = Page.FILES
        else:
            self.clerk.go("things")

    # What it would change ---------------------------------------------------------------------------------------

    def show(self, look: asks.Look) -> None:
        """Show what a file would change: what cannot be first, then what stays, changes and is new."""
        self._look = look
        plan = look.plan
        self.rows = [
            _change(change, f"{how.value} {at}")
            for how in _SIGNS
            for at, change in enumerate([each for each in plan.changes if each.how is how][:_SHOWN])
        ]
        counted = [t(f"bring_in.count.{how.value}", count=plan.count(how)) for how in How if plan.count(how)]
        self.note = ", ".join(counted) or t("bring_in.empty")
        self.act = TAKE if plan.lines else ""
        self.act_words = t("bring_in.take", count=len(plan.lines)) if plan.lines else t("bring_in.nothing")
        if plan.conflicts:
            self.act_words = t("bring_in.mend")
            self.clerk.play(Sound.REFUSED)
        self.page = Page.LOOK

    def _unreadable(self, error: Exception) -> None:
        if not isinstance(error, asks.FileFaults):
            self._failed(error)
            return
        self.rows = [_fault(fault, at) for at, fault in enumerate(error.faults[:_SHOWN])]
        self.note = t("bring_in.faults", count=len(error.faults))
        no_code = any(fault.field.endswith("code") for fault in error.faults)
        self.act, self.act_words = ("fill", t("bring_in.fill")) if no_code else ("", t("bring_in.mend"))
        self.page = Page.LOOK
        self.clerk.play(Sound.REFUSED)

    def do(self) -> None:
        """The large button of the look."""
        if self.act == "fill":
            path, asked = self._path, self._asked
            self._press.run(
                lambda *_: asks.fill(path), partial(self._only, asked, self._filled),
                partial(self._only, asked, self._failed),
            )  # fmt: skip
        elif self._look is not None and self._look.locked:
            self.clerk.go("pin", goal=self.name, act=TAKE)
        elif self._look is not None:
            self._write()

    def _filled(self, count: int) -> None:
        if count:
            self._read()
        else:
            self.act, self.act_words = "", t("bring_in.mend")

    def _write(self) -> None:
        look, self._look = self._look, None  # a second touch must not write it twice
        if look is None:
            return
        self._at_work(t("bring_in.writing", count=len(look.plan.lines)))
        self.to_write = len(look.plan.lines)

        def ask() -> None:
            take = asks.take(look.plan, self._path.name, self._at)
            self.clerk.ask(take, self._written, self._later(ask, self._refused))

        ask()

    def _refused(self, error: Exception) -> None:
        """The shop has moved on: what the file would do now is shown, and why."""
        if isinstance(error, asks.ImportRefused):
            self.show(asks.Look(error.plan, error.plan.corrects))
            self.note = fault_words(error)
            self.clerk.play(Sound.REFUSED)
        else:
            self._failed(error)

    def _written(self, count: int) -> None:
        self.labels = True
        self._answer(t("bring_in.written", count=count))

    # Taken back -------------------------------------------------------------------------------------------------

    def show_past(self) -> None:
        """What was imported before."""
        self.clerk.ask(asks.imports(), self.past, self._failed)

    def past(self, rows: tuple[asks.ImportRow, ...]) -> None:
        """Show it."""
        self._past = {str(row.line): row for row in rows}
        self.options = [
            Marked(str(row.line), row.source, t("bring_in.undone") if row.undone else clock_words(row.utc_s))
            for row in rows
        ]
        self.page = Page.PAST

    def choose_past(self, row: Marked) -> None:
        """Take this one back?"""
        if self._past[row.key].undone:
            self.trouble = t("bring_in.undone")
            return
        self._one, self.title, self.trouble = row.key, row.text, ""
        self.reasons = [Choice(reason, t(f"bring_in.reason.{reason}")) for reason in REASONS]
        self.page = Page.ONE

    def take_back(self, choice: Choice) -> None:
        """For this reason."""
        self._undo(choice.text)

    def _undo(self, reason: str) -> None:
        def failed(error: Exception) -> None:
            if type(error).__name__ == "Locked":
                self.page = Page.ONE
                self.clerk.go("pin", goal=self.name, act=UNDO, reason=reason)
            else:
                self._failed(error)

        self._at_work(t("bring_in.taking_back", file=self.title))

        def ask() -> None:
            self.clerk.ask(asks.undo(int(self._one), reason, self._at), self._undone, self._later(ask, failed))

        ask()

    def _undone(self, undone: asks.UndoneImport) -> None:
        self.labels = False
        kept = f" {t('bring_in.kept', count=len(undone.kept))}" if undone.kept else ""
        self._answer(t("bring_in.taken_back", file=self.title) + kept)

    def _answer(self, words: str) -> None:
        self.clerk.play(Sound.DONE)
        self.answer, self.good = words, True
        self._told = self.clerk.view is self
        self.page = Page.ANSWER

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        written = isinstance(error, asks.StillWritten)
        gone = isinstance(error, OSError) and not written and not self._path.exists()
        self.trouble = t("bring_in.still_written") if written else t("bring_in.gone") if gone else fault_words(error)
        past = self.page == Page.ONE or (self.page == Page.WRITING and not self.to_write)
        self.page = Page.PAST if past else Page.FILES


def _change(change: asks.Change, key: str) -> Marked:
    icon, tone = _SIGNS[change.how]
    if change.why is not None:
        note = say(change.why)
    else:
        said = [
            f"{column_words(field)} {_value(before)} → {_value(after)}".strip()
            for field, before, after in change.details
        ]
        more = " …" if len(said) > _DETAILS else ""
        note = ", ".join(said[:_DETAILS]) + more or t(f"term.intake.{change.how.value}")
    name = change.name if change.what != "label" else change.key
    return Marked(key, f"{t(f'bring_in.what.{change.what}')} {name}", note, icon=icon, tone=tone)


def _value(value: str | float) -> str:
    """One of the two of a change: a figure with the language's decimal sign, a dash for none."""
    return (value or "–") if isinstance(value, str) else catalogue(language()).number(value, _PLACES)


def _fault(fault: asks.Fault, at: int) -> Marked:
    return Marked(str(at), *file_fault_words(fault), icon="stop", tone="stop")


load_beside(__file__)
