"""The control's own list beside the book: what agrees, what differs, and what to do about each line.

It changes neither side.  Which column is which comes from the shop's map beside the list, or is guessed from the
header and said to be guessed; a line that cannot be read is shown and the comparison is not made.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, StringProperty

from kiosk import filing
from kiosk.desk import Desk
from kiosk.desk.inbox import Inbox, papers, where_to_put
from kiosk.exchange.control_list import (
    ListMap,
    comparison_csv,
    comparison_text,
    guess_columns,
    read_map,
    write_map,
)
from kiosk.exchange.faults import FileFaults
from kiosk.exchange.tables_csv import decoded, read_table
from kiosk.rules.compare import Compared, Comparison, Verdict
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.marked import Marked
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import say, t

MACHINES, LISTS, FAULTS, LINES = range(4)
SAVED = "comparisons"  # folder beside the book
_LACKING = (Verdict.NOT_IN_BOOK, Verdict.NOT_IN_CONTROL, Verdict.ELSEWHERE)


class Result(NamedTuple):
    """A comparison, and the map it was made by.  `guessed`: from the header, no map is there."""

    comparison: Comparison
    made: ListMap
    guessed: bool


class CompareScreen(View):
    """Machine, list, lines; or what is wrong in the list."""

    name = "compare"
    rail = "shop"
    covers = Covers.RAIL

    step = NumericProperty(MACHINES)
    machine = StringProperty()
    folder = StringProperty()
    choices = ListProperty()  # machines, then lists
    rows = ListProperty()  # faults, or lines
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
        self.trouble = ""
        self.choices = []
        self.step = MACHINES
        self.clerk.ask(_machines, self._listed, self._failed)

    def back(self) -> None:
        """One state back, or out."""
        if self.step == MACHINES:
            self.clerk.back()
        elif self.step == LISTS:
            self.shown()
        else:
            self.choose_machine(Choice(self.machine, self.machine))

    def _listed(self, rows: list[Choice]) -> None:
        self.choices = rows

    def choose_machine(self, choice: Choice) -> None:
        """The machine whose control wrote the list."""
        self.machine = choice.key
        self.clerk.ask(_lists, self._papers, self._failed)

    def _papers(self, found: tuple[str, list[Choice]]) -> None:
        self.folder, self.choices = found
        self.trouble = ""
        self.step = LISTS

    def choose_list(self, choice: Choice) -> None:
        """This list."""
        self._file = path = Path(choice.key)
        machine = self.machine
        self.clerk.ask(lambda desk: _compare(desk, machine, path), self.show, self._not_compared)

    def show(self, result: Result) -> None:
        """Show a comparison; the first line that asks for something is looked at."""
        self._result = result
        comparison = result.comparison
        self.rows = [_line(line, at) for at, line in enumerate(comparison.lines)]
        agree = comparison.count(Verdict.SAME)
        self.summary = t("comparing.summary", agree=agree, differ=len(comparison.lines) - agree)
        self.guessed = result.guessed
        self.trouble = _columns(result.made) if result.guessed else ""
        self.step = LINES
        if self.rows:
            self.choose(self.rows[0])
        self.clerk.play(Sound.DONE if comparison.agrees else Sound.REFUSED)

    def choose(self, row: Marked) -> None:
        """Look at one line."""
        if self._result is None:
            return
        line = self._result.comparison.lines[int(row.key)]
        self.chosen = row.key
        self.found = ". ".join(say(message) for message in line.found)
        self.remedy = ". ".join(say(message) for message in line.remedies)

    def keep_map(self) -> None:
        """From now on this machine's lists have these columns."""
        if self._result is not None:
            made, path = self._result.made, self._file.with_name(f"{self.machine}.toml")
            self.clerk.ask(lambda _: filing.write(path, write_map(made)), self._kept, self._failed)

    def _kept(self, _: Path) -> None:
        self.guessed = False
        self.trouble = t("comparing.map_kept", file=f"{self.machine}.toml")

    def save(self, kind: str) -> None:
        """Write the comparison down: `csv`, or `txt` to be printed."""
        if self._result is not None:
            comparison, name = self._result.comparison, f"{self.machine} {self._file.stem}.{kind}"
            text = comparison_csv(comparison, say) if kind == "csv" else comparison_text(comparison, say)
            self.clerk.ask(lambda desk: _save(desk, name, text), self._saved, self._failed)

    def _saved(self, path: Path) -> None:
        self.clerk.play(Sound.DONE)
        self.trouble = t("comparing.saved", file=f"{path.parent.name}/{path.name}")

    def _not_compared(self, error: Exception) -> None:
        if not isinstance(error, FileFaults):
            self._failed(error)
            return
        self.clerk.play(Sound.REFUSED)
        self.rows = [
            Marked(
                str(at),
                t("setup_sheet.line", line=fault.line) if fault.line else fault.file,
                f"{fault.field} {fault.why}".strip(),
                icon="stop",
                tone="stop",
            )
            for at, fault in enumerate(error.faults)
        ]
        self.step = FAULTS

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


def _machines(desk: Desk) -> list[Choice]:
    return [Choice(name, name) for name in desk.papers.magazines()]


def _lists(desk: Desk) -> tuple[str, list[Choice]]:
    data = desk.session.book.path.parent
    found = papers(data, Inbox.CONTROLS)
    return where_to_put(data, Inbox.CONTROLS), [Choice(str(paper.path), paper.name) for paper in found]


def _map_for(path: Path, machine: str, data: bytes) -> tuple[ListMap, bool]:
    """The list's own map, else the machine's, else a guess."""
    for name in (f"{path.stem}.toml", f"{machine}.toml"):
        beside = path.with_name(name)
        if beside.exists():
            return read_map(filing.take_text(beside), name), False
    table = read_table(decoded(data, path.name, eight_bit=True), path.name)
    return ListMap(guess_columns(table.columns)), True


def _compare(desk: Desk, machine: str, path: Path) -> Result:
    data = filing.take(path)
    made, guessed = _map_for(path, machine, data)
    return Result(desk.papers.compare(machine, data, path.name, made), made, guessed)


def _save(desk: Desk, name: str, text: str) -> Path:
    path = desk.session.book.path.parent / SAVED / name
    path.parent.mkdir(exist_ok=True)
    return filing.write(path, text)


load_beside(__file__)
