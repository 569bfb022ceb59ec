"""What lines about heat do to the tables: steps, heatings, readings, shrink fits opened and closed, restores.

A hold's row keeps what was seen, by the clock of the kiosk that counts it, and never how long it lasts.  Whatever
was not seen makes it longer: a holder at the station without a heating was heated, and nobody knows when.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import MISSING, fields
from functools import reduce
from typing import Any

import msgspec

from kiosk.ledger.state import (
    SHARED_CLOCK,
    STILL_WARM_S,
    UNSEEN,
    Broken,
    Change,
    LedgerState,
    Put,
    Stamp,
    TableRow,
    must,
    text,
)
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping
from kiosk.rules.belief import PROBE_TOLERANCE_K, Verdict
from kiosk.rules.cards import Heat
from kiosk.rules.hold_facts import WITHDRAWN, HeatValues, all_found
from kiosk.rules.places import Kind

# What was read before heat nobody saw proves nothing.
_UNWATCHED = 1  # fourth of a stage that went on for longer than was counted
_AT_WORK = (Kind.SHRINK, Kind.COOLING, Kind.BENCH)  # a cutter may still go in by the heating it comes from


def moved(entry: L.Moved, at: Stamp, state: LedgerState) -> Iterator[Change]:
    row = must(state, "holder", entry.holder, at)
    if row["place"] != entry.origin:
        raise Broken(at.id, f"holder {entry.holder!r} was not at {entry.origin!r} but at {row['place']!r}")
    goal = state.get("place", entry.goal) if entry.goal else None
    kind = Kind(goal["kind"]) if goal else None
    # Nowhere known is no place to be cool at, and what stands at the station was heated there: a line that says
    # so follows this one, or nobody saw it.
    doubted = entry.goal is None or (kind is Kind.SHRINK and _watches(state))
    heat = Heat.UNKNOWN.value if doubted and row["heat"] == Heat.COOL.value else row["heat"]
    yield Put(
        "holder",
        row
        | {
            "place": entry.goal, "since_line": at.id, "since_utc_s": at.utc_s, "since_watched_s": at.watched_s,
            "last_kiosk": at.kiosk, "heat": heat, "heat_unused": row["heat_unused"] if kind in _AT_WORK else 0,
        },
    )  # fmt: skip
    hold = state.get("hold", entry.holder)
    if hold is None:
        return
    running = hold["ended_line"] is None
    if running and hold["kiosk"] != at.kiosk:
        hold = by_clock_of(at, hold, row)
    if running or (hold["kiosk"] == at.kiosk and at.watched_s - hold["heated_watched_s"] < STILL_WARM_S):
        stages = text(_stages(entry, at, msgspec.json.decode(hold["stages"])))
        # A step taken back was never taken; any other one to there proves that something was not seen.
        unseen = doubted and running and (entry.undoes is None or entry.goal is None)
        all_seen = kind is Kind.SHRINK and not hold["reading_only"] and hold["readings"] == "[]"
        doubt = UNSEEN | {"to_be_heated": at.id if all_seen else None} if unseen else {}
        yield Put("hold", hold | {"stages": stages} | doubt)


def _stages(entry: L.Moved, at: Stamp, stages: list[list[Any]]) -> list[list[Any]]:
    """Where it stood, with this step.  A stay that is taken back cooled nothing: it counts as the stay before it.

    Where another clock began to count within that stay, the stay before it is the one it goes back to.
    """
    if entry.undoes is None:
        return [*stages, _stage(entry.goal, at)]
    (_, since_s, number, *more), *later = stages
    kept = [[entry.goal, since_s, at.id, *more] if number == entry.undoes else stages[0]]
    for stage in later:
        if stage[2] != entry.undoes:
            kept.append(stage)
        elif stood_unwatched(stage):
            kept[-1] = for_longer(kept[-1])
    return kept if kept[-1][0] == entry.goal else [*kept, _stage(entry.goal, at)]


def _stage(place: str | None, at: Stamp) -> list[Any]:
    return [place, at.watched_s, at.id]


def unwatched(hold: TableRow) -> TableRow:
    """A running hold after a while that nobody watched: where it stands it has stood for longer than is counted."""
    *before, stood = msgspec.json.decode(hold["stages"])
    return hold | {"gaps": hold["gaps"] + 1, "stages": text([*before, for_longer(stood)])}


def for_longer(stage: list[Any]) -> list[Any]:
    """A stage that went on for longer than is counted."""
    return [*stage[:3], _UNWATCHED]


def stood_unwatched(stage: list[Any]) -> bool:
    """Whether a stage went on for longer than was counted."""
    return any(stage[3:])


def by_clock_of(at: Stamp, hold: TableRow, holder: TableRow) -> TableRow:
    """A running hold by the clock of the kiosk that writes now.

    Watched times of two clocks are never subtracted, so one that another kiosk counted begins anew, as hot as it was,
    and nobody knows for how long it stood where it has been since.
    """
    if hold["kiosk"] == at.kiosk:
        return hold
    anew = {"heated_watched_s": at.watched_s, "first_watched_s": at.watched_s, "kiosk": at.kiosk}
    stood = [(place, number) for place, _, number, *_ in msgspec.json.decode(hold["stages"])]
    if stood[-1] != (now := (holder["place"], holder["since_line"])):  # that step may still be taken back
        stood.append(now)
    stages = [[place, at.watched_s, number, _UNWATCHED] for place, number in stood]
    told = [each[4] for each in msgspec.json.decode(hold["readings"])]
    counted = [verdict for verdict in told if verdict != WITHDRAWN]
    # Why it was so warm nobody knows, or a slip is still to be read again: no time tells.
    open_ = len(counted) < len(told) or counted[-1:] == [Verdict.QUESTIONED.value]
    unseen = UNSEEN if open_ else {"readings": "[]"}
    anew["earlier"] = "[]"
    return hold | anew | {"stages": text(stages)} | unseen


_HEAT_VALUES = tuple(each.name for each in fields(HeatValues))
_ALWAYS_TOLD = frozenset(each.name for each in fields(HeatValues) if each.default is MISSING)
_HEAT_NAMES = frozenset(f"heat.{name}" for name in _HEAT_VALUES)
_MOST_BEGUN = 8
_MOST_EARLIER = 3  # heatings before the one that counts that are solved; of more, how hot it was at its hottest
_decoded = msgspec.json.Decoder(tuple[HeatValues, ...])


def _watches(state: LedgerState) -> bool:
    """Whether these lines were written by a kiosk that sees to it that each heating is one of them."""
    return _values(state) is not None


def _values(state: LedgerState, found: Iterable[tuple[str, str]] = ()) -> HeatValues | None:
    """The shop's values a hold is worked out from, by the book and what was `found` since (by the names of settings);
    None where not all of them are known."""
    rows = {name: state.get("setting", f"heat.{name}") for name in _HEAT_VALUES}
    told = {name: row["value"] for name, row in rows.items() if row}
    told |= {name.removeprefix("heat."): value for name, value in found if name in _HEAT_NAMES}
    known = {name: float(value.replace(",", ".")) for name, value in told.items()}
    return HeatValues(**known) if known.keys() >= _ALWAYS_TOLD else None


def _kept(values: Iterable[HeatValues]) -> str:
    """As they stand in a hold's row: what is as it always was is left out, as it was before there was anything else."""
    return text([
        {each.name: getattr(one, each.name) for each in fields(one) if getattr(one, each.name) != each.default}
        for one in values
    ])


