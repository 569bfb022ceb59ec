"""What the heatings before it had left in a holder whose hold is over, as that hold counted it while it ran.

The book keeps that of a holder's last heating only; of older ones it is found again in their lines.  It must never
take a holder for cooler than its hold did: where lines do not show all that was seen, nothing of the heatings before
counts, and how warm the body was at its hottest stands in their place (`ledger.derive_heat` decides it so, too).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from kiosk.ledger import history as past
from kiosk.ledger.derive import TableRow
from kiosk.rules import lines as L
from kiosk.rules.hold_facts import Earlier, HoldFacts
from kiosk.rules.places import Kind

MOST = 3  # heatings before one that a hold counts


class _Heating(NamedTuple):
    """One of a holder's heatings and what its own lines say of it."""

    cycle: past.HeatCycle
    facts: HoldFacts


def with_earlier(
    cycles: Sequence[past.HeatCycle], facts: Sequence[HoldFacts], places: Mapping[str, TableRow]
) -> tuple[HoldFacts, ...]:
    """The facts of a holder's heatings, newest first as they are given, each with what those before it had left.

    places: rows by code.  The first of the heatings may have followed one that is not among them: it counts as one of
    many.
    """
    stations = frozenset(code for code, row in places.items() if Kind(row["kind"]) is Kind.SHRINK)
    found: list[HoldFacts] = []
    before: _Heating | None = None
    for cycle, own in zip(reversed(cycles), reversed(facts), strict=True):
        heating = _Heating(cycle, own)
        if before is not None:
            found.append(_after(before, found[-1], heating, stations))
        else:
            found.append(replace(own, heats=2) if own.body_c is not None else own)
        before = heating
    return tuple(reversed(found))


def _after(before: _Heating, known: HoldFacts, heating: _Heating, stations: frozenset[str]) -> HoldFacts:
    """known: the facts of the heating before, with what preceded that."""
    told, again = heating.cycle.heated.entry, heating.facts
    assert isinstance(told, L.Heated)
    ran = before.cycle.ended is None
    watched = past.watched_by_one(before.cycle.heated, heating.cycle.heated)
    since_s = again.heated_at_s - known.heated_at_s
    if told.again and ran and watched:  # the heating that ran, scanned once more
        return replace(
            known, heated_at_s=again.heated_at_s, heated_utc_s=again.heated_utc_s, stays=again.stays,
            readings=again.readings, heating=again.heating, assembly=again.assembly, again_s=known.again_s + since_s,
        )  # fmt: skip
    if told.again:
        return replace(again, body_unknown=True, heats=known.heats + 1)
    if not ran:
        return again
    again = replace(again, heats=known.heats + 1)
    if not watched or not _seen(before.cycle, known, again, stations):
        return again
    cutter = known.assembly.key if known.assembly and known.assembly == again.assembly else None
    stays = tuple(replace(stay, since_s=stay.since_s - known.heated_at_s) for stay in known.stays)
    last = Earlier(known.temp_c, known.length_mm, known.body_c, known.began, stays, since_s, known.again_s, cutter)
    return replace(again, earlier=(*known.earlier, last))


def _seen(cycle: past.HeatCycle, known: HoldFacts, again: HoldFacts, stations: frozenset[str]) -> bool:
    """Whether all of a heating was seen until the next, and of those before it."""
    unseen = any(each.reading_only or each.body_unknown for each in (known, again))
    taken_back = any(isinstance(line.entry, L.Moved) and line.entry.undoes is not None for line in cycle.stays)
    first, *later = known.stays
    # What came to a station without being heated at once may have been heated there unseen.
    passed = any(stay.place in stations and stay.since_s < again.heated_at_s for stay in later)
    whole = len(known.earlier) == known.heats - 1 < MOST
    return whole and first.place in stations and not (unseen or taken_back or passed or cycle.readings)
