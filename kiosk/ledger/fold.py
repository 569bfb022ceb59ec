"""What a line does to the tables where several kiosks write: `derive.changes` in the shop's order, and what was unseen.

The same lines in the same order give the same rows at every kiosk.  Heat is counted in a time of its own, seconds
since a heating by the ages that lines carry, so that no two kiosks' clocks meet in a row.  Claims of kiosks that had
not seen each other's lines become differences, and what is in doubt is nowhere known and not cool.  A step that cannot
apply though its kiosk had seen everything is damage, as in a ledger of one kiosk.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from typing import Any

import msgspec

from kiosk.ledger import fold_people, fold_unseen
from kiosk.ledger.derive import changes
from kiosk.ledger.shared_form import WAITING, Told
from kiosk.ledger.state import SHARED_CLOCK, UNSEEN, Broken, Change, LedgerState, Put, Stamp, TableRow, text
from kiosk.rules import lines as L
from kiosk.rules.assembly import Condition
from kiosk.rules.cards import Heat
from kiosk.rules.merge import RETIRED, Claim, Made, Matter, claims, clashing, closes, with_claim

_REFERS = ("heating", "reading", "undoes", "imported")  # fields that hold a line's id as its kiosk had it
_ABOUT_HEAT = (L.Moved, L.Heated, L.TemperatureRead, L.ReadingWithdrawn, L.HoldEnded, L.Built, L.TornDown, L.Restored)
_AT_A_STAY = (L.Moved, L.Heated, L.Built, L.TornDown)  # what rests on how long a holder has stood where it is
_NO_HEATING = 0  # the id of no line
_made = msgspec.json.Decoder(tuple[Made, ...])

Where = Callable[[str, int], int]


class Tips:
    """How far each chain has come in the shop's order: the shared number of its last line there."""

    def __init__(self, last: dict[str, int] | None = None) -> None:
        self.last = dict(last or {})

    def behind(self, chain: str, seen: int) -> bool:
        """Whether another chain has a line in the order after `seen`."""
        return any(n > seen for other, n in self.last.items() if other != chain)


@dataclass(frozen=True, slots=True)
class Placed:
    """A line at its place in the fold.

    id: its shared number, or `WAITING` and its own.  behind: another kiosk's line stands before it that its kiosk had
    not seen.  where: the id of a line by chain and number.
    """

    id: int
    chain: str
    said: Told
    behind: bool
    where: Where


def referring(entry: L.Entry, line: Placed) -> L.Entry:
    """The line with the ids of lines it names as the tables have them now."""
    found: dict[str, Any] = {
        name: line.where(line.chain, value - WAITING)
        for name in _REFERS
        if isinstance(value := getattr(entry, name, None), int) and value >= WAITING
    }
    return dataclasses.replace(entry, **found) if found else entry


