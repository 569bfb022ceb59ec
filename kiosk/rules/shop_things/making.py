"""From answers to things: a cabinet with drawers and slots, a machine with pockets, a cutter, a holder; and back.

A place that exists is only grown at its end or made smaller from its end, so that every label goes on to stand for the
steel it is stuck on.  Codes come from the caller; what cannot be is refused, in words for a person.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, fields
from math import pi, sin
from typing import Any, TypeVar
from unicodedata import category

from kiosk.rules.assembly import Clamping, Coupling, Cutter, Holder, Material
from kiosk.rules.bounds import Bound
from kiosk.rules.bounds_of_lines import faults
from kiosk.rules.fitting.magazine import Magazine, MagazineFault, MagazineKind
from kiosk.rules.lines import PlaceAdded
from kiosk.rules.places import Kind, Place
from kiosk.rules.say import Say, Value, say
from kiosk.rules.shop_things.forms import ROUND, Draft, Thing, fields_of

Made = TypeVar("Made")

COPIES = Bound(1, 50)  # at a time
MOST_DRAWERS, MOST_SLOTS = 40, 100
LONGEST_NAME = 200


class ThingFault(ValueError):
    """Answers that make no such thing, or one that cannot be added or taken away now.  `why` for the screen."""

    def __init__(self, why: Say) -> None:
        super().__init__(why.key)
        self.why = why


def refused(key: str, **values: Value) -> ThingFault:
    """The fault of that name, `things.<key>`."""
    return ThingFault(say(f"things.{key}", **values))


@dataclass(frozen=True, slots=True)
class Furnished:
    """A place with all that is in it.  added: what is new or has other facts, outside first; retired: codes."""

    added: tuple[PlaceAdded, ...]
    retired: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Standing:
    """A place of the book with all that is in it and in use."""

    place: Place
    magazine: Magazine | None = None
    inside: Sequence[Place] = ()


def named(name: str) -> str:
    """A name that can stand on a label and in a table.  Raises ThingFault."""
    plain = " ".join(name.split())
    if not plain or len(plain) > LONGEST_NAME or any(category(sign) in ("Cc", "Zl", "Zp") for sign in plain):
        raise refused("name")
    return plain


def next_names(name: str, taken: Collection[str], count: int) -> tuple[str, ...]:
    """Names for so many more of a thing: its number counted on, or one added."""
    found = re.fullmatch(r"(.*?)(\d+)", name)
    stem, number, wide = (found[1], int(found[2]), len(found[2])) if found else (f"{name} ", 1, 1)
    used = {each.casefold() for each in taken}
    names: list[str] = []
    while len(names) < count:
        number += 1
        if (candidate := f"{stem}{number:0{wide}}").casefold() not in used:
            names.append(candidate)
    return tuple(names)


# Places -----------------------------------------------------------------------------------------------------------


def drawer(cabinet: Place, number: int, code: str) -> Place:
    """A drawer, called as files call it."""
    return Place(code, f"Drawer {number}", Kind.DRAWER, cabinet.code, number)


def slot(drawer: Place, number: int, code: str) -> Place:
    """A slot, called by its drawer's number and its own."""
    return Place(code, f"{drawer.number}-{number:02}", Kind.SLOT, drawer.code, number, capacity=1)


def spindle(machine: Place, code: str) -> Place:
    return Place(code, "spindle", Kind.SPINDLE, machine.code, capacity=1)


def pocket(machine: Place, number: int, code: str) -> Place:
    return Place(code, f"pocket {number:02}", Kind.POCKET, machine.code, number, capacity=1)


