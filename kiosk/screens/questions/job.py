"""Questions about a job: its setup sheet, the machine, the control's own list, the presetter's.

Reads and writes the papers beside the book; what they mean is said by `exchange` and `rules`.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from kiosk import filing, words
from kiosk.desk import Desk
from kiosk.desk.desk import Scanned
from kiosk.desk.handover import MachineView, Pocket
from kiosk.desk.inbox import Inbox
from kiosk.desk.papers import Presetting
from kiosk.exchange.control_list import (
    ListMap,
    comparison_csv,
    comparison_text,
    guess_columns,
    read_map,
    write_map,
)
from kiosk.exchange.faults import Fault, FileFaults, Read
from kiosk.exchange.presetter import PresetterMap, Reading, read_measurements, read_presetter_map
from kiosk.exchange.sheet import read_sheet
from kiosk.exchange.tables_csv import decoded, read_table
from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.rules.compare import Comparison
from kiosk.rules.fitting.setup_sheet import Met, Need
from kiosk.rules.place_drawing import PlaceDrawing
from kiosk.rules.stock import book_entry
from kiosk.screens.questions import Question
from kiosk.screens.questions.common import Folder, folder

__all__ = [
    "Fault", "FileFaults", "HeldUp", "ListMap", "MachineView", "NoMap", "Pocket", "Presetting", "Read", "Reading",
    "Result", "Sheet", "compare", "hand_over", "held_up", "keep_map", "lists", "machine", "machines", "magazine",
    "magazines", "met", "picture", "presets", "read", "readings", "save", "sheets", "take",
]  # fmt: skip

SAVED = "comparisons"  # folder beside the book
MAP = "presetter.toml"  # for lists that have no map of their own name


# The machine ----------------------------------------------------------------------------------------------------


def machines() -> Question[tuple[MachineView, ...]]:
    """Every machine with its pockets."""
    return lambda desk: desk.handover.machines()


def machine(code: str, key: str) -> Question[tuple[MachineView, str]]:
    """A machine as it is for a holder that is to go in, and that holder's name; key "": for none."""
    return lambda desk: (desk.handover.machine(code, key or None), desk.session.holder(key).name if key else "")


def hand_over(pocket: str, key: str) -> Question[Scanned]:
    """As if both had been scanned: the pocket first, so that a kiosk that stands at a place does not take the holder
    for its own.  An audit waits from then on: a touch on a map is no label that was seen."""

    def answer(desk: Desk) -> Scanned:
        desk.audits.pause()
        desk.cancel()
        desk.scan(pocket)
        return desk.scan(desk.session.holder(key).code)

    return answer


# The setup sheet ------------------------------------------------------------------------------------------------


class Sheet(NamedTuple):
    """A sheet as it was read, and the names of the machines there are."""

    read: Read[Need]
    machines: tuple[str, ...]


class HeldUp(NamedTuple):
    """What was held up on the round: `hot` means it must stay where it is."""

    code: str
    name: str
    hot: bool


def sheets() -> Question[Folder]:
    """The setup sheets that wait."""
    return lambda desk: folder(desk, Inbox.SETUPS)


def read(path: Path) -> Question[Sheet]:
    """A setup sheet.  Raises FileFaults where it is no table at all, OSError."""

    def answer(desk: Desk) -> Sheet:
        found = read_sheet(decoded(filing.take(path), path.name), path.name)
        return Sheet(found, tuple(desk.papers.magazines()))

    return answer


def met(needs: tuple[Need, ...]) -> Question[tuple[Met, ...]]:
    """What of a sheet is there, and where."""
    return lambda desk: desk.papers.setup(needs)


def held_up(text: str) -> Question[HeldUp]:
    """What a label is on that was held up on the round."""

    def answer(desk: Desk) -> HeldUp:
        subject = desk.session.cards.subject(text)
        if isinstance(subject, HolderCard):
            return HeldUp(subject.code, subject.name, book_entry(subject).hot)
        return HeldUp(text, words.grouped(text), False)

    return answer


def picture(key: str) -> Question[PlaceDrawing]:
    """Where a holder stands, drawn.  Raises NotThere."""
    return lambda desk: desk.finding.picture(key)


def magazine(name: str) -> Question[PlaceCard]:
    """The machine of this name, with its magazine."""

    def answer(desk: Desk) -> PlaceCard:
        code = next(machine.code for machine in desk.handover.machines() if machine.name == name)
        return desk.session.place(code)

    return answer


# The control's own list -----------------------------------------------------------------------------------------


class Result(NamedTuple):
    """A comparison, and the map it was made by.  `guessed`: from the header, no map is there."""

    comparison: Comparison
    made: ListMap
    guessed: bool


def magazines() -> Question[tuple[str, ...]]:
    """The names of the machines that have a magazine."""
    return lambda desk: tuple(desk.papers.magazines())


def lists() -> Question[Folder]:
    """The lists that wait, as controls wrote them."""
    return lambda desk: folder(desk, Inbox.CONTROLS)


def compare(machine: str, path: Path) -> Question[Result]:
    """A control's list beside the book.  Raises FileFaults, OSError."""

    def answer(desk: Desk) -> Result:
        data = filing.take(path)
        made, guessed = _map_for(path, machine, data)
        return Result(desk.papers.compare(machine, data, path.name, made), made, guessed)

    return answer


def _map_for(path: Path, machine: str, data: bytes) -> tuple[ListMap, bool]:
    """The list's own map, else the machine's, else a guess."""
    for name in (f"{path.stem}.toml", f"{machine}.toml"):
        beside = path.with_name(name)
        if beside.exists():
            return read_map(filing.take_text(beside), name), False
    table = read_table(decoded(data, path.name, eight_bit=True), path.name)
    return ListMap(guess_columns(table.columns)), True


def keep_map(made: ListMap, path: Path) -> Question[Path]:
    """From now on this file says which column of such lists is which.  Raises OSError."""
    return lambda _: filing.write(path, write_map(made))


def save(comparison: Comparison, name: str) -> Question[Path]:
    """Write a comparison beside the book, as its name ends: `.csv`, or `.txt` to be printed.  Raises OSError."""
    wording = comparison_csv if name.endswith(".csv") else comparison_text

    def answer(desk: Desk) -> Path:
        path = desk.session.book.path.parent / SAVED / name
        path.parent.mkdir(exist_ok=True)
        return filing.write(path, wording(comparison, words.say))

    return answer


# The presetter's list -------------------------------------------------------------------------------------------


class NoMap(ValueError):
    """A list nobody has said the columns of.  `file`: its name."""

    def __init__(self, file: str) -> None:
        super().__init__(file)
        self.file = file


def presets() -> Question[Folder]:
    """The presetter's lists that wait."""
    return lambda desk: folder(desk, Inbox.PRESETTER)


def readings(path: Path) -> Question[Read[Reading]]:
    """A presetter's list, by its own map, else the shop's.  Raises NoMap, FileFaults for a map that is wrong."""
    return lambda _: _readings(path)


def _readings(path: Path) -> Read[Reading]:
    made: PresetterMap | None = None
    for beside in (path.with_suffix(".toml"), path.with_name(MAP)):
        if beside.exists():
            made = read_presetter_map(filing.take_text(beside), beside.name)
            break
    if made is None:
        raise NoMap(path.name)
    try:
        return read_measurements(filing.take(path), path.name, made)
    except FileFaults as faults:  # no table at all
        return Read((), faults.faults)


def take(readings: tuple[Reading, ...]) -> Question[tuple[Presetting, ...]]:
    """Write measurements down, each checked like one typed by hand."""
    return lambda desk: desk.papers.presettings(readings)