def folded(line: Placed, state: LedgerState) -> Iterator[Change]:
    """The rows a line puts and drops; each must be applied before the next is asked for.

    Raises Broken for a step that cannot apply though nothing was unseen, KeyError and msgspec.MsgspecError for a line
    this program does not know.
    """
    said = line.said
    entry = referring(said.entry, line)
    stamp = said.stamp(line.id)
    member = state.get("member", line.chain)
    if member is not None and _wakes(entry, rests=bool(member["rests"])):
        yield Put("member", member | {"rests": 0, "woke": line.id})
    if said.seen == 0:  # from before there were others
        yield from changes(entry, stamp, state)
        return
    itself = isinstance(entry, _AT_A_STAY) and _counted_itself(entry.holder, line, state)
    unseen = yield from _claimed(entry, line, state)
    about = _about_its_heating(entry, line, state)
    if about is None:
        return
    entry = about
    if line.behind and isinstance(entry, L.Heated):
        entry = fold_unseen.of_warm_steel(entry, line.chain, said.seen, state)
    if isinstance(entry, L.Heated):
        entry = fold_unseen.of_told_contents(entry, state)
    apart = isinstance(entry, L.Heated) and _step_unseen(entry.holder, line, state)
    applies, doubtful = _as_it_applies(entry, unseen, state, apart=apart)
    if applies is not None and line.behind and fold_people.leaves_no_pin(applies, line.chain, said.seen, state):
        yield from _kept_apart(entry, line, state)
        return
    first_pin = line.behind and applies is not None and fold_people.first_unseen(applies, line.chain, said.seen, state)
    at = _at(entry, line, state)
    if isinstance(applies, L.Heated | L.Built | L.TornDown) and not itself:
        yield from fold_unseen.of_no_one_heating(applies, state)
    try:
        for change in changes(applies, at, state) if applies else fold_unseen.dropped(entry, at, state):
            if isinstance(entry, L.KioskStarted):
                if not _is_set(change, state):
                    yield fold_unseen.counted_on(change, line.chain, state)
                continue
            if isinstance(applies, L.Moved):
                change = fold_unseen.longer(change, itself, line.id, state)
            if first_pin or Matter.PIN in unseen:
                change = fold_people.with_pin_in_doubt(change, state)
            yield _for_all(change, line, doubtful)
    except Broken:
        if not line.behind:
            raise
        yield from _kept_apart(entry, line, state)
        for change in fold_unseen.dropped(entry, at, state):
            yield _for_all(change, line, doubtful)
    if first_pin:
        yield from _kept_apart(entry, line, state, Matter.PIN)
    if line.behind:
        yield from fold_unseen.doubted(entry, line.chain, said.seen, state)


def _wakes(entry: L.Entry, *, rests: bool) -> bool:
    """Whether others may take a kiosk to be at rest until they have this line of it.

    A book that was put back or has lost its end may have rested after what it knows.
    """
    if isinstance(entry, L.Restored):
        return entry.cause != "clocks"
    return rests and not isinstance(entry, L.KioskRests)


def _kept_apart(entry: L.Entry, line: Placed, state: LedgerState, matter: Matter | None = None) -> Iterator[Change]:
    """A line that does not fit what its kiosk had not seen is told as a difference, and changes nothing else.

    matter: which of its claims; None: the first.
    """
    for claim in [each for each in claims(entry) if matter in (None, each.matter)][:1]:
        key = f"{claim.matter.value}/{claim.subject}"
        known = state.get("difference", key)
        if known is None or known["closed_line"] is not None:
            yield Put("difference", _opened(key, claim, (Made(line.id, line.chain, claim.value),), line.id))


def _claimed(entry: L.Entry, line: Placed, state: LedgerState) -> Generator[Change, None, set[Matter]]:
    """Keeps what the line claims, opens and closes differences; gives back what it claims against unseen claims."""
    unseen: set[Matter] = set()
    chain, seen = line.chain, line.said.seen
    for claim in claims(entry, line.said.operator):
        if claim.matter is Matter.POCKET and not _can_be_full(claim.subject, state):
            continue
        key = f"{claim.matter.value}/{claim.subject}"
        new = Made(line.id, chain, claim.value)
        row, known = state.get("claim", key), state.get("difference", key)
        made = _made.decode(row["made"]) if row else ()
        if known is not None and known["closed_line"] is None:
            told = _made.decode(known["claims"])
            if closes(claim, chain, seen, told):
                yield Put("difference", known | {"closed_line": line.id})
            elif clashing(claim, chain, seen, told):
                unseen.add(claim.matter)
                yield Put("difference", known | {"claims": text(with_claim(claim.matter, told, new))})
        elif (against := clashing(claim, chain, seen, made)) and _matters(claim, against, state):
            unseen.add(claim.matter)
            yield Put("difference", _opened(key, claim, (*against, new), line.id))
        yield Put("claim", {"key": key, "made": text(with_claim(claim.matter, made, new))})
    return unseen


def _can_be_full(place: str, state: LedgerState) -> bool:
    row = state.get("place", place)
    return row is not None and row["capacity"] is not None


