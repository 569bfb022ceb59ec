"""What a line does to the tables: one function, used when a line is written and when the ledger is replayed.

`changes` reads a state and yields the rows a line puts or drops; it never writes and knows no database, so the
same code runs against SQL (`book.SqlState`) and against plain dictionaries (`MemoryState`, for `check`).
A change of meaning here needs a new schema version, because a replay must give what the tables hold.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, fields
from typing import Any, NamedTuple, Protocol

import msgspec

from kiosk.rules import lines as L
from kiosk.rules.cards import Heat
from kiosk.rules.places import Kind

Row = dict[str, Any]

STILL_WARM_S = 6 * 3600.0  # longer than any holder needs to come back to the shop's temperature

KEYS = {
    "place": "code", "cutter": "key", "holder": "key", "assembly": "key", "binding": "text", "printed": "text",
    "hold": "holder", "doubted": "holder", "teaching": "line", "operator": "key", "audit": "key", "sighting": "key",
    "settled": "key", "setting": "name",
}  # fmt: skip


class Put(NamedTuple):
    """A whole row of a derived table, new or in place of the one with its key."""

    table: str
    row: Row


class Drop(NamedTuple):
    table: str
    key: str | int


Change = Put | Drop


class State(Protocol):
    """What `changes` may read."""

    def get(self, table: str, key: Any) -> Row | None: ...

    def all(self, table: str) -> list[Row]: ...


class MemoryState:
    """The derived tables as dictionaries."""

    def __init__(self) -> None:
        self.tables: dict[str, dict[str | int, Row]] = {name: {} for name in KEYS}

    def get(self, table: str, key: Any) -> Row | None:
        return self.tables[table].get(key)

    def all(self, table: str) -> list[Row]:
        return list(self.tables[table].values())

    def apply(self, change: Change) -> None:
        if isinstance(change, Put):
            self.tables[change.table][change.row[KEYS[change.table]]] = change.row
        else:
            self.tables[change.table].pop(change.key, None)


class Stamp(NamedTuple):
    """The part of a line that is not its payload."""

    id: int
    utc_s: float
    watched_s: float
    kiosk: str
    operator: str | None


class Broken(ValueError):
    """A line that cannot follow from those before it.  `line` is its number."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(f"line {line}: {why}")
        self.line = line
        self.why = why


def text(value: object) -> str:
    """JSON with sorted keys, for a nested value in a text column."""
    return msgspec.json.encode(value, order="sorted").decode()


def _must(state: State, table: str, key: str, at: Stamp) -> Row:
    row = state.get(table, key)
    if row is None:
        raise Broken(at.id, f"there is no {table} {key!r}")
    return dict(row)


