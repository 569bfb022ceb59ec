"""What a line about somebody does where another kiosk's, that its kiosk had not seen, says otherwise: the less they may
do counts, and a PIN that was chosen twice opens nothing, until a supervisor knows of both.

Never leaves a shop that has a PIN without one: it would be open to everybody.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import msgspec

from kiosk.ledger import fold_unseen
from kiosk.ledger.state import Change, LedgerState, Put, TableRow
from kiosk.rules import lines as L
from kiosk.rules.acts import Person, either_pin, loses_its_pin
from kiosk.rules.merge import Made, Matter, has_seen

_made = msgspec.json.Decoder(tuple[Made, ...])


def as_little(entry: L.OperatorAdded, known: TableRow | None) -> L.OperatorAdded | None:
    """Somebody set anew at two kiosks: who was sent away stays away, and who may do less at one of them may do less at
    all."""
    if known is None:
        return entry
    less = min(entry.role, known["role"], key="supervisor".__eq__)
    return None if known["retired"] else dataclasses.replace(entry, role=less)


def leaves_no_pin(entry: L.Entry, chain: str, seen: int, state: LedgerState) -> bool:
    """Whether nobody of the shop could give a PIN any more, because of what the line's kiosk had not seen of others."""
    if not isinstance(entry, L.OperatorAdded | L.OperatorRetired):
        return False
    people = _people(state)
    others = (key for key, each in people.items() if key != entry.operator and not each.can_unlock)
    unseen = any(not _all_seen(key, chain, seen, state) for key in others)
    return unseen and loses_its_pin(people, [entry])


def first_unseen(entry: L.Entry, chain: str, seen: int, state: LedgerState) -> bool:
    """Whether this is the shop's first PIN by what its kiosk knew, and somebody at another has chosen one, which would
    have been asked for."""
    if not isinstance(entry, L.OperatorAdded) or entry.pin_hash is None:
        return False
    known = state.get("operator", entry.operator)
    if known is not None and known["pin_hash"] is not None:
        return False
    able = [key for key, each in _people(state).items() if each.can_unlock and key != entry.operator]
    return bool(able) and all(_unknown_pin(key, chain, seen, state) for key in able)


def with_pin_in_doubt(change: Change, state: LedgerState) -> Change:
    """A person's row after a PIN that another kiosk had chosen otherwise.

    Neither opens while somebody else can give theirs, and so settle it; else either does.
    """
    if not isinstance(change, Put) or change.table != "operator":
        return change
    key, chosen = change.row["key"], change.row["pin_hash"]
    if any(each.can_unlock for other, each in _people(state).items() if other != key):
        return Put("operator", change.row | {"pin_hash": None})
    before = state.get("operator", key)
    known = [before["pin_hash"]] if before is not None and before["pin_hash"] is not None else []
    return Put("operator", change.row | {"pin_hash": either_pin(*known, chosen)})


def _people(state: LedgerState) -> Mapping[str, Person]:
    return {
        row["key"]: Person(row["role"] == "supervisor", row["pin_hash"] is not None, bool(row["retired"]))
        for row in state.all("operator")
    }


def _all_seen(key: str, chain: str, seen: int, state: LedgerState) -> bool:
    return all(fold_unseen.all_seen(matter, key, chain, seen, state) for matter in (Matter.BADGE, Matter.PIN))


def _unknown_pin(key: str, chain: str, seen: int, state: LedgerState) -> bool:
    """Whether every PIN that somebody is known to have chosen is news to that kiosk."""
    row = state.get("claim", f"{Matter.PIN.value}/{key}")
    return row is not None and not any(has_seen(chain, seen, each) for each in _made.decode(row["made"]))