def _began(state: LedgerState) -> str | None:
    values = _values(state)
    return _kept([values]) if values else None


def values_found(found: Iterable[tuple[str, str]], hold: TableRow, state: LedgerState) -> TableRow:
    """A running hold once the shop's values (by the names of settings) were found to be these.

    It keeps all it may have begun under, so that a value set there and back brings no end nearer.  After more of
    them than a kiosk can work out at once only a reading ends it.
    """
    values = _values(state, found)
    if hold["ended_line"] is not None or values is None:
        return hold
    kept = all_found(_decoded.decode(hold["began"]) if hold["began"] else (), values)
    if len(kept) > _MOST_BEGUN:
        return hold | {"began": _kept([reduce(HeatValues.stricter, kept)]), "reading_only": 1}
    return hold | {"began": _kept(kept)}


_SAME_HEATING = (
    "temp_c", "length_mm", "body_c", "body_unknown", "reading_only", "began", "first_watched_s", "heats", "earlier",
)  # fmt: skip


def heated(entry: L.Heated, at: Stamp, state: LedgerState) -> Iterator[Change]:
    holder = must(state, "holder", entry.holder, at)
    cycles = holder["heat_cycles"] + entry.heats
    unused = entry.heats > 0 or (holder["heat_unused"] and not entry.reading_only)
    yield Put("holder", holder | {"heat": Heat.HELD.value, "heat_cycles": cycles, "heat_unused": int(bool(unused))})
    first = _first_hold(entry.holder, entry.place, at)
    first |= {
        "temp_c": entry.temp_c, "length_mm": entry.length_mm, "body_c": entry.body_c,
        "body_unknown": int(entry.body_unknown), "reading_only": int(entry.reading_only), "began": _began(state),
    }  # fmt: skip
    runs = state.get("hold", entry.holder)
    if runs and runs["ended_line"] is None:
        first["heats"] = runs["heats"] + 1
        first["earlier"] = _earlier(entry, at, runs, state)
    if entry.again and runs and _still_goes_on(runs, at):
        first |= {name: runs[name] for name in _SAME_HEATING}
    elif entry.again:  # it was another heating, whatever the line says, and the one before has warmed the body
        first |= {"body_unknown": 1, "earlier": "[]"}
    yield Put("hold", first)


