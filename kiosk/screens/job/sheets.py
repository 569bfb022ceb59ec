"""Setup sheets written by touch: a new one, other lines, a copy, one laid aside and one needed again.

A line asks for a name of what is built, or for cutting data.  Nothing is written before a sheet is kept, then all.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from kivy.properties import (
    BooleanProperty,
    ListProperty,
    NumericProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)

from kiosk.rules.assembly import Cutter
from kiosk.rules.bounds_of_lines import BOUNDS
from kiosk.screens.clerk import fault_words
from kiosk.screens.job.setup import wish
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import sheets as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t

FIGURES = ("dc_mm", "re_mm", "lu_mm", "zefp")  # as they are asked for
KEEP, AWAY, BACK, DROP = "keep", "away", "back", "drop"
REASONS = {KEEP: ("job_changed", "typed_wrong"), AWAY: ("job_over", "typed_wrong"), BACK: ("job_again", "typed_wrong")}


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    LIST = "list"
    GONE = "gone"
    NAME = "name"
    LINES = "lines"
    HOW = "how"
    TOOLS = "tools"
    SEARCH = "search"
    FIGURE = "figure"
    PIECES = "pieces"
    LINE = "line"
    MACHINE = "machine"
    REASON = "reason"


class SheetsScreen(View):
    """The sheets; one with its lines; a line's questions; why it is changed."""

    name = "sheets"
    rail = "shop"
    covers = Covers.RAIL
    signs_in = True

    page = OptionProperty(Page.LIST, options=list(Page))
    title = StringProperty()
    told = StringProperty()  # what was done
    trouble = StringProperty()  # what speaks against it
    rows = ListProperty()
    options = ListProperty()
    gone = NumericProperty(0)
    new = BooleanProperty(True)
    asked = StringProperty()
    bound = ObjectProperty(None, allownone=True)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._known = asks.Known((), ())
        self._open = asks.Opened(None, (), False, False)
        self._needs: list[asks.Need] = []
        self._was: tuple[asks.Need, ...] = ()  # what is written of them
        self._from = Page.TOOLS  # where "how many" was asked from
        self._need = asks.Need(0)
        self._at = 0  # which line is looked at
        self._figure = ""
        self._act = KEEP
        self._path = Path()

    @property
    def stays(self) -> bool:
        """A sheet half written is not thrown away."""
        return self.page not in (Page.LIST, Page.GONE)

    def shown(self, act: str = "", **_: Any) -> None:
        """`act`: what a PIN was given for; what was written so far is still here."""
        self.told = self.trouble = ""
        if act:
            self._why(act)
        elif self._unkept:
            self.show_lines()
        else:
            self.look_around()

    @property
    def _unkept(self) -> bool:
        return tuple(self._needs) != self._was

    def left(self) -> None:
        self.ids.name.end()
        self.ids.search.end()

    def scanned(self, text: str) -> bool:
        """While somebody writes a sheet nothing else is taken in."""
        return self.stays

    def back(self) -> None:
        """One page back, or out."""
        self.left()
        self.told = self.trouble = ""
        match self.page:
            case Page.LIST:
                self.clerk.go("setup")
            case Page.SEARCH:
                self.page = Page.TOOLS
            case Page.TOOLS | Page.FIGURE:
                self.do("add")
            case Page.PIECES:
                self._back_from_pieces()
            case Page.LINES if self._unkept:
                self._ask_whether_to_drop()
            case Page.HOW | Page.LINE | Page.MACHINE:
                self.show_lines()
            case Page.REASON if self._act != BACK:
                self.show_lines()
            case Page.NAME if self._needs or not self.new:
                self.show_lines()
            case _:
                self._leave()

    def _back_from_pieces(self) -> None:
        if self._from == Page.LINE:
            self.touch(Choice(str(self._at), self.asked))
        elif self._from == Page.FIGURE:
            self._ask_figure(self._figure)
        else:
            self.page = Page.TOOLS

    def _ask_whether_to_drop(self) -> None:
        """What was written is not thrown away by one touch."""
        self.asked = self.title
        keep = [Choice(KEEP, t("sheet.keep"))] if self._needs else []
        self.options = [*keep, Choice(DROP, t("sheet.drop"))]
        self.page = Page.LINE

    def _leave(self, told: str = "") -> None:
        """Nothing is kept of what was written so far."""
        self._needs, self._was = [], ()
        self.look_around(told)

    # Which sheet ------------------------------------------------------------------------------------------------

    def look_around(self, told: str = "") -> None:
        """All sheets."""
        self.clerk.ask(asks.known(), lambda known: self.show(known, told), self._failed)

    def show(self, known: asks.Known, told: str = "") -> None:
        """Show them."""
        self._known, self.gone, self.told, self.trouble = known, len(known.gone), told, ""
        self.rows = [Choice(str(paper.path), paper.name) for paper in known.sheets]
        self.page = Page.LIST

    def show_gone(self) -> None:
        """Those laid aside."""
        self.options = [Choice(str(paper.path), paper.name) for paper in self._known.gone]
        self.page = Page.GONE

    def choose_gone(self, choice: Choice) -> None:
        """This one is needed again."""
        self._path, self.title = Path(choice.key), choice.text
        self.clerk.ask(asks.open_one(None), self._bring_back, self._failed)

    def _bring_back(self, opened: asks.Opened) -> None:
        self._open = opened
        self._may(BACK)

    def begin(self) -> None:
        """A new sheet."""
        self.title = ""
        self.clerk.ask(asks.open_one(None), self.opened, self._failed)

    def choose(self, choice: Choice) -> None:
        """This sheet."""
        self.title, self._path = choice.text, Path(choice.key)
        self.clerk.ask(asks.open_one(self._path), self.opened, self._failed)

    def opened(self, opened: asks.Opened) -> None:
        """Its lines."""
        self._open, self.new, self.trouble = opened, opened.sheet is None, ""
        self._needs = list(opened.sheet.read.good) if opened.sheet else []
        self._was = tuple(self._needs)
        if opened.sheet is None:
            self._name("")
        else:
            if opened.sheet.read.faults:
                self.trouble = t("things.sheet_unreadable", name=self.title)
            self.show_lines()

    def _name(self, text: str) -> None:
        self.page = Page.NAME
        self.ids.name.begin(text)

    def named(self, text: str) -> None:
        """What the job is called."""
        if text:
            self.told = self.trouble = ""
            self.clerk.ask(asks.free(text), self._named, self._failed)

    def _named(self, name: str) -> None:
        if self.page != Page.NAME:
            return  # left meanwhile
        self.ids.name.end()
        self.title, self.new, self._was = name, True, ()
        self.show_lines()

    # Its lines --------------------------------------------------------------------------------------------------

    def show_lines(self) -> None:
        """What is on the sheet."""
        self.rows = [
            Choice(str(at), wish(need), " · ".join(filter(None, (f"{need.quantity} ×", need.machine))))
            for at, need in enumerate(self._needs)
        ]
        acts = ("machine",) if self.new else ("machine", "copy", AWAY)
        self.options = [Choice(act, t(f"sheet.{act}")) for act in ("add", *acts)]
        self.page = Page.LINES

    def do(self, act: str) -> None:
        """A key of the sheet was touched."""
        self.told = self.trouble = ""
        if act == "add":
            self.options = [Choice(how, t(f"sheet.{how}")) for how in ("by_name", "by_figures")]
            self.page = Page.HOW
        elif act == "machine":
            names = self._open.machines
            self.options = [Choice("", t("sheet.any_machine")), *(Choice(name, name) for name in names)]
            self.page = Page.MACHINE
        elif act == "copy":
            self._name(self.title)
        else:
            self._may(AWAY)

    def take_machine(self, choice: Choice) -> None:
        """All of it is for this machine."""
        self._needs = [replace(need, machine=choice.key) for need in self._needs]
        self.show_lines()

    def touch(self, choice: Choice) -> None:
        """One line: another number of it, or off the sheet."""
        self._at = int(choice.key)
        self.asked = choice.text
        self.options = [Choice("pieces", t("sheet.pieces")), Choice("out", t("sheet.out"))]
        self.page = Page.LINE

    def change_line(self, act: str) -> None:
        """One of the two."""
        if act == KEEP:
            self.keep()
        elif act == DROP:
            self._leave()
        elif act == "out":
            self._needs.pop(self._at)
            self.show_lines()
        else:
            self._ask_pieces(self._needs[self._at])

    # One more tool ----------------------------------------------------------------------------------------------

    def add_line(self, how: str) -> None:
        """By its name, or by its figures."""
        self._at = len(self._needs)
        if how == "by_name":
            self.look("")
        else:
            self._need = asks.Need(0, machine=self._machine)
            self._ask_figure(FIGURES[0])

    @property
    def _machine(self) -> str:
        """What all lines are for so far, where that is one machine."""
        named = {need.machine for need in self._needs}
        return named.pop() if len(named) == 1 else ""

    def look(self, text: str) -> None:
        """What is built of such a name."""
        self.ids.search.end()
        self.clerk.ask(asks.tools(text), self.found, self._failed)

    def found(self, names: tuple[str, ...]) -> None:
        """Show it."""
        self.options = [Choice(name, name) for name in names]
        self.page = Page.TOOLS

    def search(self) -> None:
        """Type a part of the name."""
        self.page = Page.SEARCH
        self.ids.search.begin()

    def take_tool(self, choice: Choice) -> None:
        """This one."""
        self._ask_pieces(asks.Need(0, choice.key, machine=self._machine))

    def _ask_figure(self, figure: str) -> None:
        self._figure, self.asked = figure, t(f"field.{figure}")
        self.bound = BOUNDS[Cutter][figure]
        self.ids.figure.text = ""
        self.page = Page.FIGURE

    def take_figure(self, value: float | None) -> None:
        """What this figure must be; None: no matter."""
        if value is not None:
            figure = int(value) if self._figure == "zefp" else value
            self._need = replace(self._need, **{self._figure: figure})  # type: ignore[arg-type]  # by its field's name
        left = FIGURES[FIGURES.index(self._figure) + 1 :]
        if left:
            self._ask_figure(left[0])
        elif not self._need.says_something:
            self.trouble = t("sheet.says_nothing")
            self._ask_figure(FIGURES[0])
        else:
            self._ask_pieces(self._need)

    def _ask_pieces(self, need: asks.Need) -> None:
        self._from = Page(self.page)
        self._need, self.trouble, self.asked = need, "", wish(need)
        self.ids.pieces.text = ""
        self.page = Page.PIECES

    def take_pieces(self, count: float) -> None:
        """So many of it."""
        self._needs[self._at : self._at + 1] = [replace(self._need, quantity=int(count))]
        self.show_lines()

    # Kept, laid aside, needed again -----------------------------------------------------------------------------

    def keep(self) -> None:
        """The sheet is right."""
        if self.new:
            name, self._act = self.title, KEEP
            self.clerk.ask(asks.add(name, tuple(self._needs)), lambda _: self._done("kept"), self._failed)
        else:
            self._may(KEEP)

    def _may(self, act: str) -> None:
        self._act = act
        self.clerk.ask(asks.guard(), lambda guard: self._guarded(act, guard), self._failed)

    def _guarded(self, act: str, guard: asks.Guard) -> None:
        if guard.locked:
            self.clerk.go("pin", goal=self.name, act=act)
        elif guard.why:
            self._why(act)
        else:
            self.take_reason(Choice("", t("enter.while_setting_up")))

    def _why(self, act: str) -> None:
        self._act = act
        self.options = [Choice(reason, t(f"sheet.reason.{reason}")) for reason in REASONS[act]]
        self.page = Page.REASON

    def take_reason(self, choice: Choice) -> None:
        """Why."""
        sheet, reason = self._open.sheet, choice.text
        if self._act == BACK:
            self.clerk.ask(asks.bring_back(self._path, reason), lambda _: self._done("is_back"), self._failed)
        elif self._act == AWAY:
            self.clerk.ask(asks.retire(self._path, reason), lambda _: self._done("is_away"), self._failed)
        elif sheet is not None:
            question = asks.change(sheet, tuple(self._needs), reason)
            self.clerk.ask(question, lambda _: self._done("kept"), self._failed)

    def _done(self, what: str) -> None:
        self.clerk.play(Sound.DONE)
        self._leave(t(f"sheet.{what}", name=self.title))

    def _failed(self, error: Exception) -> None:
        if type(error).__name__ == "Locked":  # the PIN ran out meanwhile
            self.clerk.go("pin", goal=self.name, act=self._act)
            return
        self.clerk.play(Sound.REFUSED)
        if self.new and asks.is_of_the_name(error) and self.page != Page.NAME and self._act != BACK:
            self._name(self.title)
        elif self.page == Page.SEARCH:
            self.page = Page.TOOLS
        elif self.page == Page.LINE or (self.page == Page.REASON and self._act != BACK):
            self.show_lines()
        elif self.page in (Page.REASON, Page.GONE):
            self.page = Page.LIST
        self.told, self.trouble = "", fault_words(error)


load_beside(__file__)
