"""What a line does to the tables: one function, used when a line is written and when the ledger is replayed.

`changes` reads a state and yields the rows a line puts or drops; it never writes and knows no database, so the
same code runs against SQL (`sql_state.SqlState`) and against plain dictionaries (`MemoryState`, for `check`).
A change of meaning here needs a new schema version, because a replay must give what the tables hold.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import asdict, fields

import msgspec

from kiosk.ledger import derive_heat
from kiosk.ledger.state import (
    KEYS,
    STILL_WARM_S,
    UNSEEN,
    Broken,
    Change,
    Drop,
    LedgerState,
    MemoryState,
    Put,
    Stamp,
    TableRow,
    must,
    text,
)
from kiosk.rules import lines as L
from kiosk.rules import merge
from kiosk.rules.assembly import Unbalance
from kiosk.rules.cards import Heat

__all__ = [
    "KEYS",
    "STILL_WARM_S",
    "Broken",
    "Change",
    "Drop",
    "LedgerState",
    "MemoryState",
    "Put",
    "Stamp",
    "TableRow",
    "changes",
    "mentions",
    "text",
]


_NOT_BALANCED = {"unbalance_gmm": None, "balance_grade": None, "at_rpm": None}


def changes(entry: L.Entry, at: Stamp, state: LedgerState) -> Iterator[Change]:
    """The rows `entry` puts and drops.  Raises Broken where it speaks of something that is not there."""
    match entry:
        case L.Moved():
            yield from derive_heat.moved(entry, at, state)
        case L.Seen(audit=audit, text=seen):
            row: TableRow = {
                "key": f"{audit}/{seen}", "audit": audit, "text": seen, "holder": entry.holder, "place": entry.place,
                "twin": entry.twin, "stands_empty": int(entry.empty), "watched_s": at.watched_s, "line": at.id,
            }  # fmt: skip
            yield Put("sighting", row)
            if (opened := state.get("audit", audit)) and opened["paused"]:
                yield Put("audit", opened | {"paused": 0})
        case L.Heated():
            yield from derive_heat.heated(entry, at, state)
        case L.TemperatureRead():
            yield from derive_heat.read(entry, at, state)
        case L.ReadingWithdrawn():
            yield from derive_heat.withdrawn(entry, at, state)
        case L.HoldEnded():
            yield from derive_heat.hold_ended(entry, at, state)
        case L.Built():
            yield from _built(entry, at, state)
        case L.MeasuredLine(assembly=key, values=values):
            row = must(state, "assembly", key, at)
            said = {"measured": text(values), "measured_utc_s": at.utc_s, "length_mm": values.length_mm}
            if values.unbalance_gmm is not None:  # a presetter that balances too
                said["unbalance"] = text(Unbalance(values.unbalance_gmm, rpm=values.at_rpm or None))
            yield Put("assembly", row | said)
        case L.BalancedLine(assembly=key, values=left):
            row = must(state, "assembly", key, at) | {"unbalance": text(left)}
            if row["measured"]:  # what a presetter found of it no longer is
                row["measured"] = text(msgspec.json.decode(row["measured"]) | _NOT_BALANCED)
            yield Put("assembly", row)
        case L.TornDown(holder=holder, assembly=key, undoes=undoes) if undoes is not None:
            yield Put("assembly", must(state, "assembly", key, at) | {"torn_line": None})
            yield Put("holder", must(state, "holder", holder, at) | {"assembly": key})  # what was heated stays hot
        case L.TornDown(holder=holder, assembly=key):
            yield Put("assembly", must(state, "assembly", key, at) | {"torn_line": at.id})
            yield from derive_heat.joined(must(state, "holder", holder, at) | {"assembly": None}, at, state)
        case L.ConditionSaid(assembly=key, condition=condition, used_min=used):
            row = must(state, "assembly", key, at)
            yield Put("assembly", row | {"condition": condition.value, "used_min": row["used_min"] + used})
        case L.PlaceAdded(place=place, magazine=magazine):
            old = state.get("place", place.code)
            row = asdict(place) | {"kind": place.kind.value, "magazine": text(magazine) if magazine else None}
            yield Put("place", row | {"owner": old["owner"] if old else None, "retired": 0})
        case L.PlaceRetired(code=code):
            yield Put("place", must(state, "place", code, at) | {"retired": 1})
        case L.PocketAssigned(pocket=pocket, holder=holder):
            yield Put("place", must(state, "place", pocket, at) | {"owner": holder})
        case L.HolderRegistered():
            yield from _registered(entry, state)
        case L.HolderRetired(holder=holder):
            yield Put("holder", must(state, "holder", holder, at) | {"retired": 1})
        case L.CutterAdded(cutter=c):
            row = {
                "key": c.key, "name": c.name, "dc_mm": c.dc_mm, "dmm_mm": c.dmm_mm, "re_mm": c.re_mm,
                "facts": text(c), "retired": 0,
            }  # fmt: skip
            before = state.get("cutter", c.key)
            yield Put("cutter", row | {"regrinds": before["regrinds"] if before else 0})
        case L.CutterReground(cutter=key, dc_mm=dc_mm, oal_mm=oal_mm):
            row = must(state, "cutter", key, at)
            ground = {name: value for name, value in (("dc_mm", dc_mm), ("oal_mm", oal_mm)) if value is not None}
            facts = msgspec.json.decode(row["facts"]) | ground
            yield Put("cutter", row | {"dc_mm": facts["dc_mm"], "facts": text(facts), "regrinds": row["regrinds"] + 1})
        case L.ToolNumbered(assembly=key, number=number):
            yield Put("assembly", must(state, "assembly", key, at) | {"tool_number": number})
        case L.CutterRetired(cutter=key):
            yield Put("cutter", must(state, "cutter", key, at) | {"retired": 1})
        case L.CodeBound():
            yield from _bound(entry, at, state)
        case L.LabelPrinted(text=printed, subject=subject, what=what):
            yield Put("printed", {"text": printed, "subject": subject, "what": what, "line": at.id})
        case L.LabelWorn(text=code, spent=spent):
            bound = state.get("binding", code)
            if bound is not None and bound["retired_line"] is None:
                yield Put("worn_label", {"text": code, "spent": spent, "line": at.id})
        case L.CodeRetired(text=code):
            row = must(state, "binding", code, at)
            yield Put("binding", row | {"retired_line": at.id})
            yield Drop("worn_label", code)
            labelled = state.get("holder", row["subject"]) if row["what"] == "holder" else None
            if labelled and labelled["code"] == code:
                yield Put("holder", {**labelled, "code": None})
        case L.AuditOpened(audit=audit, place=place):
            yield Put(
                "audit",
                {
                    "key": audit, "place": place, "opened_line": at.id, "opened_utc_s": at.utc_s, "closed_line": None,
                    "closed_utc_s": None, "operator": at.operator, "paused": 0, "summary": None,
                },
            )  # fmt: skip
        case L.AuditPaused(audit=audit):
            yield Put("audit", must(state, "audit", audit, at) | {"paused": 1})
        case L.AuditClosed(audit=audit):
            row = must(state, "audit", audit, at)
            yield Put("audit", row | {"closed_line": at.id, "closed_utc_s": at.utc_s, "summary": text(entry)})
        case L.DifferenceSettled(audit=audit, text=seen, difference=difference, action=action, reason=reason):
            yield Put(
                "settled",
                {
                    "key": f"{audit}/{seen}/{difference}", "audit": audit, "text": seen, "difference": difference,
                    "action": action, "reason": reason, "booked": entry.booked, "found": entry.found,
                    "name": entry.name, "line": at.id,
                },
            )  # fmt: skip
        case L.OperatorAdded(operator=key, name=name, role=role, pin_hash=pin, language=language):
            before = state.get("operator", key)
            kept = before["pin_hash"] if before and pin is None else pin
            speaks = (before["language"] if before else "") if language is None else language
            row = {"key": key, "name": name, "role": role, "pin_hash": kept, "retired": 0, "language": speaks}
            yield Put("operator", row)
        case L.OperatorRetired(operator=key):
            yield Put("operator", must(state, "operator", key, at) | {"retired": 1})
        case L.SettingChanged(name=name, value=value):
            yield Put("setting", {"name": name, "value": value})
            for hold in state.all("hold"):
                if (mine := derive_heat.values_found([(name, value)], hold, state)) != hold:
                    yield Put("hold", mine)
        case L.KioskStarted(settings=found):
            for hold in state.all("hold"):
                if hold["ended_line"] is None:
                    mine = derive_heat.by_clock_of(at, hold, must(state, "holder", hold["holder"], at))
                    yield Put("hold", derive_heat.unwatched(derive_heat.values_found(found, mine, state)))
            for name, value in found:
                yield Put("setting", {"name": name, "value": value})
        case L.Restored():
            yield from derive_heat.restored(entry, at, state)
        case (
            L.SignedIn() | L.SignedOut() | L.PinGiven() | L.PhonePaired() | L.PhoneEnded() | L.TurnedAway()
            | L.Imported() | L.ImportUndone()
        ):  # fmt: skip
            return
        case L.KioskStands(name=name, at=place, heats=heats, known=known):
            before = state.get("member", at.kiosk) or {"rests": 0, "woke": None, "gone": None}
            row = {"key": at.kiosk, "name": name, "at": place, "heats": int(heats), "known": int(known), "line": at.id}
            yield Put("member", before | row)
        case L.KioskRests():
            if (member := state.get("member", at.kiosk)) is not None:
                yield Put("member", member | {"rests": 1, "woke": None})
        case L.KioskLockedOut(kiosk=gone):
            if (member := state.get("member", gone)) is not None:
                yield Put("member", member | {"gone": at.id})
                if gone != at.kiosk and not member["rests"]:
                    yield from derive_heat.unknown_since(bool(member["heats"]), state)
        case L.ClaimSettled(matter=matter, subject=key, value=merge.USED):
            yield from _in_use(merge.Matter(matter), key, state)
        case L.ClaimSettled():  # of kiosks that worked apart: `fold`
            return


def _built(entry: L.Built, at: Stamp, state: LedgerState) -> Iterator[Change]:
    holder = must(state, "holder", entry.holder, at)
    must(state, "cutter", entry.cutter, at)
    if holder["assembly"] is not None:
        raise Broken(at.id, f"holder {entry.holder!r} already holds {holder['assembly']!r}")
    yield Put(
        "assembly",
        {
            "key": entry.assembly, "name": entry.name, "holder": entry.holder, "cutter": entry.cutter,
            "insert_mm": entry.insert_mm, "measured": None, "measured_utc_s": None, "length_mm": None,
            "unbalance": None, "tool_number": None, "condition": "good", "used_min": 0.0, "built_line": at.id,
            "torn_line": None,
        },
    )  # fmt: skip
    built = holder | {"assembly": entry.assembly}
    if holder["since_line"] is None and not holder["heat_cycles"]:  # entered with what was in it
        yield Put("holder", built)
    else:
        yield from derive_heat.joined(built, at, state)


def _registered(entry: L.HolderRegistered, state: LedgerState) -> Iterator[Change]:
    holder = entry.holder
    old = state.get("holder", holder.key)
    facts = {
        "key": holder.key, "name": holder.name, "coupling": str(holder.coupling), "clamping": holder.clamping.value,
        "bore_mm": holder.bore_mm, "facts": text(holder),
    }  # fmt: skip
    fresh = {
        "code": None, "place": None, "since_line": None, "since_utc_s": None, "since_watched_s": None,
        "last_kiosk": None, "assembly": None, "heat": (Heat.COOL if entry.stood_cold else Heat.UNKNOWN).value,
        "heat_cycles": 0, "heat_unused": 0, "retired": 0,
    }  # fmt: skip
    if state.get("doubted", holder.key):
        yield Drop("doubted", holder.key)
        fresh["heat"] = Heat.UNKNOWN.value
    if old and old["retired"]:  # it comes back from wherever it was: only a running hold is still known of it
        fresh |= {"code": old["code"], "heat_cycles": old["heat_cycles"]}
        fresh["heat"] = yield from _from_anywhere(old, state)
        old = None
    yield Put("holder", (dict(old) if old else fresh) | facts)


def _from_anywhere(row: TableRow, state: LedgerState) -> Generator[Change, None, str]:
    """A holder that nobody could scan for a while: what was read of it before proves nothing.  Gives back its heat."""
    hold = state.get("hold", row["key"])
    if row["heat"] != Heat.HELD.value:
        return Heat.UNKNOWN.value
    if hold:
        yield Put("hold", hold | UNSEEN)
    return Heat.HELD.value


def _in_use(matter: merge.Matter, key: str, state: LedgerState) -> Iterator[Change]:
    """A hand says of what one kiosk took out of use, while another used it, that it is in use.

    With all that belongs to it; a holder, which nobody could scan meanwhile, comes from wherever it was.
    """
    tables = {merge.Matter.BADGE: ("operator",), merge.Matter.USE: ("holder", "cutter", "place")}.get(matter, ())
    for table in tables:
        row = state.get(table, key)
        if row is None or not row["retired"]:
            continue
        back = row | {"retired": 0}
        if table == "holder":
            heat = yield from _from_anywhere(row, state)
            back |= {"place": None, "heat": heat, "heat_unused": 0}
        yield Put(table, back)


def _bound(entry: L.CodeBound, at: Stamp, state: LedgerState) -> Iterator[Change]:
    known = state.get("binding", entry.text)
    if known and (known["retired_line"] is None or known["subject"] != entry.subject):
        raise Broken(at.id, f"{entry.text!r} is bound already")
    yield Drop("printed", entry.text)
    yield Put(
        "binding",
        {
            "text": entry.text, "subject": entry.subject, "what": entry.what, "foreign_mark": int(entry.foreign),
            "bound_line": at.id, "retired_line": None,
        },
    )  # fmt: skip
    if entry.replaces:
        yield Put("binding", must(state, "binding", entry.replaces, at) | {"retired_line": at.id})
        yield Drop("worn_label", entry.replaces)
    if entry.what == "holder":
        holder = must(state, "holder", entry.subject, at)
        if not entry.foreign or holder["code"] is None:
            yield Put("holder", holder | {"code": entry.text})


_SUBJECTS = frozenset(
    ("holder", "assembly", "cutter", "origin", "goal", "place", "pocket", "audit", "text", "subject", "code")
)
_OF_OPERATORS = frozenset(
    (L.OperatorAdded, L.OperatorRetired, L.SignedIn, L.SignedOut, L.PinGiven, L.PhonePaired, L.PhoneEnded)
)


def _mentioning(kind: type[L.Entry]) -> tuple[str, ...]:
    names = [field.name for field in fields(kind) if field.name in _SUBJECTS]
    return (*names, "operator") if kind in _OF_OPERATORS else tuple(names)


_MENTIONING = {kind: _mentioning(kind) for kind in L.KINDS.values()}


def mentions(entry: L.Entry, at: Stamp) -> set[str]:
    """Keys a line speaks of, each once: holders, assembly, cutter, places, operator, audit, label text."""
    found = {at.operator} if at.operator else set()
    for name in _MENTIONING[type(entry)]:
        value = getattr(entry, name)
        if value is not None:
            found.add(value if isinstance(value, str) else getattr(value, "key", None) or value.code)
    if isinstance(entry, L.Restored):
        found.update(entry.holders, entry.unsure)
    return found
