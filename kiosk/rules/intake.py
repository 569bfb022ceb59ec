"""What a file from outside would change in the book: new, changed, the same, or not taken and why.

The steel is where a scan put it: a file never moves, builds up or measures a holder the book knows already.
Works on lines read from files and on a picture of the book; whoever shows the plan decides to write it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from enum import Enum
from typing import Any

from kiosk.rules import lines as L
from kiosk.rules import nesting
from kiosk.rules.acts import of_supervisor
from kiosk.rules.assembly import Cutter, Holder
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.grounds import Grounds
from kiosk.rules.hold_facts import pair
from kiosk.rules.merge import claims
from kiosk.rules.places import Place
from kiosk.rules.say import Say, say
from kiosk.rules.slices import Between, in_slices, not_asked


class How(Enum):
    """What becomes of an entry.  Each has words `term.intake.<value>`."""

    NEW = "new"
    CHANGED = "changed"
    SAME = "same"
    KEPT = "kept"  # the book knows better and keeps what it has
    CONFLICT = "conflict"  # cannot be: nothing of the file is taken while one is left


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of a file against the book.  details: field, before, after: a figure, or in words of the file.

    why: what stands against it; of something new, what to look after.
    """

    what: str  # place, holder, cutter, assembly, operator, label
    key: str
    name: str
    how: How
    details: tuple[tuple[str, str | float, str | float], ...] = ()
    why: Say | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """The book as far as a file can speak of it, by key, code or label text."""

    places: Mapping[str, tuple[Place, Magazine | None]] = field(default_factory=dict)
    holders: Mapping[str, Holder] = field(default_factory=dict)
    cutters: Mapping[str, Cutter] = field(default_factory=dict)
    operators: Mapping[str, tuple[str, str]] = field(default_factory=dict)  # name and role
    bound: Mapping[str, str] = field(default_factory=dict)  # every label ever bound -> subject
    retired_labels: frozenset[str] = frozenset()
    labels: Mapping[str, str] = field(default_factory=dict)  # holder -> the label on it
    assemblies: Mapping[str, str] = field(default_factory=dict)  # holder -> assembly in it
    standing: Mapping[str, str] = field(default_factory=dict)  # holder -> place
    crowd: Mapping[str, int] = field(default_factory=dict)  # place -> holders there
    former: frozenset[tuple[str, str]] = frozenset()  # what (place, holder, ...) and key of all that is out of use
    grounds: Grounds = field(default_factory=Grounds)  # what running holds rest on
    told_apart: frozenset[tuple[str, str]] = frozenset()  # matter and subject of what kiosks tell differently
    hot: Mapping[str, str] = field(default_factory=dict)  # type of a holder -> name of one that is hot, or lately was


@dataclass(frozen=True, slots=True)
class Plan:
    """What an import would do.  `lines` are what it would write; empty while there is a conflict.

    corrects: it says otherwise of something the book has, brings back what was taken out of use, brings a new place,
    or touches who may do what; by hand that takes a supervisor, so it does by file.
    """

    changes: tuple[Change, ...]
    lines: tuple[L.Entry, ...]
    corrects: bool = False
    entries: tuple[L.Entry, ...] = ()  # of the file: what is asked again when the plan is written

    @property
    def conflicts(self) -> tuple[Change, ...]:
        return tuple(change for change in self.changes if change.how is How.CONFLICT)

    def count(self, how: How) -> int:
        return sum(change.how is how for change in self.changes)


def settles(entry: L.Entry, told_apart: frozenset[tuple[str, str]]) -> bool:
    """Whether a line would settle what kiosks tell differently: a hand does that, which looked, and no file."""
    return any(each.settles and (each.matter.value, each.subject) in told_apart for each in claims(entry))


def plan(entries: Sequence[L.Entry], known: Known, between: Between = not_asked) -> Plan:
    """Holds the lines a file makes (`exchange.shop`) against the book.  between: see `slices`."""
    planning = _Planning(known)
    for entry in in_slices(entries, between):
        planning.take(entry)
    planning.nested([entry.place for entry in entries if isinstance(entry, L.PlaceAdded)])
    conflict = any(change.how is How.CONFLICT for change in planning.changes)
    corrects = planning.corrects or any(map(of_supervisor, planning.lines))
    return Plan(tuple(planning.changes), () if conflict else tuple(planning.lines), corrects, tuple(entries))


