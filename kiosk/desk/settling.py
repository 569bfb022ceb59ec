"""The lines by which a hand's word about a difference becomes what the book says, beside the line that settles it.

A claim that did not come first was kept and changed nothing, or was overwritten by a later one: whichever is right, the
book says so afterwards.  What a thing is, is told anew as the kiosk of that claim knew it, with all that belongs to it.
Says nothing of heat: a cutter that goes in or comes out by such a line leaves its holder as warm as any other does.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import msgspec

from kiosk.ledger import history
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.derive import MemoryState, TableRow, changes
from kiosk.ledger.places import Places
from kiosk.ledger.view import cutter_of
from kiosk.rules import lines as L
from kiosk.rules.assembly import Condition, Holder
from kiosk.rules.merge import RETIRED, USED, Made, Matter, claims

SETTLED = "told differently"  # why something is told once more, where nobody said
_THING = frozenset(
    each.kind for each in (L.HolderRegistered, L.CutterAdded, L.CutterReground, L.PlaceAdded, L.PocketAssigned)
)
_PERSON = frozenset({L.OperatorAdded.kind})
_ALL_LINES = 100_000  # more than one thing was ever told anew
_OPEN_BY_ITSELF = {Matter.HOLDER: Matter.CUTTER, Matter.NUMBER: Matter.NUMBER}  # of which values are subjects
_holder = msgspec.json.Decoder(Holder)
_made = msgspec.json.Decoder(tuple[Made, ...])


@dataclass(frozen=True, slots=True)
class Settling:
    """A difference and what a hand calls right of it.  made: all claims of it."""

    matter: Matter
    subject: str
    value: str
    made: tuple[Made, ...]
    reason: str

    @property
    def chosen(self) -> Made | None:
        """The claim that is right; None: none of those that were made."""
        return next((each for each in self.made if each.value == self.value), None)


def lines_of(said: Settling) -> tuple[L.Entry, ...]:
    """What is to be written beside the settling line; empty where the book says it already, or a scan has to follow."""
    match said.matter:
        case Matter.SETTING:
            return tuple(_thing(said))
        case Matter.USE if said.value == RETIRED:
            return tuple(_out_of_use(said.subject, said.reason))
        case Matter.BADGE:
            return tuple(_person(said))
        case Matter.NUMBER:
            return tuple(_number(said))
        case Matter.HOLDER:
            return tuple(_holds(said.subject, _cutter_meant(said.value), said))
        case Matter.CUTTER if said.value:
            return tuple(_holds(said.value, said.subject, said))
        case Matter.LABEL:
            return tuple(_label(said))
        case Matter.POCKET:
            return tuple(_stands_alone(said))
        case Matter.CONDITION:
            return tuple(_condition(said))
        case Matter.PIN:
            return tuple(_pin(said))
        case _:  # in use: the settling line says so itself; an audit that is closed stays closed
            return ()


def closes_unseen(said: Settling, entries: Iterable[L.Entry]) -> str | None:
    """The subject of another open difference that these lines would close though nobody looked at all its claims.

    Where a claim of it is about something that is open by itself, nothing is lost: that is still to be looked at.
    """
    found = rows(T.Difference.select().where(T.Difference.closed_line.is_null()))
    still = {row["key"]: {each.value for each in _made.decode(row["claims"])} for row in found}
    still.pop(f"{said.matter.value}/{said.subject}", None)
    out = {cutter for entry in entries if isinstance(entry, L.TornDown) for cutter in _built_of(entry.assembly)}
    for claim in (each for entry in entries for each in claims(entry) if each.settles):
        if (claim.matter.value, claim.value) in _seen_with_own_eyes(said):
            continue
        left = still.get(f"{claim.matter.value}/{claim.subject}", set()) - {claim.value, said.subject, *out}
        by_itself = _OPEN_BY_ITSELF.get(claim.matter)
        if any(by_itself is None or f"{by_itself.value}/{value}" not in still for value in left):
            return claim.subject
    return None


def _seen_with_own_eyes(said: Settling) -> tuple[tuple[str, str], ...]:
    """What a hand that settles this knows of others: who looked which cutter is in a holder, saw that one in it."""
    match said.matter:
        case Matter.HOLDER if said.value:
            return ((Matter.CUTTER.value, said.subject),)
        case Matter.CUTTER if said.value:
            return ((Matter.HOLDER.value, said.subject),)
        case Matter.NUMBER:
            return ((Matter.NUMBER.value, said.subject),)
        case _:
            return ()


def _row(table: type[T.Table], key: str) -> TableRow | None:
    return next(iter(rows(table.select().where(table._meta.primary_key == key))), None)


def _as_told(subject: str, kinds: frozenset[str], chosen: Made, others: tuple[Made, ...]) -> MemoryState:
    """What the kiosk of a claim knew of a thing or a person when it made it, that claim in it."""
    line = _row(T.Chained, str(chosen.line))
    seen = line["seen"] if line else min(each.line for each in others) - 1
    told = history.lines(history.Question(subject, kinds, newest=_ALL_LINES))
    of_kiosk = (T.Chained.chain == chosen.kiosk) & T.Chained.line.in_([each.id for each in told])
    own = {row["line"] for row in rows(T.Chained.select(T.Chained.line).where(of_kiosk))}
    state = MemoryState()
    for each in reversed(told):
        if each.id <= seen or each.id == chosen.line or (each.id in own and each.id < chosen.line):
            for change in changes(each.entry, each.stamp, state):
                state.apply(change)
    return state


def _thing(said: Settling) -> Iterator[L.Entry]:
    """A thing's facts, and out of use again where it is: telling them alone would bring it back.  Or a measurement."""
    if said.chosen is None:
        return
    if (assembly := _row(T.Assembly, said.subject)) is not None:
        told = history.between(said.subject, said.chosen.line, said.chosen.line)
        if assembly["torn_line"] is None:
            yield from (each.entry for each in told if isinstance(each.entry, L.MeasuredLine))
        return
    key, known = said.subject, _as_told(said.subject, _THING, said.chosen, said.made)
    if (row := known.get("holder", key)) is not None:
        yield L.HolderRegistered(_holder.decode(row["facts"]), said.reason)
    elif (row := known.get("cutter", key)) is not None:
        yield L.CutterAdded(cutter_of(row), said.reason)
    elif (row := known.get("place", key)) is not None:
        places, now = Places([row]), _row(T.Place, key)
        yield L.PlaceAdded(places.place(key), places.magazine(key), said.reason)
        if now is not None and now["owner"] != row["owner"]:
            yield L.PocketAssigned(key, row["owner"])
    if row is not None and _is_retired(key):
        yield from _retiring(key, said.reason)


