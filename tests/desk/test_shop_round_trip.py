"""A shop taken out and brought into an empty kiosk is the same shop, whatever its things are called."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from kiosk.desk import Desk
from kiosk.exchange.tables_csv import Dialect
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.rules import codes
from kiosk.rules import lines as L
from kiosk.rules.assembly import Condition, Unbalance
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.fitting.magazine import MagazineKind as Ring
from kiosk.rules.places import Kind, Place
from tests.made import COUPLINGS, CUTTERS, DIALECTS, HOLDERS, MEASURED, NAMES

# What a file may call a holder or a cutter: more lines than one, quotes in commas, and much of it.
ODD_TEXTS = ("two\nlines", "a\r\nb", "tab\there", 'Fräser Ø 12, "lang"; für Nürnberg\n(alt)', "''\n''", '"')
TEXTS = NAMES | st.sampled_from([*ODD_TEXTS, "long " * 40 + "end"])
MARKS = NAMES | st.sampled_from(["(01)04012345678901", "DM 12/80;HSK", "https://maker.example/?s=1&t=2", "H123"])
# A shop is many draws: to make one that fails smaller takes minutes, and the first one found says enough.
SETTLED = settings(max_examples=30, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))


class Made:
    """Draws a shop's lines one after the other."""

    def __init__(self, data: st.DataObject) -> None:
        self.data = data
        self.count = 0
        self.used: set[str] = set()
        self.lines: list[L.Entry] = []
        self.room: dict[str, int] = {}  # place -> how many more it takes

    def draw(self, strategy: st.SearchStrategy[Any]) -> Any:
        return self.data.draw(strategy)

    def maybe(self) -> bool:
        return bool(self.draw(st.booleans()))

    def fresh(self, strategy: st.SearchStrategy[str] = TEXTS) -> str:
        """A text that nothing else is called."""
        text: str = self.draw(strategy.filter(lambda text: text not in self.used))
        self.used.add(text)
        return text

    def code(self, kind: codes.CodeKind) -> str:
        self.count += 1
        return codes.make(kind, self.count * 7919).text

    def add(self, place: Place, magazine: Magazine | None = None) -> str:
        self.lines += [L.PlaceAdded(place, magazine), L.CodeBound(place.code, place.code, "place")]
        if place.kind is not Kind.MACHINE:
            self.room[place.code] = place.capacity or 99
        return place.code

    def places(self) -> None:
        for kind in self.draw(st.lists(st.sampled_from([Kind.BENCH, Kind.SHRINK, Kind.COOLING, Kind.OUT]), max_size=4)):
            way = self.draw(st.sampled_from(["free_air", "sleeve"])) if kind is Kind.COOLING else None
            wet_mm = 55.5 if way == "sleeve" and self.maybe() else None
            capacity = self.draw(st.none() | st.integers(1, 3))
            name = self.draw(NAMES)  # two may be called the same
            self.add(Place(self.code(codes.CodeKind.PLACE), name, kind, None, None, capacity, way, wet_mm))
        for _ in range(self.draw(st.integers(0, 2))):
            self.cabinet()
        for _ in range(self.draw(st.integers(0, 2))):
            self.machine()

    def cabinet(self) -> None:
        cabinet = self.add(Place(self.code(codes.CodeKind.PLACE), self.draw(NAMES), Kind.CABINET))
        for number in self.draw(st.lists(st.none() | st.integers(1, 9), max_size=2)):
            name = self.draw(st.just(f"Drawer {number}") | NAMES)
            drawer = self.add(Place(self.code(codes.CodeKind.PLACE), name, Kind.DRAWER, cabinet, number))
            for slot in self.draw(st.lists(st.none() | st.integers(1, 6), max_size=3)):
                self.slot(drawer, slot, self.draw(st.just(f"{number}-{slot or 0:02}") | NAMES))
        if self.maybe():
            self.slot(cabinet, None, self.draw(NAMES))

    def slot(self, inside: str, number: int | None, name: str) -> None:
        capacity = self.draw(st.sampled_from([1, None, 2]))
        self.add(Place(self.code(codes.CodeKind.PLACE), name, Kind.SLOT, inside, number, capacity))

    def machine(self) -> None:
        count, first = self.draw(st.integers(1, 5)), self.draw(st.sampled_from([0, 1, 101]))
        magazine = Magazine(
            self.draw(st.sampled_from([Ring.CHAIN, Ring.SHELF])),
            count,
            80.0,
            couplings=frozenset(self.draw(st.lists(COUPLINGS, max_size=2))),
            knob=self.draw(st.none() | NAMES),
            mass_max_kg=self.draw(st.none() | st.just(8.25)),
            closed=frozenset({first} if self.maybe() else ()),
            fixed=frozenset({first + count - 1} if self.maybe() else ()),
            first=first,
        )
        name = self.fresh(NAMES)
        machine = self.add(Place(self.code(codes.CodeKind.PLACE), name, Kind.MACHINE), magazine)
        if self.maybe():
            self.add(Place(self.code(codes.CodeKind.PLACE), self.draw(NAMES), Kind.SPINDLE, machine, None, 1))
        for number in magazine.numbers:
            if self.draw(st.integers(0, 4)):  # else it is not there
                name = self.draw(st.just(f"pocket {number:02}") | NAMES)
                self.add(Place(self.code(codes.CodeKind.PLACE), name, Kind.POCKET, machine, number, 1))

    def holder(self) -> None:
        holder = replace(self.draw(HOLDERS), key=self.fresh(), name=self.draw(TEXTS))
        self.lines.append(L.HolderRegistered(holder, stood_cold=True))
        if self.maybe():
            self.lines.append(L.CodeBound(self.code(codes.CodeKind.HOLDER), holder.key, "holder"))
        for _ in range(self.draw(st.integers(0, 2))):
            self.lines.append(L.CodeBound(self.fresh(MARKS), holder.key, "holder", foreign=True))
        if self.maybe():
            self.built(holder.key)
        free = [code for code, left in self.room.items() if left]
        if free and self.maybe():
            place = self.draw(st.sampled_from(free))
            self.room[place] -= 1
            self.lines.append(L.Moved(holder.key, None, place))
        if free and self.maybe():
            self.lines.append(L.PocketAssigned(self.draw(st.sampled_from(free)), holder.key))

    def built(self, holder: str) -> None:
        cutter, key = replace(self.draw(CUTTERS), key=self.fresh(), name=self.draw(TEXTS)), self.fresh()
        insert_mm = self.draw(st.none() | st.just(40.125))
        self.lines += [L.CutterAdded(cutter), L.Built(key, self.draw(TEXTS), holder, cutter.key, insert_mm)]
        if self.maybe():
            self.lines.append(L.MeasuredLine(holder, key, self.draw(MEASURED)))
        if self.maybe():
            mass_kg = self.draw(st.sampled_from([0.5, 1.318]))
            left = Unbalance(self.draw(st.sampled_from([0.0, 1.25])), 2.5, 16000.0, mass_kg)
            self.lines.append(L.BalancedLine(holder, key, left))
        if self.maybe():
            condition = self.draw(st.sampled_from(Condition))
            self.lines.append(L.ConditionSaid(holder, key, condition, self.draw(st.sampled_from([0.0, 3.5]))))
        if self.maybe():
            self.lines.append(L.ToolNumbered(holder, key, self.draw(st.integers(0, 99_999_999))))

    def gone(self) -> None:
        """Some of it was taken out of use since: labels, holders with all they are, cutters, places and people."""
        for line in tuple(self.lines):
            if self.draw(st.integers(0, 7)):
                continue
            match line:
                case L.CodeBound(text=text, what="holder"):
                    self.lines.append(L.CodeRetired(text, "torn"))
                case L.HolderRegistered(holder=holder):
                    self.lines.append(L.HolderRetired(holder.key, "worn out"))
                case L.PlaceAdded(place=Place(code=code, kind=Kind.BENCH | Kind.OUT)) if code not in self.used_places():
                    self.lines.append(L.PlaceRetired(code, "sold"))
                case L.OperatorAdded(operator=key):
                    self.lines.append(L.OperatorRetired(key, "left"))
        spare = [each.cutter.key for each in self.lines if isinstance(each, L.CutterAdded)]
        built = {each.cutter for each in self.lines if isinstance(each, L.Built)}
        for key in spare:
            if key not in built and not self.draw(st.integers(0, 3)):
                self.lines.append(L.CutterRetired(key, "broken"))

    def used_places(self) -> set[str | None]:
        moved = {line.goal for line in self.lines if isinstance(line, L.Moved)}
        return moved | {line.pocket for line in self.lines if isinstance(line, L.PocketAssigned)}

    def person(self) -> None:
        key = self.fresh()
        role, name = self.draw(st.sampled_from(["setter", "supervisor"])), self.draw(NAMES | st.just("Ä" * 200))
        self.lines += [
            L.OperatorAdded(key, name, role, "a hash" if role == "supervisor" else None),
            L.CodeBound(self.code(codes.CodeKind.BADGE), key, "operator"),
        ]


