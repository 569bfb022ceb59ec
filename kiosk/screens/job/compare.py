"""The control's own list beside the book: what agrees, what differs, and what to do about each line.

It changes neither side.  Which column is which comes from the shop's map beside the list, or is guessed from the
header and said to be guessed; a line that cannot be read is shown and the comparison is not made.
"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, OptionProperty, StringProperty

from kiosk.rules.compare import Compared, Verdict
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.marked import Marked
from kiosk.screens.questions import common
from kiosk.screens.questions import job as asks
from kiosk.screens.questions.job import FileFaults, ListMap, Result
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.telling import file_fault_words
from kiosk.words import say, t

_LACKING = (Verdict.NOT_IN_BOOK, Verdict.NOT_IN_CONTROL, Verdict.ELSEWHERE)


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    MACHINES = "machines"
    LISTS = "lists"
    FAULTS = "faults"
    LINES = "lines"


class CompareScreen(View):
    """Machine, list, lines; or what is wrong in the list."""

    name = "compare"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.MACHINES, options=list(Page))
    machine = StringProperty()
    folder = StringProperty()
    choices = ListProperty()  # machines, then lists
    rows = ListProperty()  # faults, or lines
    told = StringProperty()  # what was guessed, kept or saved
    trouble = StringProperty()
    summary = StringProperty()
    chosen = StringProperty()
    found = StringProperty()
    remedy = StringProperty()
    guessed = BooleanProperty(False)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._result: Result | None = None
        self._file = Path()

    def shown(self, **_: Any) -> None:
        self.told = self.trouble = ""
        self.choices = []
        self.page = Page.MACHINES
        self.clerk.ask(asks.magazines(), self._listed, self._failed)

    def back(self) -> None:
        """One state back, or out."""
        if self.page == Page.MACHINES:
            self.clerk.back()
        elif self.page == Page.LISTS:
            self.shown()
        else:
            self.choose_machine(Choice(self.machine, self.machine))

    def _listed(self, names: tuple[str, ...]) -> None:
        self.choices = [Choice(name, name) for name in names]

    def choose_machine(self, choice: Choice) -> None:
        """The machine whose control wrote the list."""
        self.machine = choice.key
        self.clerk.ask(asks.lists(), self._papers, self._failed)

    def _papers(self, found: common.Folder) -> None:
        self.folder = found.where
        self.choices = [Choice(str(paper.path), paper.name) for paper in found.papers]
        self.told = self.trouble = ""
        self.page = Page.LISTS

    def choose_list(self, choice: Choice) -> None:
        """This list."""
        self._file = path = Path(choice.key)
        machine = self.machine
        self.clerk.ask(asks.compare(machine, path), self.show, self._not_compared)

    def show(self, result: Result) -> None:
        """Show a comparison; the first line that asks for something is looked at."""
        self._result = result
        comparison = result.comparison
        self.rows = [_line(line, at) for at, line in enumerate(comparison.lines)]
        agree = comparison.count(Verdict.SAME)
        self.summary = t("comparing.summary", agree=agree, differ=len(comparison.lines) - agree)
        self.guessed = result.guessed
        self.told, self.trouble = _columns(result.made) if result.guessed else "", ""
        self.page = Page.LINES
        if self.rows:
            self.choose(self.rows[0])
        self.clerk.play(Sound.DONE if comparison.agrees else Sound.REFUSED)

    def choose(self, row: Marked) -> None:
        """Look at one line."""
        if self._result is None:
            return
        line = self._result.comparison.lines[int(row.key)]
        self.chosen = row.key
        self.found = ". ".join(say(message) for message in line.verdict_words)
        self.remedy = ". ".join(say(message) for message in line.remedies)

    def keep_map(self) -> None:
        """From now on this machine's lists have these columns."""
        if self._result is not None:
            made, path = self._result.made, self._file.with_name(f"{self.machine}.toml")
            self.clerk.ask(asks.keep_map(made, path), self._kept, self._failed)

    def _kept(self, _: Path) -> None:
        self.guessed = False
        self.told, self.trouble = t("comparing.map_kept", file=f"{self.machine}.toml"), ""

    def save(self, kind: str) -> None:
        """Write the comparison down: `csv`, or `txt` to be printed."""
        if self._result is not None:
            comparison, name = self._result.comparison, f"{self.machine} {self._file.stem}.{kind}"
            self.clerk.ask(asks.save(comparison, name), self._saved, self._failed)

    def _saved(self, path: Path) -> None:
        self.clerk.play(Sound.DONE)
        self.told, self.trouble = t("comparing.saved", file=f"{path.parent.name}/{path.name}"), ""

    def _not_compared(self, error: Exception) -> None:
        if not isinstance(error, FileFaults):
            self._failed(error)
            return
        self.clerk.play(Sound.REFUSED)
        self.rows = [
            Marked(str(at), *file_fault_words(fault), icon="stop", tone="stop") for at, fault in enumerate(error.faults)
        ]
        self.page = Page.FAULTS

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble = fault_words(error)


def _line(line: Compared, at: int) -> Marked:
    pocket = line.values["control_pocket"] if line.values["control_pocket"] is not None else line.values["pocket"]
    same = line.verdicts == (Verdict.SAME,)
    lacking = any(verdict in _LACKING for verdict in line.verdicts)
    note = ", ".join(t(f"comparing.verdict.{verdict.value}") for verdict in line.verdicts)
    side = f"{pocket:02}" if isinstance(pocket, int) else ""
    icon = "done" if same else "missing" if lacking else "stop"
    return Marked(str(at), line.name, note, side, icon, "done" if same else "stop")


def _columns(made: ListMap) -> str:
    columns = made.columns
    known = (columns.name, columns.number, columns.pocket, columns.length, columns.diameter or columns.radius)
    return t("comparing.guessed", columns=", ".join(name for name in known if name))


load_beside(__file__)
