"""What a line leaves in doubt about heat because its kiosk had not seen another's: then only a reading ends the hold.

Where one kiosk writes, a guard keeps what a hold is worked out from as it was (`rules.grounds`), and a reading is of
the heating that runs.  Of lines that did not know of each other nobody can say which was later, so each way round the
strict one holds: what was read may have been read before the steel was heated, facts may have changed under a hold.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterator
from typing import Any

import msgspec

from kiosk.ledger import derive_heat
from kiosk.ledger.state import UNSEEN, Change, LedgerState, Put, Stamp, TableRow, text
from kiosk.rules import lines as L
from kiosk.rules.belief import Verdict
from kiosk.rules.cooling.unknowns import Way
from kiosk.rules.hold_facts import WITHDRAWN, HeatValues
from kiosk.rules.merge import Made, Matter, has_seen
from kiosk.rules.places import Kind

_made = msgspec.json.Decoder(tuple[Made, ...])
LEAST = 0  # fourth of a stage of which only the least is known; that matters once it comes to where it cools otherwise
_VALUES = tuple(f"heat.{each.name}" for each in dataclasses.fields(HeatValues))


def all_seen(matter: Matter, subject: str, chain: str, seen: int, state: LedgerState) -> bool:
    """Whether a line of `chain` that had seen the shared lines to `seen` knew all that others claim of that."""
    row = state.get("claim", f"{matter.value}/{subject}")
    return row is None or all(has_seen(chain, seen, each) for each in _made.decode(row["made"]))


def lost_one(seen: int, state: LedgerState) -> bool:
    """Whether a kiosk was locked out, which a line that had seen the shared lines to `seen` did not know: what was done
    at that kiosk, and never told, may be later than that line."""
    return any((row["gone"] or 0) > seen and not row["rests"] for row in state.all("member"))


def _running(holder: str, state: LedgerState) -> TableRow | None:
    hold = state.get("hold", holder)
    return hold if hold is not None and hold["ended_line"] is None else None


def of_warm_steel(entry: L.Heated, chain: str, seen: int, state: LedgerState) -> L.Heated:
    """A heating of steel of which others' lines, that its kiosk had not seen, say that nobody knows how warm it is.

    How warm its kiosk took it to be is not believed, and what made it unknown may have been later.
    """
    hold, doubted = _running(entry.holder, state), state.get("doubted", entry.holder)
    unknown = doubted is not None and doubted["line"] > seen
    unknown = unknown or not all_seen(Matter.HOLDER, entry.holder, chain, seen, state)
    if hold is not None:
        slips = any(each[4] == WITHDRAWN for each in msgspec.json.decode(hold["readings"]))
        unseen = hold["reading_only"] and hold["to_be_heated"] is None
        unknown = unknown or bool(unseen or hold["body_unknown"] or slips)
    return dataclasses.replace(entry, body_unknown=True, reading_only=True) if unknown else entry


def of_told_contents(entry: L.Heated, state: LedgerState) -> L.Heated:
    """A heating while it is open what is in the holder: how much steel and cutter it heated, nobody knows."""
    row = state.get("holder", entry.holder)
    built = state.get("assembly", row["assembly"]) if row and row["assembly"] else None
    claim = state.get("claim", f"{Matter.HOLDER.value}/{entry.holder}")
    inside = {each.value for each in _made.decode(claim["made"])} if claim else set()
    keys = [f"{Matter.CUTTER.value}/{each}" for each in sorted({*inside, *([built["cutter"]] if built else [])})]
    found = [state.get("difference", key) for key in (f"{Matter.HOLDER.value}/{entry.holder}", *keys)]
    told = any(each is not None and each["closed_line"] is None for each in found)
    return dataclasses.replace(entry, reading_only=True) if told else entry


def dropped(entry: L.Entry, at: Stamp, state: LedgerState) -> Iterator[Change]:
    """A cutter that was shrunk in or out against another kiosk's claim: which it was is open, that it took heat not."""
    if isinstance(entry, L.Built | L.TornDown) and getattr(entry, "undoes", None) is None:
        row = state.get("holder", entry.holder)
        if row is not None:
            yield from derive_heat.joined(dict(row), at, state)


def doubted(entry: L.Entry, chain: str, seen: int, state: LedgerState) -> Iterator[Change]:
    """The holds that only readings end from now on; asked once the line is in the tables."""
    for holder in _resting(entry, chain, seen, state):
        hold = _running(holder, state)
        if hold is not None and any(hold[name] != value for name, value in UNSEEN.items()):
            yield Put("hold", hold | UNSEEN)


def _resting(entry: L.Entry, chain: str, seen: int, state: LedgerState) -> Collection[str]:
    """Holders whose hold rests on what this line says, unknown to its kiosk; or on what it did not know of them."""
    match entry:
        case L.Heated(holder=key, place=place):
            row = state.get("holder", key)
            built = state.get("assembly", row["assembly"]) if row and row["assembly"] else None
            rests_on = (key, place, *([built["cutter"]] if built else []), *_VALUES)
            known = all(all_seen(Matter.SETTING, each, chain, seen, state) for each in rests_on)
            return () if known and not lost_one(seen, state) else (key,)
        case L.Moved(holder=key, goal=goal):
            known = goal is None or all_seen(Matter.SETTING, goal, chain, seen, state)
            return () if known and not _stood_otherwise(key, goal, chain, seen, state) else (key,)
        case L.TemperatureRead(holder=key, verdict=Verdict.QUESTIONED.value):  # why it was so warm, no time tells
            return () if all_seen(Matter.PLACE, key, chain, seen, state) else (key,)
        case L.Built(holder=key, cutter=cutter) if not all_seen(Matter.CUTTER, cutter, chain, seen, state):
            return {key, *_with_cutter(cutter, state)}
        case L.Built(holder=key) | L.TornDown(holder=key):  # it may have been heated for that by no one's heating
            seen_all = (all_seen(matter, key, chain, seen, state) for matter in (Matter.PLACE, Matter.HOLDER))
            return () if all(seen_all) else (key,)
        case L.HolderRegistered(holder=steel):
            found: Collection[str] = (steel.key,)
        case L.CutterAdded(cutter=cutting):
            found = _with_cutter(cutting.key, state)
        case L.CutterReground(cutter=key):
            found = _with_cutter(key, state)
        case L.PlaceAdded(place=place):
            found = _stood_in(place.code, state)
        case _:
            return ()
    return [key for key in found if not all_seen(Matter.PLACE, key, chain, seen, state)]