def _earlier(entry: L.Heated, at: Stamp, runs: TableRow, state: LedgerState) -> str:
    """What was seen of the heatings in a row before this one, the oldest first; none where anything of them was not.

    One that was read is left out as well: what a reading tells of it, the hottest it may have been tells in its place.
    """
    before = msgspec.json.decode(runs["earlier"])
    stages = msgspec.json.decode(runs["stages"])
    station = state.get("place", stages[0][0])  # not where it was heated, if that step was taken back
    comes_for_it = stages[-1] == [entry.place, at.watched_s, runs["to_be_heated"]]
    seen = (
        not (entry.reading_only or entry.body_unknown or runs["body_unknown"] or runs["gaps"])
        and (comes_for_it or not runs["reading_only"])
        and runs["kiosk"] == at.kiosk != SHARED_CLOCK
        and runs["readings"] == "[]"
        and runs["began"] is not None
        and station is not None
        and Kind(station["kind"]) is Kind.SHRINK
        and not any(stood_unwatched(stage) for stage in stages)
        and len(before) == runs["heats"] - 1 < _MOST_EARLIER
    )
    if not seen:
        return "[]"
    since_s = runs["heated_watched_s"]
    holder = must(state, "holder", entry.holder, at)
    built = state.get("assembly", holder["assembly"]) if holder["assembly"] else None
    stayed = built is not None and built["built_line"] < runs["heated_line"]
    told = {
        "temp_c": runs["temp_c"], "length_mm": runs["length_mm"], "body_c": runs["body_c"],
        "began": msgspec.json.decode(runs["began"]), "lasted_s": at.watched_s - since_s,
        "again_s": since_s - runs["first_watched_s"],
        "stays": [[place, came_s - since_s, *_how(place, state)] for place, came_s, *_ in stages],
        "cutter": holder["assembly"] if stayed else None,
    }  # fmt: skip
    return text([*before, told])