def _matters(claim: Claim, against: tuple[Made, ...], state: LedgerState) -> bool:
    """Whether claims that differ cannot both be: two holders may stand in one place that takes two."""
    if claim.matter is not Matter.POCKET or not claim.value:
        return claim.matter is not Matter.POCKET
    place = state.get("place", claim.subject)
    standing = [row["key"] for row in state.all("holder") if row["place"] == claim.subject]
    more = len({*standing, claim.value})
    return any(each.value for each in against) and place is not None and more > (place["capacity"] or more)


def _opened(key: str, claim: Claim, made: tuple[Made, ...], line: int) -> TableRow:
    return {
        "key": key, "matter": claim.matter.value, "subject": claim.subject, "claims": text(made), "opened_line": line,
        "closed_line": None,
    }  # fmt: skip


def _as_it_applies(
    entry: L.Entry, unseen: set[Matter], state: LedgerState, *, apart: bool
) -> tuple[L.Entry | None, bool]:
    """What is left of a line whose claims stand against unseen ones, and whether heat is in doubt by it.

    apart: a heating whose kiosk had not seen a step or a heating of another: which was later, nobody knows.
    """
    match entry:
        case L.Moved(holder=key):
            row = state.get("holder", key)
            if row is None:
                return entry, False
            if Matter.PLACE in unseen:  # both claims stand: nobody knows where it is
                return L.Moved(key, row["place"], None, reason=entry.reason), True
            if row["place"] != entry.origin and row["place"] == entry.goal:
                return None, False  # both scanned it to the same place
            known = state.get("difference", f"{Matter.PLACE.value}/{key}")
            if row["place"] != entry.origin and known is not None:
                return L.Moved(key, row["place"], entry.goal, reason=entry.reason), False
            return entry, False
        case L.Heated(holder=key):
            return entry, apart or _is_open(Matter.PLACE.value, key, state)
        case L.Built() | L.TornDown() if {Matter.HOLDER, Matter.CUTTER} & unseen:
            return None, False  # as the book has it until a hand says which
        case L.CodeBound() | L.CodeRetired() if Matter.LABEL in unseen:
            return None, False
        case L.OperatorAdded(operator=key) if Matter.BADGE in unseen:
            return fold_people.as_little(entry, state.get("operator", key)), False
        case L.ConditionSaid(assembly=key, condition=condition) if _is_open(Matter.CONDITION.value, key, state):
            built = state.get("assembly", key)
            told = [condition, *([Condition(built["condition"])] if built else [])]
            return dataclasses.replace(entry, condition=max(told, key=lambda each: each.badness)), False
        case L.ClaimSettled(matter=matter, subject=key, value=value) if _is_open(matter, key, state):
            return (_gone(Matter(matter), key, state) if value == RETIRED else None), False
        case _:
            return entry, False


def _is_open(matter: str, subject: str, state: LedgerState) -> bool:
    known = state.get("difference", f"{matter}/{subject}")
    return known is not None and known["closed_line"] is None


def _gone(matter: Matter, key: str, state: LedgerState) -> L.Entry | None:
    """Hands at two kiosks looked, and one of them says that it is out of use: then it is, until one knows of both."""
    if matter is Matter.BADGE:
        return L.OperatorRetired(key)
    kinds = ("holder", L.HolderRetired), ("cutter", L.CutterRetired), ("place", L.PlaceRetired)
    here = (kind(key) for table, kind in kinds if state.get(table, key) is not None)
    return next(here, None) if matter is Matter.USE else None


def _about_its_heating(entry: L.Entry, line: Placed, state: LedgerState) -> L.Entry | None:
    """A line about one heating, or about none, changes no other; None: it changes nothing.

    One that did not know of another kiosk's step or heating was written of what may not have been so, a reading before
    a later heating: it ends nothing and teaches nothing.
    """
    match entry:
        case L.HoldEnded(holder=key) if _step_unseen(key, line, state):
            return None  # it ended by what its kiosk knew: whoever knows more counts it, or reads it again
        case L.HoldEnded() if fold_unseen.lost_one(line.said.seen, state):
            return None  # what was done at a kiosk that is gone, it could not know
        case L.HoldEnded(holder=key, heating=None) if _runs(key, state):
            return None
        case L.TemperatureRead(holder=key) if _step_unseen(key, line, state):
            return dataclasses.replace(entry, heating=_NO_HEATING, pair="")
        case L.TemperatureRead(heating=None):
            return dataclasses.replace(entry, heating=_NO_HEATING)
        case _:
            return entry