def shop_of(data: st.DataObject) -> list[L.Entry]:
    made = Made(data)
    made.places()
    for _ in range(made.draw(st.integers(0, 4))):
        made.holder()
    for _ in range(made.draw(st.integers(0, 2))):
        made.lines.append(L.CutterAdded(replace(made.draw(CUTTERS), key=made.fresh())))
    for _ in range(made.draw(st.integers(0, 2))):
        made.person()
    made.gone()
    return made.lines


_NOT_CARRIED = {
    *("since_line", "since_utc_s", "since_watched_s", "last_kiosk", "heat", "heat_cycles", "heat_unused"),
    *("built_line", "torn_line", "bound_line", "measured_utc_s", "pin_hash", "regrinds"),
}


def contents(desk: Desk) -> dict[str, list[dict[str, Any]]]:
    """Everything a shop is: all but when things happened, how warm steel is, what is secret and what is out of use."""
    in_use = {row["key"] for row in rows(T.Holder.select().where(T.Holder.retired == 0))}
    gone = {row["key"] for row in rows(T.Operator.select().where(T.Operator.retired == 1))}
    gone |= {row["key"] for row in rows(T.Holder.select().where(T.Holder.retired == 1))}
    gone |= {row["code"] for row in rows(T.Place.select().where(T.Place.retired == 1))}
    marks = {row["text"] for row in rows(T.Binding.select().where(T.Binding.foreign_mark == 1))}

    def all_of(table: Any) -> Iterator[dict[str, Any]]:
        for row in rows(table.select()):
            if row.get("retired") or row.get("retired_line") or row.get("subject") in gone:
                continue
            if table is T.Assembly and row["holder"] not in in_use:
                continue
            if row.get("code") in marks:  # it answers by its mark where it has no label of ours
                row = row | {"code": None}
            if row.get("owner") not in in_use:  # who owned it is gone: it is nobody's
                row = row | ({"owner": None} if "owner" in row else {})
            yield {name: value for name, value in row.items() if name not in _NOT_CARRIED}

    tables = (T.Place, T.Holder, T.Cutter, T.Assembly, T.Binding, T.Operator)
    return {table.__name__: sorted(all_of(table), key=str) for table in tables}


@SETTLED
@given(st.data(), DIALECTS)
def test_a_shop_taken_out_and_brought_in_is_the_same_shop(data: st.DataObject, dialect: Dialect) -> None:
    with TemporaryDirectory() as folder:
        with Desk.open(Path(folder) / "one") as desk:
            if lines := shop_of(data):
                desk.session.write(*lines)
            desk.intake.export(Path(folder) / "out", dialect)
            before = contents(desk)
        with Desk.open(Path(folder) / "two") as desk:
            plan = desk.intake.plan(Path(folder) / "out")
            assert plan.conflicts == ()
            desk.intake.take(plan, "out")
            assert contents(desk) == before
            assert desk.session.book.check() == []
            again = desk.intake.plan(Path(folder) / "out")
            assert again.lines == (), "and a second time there is nothing to do"