def _how(place: str | None, state: LedgerState) -> tuple[str | None, float | None]:
    """How it cools there, kept as it was: once no running hold rests on a place, that may be changed."""
    row = state.get("place", place) if place else None
    return (row["way"], row["wet_length_mm"]) if row else (None, None)


def _first_hold(holder: str, place: str | None, at: Stamp) -> TableRow:
    """A hold as it begins."""
    return {
        "holder": holder, "heated_line": at.id, "heated_utc_s": at.utc_s, "heated_watched_s": at.watched_s,
        "first_watched_s": at.watched_s, "kiosk": at.kiosk, "temp_c": None, "length_mm": None,
        "stages": text([_stage(place, at)]), "readings": "[]", "body_c": None, "body_unknown": 0, "began": None,
        "ended_line": None, "gaps": 0, "heats": 1, "earlier": "[]", "to_be_heated": None,
    }  # fmt: skip


def joined(holder: TableRow, at: Stamp, state: LedgerState) -> Iterator[Change]:
    """A cutter went in or came out, and `holder` is its row from now on.

    A shrink fit opens by heat only: each time uses a heating that was seen, or one that nobody saw, and then nobody
    knows how warm the holder is.  One that stands at the station was heated there for it: if not just now by the
    book, then once more.
    """
    shrinks = holder["clamping"] == Clamping.SHRINK_FIT.value
    place = state.get("place", holder["place"]) if holder["place"] else None
    anew = place is not None and Kind(place["kind"]) is Kind.SHRINK and not _just_heated(holder, at, state)
    unseen = shrinks and (anew or not holder["heat_unused"]) and _watches(state)
    holder = holder | ({"heat_unused": 0} if shrinks else {})
    if unseen and holder["heat"] == Heat.COOL.value:
        holder["heat"] = Heat.UNKNOWN.value
    yield Put("holder", holder)
    hold = state.get("hold", holder["key"])
    if unseen and hold and hold["ended_line"] is None:
        yield Put("hold", hold | UNSEEN)


def _just_heated(holder: TableRow, at: Stamp, state: LedgerState) -> bool:
    """Whether the heating of the running hold may still be going on."""
    hold, values = state.get("hold", holder["key"]), _values(state)
    if hold is None or values is None or not _still_goes_on(hold, at):
        return False
    return bool(at.watched_s - hold["heated_watched_s"] <= values.heating_s)


def _still_goes_on(hold: TableRow, at: Stamp) -> bool:
    """Whether the heating of a hold may be the one that is told of now: counted by one clock, without a gap."""
    *_, stood = msgspec.json.decode(hold["stages"])
    return hold["ended_line"] is None and hold["kiosk"] == at.kiosk and not stood_unwatched(stood)


def hold_ended(entry: L.HoldEnded, at: Stamp, state: LedgerState) -> Iterator[Change]:
    """A line about one heating never ends another's hold."""
    hold = state.get("hold", entry.holder)
    if entry.heating is not None and (hold is None or hold["heated_line"] != entry.heating):
        return
    if hold:
        yield Put("hold", hold | {"ended_line": at.id})
    yield Put("holder", must(state, "holder", entry.holder, at) | {"heat": Heat.COOL.value})


