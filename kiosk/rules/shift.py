"""A shift in figures, counted from its lines: what was built, heated, handed out, brought back and refused.

Counts only what the lines say, takes back what was undone and leaves out what came from a file, which nobody did
in this shift; works on any stretch of lines in order.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from kiosk.rules import lines as L
from kiosk.rules.places import Kind


@dataclass(frozen=True, slots=True)
class Told:
    """A line as far as it is counted."""

    id: int
    operator: str | None
    entry: L.Entry


@dataclass(frozen=True, slots=True)
class Share:
    """What one operator did.  `steps`: holders moved, built, heated, measured."""

    operator: str | None
    steps: int
    refusals: int


@dataclass(frozen=True, slots=True)
class ShiftCounts:
    """The figures of a shift.  refusals and differences: by reason and by kind, most frequent first."""

    built: int = 0
    torn_down: int = 0
    heated: int = 0
    readings: int = 0
    waited_min: int = 0  # for holds that ended
    saved_min: int = 0  # by readings
    measured: int = 0
    issued: int = 0  # into a machine
    returned: int = 0  # out of a machine
    shelved: int = 0  # into the cabinet, from a machine or not
    undone: int = 0
    audits: int = 0
    corrections: int = 0  # lines that a supervisor gave a reason for
    differences: tuple[tuple[str, int], ...] = ()
    refusals: tuple[tuple[str, int], ...] = ()
    people: tuple[Share, ...] = ()

    @property
    def refused(self) -> int:
        return sum(count for _, count in self.refusals)


_STEPS = (L.Moved, L.Built, L.Heated, L.MeasuredLine, L.BalancedLine, L.TornDown)


def counts(told: Iterable[Told], kinds: Mapping[str, Kind]) -> ShiftCounts:
    """The figures of these lines, in the order written.  kinds: of each place, by code."""
    every = list(told)
    imported = {
        before.id
        for at, each in enumerate(every)
        if isinstance(each.entry, L.Imported)
        for before in every[max(at - each.entry.count, 0) : at]
    }
    lines = [each for each in every if each.id not in imported]
    taken_back = {each.entry.undoes for each in lines if isinstance(each.entry, L.Moved | L.TornDown)}
    counts: Counter[str] = Counter()
    refusals: Counter[str] = Counter()
    differences: Counter[str] = Counter()
    steps: Counter[str | None] = Counter()
    turned: Counter[str | None] = Counter()
    for each in lines:
        match each.entry:
            case L.Moved(undoes=undoes) | L.TornDown(undoes=undoes) if undoes is not None:
                counts["undone"] += 1
                continue
            case L.Moved() | L.TornDown() if each.id in taken_back:
                continue
            case L.Moved(origin=origin, goal=goal):
                counts.update(_crossing(kinds.get(origin or ""), kinds.get(goal or "")))
                counts["corrections"] += bool(each.entry.reason) and each.entry.reason != "audit"
            case L.Built():
                counts["built"] += 1
            case L.TornDown():
                counts["torn_down"] += 1
            case L.Heated(heats=heats):
                counts["heated"] += heats
            case L.TemperatureRead():
                counts["readings"] += 1
            case L.ReadingWithdrawn():
                counts["corrections"] += 1
            case L.MeasuredLine():
                counts["measured"] += 1
            case L.AuditClosed():
                counts["audits"] += 1
            case L.DifferenceSettled(difference=difference):
                differences[difference] += 1
            case L.TurnedAway(reason=reason):
                refusals[reason] += 1
                turned[each.operator] += 1
            case L.HolderRegistered(reason=reason) | L.CutterAdded(reason=reason) if reason:
                counts["corrections"] += 1
        if isinstance(each.entry, _STEPS):
            steps[each.operator] += 1
    people = sorted(steps.keys() | turned.keys(), key=lambda key: (-steps[key], key or ""))
    return ShiftCounts(
        **counts,
        differences=tuple(differences.most_common()),
        refusals=tuple(refusals.most_common()),
        people=tuple(Share(key, steps[key], turned[key]) for key in people),
    )


def _crossing(origin: Kind | None, goal: Kind | None) -> list[str]:
    """What a move means for the figures.  From nowhere: the shop's first list, or something found again."""
    if origin is None:
        return []
    came_out = origin.in_machine
    went_in = goal is not None and goal.in_machine
    figures = []
    if went_in and not came_out:
        figures.append("issued")
    if came_out and not went_in:
        figures.append("returned")
    if goal is not None and goal.stores and not origin.stores:
        figures.append("shelved")
    return figures


@dataclass(frozen=True, slots=True)
class ShiftReport:
    """A shift on paper.  Times are wall time, seconds UTC; `hash` is that of `line`, the last one counted."""

    kiosk: str
    since_utc_s: float
    until_utc_s: float
    counts: ShiftCounts
    names: tuple[tuple[str, str], ...]  # operator key, name
    line: int
    hash: str
