"""Holders in bulk, as audits need them: hundreds at once, without a card for each.

Reads only.  The same facts as on a card (`view.Cards`), in one query.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import msgspec
from peewee import JOIN, fn

from kiosk.ledger import tables as T
from kiosk.ledger.view import Cards
from kiosk.rules.assembly import Clamping, Condition, Cutter, Holder
from kiosk.rules.audit import Item
from kiosk.rules.cards import Heat, place_name

AT_ONCE = 500  # values in one question: every database takes that many

_holder = msgspec.json.Decoder(Holder)
_cutter = msgspec.json.Decoder(Cutter)

_COLUMNS = (
    T.Holder.key, T.Holder.code, T.Holder.name, T.Holder.place, T.Holder.heat, T.Holder.since_line,
    T.Holder.heat_cycles, T.Holder.facts, T.Assembly.name, T.Assembly.condition, T.Assembly.used_min,
    T.Assembly.measured_utc_s, T.Cutter.facts, T.WornLabel.spent, T.Holder.clamping, T.Holder.last_kiosk,
)  # fmt: skip


def parts(values: Iterable[str]) -> Iterator[Sequence[str]]:
    """`values` in handfuls that fit into one question."""
    wanted = sorted(set(values))
    for at in range(0, len(wanted), AT_ONCE):
        yield wanted[at : at + AT_ONCE]


def names(keys: Iterable[str]) -> dict[str, str]:
    """What these holders are called, by key: the assembly's name where one is built in."""
    called: dict[str, str] = {}
    for some in parts(keys):
        query = (
            T.Holder.select(T.Holder.key, T.Holder.name, T.Assembly.name.alias("built"))
            .join(T.Assembly, JOIN.LEFT_OUTER, on=(T.Holder.assembly == T.Assembly.key))
            .where(T.Holder.key.in_(some))
        )
        found: Any = query.tuples()
        called |= {key: built or own for key, own, built in found}
    return called


def items_at(cards: Cards, codes: Iterable[str]) -> list[Item]:
    """Every holder that the book has at one of these places."""
    return [item for some in parts(codes) for item in _items(cards, T.Holder.place.in_(some))]


def items(cards: Cards, keys: Iterable[str]) -> list[Item]:
    """The holders of these keys that there are."""
    return [item for some in parts(keys) for item in _items(cards, T.Holder.key.in_(some))]


def hot_keys() -> list[str]:
    """Holders under a hold."""
    rows: Any = T.Hold.select(T.Hold.holder).where(T.Hold.ended_line.is_null()).tuples()
    return [key for (key,) in rows]


def _items(cards: Cards, which: object) -> Iterator[Item]:
    places, counting = cards.places, cards.counting
    query = (
        T.Holder.select(*_COLUMNS)
        .join(T.Assembly, JOIN.LEFT_OUTER, on=(T.Holder.assembly == T.Assembly.key))
        .join(T.Cutter, JOIN.LEFT_OUTER, on=(T.Assembly.cutter == T.Cutter.key))
        .join(T.WornLabel, JOIN.LEFT_OUTER, on=(T.Holder.code == T.WornLabel.text))
        .where(which, T.Holder.retired == 0)
    )
    found: list[Any] = list(query.tuples())
    torn = _torn(row[0] for row in found if row[8] is None)
    for row in found:
        key, code, name, place, heat, since, cycles, facts, built, condition, used, measured, cutter, spent = row[:14]
        clamping, last_kiosk = row[14:]
        yield Item(
            key,
            code or key,
            built or name,
            place,
            place_name(places.path(place)) if place in places.rows else None,
            counting.in_list(key, Heat(heat), clamping == Clamping.SHRINK_FIT.value, last_kiosk),
            since or 0,
            built is not None,
            torn.get(key, 0),
            Condition(condition) if condition else Condition.GOOD,
            used or 0.0,
            _cutter.decode(cutter).life_min if cutter else None,
            cycles,
            _holder.decode(facts).heat_limit,
            measured,
            spent or 0.0,
        )


def _torn(keys: Iterable[str]) -> dict[str, int]:
    """When each of these lost its last cutter, as a line number."""
    found: dict[str, int] = {}
    for some in parts(keys):
        query = (
            T.Assembly.select(T.Assembly.holder, fn.MAX(T.Assembly.torn_line))
            .where(T.Assembly.holder.in_(some), T.Assembly.torn_line.is_null(False))
            .group_by(T.Assembly.holder)
        )
        rows: Any = query.tuples()
        found |= dict(rows)
    return found
