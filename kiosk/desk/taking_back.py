"""The lines by which an import is taken back, as far as nobody has worked with what it brought.

Looks only; what comes of it is written by the intake counter.  Of several kiosks' lines, which may stand between those
of an import, only the import's own are taken back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from kiosk.ledger import history
from kiosk.ledger import tables as T
from kiosk.ledger.book import Book, Written
from kiosk.rules import lines as L
from kiosk.rules.assembly import Cutter
from kiosk.rules.merge import RETIRED, USED, Matter

_RETIRED = (L.HolderRetired, L.CutterRetired, L.PlaceRetired, L.OperatorRetired)
_FACTS = (L.HolderRegistered, L.CutterAdded, L.CutterReground, L.PlaceAdded, L.OperatorAdded)
_OF_USE = (Matter.USE.value, Matter.BADGE.value)


@dataclass(frozen=True, slots=True)
class Kept:
    """Something that was worked with since, and stays."""

    key: str


@dataclass(frozen=True, slots=True)
class Taken:
    """An import: its lines without the closing one, in their order, the number of that, and theirs."""

    lines: tuple[Written, ...]
    closing: int
    numbers: frozenset[int]

    @classmethod
    def of(cls, book: Book, closing: Written, count: int) -> Taken:
        """The `count` lines of the same kiosk that its closing line ends."""
        own = (T.KeptLine.kiosk == closing.kiosk) & (T.KeptLine.id < closing.id)
        query: Any = T.KeptLine.select(T.KeptLine.id).where(own).order_by(T.KeptLine.id.desc()).limit(count)
        numbers = frozenset(number for (number,) in query.tuples())
        found = book.lines(min(numbers) - 1) if numbers else ()
        return cls(tuple(line for line in found if line.id in numbers), closing.id, numbers)

    def back(self, line: Written, reason: str) -> Iterator[L.Entry | Kept]:
        """The lines that take one line of the import back."""
        key = key_of(line.entry)
        match line.entry:
            case L.HolderRegistered():
                yield self._before(line, reason) or L.HolderRetired(key, reason)
            case L.CutterAdded():
                yield self._before(line, reason) or L.CutterRetired(key, reason)
            case L.PlaceAdded():
                yield self._before(line, reason) or L.PlaceRetired(key, reason)
            case L.OperatorAdded():
                yield self._before(line, reason) or L.OperatorRetired(key, reason)
            case L.CodeBound(text=text, subject=subject):
                if not self._worked_with(subject):
                    yield L.CodeRetired(text, reason)

    def _before(self, line: Written, reason: str) -> L.Entry | Kept | None:
        """A line that gives a thing the facts it had before the import; None: it had none.

        What was worked with or set right since stays; so does what was out of use before.
        """
        entry, key = line.entry, key_of(line.entry)
        about = history.between(key, 1, None)
        told = [each for each in about if each.id not in self.numbers and _sets(each.entry, key)]
        before = [each for each in told if each.id < self.lines[0].id]
        if len(before) < len(told):
            return Kept(key)
        if not before or _takes_out_of_use(before[-1].entry):
            used = self._built_in(key) if isinstance(entry, L.CutterAdded) else self._worked_with(key)
            return Kept(key) if used else None
        match next(each.entry for each in reversed(before) if type(each.entry) is type(entry)):
            case L.HolderRegistered(holder=holder):
                return L.HolderRegistered(holder, reason)
            case L.CutterAdded(cutter=cutter):
                for each in before:
                    if isinstance(each.entry, L.CutterAdded):
                        cutter = each.entry.cutter
                    elif isinstance(each.entry, L.CutterReground):
                        cutter = _ground(cutter, each.entry)
                return L.CutterAdded(cutter, reason)
            case L.PlaceAdded(place=place, magazine=magazine):
                return L.PlaceAdded(place, magazine)
            case L.OperatorAdded(name=name, role=role):
                return L.OperatorAdded(key, name, role)
        return None

    def _worked_with(self, key: str) -> bool:
        return bool(history.between(key, self.closing + 1, None))

    def _built_in(self, cutter: str) -> bool:
        query = T.Assembly.select().where(T.Assembly.cutter == cutter, T.Assembly.built_line > self.closing)
        return bool(query.exists())


def key_of(entry: L.Entry) -> str:
    """What a line of an import is about: a key, a place's code, a label's subject."""
    match entry:
        case L.HolderRegistered(holder=holder):
            return holder.key
        case L.CutterAdded(cutter=cutter):
            return cutter.key
        case L.PlaceAdded(place=place):
            return place.code
        case L.OperatorAdded(operator=key) | L.OperatorRetired(operator=key) | L.CodeBound(subject=key):
            return key
        case L.HolderRetired(holder=key) | L.CutterRetired(cutter=key) | L.PlaceRetired(code=key):
            return key
        case L.CutterReground(cutter=key) | L.ClaimSettled(subject=key):
            return key
    return ""


def _sets(entry: L.Entry, key: str) -> bool:
    """Whether a line says what a thing is, or whether it is in use."""
    said = isinstance(entry, L.ClaimSettled) and entry.matter in _OF_USE and entry.value in (USED, RETIRED)
    return (said or isinstance(entry, (*_FACTS, *_RETIRED))) and key_of(entry) == key


def _takes_out_of_use(entry: L.Entry) -> bool:
    return isinstance(entry, _RETIRED) or (isinstance(entry, L.ClaimSettled) and entry.value == RETIRED)


def _ground(cutter: Cutter, by: L.CutterReground) -> Cutter:
    """A cutter as a regrinding left it."""
    now = {name: value for name in ("dc_mm", "oal_mm") if (value := getattr(by, name)) is not None}
    return replace(cutter, **now)
