"""What happened, read back from the lines: to a holder, at a place, by an operator, in a shift.

Answers from the index of mentions, so that it costs what is asked for and not what the ledger holds; reads only.
Lines stand in the order in which they were written; wall time is only what people ask by.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from peewee import fn

from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.lineform import Written, written
from kiosk.ledger.shared_form import WAITING
from kiosk.ledger.state import TableRow
from kiosk.rules import lines as L
from kiosk.rules.places import Kind

_LINE = (
    T.KeptLine.id, T.KeptLine.utc_s, T.KeptLine.watched_s, T.KeptLine.kiosk, T.KeptLine.operator, T.KeptLine.kind,
    T.KeptLine.payload, T.KeptLine.hash,
)  # fmt: skip
_STANDING = (L.Moved.kind, L.Restored.kind, L.HolderRegistered.kind)


@dataclass(frozen=True, slots=True)
class Question:
    """Which lines: of one subject (a key, a place's code, a label's text) or of all, and filters.

    newest: at most so many, the last ones.  Times are wall time, seconds UTC, both ends included.
    """

    subject: str | None = None
    kinds: frozenset[str] = frozenset()
    operator: str | None = None
    since_utc_s: float | None = None
    until_utc_s: float | None = None
    newest: int = 200
    before: int | None = None  # only lines with a smaller number: the next page


def lines(question: Question) -> list[Written]:
    """The lines, newest first."""
    query = T.KeptLine.select(*_LINE)
    order: Any = T.KeptLine.id
    if question.subject is not None:
        query = query.join(T.Mention, on=(T.Mention.line == T.KeptLine.id)).where(T.Mention.subject == question.subject)
        order = T.Mention.line
    if question.before is not None:
        query = query.where(order < question.before)
    if question.kinds:
        query = query.where(T.KeptLine.kind.in_(sorted(question.kinds)))
    if question.operator is not None:
        query = query.where(T.KeptLine.operator == question.operator)
    if question.since_utc_s is not None or question.until_utc_s is not None:
        within = _within(question.since_utc_s, question.until_utc_s)
        first, last = T.KeptLine.select(fn.MIN(T.KeptLine.id), fn.MAX(T.KeptLine.id)).where(*within).tuples()[0]
        if first is None:
            return []
        query = query.where(order >= first, order <= last, *within)
    rows: Any = query.order_by(order.desc()).limit(question.newest).tuples()
    return [written(row) for row in rows]


def _within(since_utc_s: float | None, until_utc_s: float | None) -> list[Any]:
    """Wall time as SQL; the clock may have been set back, so the lines of a stretch need not lie together."""
    found: list[Any] = []
    if since_utc_s is not None:
        found.append(T.KeptLine.utc_s >= since_utc_s)
    if until_utc_s is not None:
        found.append(T.KeptLine.utc_s <= until_utc_s)
    return found


def span(since_utc_s: float, until_utc_s: float) -> Iterator[Written]:
    """Every line of a stretch of wall time, in the order written."""
    query = (
        T.KeptLine.select(*_LINE)
        .where(T.KeptLine.utc_s >= since_utc_s, T.KeptLine.utc_s < until_utc_s)
        .order_by(T.KeptLine.id)
    )
    rows: Any = query.tuples().iterator()
    for row in rows:
        yield written(row)


def between(subject: str, first: int, last: int | None) -> list[Written]:
    """A subject's lines from number `first` to `last` (None: to the end), in order."""
    query = (
        T.KeptLine.select(*_LINE)
        .join(T.Mention, on=(T.Mention.line == T.KeptLine.id))
        .where(T.Mention.subject == subject, T.Mention.line >= first)
    )
    if last is not None:
        query = query.where(T.Mention.line <= last)
    rows: Any = query.order_by(T.Mention.line).tuples()
    return [written(row) for row in rows]


@dataclass(frozen=True, slots=True)
class Stood:
    """Where a holder stood.  `place` None: nowhere known.  `since`: the line that says so; None: not in the book."""

    place: str | None
    since: Written | None


def where_at(holder: str, utc_s: float) -> Stood:
    """Where the book had a holder at a moment of wall time."""
    return _standing(holder, T.KeptLine.utc_s <= utc_s)


def came_from(holder: str, place: str, before: int | None = None) -> str | None:
    """Where it stood before it last came to `place` (before line number `before`).  None: nowhere known."""
    question = Question(holder, frozenset({L.Moved.kind}), newest=20, before=before)
    return next(
        (line.entry.origin for line in lines(question) if isinstance(line.entry, L.Moved) and line.entry.goal == place),
        None,
    )


def _standing(holder: str, which: Any) -> Stood:
    query = (
        T.KeptLine.select(*_LINE)
        .join(T.Mention, on=(T.Mention.line == T.KeptLine.id))
        .where(T.Mention.subject == holder, T.KeptLine.kind.in_(_STANDING), which)
        .order_by(T.Mention.line.desc())
    )
    rows: Any = query.tuples().iterator()
    restored = registered = None
    for row in rows:
        line = written(row)
        match line.entry:
            case L.Restored(holders=holders) if holder in holders and restored is None:
                restored = line
            case L.HolderRegistered():
                registered = line
            case L.Moved(goal=goal) if restored:
                return Stood(goal if _may_be_hot(goal) else None, restored)
            case L.Moved(goal=goal):
                return Stood(goal, line)
    return Stood(None, restored or registered)