def _kind_of(key: str) -> type[L.HolderRetired] | type[L.CutterRetired] | type[L.PlaceRetired] | None:
    kinds = (T.Holder, L.HolderRetired), (T.Cutter, L.CutterRetired), (T.Place, L.PlaceRetired)
    return next((kind for table, kind in kinds if _row(table, key) is not None), None)


def _is_retired(key: str) -> bool:
    return any((row := _row(table, key)) is not None and row["retired"] for table in (T.Holder, T.Cutter, T.Place))


def _retiring(key: str, reason: str) -> Iterator[L.Entry]:
    if (kind := _kind_of(key)) is not None:
        yield kind(key, reason)


def _out_of_use(key: str, reason: str) -> Iterator[L.Entry]:
    if not _is_retired(key):
        yield from _retiring(key, reason)


def _person(said: Settling) -> Iterator[L.Entry]:
    """Somebody who is gone, or who they are; that they are here still, the settling line says itself."""
    now = _row(T.Operator, said.subject)
    if said.value == RETIRED and now is not None and not now["retired"]:
        yield L.OperatorRetired(said.subject, said.reason)
    if said.value in (RETIRED, USED) or said.chosen is None:
        return
    row = _as_told(said.subject, _PERSON, said.chosen, said.made).get("operator", said.subject)
    if row is not None:
        pin = None if _is_open(Matter.PIN, said.subject) else row["pin_hash"]  # that is still to be looked at
        yield L.OperatorAdded(said.subject, row["name"], row["role"], pin, row["language"])


def _is_open(matter: Matter, subject: str) -> bool:
    found = _row(T.Difference, f"{matter.value}/{subject}")
    return found is not None and found["closed_line"] is None


def _pin(said: Settling) -> Iterator[L.Entry]:
    """One of the PINs that were chosen; nothing of who has been sent away meanwhile."""
    now = _row(T.Operator, said.subject)
    if said.chosen is not None and now is not None and not now["retired"]:
        yield L.OperatorAdded(said.subject, now["name"], now["role"], said.value)


