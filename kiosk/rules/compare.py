"""The control's own list against the book: what agrees, what differs, and what to do about each line.

Steel and the control's list drift apart, and only a comparison finds it.  Identity is not position: an assembly
is matched by what it is called, never by the pocket alone, and no line of either side is left out of the answer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from kiosk.rules.say import Plain, Say, say
from kiosk.rules.stock import BookEntry


@dataclass(frozen=True, slots=True)
class Listed:
    """One line of the control's list.  `line` counts from 1 in its file."""

    line: int
    name: str
    number: int | None = None
    pocket: int | None = None
    spindle: bool = False
    length_mm: float | None = None
    diameter_mm: float | None = None


class Verdict(Enum):
    """What a comparison finds; the value is the tail of the message ids `compare.` and `remedy.compare.`."""

    SAME = "same"
    LENGTH = "length"
    DIAMETER = "diameter"
    NOT_MEASURED = "not_measured"  # the book has nothing to compare with
    NO_VALUES = "no_values"  # the control has nothing to compare with
    WRONG_POCKET = "wrong_pocket"
    NOT_IN_CONTROL = "not_in_control"
    NOT_IN_BOOK = "not_in_book"
    ELSEWHERE = "elsewhere"  # the book knows it, but in another place than this machine
    TWICE_IN_CONTROL = "twice_in_control"
    TWICE_IN_BOOK = "twice_in_book"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far control and book may differ and still be the same."""

    length_mm: float = 0.01
    diameter_mm: float = 0.01


@dataclass(frozen=True, slots=True)
class Compared:
    """One line of the answer: at least one of `listed` and `entry` is there.

    A line the control has once more than there are such tools has the book's tool as `entry`, too.
    nearby: name of what the book has in the pocket the control names, where that is something else.
    """

    verdicts: tuple[Verdict, ...]
    listed: Listed | None
    entry: BookEntry | None
    nearby: str | None = None

    @property
    def name(self) -> str:
        if self.entry is not None:
            return self.entry.name
        return self.listed.name if self.listed else ""

    @property
    def values(self) -> dict[str, Plain]:
        """Everything a sentence about this line may show."""
        listed, entry = self.listed, self.entry
        measured = entry.assembly.measured if entry and entry.assembly else None
        return {
            "name": self.name,
            "line": listed.line if listed else None,
            "place": entry.place if entry else None,
            "pocket": entry.pocket if entry else None,
            "control_pocket": listed.pocket if listed else None,
            "length_mm": measured.length_mm if measured else None,
            "control_length_mm": listed.length_mm if listed else None,
            "diameter_mm": measured.diameter_mm if measured else None,
            "control_diameter_mm": listed.diameter_mm if listed else None,
            "nearby": self.nearby,
        }

    @property
    def verdict_words(self) -> tuple[Say, ...]:
        """What was found, a message for each verdict."""
        return tuple(say(f"compare.{verdict.value}", **self.values) for verdict in self.verdicts)

    @property
    def remedies(self) -> tuple[Say, ...]:
        """What to do about it, a message for each verdict that asks for something."""
        return tuple(
            say(f"remedy.compare.{verdict.value}", **self.values)
            for verdict in self.verdicts
            if verdict is not Verdict.SAME
        )


@dataclass(frozen=True, slots=True)
class Comparison:
    """The whole answer: what needs doing first, then what agrees, each by pocket."""

    machine: str
    lines: tuple[Compared, ...]

    @property
    def agrees(self) -> bool:
        return all(line.verdicts == (Verdict.SAME,) for line in self.lines)

    def count(self, verdict: Verdict) -> int:
        return sum(verdict in line.verdicts for line in self.lines)


def plain(name: str) -> str:
    """A name without regard to case and spaces, which controls treat as they please."""
    return "".join(name.casefold().split())


def compare(
    listed: Sequence[Listed], book: Iterable[BookEntry], machine: str, tolerance: Tolerance = Tolerance()
) -> Comparison:
    """The list of `machine`'s control against the book.

    book: every entry there is; those elsewhere explain what the machine should not have.  A line of the list
    is matched by the assembly's name, its key, its label's code, or where it has no name by its tool number.
    """
    entries = [entry for entry in book if entry.assembly is not None]
    here = [entry for entry in entries if entry.machine == machine]
    there = [entry for entry in entries if entry.machine != machine]
    in_pocket = {entry.pocket: entry for entry in here if entry.pocket is not None}
    mine = _pairs(dict(enumerate(listed)), here)
    rest = {at: line for at, line in enumerate(listed) if at not in mine}
    away = _pairs(rest, there)
    known: dict[_Name | None, BookEntry] = {
        name: entry for entry in (*there[::-1], *here[::-1]) for name in _answers(entry)
    }
    lines = []
    for at, line in enumerate(listed):
        entry, nearby = mine.get(at), _beside(line, in_pocket)
        if entry is not None:
            lines.append(Compared(_judge(line, entry, tolerance, in_pocket), line, entry))
        elif at in away:
            lines.append(Compared((Verdict.ELSEWHERE,), line, away[at], nearby))
        elif again := known.get(_asks(line)):
            # every tool of that name has its line already, so this one is a repetition
            lines.append(Compared((Verdict.TWICE_IN_CONTROL,), line, again, nearby))
        else:
            lines.append(Compared((Verdict.NOT_IN_BOOK,), line, None, nearby))
    met = {id(entry) for entry in mine.values()}
    lines += [Compared((Verdict.NOT_IN_CONTROL,), None, entry) for entry in here if id(entry) not in met]
    asked, called = Counter(map(_asks, listed)), Counter(plain(entry.name) for entry in here)
    lines = [_with_twins(line, asked, called, machine) for line in lines]
    lines.sort(key=_order)
    return Comparison(machine, tuple(lines))


def _beside(line: Listed, in_pocket: Mapping[int, BookEntry]) -> str | None:
    """What the book has in the pocket the line names."""
    entry = in_pocket.get(line.pocket) if line.pocket is not None else None
    return entry.name if entry else None


_Name = tuple[str, int | None]  # how a line calls a tool: by a name, or where it has none by its number


def _asks(line: Listed) -> _Name | None:
    """What a line calls its tool; None: nothing."""
    if line.name:
        return plain(line.name), None
    return None if line.number is None else ("", line.number)


def _answers(entry: BookEntry) -> set[_Name]:
    """Everything an entry may be called by."""
    assert entry.assembly is not None
    names = {plain(entry.assembly.name), plain(entry.assembly.key), plain(entry.code)}
    found: set[_Name] = {(name, None) for name in names}
    return found if entry.tool_number is None else found | {("", entry.tool_number)}


def _pairs(lines: Mapping[int, Listed], entries: Sequence[BookEntry]) -> dict[int, BookEntry]:
    """The entry each line means, none twice; where several have one name, what agrees best goes together."""
    called: dict[_Name | None, list[int]] = {}
    for index, entry in enumerate(entries):
        for name in _answers(entry):
            called.setdefault(name, []).append(index)
    candidates = [
        (_distance(line, entries[index]), at, index)
        for at, line in lines.items()
        for index in called.get(_asks(line), ())
    ]
    taken: set[int] = set()
    matched: dict[int, BookEntry] = {}
    for _, at, index in sorted(candidates):
        if at not in matched and index not in taken:
            matched[at] = entries[index]
            taken.add(index)
    return matched


def _distance(line: Listed, entry: BookEntry) -> tuple[bool, bool, float]:
    """How badly they agree: pocket first, then tool number, then length."""
    measured = entry.assembly.measured if entry.assembly else None
    apart = abs(measured.length_mm - line.length_mm) if measured and line.length_mm is not None else float("inf")
    return line.pocket != entry.pocket, line.number != entry.tool_number, apart


def _misplaced(line: Listed, entry: BookEntry, in_pocket: Mapping[int, BookEntry]) -> bool:
    if line.spindle:
        return entry.pocket is not None
    if line.pocket is None:
        return False
    if entry.pocket is None:
        # while it is in the spindle a control goes on naming the pocket it came from
        return line.pocket in in_pocket
    return line.pocket != entry.pocket


def _judge(
    line: Listed, entry: BookEntry, tolerance: Tolerance, in_pocket: Mapping[int, BookEntry]
) -> tuple[Verdict, ...]:
    assert entry.assembly is not None
    found = []
    if _misplaced(line, entry, in_pocket):
        found.append(Verdict.WRONG_POCKET)
    measured = entry.assembly.measured
    if measured is None:
        found.append(Verdict.NOT_MEASURED)
    else:
        if line.length_mm is None and line.diameter_mm is None:
            found.append(Verdict.NO_VALUES)
        if line.length_mm is not None and not abs(line.length_mm - measured.length_mm) <= tolerance.length_mm + 1e-9:
            found.append(Verdict.LENGTH)
        if (
            line.diameter_mm is not None
            and not abs(line.diameter_mm - measured.diameter_mm) <= tolerance.diameter_mm + 1e-9
        ):
            found.append(Verdict.DIAMETER)
    return tuple(found) or (Verdict.SAME,)


def _with_twins(line: Compared, asked: Mapping[_Name | None, int], called: Counter[str], machine: str) -> Compared:
    """Adds that the control or the book has a tool more than once; such a line is never simply the same.

    asked: how many lines of the list ask for each.  called: how many the book has in the machine by each name.
    """
    more = []
    if line.listed and _lines_alike(line.listed, line.entry, asked) > 1:
        more.append(Verdict.TWICE_IN_CONTROL)
    if line.entry and line.entry.machine == machine and called[plain(line.entry.name)] > 1:
        more.append(Verdict.TWICE_IN_BOOK)
    if not more:
        return line
    kept = tuple(verdict for verdict in line.verdicts if verdict not in (Verdict.SAME, *more))
    return Compared((*kept, *more), line.listed, line.entry, line.nearby)


def _lines_alike(line: Listed, entry: BookEntry | None, asked: Mapping[_Name | None, int]) -> int:
    """How many lines mean the tool of this one: the book's, else by name, or where they have none by number."""
    asks = _asks(line)
    if asks is None:
        return 0
    answers = _answers(entry) if entry is not None else set()
    return sum(asked[name] for name in (answers if asks in answers else {asks}) if name in asked)


def _order(line: Compared) -> tuple[bool, int, int]:
    pocket = line.listed.pocket if line.listed else line.entry.pocket if line.entry else None
    number = pocket if pocket is not None else 10**6
    return line.verdicts == (Verdict.SAME,), number, line.listed.line if line.listed else 0