def changes(entry: L.Entry, at: Stamp, state: State) -> Iterator[Change]:
    """The rows `entry` puts and drops.  Raises Broken where it speaks of something that is not there."""
    match entry:
        case L.Moved():
            yield from _moved(entry, at, state)
        case L.Seen(audit=audit, text=seen):
            row: Row = {
                "key": f"{audit}/{seen}", "audit": audit, "text": seen, "holder": entry.holder, "place": entry.place,
                "twin": entry.twin, "stands_empty": int(entry.empty), "watched_s": at.watched_s, "line": at.id,
            }  # fmt: skip
            yield Put("sighting", row)
            if (opened := state.get("audit", audit)) and opened["paused"]:
                yield Put("audit", opened | {"paused": 0})
        case L.Heated():
            yield from _heated(entry, at, state)
        case L.TemperatureRead():
            yield from _read(entry, at, state)
        case L.HoldEnded(holder=holder):
            if ended := state.get("hold", holder):
                yield Put("hold", ended | {"ended_line": at.id})
            yield Put("holder", _must(state, "holder", holder, at) | {"heat": Heat.COOL.value})
        case L.Built():
            yield from _built(entry, at, state)
        case L.MeasuredLine(assembly=key, values=values):
            row = _must(state, "assembly", key, at)
            yield Put(
                "assembly",
                row | {"measured": text(values), "measured_utc_s": at.utc_s, "length_mm": values.length_mm},
            )
        case L.TornDown(holder=holder, assembly=key):
            yield Put("assembly", _must(state, "assembly", key, at) | {"torn_line": at.id})
            yield Put("holder", _must(state, "holder", holder, at) | {"assembly": None})
        case L.ConditionSaid(assembly=key, condition=condition, used_min=used):
            row = _must(state, "assembly", key, at)
            yield Put("assembly", row | {"condition": condition.value, "used_min": row["used_min"] + used})
        case L.PlaceAdded(place=place, magazine=magazine):
            old = state.get("place", place.code)
            row = asdict(place) | {"kind": place.kind.value, "magazine": text(magazine) if magazine else None}
            yield Put("place", row | {"owner": old["owner"] if old else None, "retired": 0})
        case L.PlaceRetired(code=code):
            yield Put("place", _must(state, "place", code, at) | {"retired": 1})
        case L.PocketAssigned(pocket=pocket, holder=holder):
            yield Put("place", _must(state, "place", pocket, at) | {"owner": holder})
        case L.HolderRegistered():
            yield from _registered(entry, state)
        case L.HolderRetired(holder=holder):
            yield Put("holder", _must(state, "holder", holder, at) | {"retired": 1})
        case L.CutterAdded(cutter=c):
            row = {
                "key": c.key, "name": c.name, "dc_mm": c.dc_mm, "dmm_mm": c.dmm_mm, "re_mm": c.re_mm,
                "facts": text(c), "retired": 0,
            }  # fmt: skip
            known = state.get("cutter", c.key)
            yield Put("cutter", row | {"regrinds": known["regrinds"] if known else 0})
        case L.CutterReground(cutter=key, dc_mm=dc_mm, oal_mm=oal_mm):
            row = _must(state, "cutter", key, at)
            ground = {name: value for name, value in (("dc_mm", dc_mm), ("oal_mm", oal_mm)) if value is not None}
            facts = msgspec.json.decode(row["facts"]) | ground
            yield Put("cutter", row | {"dc_mm": facts["dc_mm"], "facts": text(facts), "regrinds": row["regrinds"] + 1})
        case L.ToolNumbered(assembly=key, number=number):
            yield Put("assembly", _must(state, "assembly", key, at) | {"tool_number": number})
        case L.CutterRetired(cutter=key):
            yield Put("cutter", _must(state, "cutter", key, at) | {"retired": 1})
        case L.CodeBound():
            yield from _bound(entry, at, state)
        case L.LabelPrinted(text=printed, subject=subject, what=what):
            yield Put("printed", {"text": printed, "subject": subject, "what": what, "line": at.id})
        case L.CodeRetired(text=code):
            row = _must(state, "binding", code, at)
            yield Put("binding", row | {"retired_line": at.id})
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
            yield Put("audit", _must(state, "audit", audit, at) | {"paused": 1})
        case L.AuditClosed(audit=audit):
            row = _must(state, "audit", audit, at)
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
        case L.OperatorAdded(operator=key, name=name, role=role, pin_hash=pin):
            known = state.get("operator", key)
            kept = known["pin_hash"] if known and pin is None else pin
            yield Put("operator", {"key": key, "name": name, "role": role, "pin_hash": kept, "retired": 0})
        case L.OperatorRetired(operator=key):
            yield Put("operator", _must(state, "operator", key, at) | {"retired": 1})
        case L.SettingChanged(name=name, value=value):
            yield Put("setting", {"name": name, "value": value})
        case L.KioskStarted():
            for hold in state.all("hold"):
                if hold["ended_line"] is None:
                    yield Put("hold", hold | {"gaps": hold["gaps"] + 1})
        case L.Restored():
            yield from _restored(entry, at, state)
        case L.SignedIn() | L.SignedOut() | L.TurnedAway() | L.Imported() | L.ImportUndone():
            return


def _moved(entry: L.Moved, at: Stamp, state: State) -> Iterator[Change]:
    row = _must(state, "holder", entry.holder, at)
    if row["place"] != entry.origin:
        raise Broken(at.id, f"holder {entry.holder!r} was not at {entry.origin!r} but at {row['place']!r}")
    heat = Heat.UNKNOWN.value if entry.goal is None and row["heat"] == Heat.COOL.value else row["heat"]
    yield Put(
        "holder",
        row
        | {
            "place": entry.goal,
            "since_line": at.id,
            "since_utc_s": at.utc_s,
            "last_kiosk": at.kiosk,
            "heat": heat,
        },
    )
    hold = state.get("hold", entry.holder)
    if hold and at.watched_s - hold["heated_watched_s"] < STILL_WARM_S:
        stages = [*msgspec.json.decode(hold["stages"]), [entry.goal, at.watched_s]]
        yield Put("hold", hold | {"stages": text(stages)})


def _heated(entry: L.Heated, at: Stamp, state: State) -> Iterator[Change]:
    holder = _must(state, "holder", entry.holder, at)
    cycles = holder["heat_cycles"] + entry.heats
    yield Put("holder", holder | {"heat": Heat.HELD.value, "heat_cycles": cycles})
    yield Put(
        "hold",
        {
            "holder": entry.holder, "heated_line": at.id, "heated_utc_s": at.utc_s, "heated_watched_s": at.watched_s,
            "temp_c": entry.temp_c, "length_mm": entry.length_mm, "stages": text([[entry.place, at.watched_s]]),
            "readings": "[]", "body_c": entry.body_c, "ended_line": None,
            "reading_only": int(entry.reading_only), "gaps": 0,
        },
    )  # fmt: skip