def _stood_otherwise(holder: str, goal: str | None, chain: str, seen: int, state: LedgerState) -> bool:
    """Whether others' steps that this line's kiosk had not seen count a stay that cools otherwise than where it took
    the holder: it may have gone there before that stay was over, though in the end they took it there too."""
    hold = _running(holder, state)
    if hold is None or all_seen(Matter.PLACE, holder, chain, seen, state):
        return False
    stages = msgspec.json.decode(hold["stages"])
    return any(line > seen and _cools(place, state) != _cools(goal, state) for place, _, line, *_ in stages)


def may_count(hold: TableRow, chain: str, state: LedgerState) -> bool:
    """Whether a kiosk may count where a holder stands from its beginning: it moved it last, and no other's line came
    since, as another station's heating does."""
    row = state.get("holder", hold["holder"])
    if row is None or row["last_kiosk"] != chain:
        return False
    claim = state.get("claim", f"{Matter.PLACE.value}/{hold['holder']}")
    began = msgspec.json.decode(hold["stages"])[-1][2]
    made = _made.decode(claim["made"]) if claim else ()
    return not any(each.line == began and each.kiosk != chain for each in made)


def counted_on(change: Change, chain: str, state: LedgerState) -> Change:
    """What a kiosk's start does to a hold.  The others counted on meanwhile: only where it stands by this kiosk's own
    count has it stood for longer than that; who else moves it says by itself that it may have."""
    if not isinstance(change, Put) or change.table != "hold":
        return change
    before = state.get("hold", change.row["holder"])
    if before is None or before["kiosk"] != change.row["kiosk"] or may_count(before, chain, state):
        return change
    return Put("hold", change.row | {"stages": before["stages"], "gaps": before["gaps"]})


def of_no_one_heating(entry: L.Heated | L.Built | L.TornDown, state: LedgerState) -> Iterator[Change]:
    """A heating scanned again, or a cutter joined at the station, by a kiosk that did not count the stay there: that
    little time went by since the heating it does not know, so it may be another one."""
    hold, holder = _running(entry.holder, state), state.get("holder", entry.holder)
    if hold is None or holder is None or (isinstance(entry, L.Heated) and not entry.again):
        return
    place = state.get("place", holder["place"]) if holder["place"] else None
    if place is not None and Kind(place["kind"]) is Kind.SHRINK:
        *before, stood = msgspec.json.decode(hold["stages"])
        yield Put("hold", hold | {"stages": text([*before, derive_heat.for_longer(stood)])})


def longer(change: Change, itself: bool, line: int, state: LedgerState) -> Change:
    """A step of a holder whose hold runs: what it leaves may have been longer than counted.

    line: the step's id; one that is taken back leaves nothing.  itself: the step's kiosk counted the stay that ends
    from its beginning.  Else only the least is known of it, and heat that had longer to go deeper leaves a place that
    cools otherwise later, however many it came through before.
    """
    if not isinstance(change, Put) or change.table != "hold" or change.row["ended_line"] is not None:
        return change
    stages: list[list[Any]] = msgspec.json.decode(change.row["stages"])
    if len(stages) < 2 or stages[-1][2] != line:
        return change
    *stood, goes_to = stages
    cooled = _cools(stood[-1][0], state)
    if not itself and not stood[-1][3:]:
        stood[-1] = [*stood[-1], LEAST]
    if cooled != _cools(goes_to[0], state):
        for at in reversed(range(len(stood))):
            if _cools(stood[at][0], state) != cooled:
                break
            if stood[at][3:]:
                stood[at] = derive_heat.for_longer(stood[at])
    return Put("hold", change.row | {"stages": text([*stood, goes_to])})


def _cools(place: str | None, state: LedgerState) -> tuple[str, float | None]:
    row = state.get("place", place) if place else None
    return (row["way"] or Way.FREE_AIR.value, row["wet_length_mm"]) if row else (Way.FREE_AIR.value, None)


def _with_cutter(cutter: str, state: LedgerState) -> list[str]:
    holds = [row["holder"] for row in state.all("hold") if row["ended_line"] is None]
    found = []
    for key in holds:
        row = state.get("holder", key)
        built = state.get("assembly", row["assembly"]) if row and row["assembly"] else None
        if built is not None and built["cutter"] == cutter:
            found.append(key)
    return found


def _stood_in(place: str, state: LedgerState) -> list[str]:
    """Holders whose hold counts a stay there, or in something inside it."""
    holds = [row for row in state.all("hold") if row["ended_line"] is None]
    return [
        row["holder"]
        for row in holds
        if any(place in _around(stage[0], state) for stage in msgspec.json.decode(row["stages"]))
    ]


def _around(place: str | None, state: LedgerState) -> set[str]:
    found: set[str] = set()
    while place is not None and place not in found:
        found.add(place)
        row = state.get("place", place)
        place = row["parent"] if row else None
    return found
