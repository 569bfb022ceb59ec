"""A shop's files while they are read: the lines so far, the faults so far, and what its names stand for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from unicodedata import category

from kiosk.exchange.faults import Fault, FieldFault, no_code
from kiosk.exchange.figures import possible
from kiosk.rules import codes, nesting
from kiosk.rules.cards import place_name
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.lines import CodeBound, Entry, PlaceAdded
from kiosk.rules.places import Place
from kiosk.rules.say import Say

LONGEST_NAME = 200


@dataclass(frozen=True, slots=True)
class Spot:
    """Where something stands in a file; `part` is put before a field's name."""

    file: str
    line: int
    part: str = ""

    def fault(self, field_: str, why: Say) -> Fault:
        return Fault(self.file, self.line, ", ".join(filter(None, (self.part, field_))), why)

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}" if self.line else f"{self.file}, {self.part}"


@dataclass
class Reading:
    """What was read.  names: what files call a place; None where two are called so."""

    known: Mapping[str, Place] = field(default_factory=dict)  # the book's own places, by code
    by_code: dict[str, Place] = field(init=False)  # those and the files'
    names: dict[str, Place | None] = field(default_factory=dict)
    lines: list[Entry] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    codes: dict[str, str] = field(default_factory=dict)  # code -> where it was first used
    places: dict[str, tuple[int, Spot]] = field(default_factory=dict)  # code -> index of its line, where it stands
    owners: dict[str, tuple[str, Spot]] = field(default_factory=dict)  # pocket -> key of the holder it belongs to
    holders: set[str] = field(default_factory=set)  # keys of those in the files
    standing: dict[str, str] = field(default_factory=dict)  # place with room for one -> holder there

    def __post_init__(self) -> None:
        self.by_code = dict(self.known)

    def claim(self, code: str, where: object) -> None:
        """A code is bound once."""
        if code in self.codes:
            raise FieldFault("code", "code_used", said=code, where=self.codes[code])
        self.codes[code] = str(where)

    def take(self, spot: Spot, entries: Iterator[Entry]) -> None:
        """The lines one row makes, all of them or its fault."""
        try:
            self.lines += list(entries)
        except FieldFault as bad:
            self.faults.append(spot.fault(bad.field, bad.say))

    def call(self, name: str, place: Place) -> None:
        """A name by which tables may mean a place; one of two places means neither."""
        other = self.names.setdefault(name, place)
        if other is not None and other.code != place.code:
            self.names[name] = None

    def add(self, place: Place, spot: Spot, *names: str, magazine: Magazine | None = None) -> None:
        """A place of the files.  Raises FieldFault for one that cannot be."""
        code_of(place.code, codes.CodeKind.PLACE)
        self.claim(place.code, spot)
        named(place.name)
        self.places[place.code] = (len(self.lines), spot)
        self.by_code[place.code] = place
        self.lines += [PlaceAdded(possible(place), magazine), CodeBound(place.code, place.code, "place")]
        for name in names:
            self.call(name, place)

    def instead(self, place: Place) -> None:
        """Other facts of a place that is in the files already."""
        at, _ = self.places[place.code]
        before = self.lines[at]
        assert isinstance(before, PlaceAdded)  # `places` names no other line
        if place.kind is not before.place.kind:
            raise FieldFault("kind", "other_kind", said=before.place.kind.value)
        named(place.name)
        self.lines[at] = PlaceAdded(possible(place), before.magazine)
        self.by_code[place.code] = place

    def forget(self, first: int) -> None:
        """Drops the lines from index `first` on: one of them had a fault."""
        for code in [code for code, (at, _) in self.places.items() if at >= first]:
            del self.places[code], self.by_code[code]
        del self.lines[first:]

    def nest(self) -> None:
        """Faults for places that cannot be where they are, and the name people say for each that can."""
        places = self.by_code
        for code, (_, spot) in self.places.items():
            if (why := nesting.fault(places[code], places)) is not None:
                field_ = "parent" if places[code].parent else "kind"
                self.faults.append(spot.fault(field_, why))
        if self.faults:
            return
        for place in places.values():
            path = [place.name]
            at = place
            while at.parent is not None and at.parent in places and len(path) <= len(places):
                at = places[at.parent]
                path.insert(0, at.name)
            self.call(place_name(tuple(path)), place)

    def place(self, said: str) -> Place:
        """The place a table means by its code or a name.  Raises FieldFault."""
        found = self.by_code.get(said) or self.names.get(said)
        if found is None and said in self.names:
            raise FieldFault("place", "two_places", said=repr(said))
        if found is None:
            raise FieldFault("place", "no_place", said=repr(said))
        return found


def code_of(text: str, kind: codes.CodeKind) -> str:
    """A code as it is printed.  Raises FieldFault for what is none, or one of another kind."""
    try:
        code = codes.parse(text)
    except codes.CodeFault as fault:
        raise no_code(text, fault) from None
    if code.kind is not kind:
        raise FieldFault("code", f"not_code_of.{kind.name.lower()}", said=text)
    return code.text


def named(name: str) -> None:
    """Raises FieldFault for a name that has no signs, too many, or some a table would change."""
    if not name or name != name.strip() or len(name) > LONGEST_NAME or any(map(_is_control, name)):
        raise FieldFault("name", "one_line", most=LONGEST_NAME)


def _is_control(sign: str) -> bool:
    return category(sign) in ("Cc", "Zl", "Zp")


def only(table: Mapping[str, object], known: Iterable[str]) -> None:
    """Raises FieldFault for a key that means nothing here: a slip would else be lost in silence."""
    if unknown := sorted(table.keys() - set(known)):
        raise FieldFault(str(unknown[0]), "unknown_here", known=", ".join(known))