def place(thing: Thing, draft: Draft, fresh: Callable[[], str], before: Standing | None = None) -> Furnished:
    """A place as the answers have it, and what changes in it.

    fresh: gives a code for each place that is new.  before: the one it was; its code stays.  Raises ThingFault.
    """
    code = before.place.code if before else fresh()
    asked = {field.name for field in fields_of(thing, draft)}
    capacity, wet_length = _figure(draft, "capacity"), _figure(draft, "wet_length_mm")
    outer = Place(
        code,
        named(str(draft.get("name", ""))),
        Kind(thing.value),
        capacity=None if capacity is None else int(capacity),
        way=str(draft["way"]) if "way" in asked else None,
        wet_length_mm=wet_length if "wet_length_mm" in asked else None,
    )
    if thing is Thing.CABINET:
        return _cabinet(outer, draft, fresh, before)
    if thing is Thing.MACHINE:
        return _machine(outer, draft, fresh, before)
    return Furnished((PlaceAdded(_possible(outer)),))


def _cabinet(outer: Place, draft: Draft, fresh: Callable[[], str], before: Standing | None) -> Furnished:
    slots_of = draft.get("drawers", ())
    if not isinstance(slots_of, tuple) or not 1 <= len(slots_of) <= MOST_DRAWERS:
        raise refused("drawers", most=MOST_DRAWERS)
    if not all(0 <= slots <= MOST_SLOTS for slots in slots_of):
        raise refused("slots", most=MOST_SLOTS)
    added, retired = [outer], []
    drawers = _by_number(before, outer.code, Kind.DRAWER)
    for at, slots in enumerate(slots_of):
        if at < len(drawers):
            inside = drawers[at]
        else:
            inside = drawer(outer, 1 + max((each.number or 0 for each in drawers), default=0), fresh())
            drawers.append(inside)
            added.append(inside)
        there = _by_number(before, inside.code, Kind.SLOT)
        last = max((each.number or 0 for each in there), default=0)
        added += [slot(inside, last + more + 1, fresh()) for more in range(slots - len(there))]
        retired += [each.code for each in there[slots:]]
    for gone in drawers[len(slots_of) :]:
        retired += [each.code for each in _by_number(before, gone.code, Kind.SLOT)] + [gone.code]
    return Furnished(tuple(PlaceAdded(each) for each in added), tuple(retired))


def _machine(outer: Place, draft: Draft, fresh: Callable[[], str], before: Standing | None) -> Furnished:
    old = before.magazine if before else None
    made = magazine(draft, old)
    there = _by_number(before, outer.code, Kind.POCKET)
    numbers = {each.number for each in there}
    missing = (number for number in made.numbers if number not in numbers and not _left_out(old, number))
    added = [pocket(outer, number, fresh()) for number in missing]
    retired = [each.code for each in there if each.number is None or each.number not in made]
    turning = [each for each in before.inside if each.kind is Kind.SPINDLE] if before else []
    if draft.get("spindle", True) and not turning:
        added.insert(0, spindle(outer, fresh()))
    elif not draft.get("spindle", True):
        retired += [each.code for each in turning]
    first = PlaceAdded(outer, made)
    return Furnished((first, *(PlaceAdded(each) for each in added)), tuple(retired))


def _left_out(old: Magazine | None, number: int) -> bool:
    """A pocket the magazine counted before, though there is none in the steel."""
    return old is not None and number in old


def magazine(draft: Draft, before: Magazine | None = None) -> Magazine:
    """The magazine of the answers; what is not asked stays as it was.  Raises ThingFault."""
    given: dict[str, Any] = {}
    for field in fields_of(Thing.MACHINE, draft):
        if field.name in ("name", "spindle") or field.name not in draft:
            continue
        value = draft[field.name]
        given[field.name] = int(value) if field.name in _WHOLE and isinstance(value, float | int) else value
    given["kind"] = MagazineKind(str(draft["kind"]))
    given["couplings"] = frozenset(Coupling.parse(text) for text in str(draft.get("couplings", "")).split())
    if draft["kind"] in ROUND and "ring_mm" in given:
        given["pitch_mm"] = round(given["ring_mm"] * sin(pi / max(2, given["pockets"])), 3)  # the chord
    if before is not None:
        given = {"knob": before.knob, "fixed": before.fixed, "closed": before.closed, "first": before.first} | given
    for name in ("fixed", "closed"):
        if name in given:
            last = int(given.get("first", 1)) + given["pockets"]
            given[name] = frozenset(number for number in given[name] if number < last)
    try:
        return _possible(Magazine(**given))
    except MagazineFault as fault:
        raise refused("magazine", why=fault.why, field=f"field.{fault.field}") from None