def read(entry: L.TemperatureRead, at: Stamp, state: LedgerState) -> Iterator[Change]:
    hold = state.get("hold", entry.holder)
    about_it = hold is not None and entry.heating in (None, hold["heated_line"])
    if hold and about_it and hold["ended_line"] is None:
        hold = by_clock_of(at, hold, must(state, "holder", entry.holder, at))
        reading = [at.watched_s, entry.where, entry.value_c, entry.instrument, entry.verdict, at.id]
        if entry.tolerance_k != PROBE_TOLERANCE_K:
            reading.append(entry.tolerance_k)
        yield Put("hold", hold | {"readings": text([*msgspec.json.decode(hold["readings"]), reading])})
    if entry.pair:
        taught = ("pair", "way", "where", "instrument", "value_c", "expected_c")
        rest = ("ambient_c", "by_heat_k", "by_film_k", "other_sd_k", "heating", "spread_k", "usual_c", "about_heat")
        row: TableRow = {name: getattr(entry, name) for name in (*taught, *rest)}
        row |= {"line": at.id, "watched_s": at.watched_s, "films": text(entry.films), "withdrawn": None}
        yield Put("teaching", row)


def withdrawn(entry: L.ReadingWithdrawn, at: Stamp, state: LedgerState) -> Iterator[Change]:
    """A reading counts for nothing any more, and whatever rests on it is held again: by a reading, not by time.

    A heating that came later may have begun on a warmer body than that reading let believe.
    """
    if taught := state.get("teaching", entry.reading):
        yield Put("teaching", taught | {"withdrawn": at.id})
    row = must(state, "holder", entry.holder, at)
    hold = state.get("hold", entry.holder)
    if hold is not None and hold["heated_line"] == entry.heating:
        hold = by_clock_of(at, hold, row)
        readings = [
            [*each[:4], WITHDRAWN, *each[5:]] if each[5] == entry.reading else each
            for each in msgspec.json.decode(hold["readings"])
        ]
        unseen = hold["reading_only"] or row["heat"] == Heat.UNKNOWN.value
        yield Put(
            "hold", hold | {"readings": text(readings), "ended_line": None, "reading_only": int(bool(unseen))}
        )
        yield Put("holder", row | {"heat": Heat.HELD.value})
    elif hold is not None and hold["ended_line"] is None:
        if hold["heated_line"] > entry.reading:
            yield Put("hold", hold | {"body_unknown": 1})
    elif row["heat"] == Heat.COOL.value:
        yield Put("holder", row | {"heat": Heat.UNKNOWN.value})


def unknown_since(heats: bool, state: LedgerState) -> Iterator[Change]:
    """A kiosk is gone, and nobody knows what was done at it last: where holders were put, or what was heated.

    heats: heatings were booked at it.  Then nothing that can be heated is cool; at any other kiosk a holder may have
    been taken out of the sleeve it cooled in.
    """
    for hold in state.all("hold"):
        if hold["ended_line"] is None:
            yield Put("hold", hold | UNSEEN)
    for row in state.all("holder") if heats else ():
        if row["heat"] == Heat.COOL.value and row["clamping"] == Clamping.SHRINK_FIT.value:
            yield Put("holder", row | {"heat": Heat.UNKNOWN.value})


def restored(entry: L.Restored, at: Stamp, state: LedgerState) -> Iterator[Change]:
    for key in (*entry.holders, *entry.unsure):
        # Registered after the copy was made: not cool when it comes again.  Or a heating will not have known of it.
        if state.get("holder", key) is None or key in entry.unsure:
            yield Put("doubted", {"holder": key, "line": at.id})
    for key in entry.holders:
        row = state.get("holder", key)
        if row is None:
            continue
        place = state.get("place", row["place"]) if row["place"] else None
        kept = place is not None and Kind(place["kind"]).may_be_hot
        stands = row["place"] if kept else None
        yield Put("holder", row | {"heat": Heat.HELD.value, "place": stands})
        yield Put("hold", _first_hold(key, stands, at) | {"reading_only": 1, "gaps": 1, "began": _began(state)})
    for key in entry.unsure:
        row = state.get("holder", key)
        if row and row["heat"] == Heat.COOL.value:
            yield Put("holder", row | {"heat": Heat.UNKNOWN.value})
        hold = state.get("hold", key)
        if hold is not None and hold["ended_line"] is None:  # it may have been heated once more since
            yield Put("hold", hold | UNSEEN)
