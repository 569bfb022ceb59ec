"""Book against sightings: which differences an audit has, what each spot shows, and the figures.

Gives the same answer at every kiosk and after every restart; what a difference means and what may be done about it
stands in `rules.audit`.  A move made while the audit runs is believed: whoever scanned a holder to a slot has seen it
there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from kiosk.rules.assembly import Condition
from kiosk.rules.audit import (
    Action,
    Counts,
    Difference,
    Findings,
    Group,
    GroupState,
    Item,
    Open,
    Scope,
    Settled,
    Shows,
    Sighting,
    Spot,
    SpotState,
    Standard,
    must_not_stand,
)
from kiosk.rules.cards import Heat
from kiosk.rules.label_wear import asks_for_new
from kiosk.rules.places import Kind


def evaluate(
    scope: Scope,
    items: Mapping[str, Item],
    sightings: Sequence[Sighting],
    settled: Sequence[Settled],
    opened_line: int,
    standard: Standard,
) -> Findings:
    """Compares book and sightings.

    items: by key, every holder booked within the scope and every one sighted.  opened_line: a holder moved into
    the scope after that line was seen by the scan that moved it.
    """
    looked = _Looked(scope, items, sightings, opened_line)
    found = sorted(looked.differences(standard), key=lambda each: _rank(scope, each))
    closed = {(each.text, each.difference) for each in settled}
    still = tuple(each for each in found if (each.text, each.difference) not in closed)
    return Findings(
        _counts(looked, found, settled),
        still,
        tuple(state for group in scope.groups if (state := _group(group, looked)).spots),
        tuple(item for item in looked.booked if item.key in looked.unseen),
    )


class _Looked:
    """Book and sightings brought together."""

    def __init__(
        self, scope: Scope, items: Mapping[str, Item], sightings: Sequence[Sighting], opened_line: int
    ) -> None:
        self.scope = scope
        self.items = items
        order = {spot.code: at for at, spot in enumerate(_walk(scope))}
        inside = [item for item in items.values() if item.place in scope.members]
        self.booked = sorted(inside, key=lambda item: (order.get(item.place or "", -1), item.name, item.key))
        # A holder moved since it was seen is where that scan took it, not where the audit saw it.
        self.sighted = {
            each.holder: each
            for each in sightings
            if each.holder is not None and each.holder in items and each.line > items[each.holder].since_line
        }
        self.strange = [each for each in sightings if each.holder is None and not each.bound]
        self.twins = [each for each in sightings if each.twin is not None]
        self.unseen = frozenset(
            item.key for item in self.booked if item.key not in self.sighted and item.since_line <= opened_line
        )

    def stands(self, item: Item) -> str | None:
        """Where it was seen, as exactly as is known; None: not seen."""
        sighting = self.sighted.get(item.key)
        if sighting is None:
            return None if item.key in self.unseen else item.place
        if sighting.place is None:
            return item.place if item.place in self.scope.members else self.scope.place
        if item.place is not None and item.place in self.scope.inside.get(sighting.place, ()):
            return item.place
        return sighting.place

    def astray(self, item: Item) -> Difference | None:
        sighting = self.sighted.get(item.key)
        return None if sighting is None else self.scope.astray(item.place, sighting.place)

    def differences(self, standard: Standard) -> Iterator[Open]:
        for item in self.booked:
            if item.key in self.unseen:
                yield Open(item.key, Difference.MISSING, item.name, item.place)
            else:
                yield from self._of(item, standard)
        for item in self.items.values():
            if item.place not in self.scope.members and item.key in self.sighted:
                yield from self._of(item, standard)
        for each in self.strange:
            what = Difference.RETIRED_LABEL if each.retired else Difference.UNKNOWN_CODE
            yield Open(each.text, what, each.text, None, each.place or self.scope.place)
        for each in self.twins:
            known = self.items.get(each.holder or "")
            name = known.name if known else each.text
            yield Open(each.text, Difference.DUPLICATE_LABEL, name, each.twin, each.place)

    def _of(self, item: Item, standard: Standard) -> Iterator[Open]:
        stands = self.stands(item)
        kind = self.scope.kinds.get(stands or "")
        if kind is not None and must_not_stand(item.heat, kind):
            what = Difference.HOT if item.heat is Heat.HELD else Difference.NOT_PROVEN_COOL
            yield Open(item.key, what, item.name, item.place, stands)
        if astray := self.astray(item):
            yield Open(item.key, astray, item.name, item.place, stands)
        if self._stands_empty(item, kind):
            yield Open(item.key, Difference.EMPTY_HOLDER, item.name, item.place, stands)
        limit = item.heat_limit or standard.heat_limit
        worn_out = item.life_min is not None and item.used_min >= item.life_min
        if item.assembled and item.condition is Condition.GOOD and (worn_out or item.heat_cycles >= limit):
            yield Open(item.key, Difference.PAST_LIFE, item.name, item.place, stands)
        if (
            item.assembled
            and item.measured_utc_s is not None
            and standard.now_utc_s - item.measured_utc_s > standard.measured_s
        ):
            yield Open(item.key, Difference.MEASURED_LONG_AGO, item.name, item.place, stands)
        if asks_for_new(item.label_spent):
            yield Open(item.key, Difference.LABEL_WORN, item.name, item.place, stands)

    def _stands_empty(self, item: Item, kind: Kind | None) -> bool:
        """No cutter where one should be: an eye said so, it is in a machine, or it was put here with one."""
        sighting = self.sighted.get(item.key)
        if item.assembled:
            return sighting is not None and sighting.empty
        return kind is not None and (kind.in_machine or (kind.stores and item.torn_line > item.since_line))


def _walk(scope: Scope) -> Iterator[Spot]:
    for group in scope.groups:
        yield from group.spots


def _rank(scope: Scope, each: Open) -> tuple[int, int]:
    order = {spot.code: at for at, spot in enumerate(_walk(scope))}
    at = each.booked if each.difference is Difference.MISSING else each.found
    return list(Difference).index(each.difference), order.get(at or "", len(order))


def _counts(looked: _Looked, found: Iterable[Open], settled: Sequence[Settled]) -> Counts:
    told = {(each.text, each.difference) for each in found}
    taken = []
    for each in settled:
        item = looked.items.get(each.text)
        if each.difference is Difference.MISSING and item and item.key in looked.sighted:
            continue  # it turned up after it had been given up
        taken.append(each)
        told.add((each.text, each.difference))
    lost = {each.text for each in taken if each.action is Action.NOWHERE}
    come = {
        each.text for each in taken if each.difference is Difference.UNEXPECTED and each.action is Action.BOOK_MOVED
    }
    booked = {item.key for item in looked.booked}
    expected = (booked | lost) - come
    amount = {kind: sum(1 for _, difference in told if difference is kind) for kind in Difference}
    return Counts(
        len(expected),
        len(expected - looked.unseen - lost),
        amount[Difference.MISSING],
        amount[Difference.MISPLACED],
        amount[Difference.UNEXPECTED],
        sum(amount[kind] for kind in (Difference.UNKNOWN_CODE, Difference.RETIRED_LABEL, Difference.DUPLICATE_LABEL)),
        amount[Difference.HOT] + amount[Difference.NOT_PROVEN_COOL],
    )


def _group(group: Group, looked: _Looked) -> GroupState:
    here: dict[str, list[SpotState]] = {spot.code: [] for spot in group.spots}
    spots = {spot.code: spot for spot in group.spots}
    for item in looked.items.values():
        stands = looked.stands(item)
        if item.place in spots and item.key in looked.unseen:
            here[item.place].append(SpotState(spots[item.place], Shows.MISSING, item.key, item.name))
        elif stands in spots:
            hot = must_not_stand(item.heat, spots[stands].kind)
            state = Shows.HOT if hot else Shows.MISPLACED if looked.astray(item) else Shows.SEEN
            here[stands].append(SpotState(spots[stands], state, item.key, item.name))
    for each in looked.strange:
        if each.place in spots:
            here[each.place].append(SpotState(spots[each.place], Shows.UNKNOWN, None, each.text))
    rows: list[SpotState] = []
    for spot in group.spots:
        # The drawer itself is no slot that waits to be filled.
        box = spot.code == group.code and looked.scope.inside[group.code] != {group.code}
        rows += here[spot.code] or ([] if box else [SpotState(spot, Shows.EMPTY)])
    return GroupState(group, tuple(rows))
