"""A few hundred schedules of several kiosks: nothing hot is let go.  Many more: `python -m tests.faults.apart`."""

from __future__ import annotations

from collections import Counter

import msgspec

from kiosk.ledger.derive import MemoryState, changes
from kiosk.ledger.fold import Placed, Tips, folded
from kiosk.ledger.lineform import as_kept
from kiosk.ledger.shared_form import WAITING, Told
from kiosk.ledger.state import Put, Stamp
from kiosk.rules import lines as L
from kiosk.rules.ages import StayName
from kiosk.rules.places import Kind, Place
from tests.faults.apart import run
from tests.faults.apart_book import Book, Line
from tests.faults.apart_story import Schedule
from tests.ledger.kiosks import STEEL, VALUES

PLACES = (
    Place("slot", "Slot", Kind.SLOT),
    Place("station", "Station", Kind.SHRINK),
    Place("air", "Rack", Kind.COOLING, way="free_air"),
    Place("sleeve", "Sleeve", Kind.COOLING, way="forced_air"),
)
BEFORE: tuple[L.Entry, ...] = (
    L.KioskStarted("2", tuple((f"heat.{name}", value) for name, value in VALUES.items())),
    *(L.PlaceAdded(place) for place in PLACES),
    L.HolderRegistered(STEEL[0], stood_cold=True),
    L.Moved("T1", None, "slot"),
)


def test_several_kiosks_let_nothing_go_that_is_hot() -> None:
    counts = run(250, seed=1)
    assert counts["EARLY"] == 0, [what for what in counts if what.startswith("EARLY")]
    assert counts["let go"] > 50 and counts["ended by time"] > 20 and counts["ended by a reading"] > 5


def test_what_the_schedules_fold_is_what_the_ledger_folds() -> None:
    """After every line: where the holder is, whether it is hot, what counts of its hold, and who may end it."""
    doubtful, kinds = 0, set[str]()
    for seed in range(20_000, 20_400):
        schedule = Schedule(seed, Counter())
        schedule.play()
        lines, stands = schedule.server.lines, {each.name: each.heats for each in schedule.kiosks}
        kinds |= {line.kind for line in lines}
        for n, state in enumerate(_folded(lines, stands), 1):
            told = schedule.server.books[n]
            assert _as_kept(state) == _as_told(told, lines), f"seed {seed}, line {n}: {lines[n - 1]}"
            doubtful += told.reading_only
    assert kinds >= {"started", "rests", "gone"}
    assert doubtful > 20, "nothing was in doubt"


def _folded(lines: list[Line], stands: dict[str, bool]) -> list[MemoryState]:
    """The product's tables after each of the lines, which come after those of a kiosk without others.

    stands: whether heatings are booked at each of the kiosks.
    """
    state, before = MemoryState(), len(BEFORE)
    for number, entry in enumerate(BEFORE, 1):
        for change in changes(entry, Stamp(number, 0.0, 0.0, "old", None), state):
            state.apply(change)
    ids = {line.name: before + line.n for line in lines}
    for name, heats in stands.items():
        member = {"key": name, "name": name, "at": None, "heats": int(heats), "known": 1, "line": before}
        state.apply(Put("member", member | {"rests": 0, "woke": None, "gone": None}))
    tips, states = Tips(), []
    for line in lines:
        _, payload = as_kept(entry_of(line, ids))
        stay = ids[line.stay] if line.stay is not None else None
        seen = before + line.seen
        said = Told("", line.number, 0.0, 0.0, line.chain, None, entry_of(line, ids).kind, payload, seen, "", stay,
                    line.age_s)  # fmt: skip
        here = before + line.n
        placed = Placed(here, line.chain, said, tips.behind(line.chain, seen), lambda chain, number: WAITING + number)
        for change in folded(placed, state):
            state.apply(change)
        tips.last[line.chain] = here
        kept = MemoryState()
        kept.tables = {name: dict(rows) for name, rows in state.tables.items()}
        states.append(kept)
    return states


def entry_of(line: Line, ids: dict[StayName, int]) -> L.Entry:
    if line.kind == "moved":
        return L.Moved("T1", line.origin, line.goal)
    if line.kind == "heated":
        return L.Heated("T1", line.goal)
    if line.kind == "started":
        return L.KioskStarted("2")
    if line.kind == "rests":
        return L.KioskRests()
    if line.kind == "gone":
        return L.KioskLockedOut(line.goal, line.goal)
    heating = ids[line.heating] if line.heating is not None else None
    return L.HoldEnded("T1", "time" if line.kind == "ended" else "reading", heating)


def _as_kept(state: MemoryState) -> tuple[object, ...]:
    holder, hold = state.get("holder", "T1"), state.get("hold", "T1")
    assert holder is not None
    difference = state.get("difference", "place/T1")
    runs = hold is not None and hold["ended_line"] is None
    stages = msgspec.json.decode(hold["stages"]) if hold is not None and runs else []
    first_s = stages[0][1] if stages else 0.0
    return (
        holder["place"], holder["heat"], runs,
        bool(hold["reading_only"]) if hold is not None and runs else None,
        [(place, round(since_s - first_s, 6), line - len(BEFORE), any(more)) for place, since_s, line, *more in stages],
        difference is not None and difference["closed_line"] is None, _kiosks(state),
    )  # fmt: skip


def _kiosks(state: MemoryState) -> tuple[list[str], list[str], list[str]]:
    """Who rests, who woke since, who is gone."""
    members = state.all("member")
    return (
        sorted(each["key"] for each in members if each["rests"]),
        sorted(each["key"] for each in members if each["woke"] is not None),
        sorted(each["key"] for each in members if each["gone"] is not None),
    )


def _as_told(book: Book, lines: list[Line]) -> tuple[object, ...]:
    numbers = {line.name: line.n for line in lines}
    stages = [(each.place, round(each.since_s, 6), numbers[each.name], each.longer) for each in book.stages]
    return (
        book.place, book.heat, book.runs, book.reading_only if book.runs else None, stages if book.runs else [],
        bool(book.apart), (sorted(book.resting), sorted(book.woke), sorted(book.gone)),
    )  # fmt: skip