def _read(entry: L.TemperatureRead, at: Stamp, state: State) -> Iterator[Change]:
    hold = state.get("hold", entry.holder)
    if hold and hold["ended_line"] is None:
        reading = [at.watched_s, entry.where, entry.value_c, entry.instrument, entry.verdict]
        yield Put("hold", hold | {"readings": text([*msgspec.json.decode(hold["readings"]), reading])})
    if entry.pair:
        taught = ("pair", "way", "where", "instrument", "value_c", "expected_c")
        rest = ("ambient_c", "by_heat_k", "by_film_k", "other_sd_k")
        row: Row = {name: getattr(entry, name) for name in (*taught, *rest)}
        yield Put("teaching", row | {"line": at.id, "watched_s": at.watched_s})


def _built(entry: L.Built, at: Stamp, state: State) -> Iterator[Change]:
    holder = _must(state, "holder", entry.holder, at)
    _must(state, "cutter", entry.cutter, at)
    if holder["assembly"] is not None:
        raise Broken(at.id, f"holder {entry.holder!r} already holds {holder['assembly']!r}")
    yield Put(
        "assembly",
        {
            "key": entry.assembly, "name": entry.name, "holder": entry.holder, "cutter": entry.cutter,
            "insert_mm": entry.insert_mm, "measured": None, "measured_utc_s": None, "length_mm": None,
            "tool_number": None, "condition": "good", "used_min": 0.0, "built_line": at.id, "torn_line": None,
        },
    )  # fmt: skip
    yield Put("holder", holder | {"assembly": entry.assembly})


def _registered(entry: L.HolderRegistered, state: State) -> Iterator[Change]:
    holder = entry.holder
    old = state.get("holder", holder.key)
    facts = {
        "key": holder.key, "name": holder.name, "coupling": str(holder.coupling), "clamping": holder.clamping.value,
        "bore_mm": holder.bore_mm, "facts": text(holder),
    }  # fmt: skip
    fresh = {
        "code": None, "place": None, "since_line": None, "since_utc_s": None, "last_kiosk": None, "assembly": None,
        "heat": (Heat.COOL if entry.stood_cold else Heat.UNKNOWN).value, "heat_cycles": 0, "retired": 0,
    }  # fmt: skip
    if state.get("doubted", holder.key):
        yield Drop("doubted", holder.key)
        fresh["heat"] = Heat.UNKNOWN.value
    if old and old["retired"]:  # it comes back from wherever it was: only a running hold is still known of it
        kept = ("code", "heat_cycles", *(("heat",) if old["heat"] == Heat.HELD.value else ()))
        fresh |= {name: old[name] for name in kept}
        old = None
    yield Put("holder", (dict(old) if old else fresh) | facts)


def _bound(entry: L.CodeBound, at: Stamp, state: State) -> Iterator[Change]:
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
        yield Put("binding", _must(state, "binding", entry.replaces, at) | {"retired_line": at.id})
    if entry.what == "holder":
        holder = _must(state, "holder", entry.subject, at)
        if not entry.foreign or holder["code"] is None:
            yield Put("holder", holder | {"code": entry.text})


def _restored(entry: L.Restored, at: Stamp, state: State) -> Iterator[Change]:
    for key in (*entry.holders, *entry.unsure):
        if state.get("holder", key) is None:
            yield Put("doubted", {"holder": key, "line": at.id})
    for key in entry.holders:
        row = state.get("holder", key)
        if row is None:
            continue
        place = state.get("place", row["place"]) if row["place"] else None
        kept = place is not None and Kind(place["kind"]).may_be_hot
        stands = row["place"] if kept else None
        yield Put("holder", row | {"heat": Heat.HELD.value, "place": stands})
        yield Put(
            "hold",
            {
                "holder": key, "heated_line": at.id, "heated_utc_s": at.utc_s, "heated_watched_s": at.watched_s,
                "temp_c": None, "length_mm": None, "stages": text([[stands, at.watched_s]]),
                "readings": "[]", "body_c": None, "ended_line": None, "reading_only": 1, "gaps": 1,
            },
        )  # fmt: skip
    for key in entry.unsure:
        row = state.get("holder", key)
        if row and row["heat"] == Heat.COOL.value:
            yield Put("holder", row | {"heat": Heat.UNKNOWN.value})


_SUBJECTS = frozenset(
    ("holder", "assembly", "cutter", "origin", "goal", "place", "pocket", "audit", "text", "subject", "code")
)
_OF_OPERATORS = frozenset((L.OperatorAdded, L.OperatorRetired, L.SignedIn, L.SignedOut))


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