def _runs(holder: str, state: LedgerState) -> bool:
    hold = state.get("hold", holder)
    return hold is not None and hold["ended_line"] is None


def _step_unseen(holder: str, line: Placed, state: LedgerState) -> bool:
    """Whether another kiosk moved or heated the holder, and this one had not seen that."""
    return not fold_unseen.all_seen(Matter.PLACE, holder, line.chain, line.said.seen, state)


def _at(entry: L.Entry, line: Placed, state: LedgerState) -> Stamp:
    """When it was, for a line about heat by the ages since its holder was heated."""
    said = line.said
    plain = said.stamp(line.id)._replace(kiosk=line.chain)
    if isinstance(entry, L.KioskStarted):
        return plain._replace(kiosk=SHARED_CLOCK, watched_s=0.0)
    if not isinstance(entry, _ABOUT_HEAT):
        return plain
    shared = plain._replace(kiosk=SHARED_CLOCK, watched_s=0.0)
    holder = getattr(entry, "holder", None)
    hold = state.get("hold", holder) if holder else None
    if hold is None or hold["kiosk"] != SHARED_CLOCK:
        return shared
    return shared._replace(watched_s=_since_heated_s(msgspec.json.decode(hold["stages"]), line))


def _counted_itself(holder: str, line: Placed, state: LedgerState) -> bool:
    """Whether the line's kiosk counted the stay that ends from its beginning: of another's it knows the least only."""
    hold, stay = state.get("hold", holder), line.said.stay
    if hold is None or stay is None or line.said.age_s is None:
        return False
    counted = _in_order(stay, line) == msgspec.json.decode(hold["stages"])[-1][2]
    return counted and fold_unseen.may_count(hold, line.chain, state)


def _in_order(stay: int, line: Placed) -> int | None:
    """A stay by the number that its line has in the tables."""
    return line.where(line.chain, stay - WAITING) if stay >= WAITING else stay


def _since_heated_s(stages: list[list[Any]], line: Placed) -> float:
    """The hold's own time at a line: when the stay it names began, and how long that had lasted; never more than that.

    A line that names a stay which is not the last was written without knowing the last one.
    """
    said = line.said
    last_s = float(stages[-1][1])
    stay = said.stay
    if stay is None or said.age_s is None:
        return last_s
    stay = _in_order(stay, line)
    for _, since_s, number, *_ in stages:
        if number == stay:
            return max(last_s, float(since_s) + said.age_s) if number == stages[-1][2] else last_s
    return last_s


def _is_set(change: Change, state: LedgerState) -> bool:
    """Whether this would set anew what the shop goes by: a line of a hand does, not what a kiosk is started with."""
    if not isinstance(change, Put) or change.table != "setting":
        return False
    return state.get("setting", change.row["name"]) is not None


def _for_all(change: Change, line: Placed, doubtful: bool) -> Change:
    """A row as all kiosks keep it: who moved a holder is the kiosk, and its step is counted by nobody's clock."""
    if not isinstance(change, Put):
        return change
    row = change.row
    if change.table == "holder" and row["last_kiosk"] == SHARED_CLOCK:
        row = row | {"last_kiosk": line.chain, "since_watched_s": line.said.watched_s}
    if change.table == "holder" and doubtful:
        row = row | {"place": None, "heat": Heat.UNKNOWN.value if row["heat"] == Heat.COOL.value else row["heat"]}
    if change.table == "holder" and isinstance(line.said.entry, L.HoldEnded) and line.said.entry.by == "reading":
        # Who proved it cool knows of it what who brought it here knows.
        row = row | {"last_kiosk": line.chain, "since_watched_s": line.said.watched_s}
    if change.table == "hold" and doubtful and row["ended_line"] is None:
        row = row | UNSEEN
    return Put(change.table, row)