_WHOLE = frozenset(("pockets", "rows", "first", "change_at"))


def _by_number(before: Standing | None, parent: str, kind: Kind) -> list[Place]:
    found = [each for each in before.inside if each.parent == parent and each.kind is kind] if before else []
    return sorted(found, key=lambda each: (each.number or 0, each.name))


def draft_of_place(standing: Standing) -> dict[str, Value | Any]:
    """The answers that would make this place again."""
    at = standing.place
    found: dict[str, Any] = {"name": at.name}
    found |= {name: value for name in ("capacity", "way", "wet_length_mm") if (value := getattr(at, name)) is not None}
    if at.kind is Kind.CABINET:
        drawers = _by_number(standing, at.code, Kind.DRAWER)
        found["drawers"] = tuple(len(_by_number(standing, each.code, Kind.SLOT)) for each in drawers)
    if standing.magazine is not None:
        made = standing.magazine
        for each in fields(Magazine):
            value = getattr(made, each.name)
            if value is not None and each.name not in ("couplings", "fixed", "closed", "knob", "kind"):
                found[each.name] = value
        found["kind"] = made.kind.value
        found["couplings"] = " ".join(sorted(map(str, made.couplings)))
        if made.kind.value in ROUND:
            found.setdefault("ring_mm", round(made.pitch_mm / sin(pi / max(2, made.pockets)), 1))
        found["spindle"] = any(each.kind is Kind.SPINDLE for each in standing.inside)
    return found


# Cutters and holders ----------------------------------------------------------------------------------------------


def cutter(draft: Draft, key: str) -> Cutter:
    """Raises ThingFault."""
    given = _plain(Thing.CUTTER, draft)
    given["material"] = Material(given["material"])
    given.setdefault("shank_h6", False)  # not said: not known to be ground so
    if "zefp" in given:
        given["zefp"] = int(given["zefp"])
    return _possible(Cutter(key=key, **given))


def holder(draft: Draft, key: str) -> Holder:
    """Raises ThingFault."""
    given = _plain(Thing.HOLDER, draft)
    given["coupling"] = Coupling.parse(given["coupling"])
    given["clamping"] = Clamping(given["clamping"])
    if "heat_limit" in given:
        given["heat_limit"] = int(given["heat_limit"])
    return _possible(Holder(key=key, **given))


def draft_of(thing: Cutter | Holder) -> dict[str, Any]:
    """The answers that would make this cutter or holder again."""
    found: dict[str, Any] = {}
    for each in fields(thing):
        value = getattr(thing, each.name)
        if value is None or each.name == "key":
            continue
        if isinstance(value, Coupling):
            value = str(value)
        found[each.name] = getattr(value, "value", value)
    return found


def _plain(thing: Thing, draft: Draft) -> dict[str, Any]:
    given = {field.name: draft[field.name] for field in fields_of(thing, draft) if field.name in draft}
    for field in fields_of(thing, draft):
        if field.needed and field.name not in given:
            raise refused("lacking", field=f"field.{field.name}")
    given["name"] = named(str(given["name"]))
    return given


def _figure(draft: Draft, name: str) -> float | None:
    value = draft.get(name)
    return float(value) if isinstance(value, int | float) else None


def _possible(made: Made) -> Made:
    for fault in faults(made):
        least, most, unit, _ = fault.bound
        raise refused("bounds", field=f"field.{fault.field}", least=least, most=most, unit=unit)
    return made
