"""What readings prove by themselves, and what is still owed before a hold can end.

Where nobody knows when a holder was heated, or a reading cannot be explained, no model speaks for it: only a probe at
every spot does, and once more after heat from inside would have come out.  A slip proves nothing and leaves its spot
to be read again.  All times are watched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kiosk.rules.belief import Instrument
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cards import HoldView
from kiosk.rules.hold import is_doubted, to_read_again
from kiosk.rules.hold_facts import SPOTS, WITHDRAWN, HoldFacts, Reading

SOAK_S = 300.0  # between the first and the last cool reading: heat from inside would have come out by then
_FRESH_S = 1200.0


def cool_all_over(readings: Sequence[Reading], limit_c: float, now_s: float) -> float | None:
    """Whether probe readings alone prove a holder cool of which nobody knows when it was heated.

    Nose, flange and shank must each be at or under the limit by their last reading, the last of them `SOAK_S`
    after the first.  0: proven.  More: seconds until the nose is to be read again.  None: a place is still to be
    read, or too warm.
    """
    found = cool_so_far(readings, limit_c, now_s)
    return None if found.spots < frozenset(SPOTS) else max(0.0, SOAK_S - (found.last_s - found.first_s))


@dataclass(frozen=True, slots=True)
class CoolSpots:
    """Spots that a probe found cool one after the other; first_s, last_s: watched times of those readings."""

    spots: frozenset[str] = frozenset()
    first_s: float = 0.0
    last_s: float = 0.0


def cool_so_far(readings: Sequence[Reading], limit_c: float, now_s: float) -> CoolSpots:
    """A reading above the limit makes those before it worthless; one that was a slip leaves its spot unread."""
    found = CoolSpots()
    for reading in sorted(readings, key=lambda reading: (reading.at_s, reading.line)):
        if reading.instrument != Instrument.PROBE.value or now_s - reading.at_s > _FRESH_S:
            continue
        if reading.verdict == WITHDRAWN:
            left = found.spots - {reading.where}
            found = replace(found, spots=left) if left else CoolSpots()
        elif reading.value_c > limit_c:
            found = CoolSpots()
        else:
            first_s = found.first_s if found.spots else reading.at_s
            found = CoolSpots(found.spots | {reading.where}, first_s, reading.at_s)
    return found


@dataclass(frozen=True, slots=True)
class Owed:
    """What is still to be read before a hold can end, and in how many seconds; no spots: time alone ends it.

    cool: spots that were found cool already and need no second look meanwhile.
    """

    spots: tuple[str, ...] = ()
    in_s: float = 0.0
    cool: tuple[str, ...] = ()


NOTHING_OWED = Owed()


def owed(facts: HoldFacts, view: HoldView, limit_c: float, now_s: float) -> Owed:
    """What a holder under a hold still owes, so that whoever reads it need not guess."""
    last = facts.readings[-1] if facts.readings else None
    puzzled = last is not None and last.verdict != Word.AGREES.value and last.value_c <= limit_c
    if facts.reading_only or view.remaining_s is None or puzzled:
        return owed_all_over([*facts.readings, *facts.withdrawn], limit_c, now_s)
    if spots := to_read_again(facts):
        return Owed(spots)
    if last is not None and is_doubted(facts):
        return Owed((last.where,))
    return Owed((view.where,), view.remaining_s) if view.needs_reading else NOTHING_OWED


def owed_all_over(readings: Sequence[Reading], limit_c: float, now_s: float) -> Owed:
    """What is still to be read where only readings at every spot prove it."""
    found = cool_so_far(readings, limit_c, now_s)
    if left := tuple(spot for spot in SPOTS if spot not in found.spots):
        return Owed(left, 0.0, tuple(spot for spot in SPOTS if spot in found.spots))
    return Owed(SPOTS[:1], max(0.0, SOAK_S - (now_s - found.first_s)), SPOTS[1:])