class _Planning:
    def __init__(self, known: Known) -> None:
        self.known = known
        self.changes: list[Change] = []
        self.lines: list[L.Entry] = []
        self.fresh: set[str] = set()  # holders that this file brings
        self.built: set[str] = set()  # holders that get their assembly from it
        self.crowd = dict(known.crowd)
        self.cutters = dict(known.cutters)
        self.places = {code: place for code, (place, _) in known.places.items()}
        self.corrects = False

    def take(self, entry: L.Entry) -> None:
        known = self.known
        match entry:
            case L.PlaceAdded(place=place, magazine=magazine):
                before = known.places.get(place.code)
                self.places[place.code] = place
                self._facts("place", place.code, place.name, before, (place, magazine), entry)
            case L.HolderRegistered(holder=holder):
                self._holder(entry, holder)
            case L.CutterAdded(cutter=cutter):
                had = self.cutters.get(cutter.key)
                self.cutters[cutter.key] = cutter
                said = L.CutterAdded(cutter, "" if had is None else "import")
                self._facts("cutter", cutter.key, cutter.name, had, cutter, said)
            case L.OperatorAdded(operator=key, name=name, role=role):
                self._facts("operator", key, name, known.operators.get(key), (name, role), entry)
                self.corrects = self.corrects or self.changes[-1].how is not How.SAME
            case L.CodeBound():
                self._label(entry)
            case L.Built(holder=key):
                self._built(entry, key)
            case (
                L.MeasuredLine(holder=key)
                | L.BalancedLine(holder=key)
                | L.ConditionSaid(holder=key)
                | L.ToolNumbered(holder=key)
            ):
                if key in self.built and not settles(entry, self.known.told_apart):
                    self.lines.append(entry)
            case L.Moved(holder=key):
                self._stands(entry, key)
            case L.PocketAssigned(holder=holder_key):
                if holder_key in self.fresh:
                    self.lines.append(entry)

    def nested(self, places: Sequence[Place]) -> None:
        """Conflicts for places that cannot be inside of what they say, the book's taken in."""
        for place in places:
            if nesting.fault(place, self.places) is not None:
                why = say("intake.nesting", name=place.name)
                self.changes.append(Change("place", place.code, place.name, How.CONFLICT, why=why))

    def _holder(self, entry: L.HolderRegistered, holder: Holder) -> None:
        old = self.known.holders.get(holder.key)
        former = ("holder", holder.key) in self.known.former
        if old is None and self.known.grounds.refuses(entry) is None:
            self.fresh.add(holder.key)
        # The book knows it: a file of another day says nothing about how warm it is now.
        line = L.HolderRegistered(holder, "import") if old or former else entry
        self._facts("holder", holder.key, holder.name, old, holder, line)
        alike = self.known.hot.get(pair(holder, None))
        if line.stood_cold and alike is not None and self.changes[-1].how is How.NEW:
            self.changes[-1] = replace(self.changes[-1], why=say("register.alike_hot", name=alike))

    def _facts(self, what: str, key: str, name: str, before: Any, after: Any, line: L.Entry) -> None:
        if before is not None and before == after:
            self.changes.append(Change(what, key, name, How.SAME))
            return
        details = () if before is None else _different(before, after)
        if (why := self._kept(line, name)) is not None:
            self.changes.append(Change(what, key, name, How.KEPT, details, why))
            return
        if before is not None or (what, key) in self.known.former:
            self.corrects = True
        self.changes.append(Change(what, key, name, How.NEW if before is None else How.CHANGED, details))
        self.lines.append(line)

    def _kept(self, line: L.Entry, name: str) -> Say | None:
        """Why the book keeps what it has."""
        if settles(line, self.known.told_apart):
            return say("intake.told_apart", name=name)
        return self.known.grounds.refuses(line)

    def _label(self, entry: L.CodeBound) -> None:
        subject = self.known.bound.get(entry.text)
        if settles(entry, self.known.told_apart):
            why = say("intake.told_apart", name=entry.text)
            self.changes.append(Change("label", entry.text, entry.subject, How.KEPT, why=why))
            return
        if subject == entry.subject:
            if entry.text in self.known.retired_labels:  # back on the same thing: it answers for it again
                self.corrects = True
                self.lines.append(entry)
            return
        if subject is not None:
            why = say("intake.label_taken", code=entry.text, other=subject)
            self.changes.append(Change("label", entry.text, entry.subject, How.CONFLICT, why=why))
            return
        worn = self.known.labels.get(entry.subject)
        if worn is not None and not entry.foreign:  # a maker's mark answers beside our label
            details = (("code", worn, entry.text),)
            self.changes.append(Change("label", entry.text, entry.subject, How.CHANGED, details))
            entry = L.CodeBound(entry.text, entry.subject, entry.what, entry.foreign, worn)
        if entry.what == "operator":  # another badge for somebody is a badge for whoever carries it
            self.corrects = True
        self.lines.append(entry)

    def _built(self, entry: L.Built, key: str) -> None:
        there = self.known.assemblies.get(key)
        if there is None and (why := self._kept(entry, entry.name)) is not None:
            self.changes.append(Change("assembly", entry.assembly, entry.name, How.KEPT, why=why))
        elif there is None:
            self.built.add(key)
            self.changes.append(Change("assembly", entry.assembly, entry.name, How.NEW))
            self.lines.append(entry)
        elif there != entry.assembly:
            why = say("intake.built_already", name=entry.name)
            self.changes.append(Change("assembly", entry.assembly, entry.name, How.KEPT, why=why))

    def _stands(self, entry: L.Moved, key: str) -> None:
        if entry.goal is None:
            return
        if key not in self.fresh:
            if self.known.standing.get(key) != entry.goal:
                name = self.known.holders[key].name if key in self.known.holders else key
                why = say("intake.stands_elsewhere", name=name)
                self.changes.append(Change("holder", key, name, How.KEPT, why=why))
            return
        found = self.known.places.get(entry.goal)
        capacity = found[0].capacity if found else None
        self.crowd[entry.goal] = self.crowd.get(entry.goal, 0) + 1
        if capacity is not None and self.crowd[entry.goal] > capacity:
            why = say("intake.place_taken", name=key, place=found[0].name if found else entry.goal)
            self.changes.append(Change("holder", key, key, How.CONFLICT, why=why))
            return
        self.lines.append(entry)


def _different(before: Any, after: Any) -> tuple[tuple[str, str | float, str | float], ...]:
    """Fields that are not the same, with both values."""
    if isinstance(before, tuple):
        found: list[tuple[str, str | float, str | float]] = []
        for old, new in zip(before, after, strict=True):
            if hasattr(old, "__dataclass_fields__") and type(old) is type(new):
                found += _different(old, new)
            elif old != new:
                found.append(("", _text(old), _text(new)))
        return tuple(found)
    return tuple(
        (each.name, _text(old), _text(new))
        for each in fields(before)
        if (old := getattr(before, each.name)) != (new := getattr(after, each.name))
    )


def _text(value: object) -> str | float:
    if isinstance(value, Enum):
        return str(value.value)
    return "" if value is None else value if isinstance(value, float) else str(value)
