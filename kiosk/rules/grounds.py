"""What running holds are worked out from, and the one question whether a line may change it.

Whoever is about to write a fact of a holder, a cutter or a place asks `Grounds.refuses`: an import, taking an
import back, a correction, a regrinding.  A hold keeps the facts it began with until it is over and the steel is
no longer warm.  What kind of place something is never changes while it is in use, and a pocket or slot is one
for ever: the book must not turn into a cooling place what a hot holder may not go to.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace

from kiosk.rules import lines as L
from kiosk.rules.assembly import Holder
from kiosk.rules.places import Kind, Place
from kiosk.rules.say import Say, say


@dataclass(frozen=True, slots=True)
class Resting:
    """One hold and what it rests on.  places: where it stood since it was heated, and what those are inside of."""

    holder: Holder
    cutter: str | None
    places: Collection[str]


@dataclass(frozen=True, slots=True)
class Grounds:
    """By key or code: the name of the holder whose hold rests on it.  places: how those of the book are now."""

    holders: Mapping[str, str] = field(default_factory=dict)
    cutters: Mapping[str, str] = field(default_factory=dict)
    stood: Mapping[str, str] = field(default_factory=dict)
    places: Mapping[str, Place] = field(default_factory=dict)
    in_use: frozenset[str] = frozenset()  # places where something stands, or in which

    def refuses(self, entry: L.Entry) -> Say | None:
        """Why a line may not be written now, in words `intake.*`; None: it changes nothing a hold rests on."""
        match entry:
            case L.HolderRegistered(holder=holder):
                return _under_hold(self.holders.get(holder.key))
            case L.Built(holder=key) | L.TornDown(holder=key):  # by a hand's word or a file, not at the station
                return _under_hold(self.holders.get(key))
            case L.CutterAdded(cutter=cutter):
                return _under_hold(self.cutters.get(cutter.key))
            case L.CutterReground(cutter=key):
                return _under_hold(self.cutters.get(key))
            case L.PlaceAdded(place=place):
                return self._place(place)
            case L.PlaceRetired(code=code) if code in self.in_use:
                return say("things.in_use", name=self.places[code].name)
            case _:
                return None

    def _place(self, place: Place) -> Say | None:
        before = self.places.get(place.code)
        if before is None:
            return None
        if place.kind is not before.kind:
            if _built_in(place.kind) or _built_in(before.kind):
                return say("intake.kind_for_ever", name=before.name)
            if place.code in self.in_use:
                return say("intake.in_use", name=before.name)
        if replace(place, name=before.name, number=before.number, capacity=before.capacity) != before:
            return _under_hold(self.stood.get(place.code))
        return None


def _built_in(kind: Kind) -> bool:
    return kind.stores or kind.in_machine or kind is Kind.MACHINE


def _under_hold(name: str | None) -> Say | None:
    return say("intake.hot", name=name) if name else None


def grounds(holds: Iterable[Resting], places: Mapping[str, Place], occupied: Iterable[str]) -> Grounds:
    """What `holds` rest on.

    holds: every one that runs, and of steel that may still be warm after one.  places: all of the book, those out
    of use too.  occupied: codes of places where a holder stands.
    """
    holders: dict[str, str] = {}
    cutters: dict[str, str] = {}
    stood: dict[str, str] = {}
    for each in holds:
        name = each.holder.name
        holders[each.holder.key] = name
        if each.cutter is not None:
            cutters[each.cutter] = name
        for code in each.places:
            stood.update(dict.fromkeys(_around(code, places), name))
    in_use = {around for code in occupied for around in _around(code, places)}
    return Grounds(holders, cutters, stood, places, frozenset(in_use | stood.keys()))


def _around(code: str, places: Mapping[str, Place]) -> set[str]:
    """The place and what it is inside of, each once even where places lie in a ring."""
    found: set[str] = set()
    at: str | None = code
    while at is not None and at not in found:
        found.add(at)
        at = places[at].parent if at in places else None
    return found