def _condition(said: Settling) -> Iterator[L.Entry]:
    """How a cutter is, whether or not the book has it so: of two hands that say otherwise at once the worse counts."""
    if (assembly := _row(T.Assembly, said.subject)) is not None:
        yield L.ConditionSaid(assembly["holder"], said.subject, Condition(said.value))


def _number(said: Settling) -> Iterator[L.Entry]:
    """One assembly has a number, all others have it no more; or an assembly has that number and no other."""
    if (assembly := _row(T.Assembly, said.subject)) is not None:
        number = int(said.value) if said.value else None
        if assembly["tool_number"] != number:
            yield L.ToolNumbered(assembly["holder"], said.subject, number)
        return
    if not said.subject.isdecimal():
        return  # an assembly that stands in no holder, because what was built is told differently as well
    number = int(said.subject)
    built = T.Assembly.select().where(T.Assembly.tool_number == number, T.Assembly.torn_line.is_null())
    for row in rows(built.order_by(T.Assembly.built_line)):
        if row["key"] != said.value:
            yield L.ToolNumbered(row["holder"], row["key"], None)
    assembly = _row(T.Assembly, said.value)
    if assembly is not None and assembly["torn_line"] is None and assembly["tool_number"] != number:
        yield L.ToolNumbered(assembly["holder"], said.value, number)


def _built_of(assembly: str) -> tuple[str, ...]:
    """An assembly's key and its cutter's; nothing where the book has none."""
    row = _row(T.Assembly, assembly)
    return (assembly, row["cutter"]) if row else ()


def _cutter_meant(value: str) -> str:
    """The cutter of what is claimed to be in a holder: a cutter, an assembly that was put back in, or nothing."""
    return _built_of(value)[-1] if _built_of(value) else value


def _holds(holder: str, cutter: str, said: Settling) -> Iterator[L.Entry]:
    """A holder holds this cutter or nothing: out with what the book has in it, out of where the book has the cutter."""
    now = _row(T.Holder, holder)
    if now is None:
        return
    stands = T.Assembly.select().where(T.Assembly.torn_line.is_null())
    in_it = [row for row in rows(stands) if row["key"] == now["assembly"]]
    if in_it and in_it[0]["cutter"] == cutter:
        return
    going_in = _going_in(holder, cutter, said)
    elsewhere = [row for row in rows(stands.where(T.Assembly.cutter == cutter)) if going_in and row not in in_it]
    for row in (*in_it, *elsewhere):
        if (there := _row(T.Holder, row["holder"])) is not None and there["assembly"] == row["key"]:
            yield L.TornDown(row["holder"], row["key"])
    yield from going_in


def _going_in(holder: str, cutter: str, said: Settling) -> tuple[L.Entry, ...]:
    """How the cutter went in where that was told."""
    told = history.between(holder, said.chosen.line, said.chosen.line) if said.chosen else []
    match told[0].entry if told else None:
        case L.Built() as built if (built.holder, built.cutter) == (holder, cutter):
            taken = _row(T.Assembly, built.assembly) is not None
            return (replace(built, assembly=f"A{secrets.token_hex(6).upper()}") if taken else built,)
        case L.TornDown(undoes=undone, assembly=key) if undone is not None:
            row = _row(T.Assembly, key)
            return (L.TornDown(holder, key, row["torn_line"]),) if row and row["torn_line"] else ()
        case _:
            return ()


def _label(said: Settling) -> Iterator[L.Entry]:
    """The end of a label that is not on what the book has it on, or its use again on what it was on.

    One that is on another thing opens the first no more; that thing gets a new one: no code ever stands for two.
    """
    bound = _row(T.Binding, said.subject)
    if bound is None:
        return
    if bound["subject"] != said.value and bound["retired_line"] is None:
        yield L.CodeRetired(said.subject, said.reason)
    elif bound["subject"] == said.value and bound["retired_line"] is not None:
        yield L.CodeBound(said.subject, said.value, bound["what"], bool(bound["foreign_mark"]))


def _stands_alone(said: Settling) -> Iterator[L.Entry]:
    """Where one holder stands, or none, no other does: where those are nobody knows until they are scanned."""
    place = _row(T.Place, said.subject)
    if place is None or (said.value and place["capacity"] != 1):
        return
    for row in rows(T.Holder.select().where(T.Holder.place == said.subject).order_by(T.Holder.key)):
        if row["key"] != said.value:
            yield L.Moved(row["key"], said.subject, None, reason=said.reason)