def _may_be_hot(place: str | None) -> bool:
    row = T.Place.get_or_none(T.Place.code == place) if place else None
    return row is not None and Kind(row.kind).may_be_hot


def stood_there(places: Iterable[str], line: int) -> dict[str, set[str]]:
    """Which holders stood at each of these places just after line number `line`: what is there now, undone."""
    wanted = sorted(set(places))
    standing: dict[str, set[str]] = {code: set() for code in wanted}
    rows: Any = T.Holder.select(T.Holder.key, T.Holder.place).where(T.Holder.place.in_(wanted)).tuples()
    for key, place in rows:
        standing[place].add(key)
    later: dict[int, L.Moved] = {}
    for code in wanted:
        for each in between(code, line + 1, None):
            if isinstance(each.entry, L.Moved):
                later[each.id] = each.entry
    for number in sorted(later, reverse=True):
        moved = later[number]
        if moved.goal in standing:
            standing[moved.goal].discard(moved.holder)
        if moved.origin in standing:
            standing[moved.origin].add(moved.holder)
    return standing


@dataclass(frozen=True, slots=True)
class HeatCycle:
    """One heating: when, where it stood since, what was read, and the line that ended its hold."""

    heated: Written
    stays: tuple[Written, ...] = ()
    readings: tuple[Written, ...] = ()
    ended: Written | None = None


@dataclass
class _Cycle:
    heated: Written
    stays: list[Written] = field(default_factory=list)
    readings: list[Written] = field(default_factory=list)


def heat_cycles(holder: str, newest: int = 20) -> list[HeatCycle]:
    """The last heatings of a holder, newest first."""
    starts = lines(Question(holder, frozenset({L.Heated.kind}), newest=newest))
    if not starts:
        return []
    found: list[HeatCycle] = []
    running: _Cycle | None = None
    for line in between(holder, starts[-1].id, None):
        match line.entry:
            case L.Heated():
                if running:
                    found.append(HeatCycle(running.heated, tuple(running.stays), tuple(running.readings)))
                running = _Cycle(line)
            case L.Moved() if running:
                running.stays.append(line)
            case L.TemperatureRead() if running:
                running.readings.append(line)
            case L.ReadingWithdrawn():
                if running is None and found and found[-1].heated.id == line.entry.heating:
                    last = found.pop()  # what ended it was a slip, or rested on one
                    running = _Cycle(last.heated, list(last.stays), list(last.readings))
                if running:
                    running.readings = [each for each in running.readings if each.id != line.entry.reading]
            case L.HoldEnded() if running:
                found.append(HeatCycle(running.heated, tuple(running.stays), tuple(running.readings), line))
                running = None
    if running:
        found.append(HeatCycle(running.heated, tuple(running.stays), tuple(running.readings)))
    return found[::-1]


def watched_by_one(first: Written, last: Written) -> bool:
    """Whether one kiosk wrote both lines and counted all the time between them, by its own clock."""
    if first.kiosk != last.kiosk or T.Chained.select().where(T.Chained.line.in_([first.id, last.id])).exists():
        return False
    gaps = lines(Question(None, frozenset({L.KioskStarted.kind, L.Restored.kind}), newest=1, before=last.id))
    return not gaps or gaps[0].id < first.id


def since_heated(cycle: HeatCycle) -> dict[int, float]:
    """Seconds between a heating and each line of its cycle, by the lines' ids; never by the clocks of two kiosks.

    Where several kiosks write, a line says how long the stay had lasted by its kiosk's count; what nobody counted has
    not passed.
    """
    start = cycle.heated
    told = sorted((*cycle.stays, *cycle.readings, *((cycle.ended,) if cycle.ended else ())), key=lambda line: line.id)
    chained = rows(T.Chained.select().where(T.Chained.line.in_([line.id for line in told])))
    counted = {row["line"]: (_stay(row), row["age_s"]) for row in chained}
    found, last_s = {start.id: 0.0}, 0.0
    for line in told:
        stay, age_s = counted.get(line.id, (None, None))
        if stay in found and age_s is not None:
            last_s = max(last_s, found[stay] + age_s)
        elif line.kiosk == start.kiosk:
            last_s = max(last_s, line.watched_s - start.watched_s)
        found[line.id] = last_s
    return found


def _stay(row: TableRow) -> int | None:
    """The line a stay began with, by its id now: its kiosk may have named it before it had its place."""
    stay: int | None = row["stay"]
    if stay is None or stay < WAITING:
        return stay
    named = (T.Chained.chain == row["chain"]) & (T.Chained.number == stay - WAITING)
    return next((each["line"] for each in rows(T.Chained.select().where(named))), stay)
