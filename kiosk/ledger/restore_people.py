"""Who may do what after a copy was put back: nobody becomes a supervisor by it, and no PIN goes or becomes older.

The ledger that is replaced knows who has a say now; a copy from before a PIN was chosen or changed, or before somebody
was sent away, must not undo that.  Only a copy that goes on from where the replaced ledger ends knows better.  Wrong
tries are counted on.  A shop where nobody has a PIN is not given one, nor has one taken: there the copy's people stand.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from kiosk.ledger.lineform import entry_of
from kiosk.rules.lines import CodeBound, Entry, OperatorAdded, OperatorRetired, PinGiven, TurnedAway
from kiosk.rules.tries import ALL_ALIKE, WRONG_PIN

SUPERVISOR, SETTER = "supervisor", "setter"
_HASHED = "$argon2"  # how every PIN is kept; what does not begin so was written by no kiosk


class Someone(NamedTuple):
    """A row of the book's people.  badges: texts bound to them."""

    name: str
    role: str
    pin_hash: str | None
    retired: bool
    badges: tuple[str, ...]

    @property
    def can_unlock(self) -> bool:
        return self.role == SUPERVISOR and not self.retired and self.pin_hash is not None


@dataclass(frozen=True, slots=True)
class People:
    """Everybody a ledger knows, by key, and the wrong tries of PINs since the right one."""

    known: Mapping[str, Someone] = field(default_factory=dict)
    wrong_pins: Mapping[str, int] = field(default_factory=Counter)

    @property
    def locked(self) -> bool:
        """Whether anybody's PIN opens anything."""
        return any(each.can_unlock for each in self.known.values())


def people_in(ledger: sqlite3.Connection) -> People:
    """Raises sqlite3.Error and what damaged lines raise."""
    badges: dict[str, list[str]] = {}
    bound = "SELECT subject, text FROM binding WHERE what = 'operator' AND retired_line IS NULL ORDER BY bound_line"
    for key, text in ledger.execute(bound):
        badges.setdefault(key, []).append(text)
    found = ledger.execute("SELECT key, name, role, pin_hash, retired FROM operator ORDER BY key")
    known = {
        key: Someone(name, role, _hashed(pin_hash), bool(retired), tuple(badges.get(key, ())))
        for key, name, role, pin_hash, retired in found
    }
    return People(known, _wrong_pins(ledger))


def carried_over(now: People, copy: People, taken: frozenset[str]) -> tuple[Entry, ...]:
    """The lines after which the people of a copy may do what they may do now, and no more.

    now: of the ledger that is replaced.  taken: texts of labels that stand for something in the copy.
    """
    lines = [*_gone(now, copy)]
    if now.locked:
        lines += _with_a_say(now, copy, taken) + _without(now, copy)
    chosen = {line.operator for line in lines if isinstance(line, OperatorAdded) and line.pin_hash}
    for key, count in sorted(now.wrong_pins.items()):  # choosing a PIN begins their count anew
        more = count - (0 if key in chosen else copy.wrong_pins.get(key, 0))
        lines += [TurnedAway(key, WRONG_PIN)] * more
    return tuple(lines)


def _gone(now: People, copy: People) -> Iterator[Entry]:
    for key, each in now.known.items():
        if each.retired and key in copy.known and not copy.known[key].retired:
            yield OperatorRetired(key)


def _with_a_say(now: People, copy: People, taken: frozenset[str]) -> list[Entry]:
    """Supervisors with a PIN have it, with the same figures, and a badge, if it was not another's then."""
    lines: list[Entry] = []
    for key, each in now.known.items():
        then = copy.known.get(key)
        if each.can_unlock and (then is None or then[1:4] != each[1:4]):
            lines.append(OperatorAdded(key, each.name, SUPERVISOR, each.pin_hash))
            lines += [CodeBound(text, key, "operator") for text in each.badges if text not in taken]
    return lines


def _without(now: People, copy: People) -> list[Entry]:
    """Supervisors of the copy who are none now, or whose PIN nobody knows now, are so no more."""
    lines: list[Entry] = []
    for key, then in copy.known.items():
        if then.retired or then.role != SUPERVISOR:
            continue
        each = now.known.get(key)
        stays = each is not None and each.role == SUPERVISOR and (each.can_unlock or not then.can_unlock)
        if not stays and not (each and each.retired):
            lines.append(OperatorAdded(key, then.name, SETTER))
    return lines


def _hashed(pin_hash: object) -> str | None:
    return pin_hash if isinstance(pin_hash, str) and pin_hash.startswith(_HASHED) else None


def _wrong_pins(ledger: sqlite3.Connection) -> Counter[str]:
    """By supervisor: wrong tries since the PIN was last given right or chosen; more than the longest wait are alike."""
    kinds = (TurnedAway.kind, PinGiven.kind, OperatorAdded.kind)
    found: Counter[str] = Counter()
    for kind, payload in ledger.execute("SELECT kind, payload FROM line WHERE kind IN (?, ?, ?) ORDER BY id", kinds):
        match entry_of(kind, payload):
            case TurnedAway(text=key, reason=reason) if reason == WRONG_PIN:
                found[key] = min(found[key] + 1, ALL_ALIKE)
            case PinGiven(operator=key):
                del found[key]
            case OperatorAdded(operator=key, pin_hash=chosen) if chosen:
                del found[key]
    return found
