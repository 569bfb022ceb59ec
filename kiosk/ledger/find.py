"""Finding among a hundred thousand holders while somebody types: the search rows in memory, kept up line by line.

Gives the same answer as `rules.finding.matches` on every row, with the sizes compared all at once; it reads the
tables and never writes.  It is built at the first question and follows the lines written since.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray
from peewee import JOIN, fn

from kiosk.ledger import tables as T
from kiosk.ledger.counted import Counting
from kiosk.ledger.lineform import COLUMNS, written
from kiosk.ledger.places import Places
from kiosk.ledger.stock import parts
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Holder, Measured
from kiosk.rules.cards import Heat, place_name
from kiosk.rules.finding import (
    CORNER_MM,
    DIAMETER_MM,
    MARK_LETTERS,
    Query,
    SoughtHolder,
    Usable,
    looked_for,
    searched_text,
)
from kiosk.rules.places import Kind

ANEW = 5000  # lines behind, from which on building anew costs less than following

_holder = msgspec.json.Decoder(Holder)
_measured = msgspec.json.Decoder(Measured)
_NONE = float("nan")


@dataclass(frozen=True, slots=True)
class Hits:
    """Rows in order of use, `total` of them in all."""

    rows: tuple[SoughtHolder, ...]
    total: int


class FindIndex:
    """The search rows of one ledger."""

    def __init__(self, places: Callable[[], Places], counting: Callable[[], Counting]) -> None:
        self._places = places
        self._counting = counting
        self._counted = counting().what_matters()
        self._rows: list[SoughtHolder] = []
        self._at: dict[str, int] = {}
        self._line = -1
        self._sizes: _Sizes | None = None

    def __len__(self) -> int:
        return len(self._rows)

    def forget(self) -> None:
        """Rows changed otherwise than by lines at the end: everything is read anew."""
        self._sizes = None

    def search(self, query: Query, first: int, count: int, left_s: Callable[[str], float | None]) -> Hits:
        """Rows that match, in the order of how soon they are usable, from the `first` on, `count` of them.

        left_s: how long a held holder stays hot, by key; None: until it is read.
        """
        sizes = self._caught_up()
        found = self._matching(query, sizes)
        found = self._by_time(sizes.in_order(found), first + count, left_s)
        return Hits(tuple(self._rows[at] for at in found[first : first + count]), len(found))

    def row(self, key: str) -> SoughtHolder | None:
        """The row of one holder."""
        self._caught_up()
        return self._rows[self._at[key]] if key in self._at else None

    @staticmethod
    def _matching(query: Query, sizes: _Sizes) -> list[int]:
        left = sizes.mask(query)
        for word in query.words:
            left &= sizes.said(looked_for(word)) | (sizes.marked(word) if len(word) >= MARK_LETTERS else False)
        for value, said in query.numbers:
            left &= (np.abs(sizes.size_mm - value) <= DIAMETER_MM) | sizes.said(f" {said}")
        for value, said in query.corners:
            left &= (np.abs(sizes.re_mm - value) <= CORNER_MM) | sizes.said(f" {said}")
        found: list[int] = np.flatnonzero(left).tolist()
        return found

    def _by_time(self, found: list[int], wanted: int, left_s: Callable[[str], float | None]) -> list[int]:
        """Puts the cooling ones in the order of their time, those that only a reading frees after them."""
        usable = [self._rows[at].usable for at in found[:wanted]]
        if Usable.COOLING not in usable:
            return found
        start = usable.index(Usable.COOLING)
        stop = start
        while stop < len(found) and self._rows[found[stop]].usable is Usable.COOLING:
            stop += 1
        times = {at: left_s(self._rows[at].key) for at in found[start:stop]}

        def soonest(at: int) -> float:
            left = times[at]
            return float("inf") if left is None else left

        return [*found[:start], *sorted(found[start:stop], key=soonest), *found[stop:]]

    # keeping up -------------------------------------------------------------------------------------------

    def _caught_up(self) -> _Sizes:
        """Follows the lines written since; builds anew where that is less work."""
        last: int = T.KeptLine.select(fn.MAX(T.KeptLine.id)).scalar() or 0
        if (counted := self._counting().what_matters()) != self._counted:
            self._counted, self._sizes = counted, None
        if self._sizes is None or (self._line != last and not self._follow(self._line, last)):
            self._rows = list(self._read(None))
            self._at = {row.key: at for at, row in enumerate(self._rows)}
            self._sizes = _Sizes(self._rows)
        self._line = last
        return self._sizes

    def _follow(self, line: int, last: int) -> bool:
        """Takes over what the lines after `line` changed; False where that cannot be done row by row."""
        touched = self._touched(line) if last - line <= ANEW else None
        if touched is None or self._sizes is None:
            return False
        fresh = [row for some in parts(touched) for row in self._read(some)]
        if len(fresh) != len(touched) or any(row.key not in self._at for row in fresh):
            return False  # holders came or were retired
        if any(row.marks != self._rows[self._at[row.key]].marks for row in fresh):
            return False  # another label
        for row in fresh:
            at = self._at[row.key]
            self._rows[at] = row
            self._sizes.take(at, row)
        return True

    def _touched(self, after: int) -> set[str] | None:
        """Holders that the lines after `after` changed; None: too much may be different."""
        touched: set[str] = set()
        columns = [getattr(T.KeptLine, name) for name in COLUMNS]
        found: Any = T.KeptLine.select(*columns).where(T.KeptLine.id > after).tuples()
        for entry in (written(row).entry for row in found):
            match entry:
                case L.PlaceAdded() | L.PlaceRetired() | L.CutterAdded() | L.CutterReground() | L.CodeRetired():
                    return None
                case L.HolderRegistered(holder=holder):
                    touched.add(holder.key)
                case L.CodeBound(subject=subject, what="holder"):
                    touched.add(subject)
                case L.Restored(holders=holders, unsure=unsure):
                    touched.update(holders, unsure)
                case L.Seen() | L.TurnedAway() | L.PocketAssigned():
                    continue
                case _:
                    key = getattr(entry, "holder", None)
                    if key is not None:
                        touched.add(key)
        return touched

    def _read(self, keys: Iterable[str] | None) -> Iterator[SoughtHolder]:
        query = (
            T.Holder.select(
                T.Holder.key, T.Holder.code, T.Holder.name, T.Holder.coupling, T.Holder.clamping, T.Holder.bore_mm,
                T.Holder.facts, T.Holder.place, T.Holder.heat, T.Assembly.name, T.Assembly.length_mm,
                T.Assembly.condition, T.Assembly.measured, T.Cutter.name, T.Cutter.dc_mm, T.Cutter.re_mm,
                T.Holder.last_kiosk,
            )
            .join(T.Assembly, JOIN.LEFT_OUTER, on=(T.Holder.assembly == T.Assembly.key))
            .join(T.Cutter, JOIN.LEFT_OUTER, on=(T.Assembly.cutter == T.Cutter.key))
            .where(T.Holder.retired == 0)
        )  # fmt: skip
        if keys is not None:
            query = query.where(T.Holder.key.in_(list(keys)))
        places = self._places()
        named = {code: place_name(places.path(code)) for code in places.rows}
        kinds = {code: Kind(row["kind"]) for code, row in places.rows.items()}
        heats = {heat.value: heat for heat in Heat}
        # Straight from the cursor: a row object for each of a hundred thousand holders takes as long as all the rest.
        for found in T.database.execute(query):
            (
                key, code, name, coupling, clamping, bore_mm, facts, place, heat, built, length_mm, condition, measured,
                cutter, dc_mm, re_mm, last_kiosk,
            ) = found  # fmt: skip
            label = code or key
            standing = named.get(place)
            low_mm = _holder.decode(facts).bore_min_mm
            counts = self._counted.in_list(key, heats[heat], clamping == Clamping.SHRINK_FIT.value, last_kiosk)
            yield SoughtHolder(
                key, label, built or name, name, searched_text(built, name, cutter, coupling),
                searched_text(label, key), coupling, clamping, bore_mm, low_mm, built is None,
                dc_mm, re_mm, length_mm, condition, place, standing, kinds.get(place), counts,
                measured is not None and _measured.decode(measured).length_error_um is not None, last_kiosk,
            )  # fmt: skip


class _Sizes:
    """What is compared all at once: one number a row."""

    def __init__(self, rows: list[SoughtHolder]) -> None:
        self._names = sorted((row.name, row.key) for row in rows)
        ranks = {key: float(rank) for rank, (_, key) in enumerate(self._names)}
        self._named = [row.name for row in rows]
        self._words: dict[str, int] = {}
        self._texts = _Texts(row.names for row in rows)
        self._placed = _Texts(searched_text(row.place_name) for row in rows)
        self._marks = "\n".join(row.marks for row in rows)
        self._starts = np.cumsum([0, *(len(row.marks) + 1 for row in rows)])
        self.dc_mm = _numbers(row.dc_mm for row in rows)
        self.re_mm = _numbers(row.re_mm for row in rows)
        self.length_mm = _numbers(row.length_mm for row in rows)
        self.bore_mm = _numbers(row.bore_mm for row in rows)
        self.bore_min_mm = _numbers(_low(row) for row in rows)
        self.size_mm = np.where(np.isnan(self.dc_mm), self.bore_mm, self.dc_mm)
        self.free = np.array([row.free for row in rows], dtype=bool)
        self.cool = np.array([row.heat is Heat.COOL for row in rows], dtype=bool)
        self.somewhere = np.array([row.place is not None for row in rows], dtype=bool)
        self.rank = np.array([row.rank for row in rows], dtype=np.int64)
        self.by_name = np.array([ranks[row.key] for row in rows], dtype=np.float64)
        self.coupling = np.array([self._word(row.coupling) for row in rows], dtype=np.int64)
        self.clamping = np.array([self._word(row.clamping) for row in rows], dtype=np.int64)
        self.condition = np.array([self._word(row.condition) for row in rows], dtype=np.int64)

    def take(self, at: int, row: SoughtHolder) -> None:
        """A row that changed."""
        self.dc_mm[at], self.re_mm[at], self.length_mm[at] = map(_number, (row.dc_mm, row.re_mm, row.length_mm))
        self.bore_mm[at], self.bore_min_mm[at] = row.bore_mm, _low(row)
        self.size_mm[at] = row.bore_mm if row.dc_mm is None else row.dc_mm
        self.free[at], self.cool[at], self.somewhere[at] = row.free, row.heat is Heat.COOL, row.place is not None
        self.rank[at] = row.rank
        self.coupling[at], self.clamping[at] = self._word(row.coupling), self._word(row.clamping)
        self.condition[at] = self._word(row.condition)
        self._texts.take(at, row.names)
        self._placed.take(at, searched_text(row.place_name))
        if row.name != self._named[at]:
            self._named[at] = row.name
            self.by_name[at] = bisect_left(self._names, (row.name, row.key)) - 0.5

    def in_order(self, found: list[int]) -> list[int]:
        """Soonest usable first (`SoughtHolder.rank`), then by name."""
        at = np.array(found, dtype=np.int64)
        best: list[int] = at[np.lexsort((self.by_name[at], self.rank[at]))].tolist()
        return best

    def mask(self, query: Query) -> NDArray[np.bool_]:
        """What the sizes and the closed sets of words leave over."""
        left = np.ones(len(self.free), dtype=bool)
        if query.free:
            left &= self.free
        if query.hot:
            left &= ~self.cool
        if query.nowhere:
            left &= ~self.somewhere
        if query.diameter_mm is not None:
            within = (self.dc_mm >= query.diameter_mm.low) & (self.dc_mm <= query.diameter_mm.high)
            left &= within if query.diameter_said is None else within | self.said(f" {query.diameter_said}")
        if query.length_mm is not None:
            left &= (self.length_mm >= query.length_mm.low) & (self.length_mm <= query.length_mm.high)
        if query.shank_mm is not None:
            wide = query.shank_mm <= self.bore_mm + DIAMETER_MM
            left &= wide & (self.bore_min_mm - DIAMETER_MM <= query.shank_mm)
        if query.coupling is not None:
            left &= self.coupling == self._word(str(query.coupling))
        if query.clamping is not None:
            left &= self.clamping == self._word(query.clamping.value)
        if query.condition is not None:
            left &= self.condition == self._word(query.condition.value)
        return left

    def said(self, part: str) -> NDArray[np.bool_]:
        """Which rows have it in their names or in the name of their place."""
        return self._texts.having(part) | self._placed.having(part)

    def marked(self, part: str) -> NDArray[np.bool_]:
        """Which rows have it in their label or key."""
        found, at = [], self._marks.find(part)
        while at >= 0:
            found.append(at)
            at = self._marks.find(part, at + 1)
        having = np.zeros(len(self.free), dtype=bool)
        having[np.searchsorted(self._starts, found, side="right") - 1] = True
        return having

    def _word(self, word: str | None) -> int:
        return self._words.setdefault(word or "", len(self._words))


class _Texts:
    """A text for each row, looked at once however many rows share it."""

    def __init__(self, texts: Iterable[str]) -> None:
        self._known: dict[str, int] = {}
        self._of = np.array([self._number(text) for text in texts], dtype=np.int64)

    def _number(self, text: str) -> int:
        return self._known.setdefault(text, len(self._known))

    def take(self, at: int, text: str) -> None:
        self._of[at] = self._number(text)

    def having(self, part: str) -> NDArray[np.bool_]:
        found = np.fromiter((part in text for text in self._known), dtype=bool, count=len(self._known))
        return found[self._of]


def _low(row: SoughtHolder) -> float:
    return row.bore_mm if row.bore_min_mm is None else row.bore_min_mm


def _number(value: float | None) -> float:
    return _NONE if value is None else value


def _numbers(values: Iterable[float | None]) -> NDArray[np.float64]:
    return np.array([_number(value) for value in values], dtype=np.float64)
