"""Drawn schedules of three kiosks that tell everything apart, settle it, take files and steps back, in any order.

Whatever was drawn: all books are equal and whole, nothing that was held or not known to be cool is cool by a word, and
all that is told differently can be settled, one after the other, and stays so.
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable, Iterator
from dataclasses import replace

import msgspec
import pytest

from kiosk.desk.settling import Settling, closes_unseen, lines_of
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.rules import intake
from kiosk.rules import lines as L
from kiosk.rules.acts import Person, loses_its_pin
from kiosk.rules.assembly import Condition, Cutter, Measured
from kiosk.rules.cards import Heat
from kiosk.rules.merge import RETIRED, USED, Made, Matter
from kiosk.rules.places import Kind, Place
from tests.ledger.kiosks import STEEL, Kiosk, shop

A, B = "a" * 16, "b" * 16
SCHEDULES = int(os.environ.get("SETTLED_SCHEDULES", "40"))
FIRST = int(os.environ.get("SETTLED_FIRST", "1"))
HOLDERS, CUTTERS, PEOPLE = ("T1", "T2"), ("C1", "C2"), ("jo", "kim", "lee")
_made = msgspec.json.Decoder(tuple[Made, ...])
BEGUN = (
    *(L.OperatorAdded(key, key.title(), "supervisor", f"argon2 {key}") for key in ("jo", "kim")),
    L.OperatorAdded("lee", "Lee", "setter"),
    L.PlaceAdded(Place("P", "Pocket", Kind.POCKET, capacity=1)),
)


class Drawn:
    """A schedule by its seed."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.server, self.kiosks = shop(A, B)
        self.count = 0
        self.kiosks[0].says(*BEGUN)
        self.level()

    def level(self) -> None:
        for each in self.kiosks:
            self.server.push(each.own_lines())
        for each in self.kiosks:
            each.pulls(self.server)

    def run(self) -> None:
        for _ in range(self.random.randint(6, 30)):
            kiosk = self.random.choice(self.kiosks)
            self.count += 1
            kiosk.clock_s += self.random.choice((1.0, 400.0))
            kiosk.ages = dict.fromkeys(range(1, 400), 7.0 * self.count)
            act = self.random.choice((self._tells, self._tells, self._tells, self._tells, self._meets, self._settles))
            act(kiosk)

    def _meets(self, kiosk: Kiosk) -> None:
        if self.random.random() < 0.3:
            self.level()
            return
        mine = kiosk.own_lines()
        held = sum(each.line.kiosk == kiosk.name for each in self.server.lines)
        self.server.push(mine[: held + self.random.randint(1, 6)])
        kiosk.pulls(self.server, self.random.randint(1, 20))

    def _tells(self, kiosk: Kiosk) -> None:
        with kiosk:
            said = list(self.random.choice(TOLD)(self, kiosk))
        if said:
            kiosk.says(*said, operator=self.random.choice((None, *PEOPLE)))

    def _settles(self, kiosk: Kiosk) -> None:
        if found := self.open(kiosk):
            self.settle(kiosk, self.random.choice(found))

    def open(self, kiosk: Kiosk) -> list[tuple[Matter, str, tuple[Made, ...]]]:
        with kiosk:
            found = rows(T.Difference.select().where(T.Difference.closed_line.is_null()).order_by(T.Difference.key))
        return [(Matter(row["matter"]), row["subject"], _made.decode(row["claims"])) for row in found]

    def settle(self, kiosk: Kiosk, found: tuple[Matter, str, tuple[Made, ...]]) -> bool:
        """As a desk does it; whether it was settled, and not refused."""
        matter, subject, made = found
        value = self.random.choice(made).value
        if matter is Matter.PLACE:
            place = kiosk.row("holder", subject)["place"]
            kiosk.says(L.Moved(subject, place, self.random.choice(("B", "R", "F"))))
            return True
        with kiosk:
            if matter is Matter.SETTING and T.Setting.get_or_none(T.Setting.name == subject):
                lines: tuple[L.Entry, ...] = (L.SettingChanged(subject, value, "settled"),)
            else:
                said = Settling(matter, subject, value, made, "looked")
                lines = lines_of(said)
                if closes_unseen(said, lines) is not None:
                    return False
                lines = (L.ClaimSettled(matter.value, subject, value, "looked"), *lines)
            people = {
                row["key"]: Person(row["role"] == "supervisor", row["pin_hash"] is not None, bool(row["retired"]))
                for row in rows(T.Operator.select())
            }
            if self._under_hold(lines):
                return False
            if loses_its_pin(people, lines):  # it is not offered: that they stay is
                assert lines_of(Settling(matter, subject, USED, made, "looked")) == ()
                lines, value = (L.ClaimSettled(matter.value, subject, USED, "looked"),), USED
        before = self.warmth(kiosk)
        kiosk.says(*lines)
        after = self.warmth(kiosk)
        for key, (heat, only_readings) in before.items():
            assert heat == Heat.COOL.value or after[key][0] != Heat.COOL.value, (key, found, lines)
            assert after[key][1] >= only_readings, (key, found, lines)
        assert (matter, subject) not in {(each[0], each[1]) for each in self.open(kiosk)}
        if value in (RETIRED, USED) and matter in (Matter.BADGE, Matter.USE):
            with kiosk:
                tables = (kiosk.state.get(name, subject) for name in ("operator", "holder", "cutter", "place"))
                assert all(bool(row["retired"]) == (value == RETIRED) for row in tables if row is not None)
        if matter is Matter.CONDITION:
            with kiosk:
                built = kiosk.state.get("assembly", subject)
            assert built is None or built["condition"] == value, "it may never have been built, by the book"
        return True

    def _under_hold(self, lines: tuple[L.Entry, ...]) -> bool:
        """Whether what a running hold rests on would change (`rules.grounds`)."""
        held = {row["holder"] for row in rows(T.Hold.select().where(T.Hold.ended_line.is_null()))}
        cutters = {row["cutter"] for row in rows(T.Assembly.select()) if row["holder"] in held}
        for entry in lines:
            match entry:
                case L.Built(holder=key) | L.TornDown(holder=key) if key in held:
                    return True
                case L.HolderRegistered(holder=steel) if steel.key in held:
                    return True
                case L.CutterAdded(cutter=cutter) if cutter.key in cutters:
                    return True
                case L.PlaceAdded() if held:
                    return True
        return False

    def warmth(self, kiosk: Kiosk) -> dict[str, tuple[str, int]]:
        with kiosk:
            holds = {row["holder"]: row for row in rows(T.Hold.select())}
            found = rows(T.Holder.select())
        return {
            row["key"]: (row["heat"], int(bool(holds.get(row["key"], {}).get("reading_only")))) for row in found
        }

    def ends_holds(self, kiosk: Kiosk) -> None:
        with kiosk:
            found = rows(T.Hold.select().where(T.Hold.ended_line.is_null()))
        kiosk.says(*(L.HoldEnded(row["holder"], "reading", row["heated_line"]) for row in found))


Telling = Callable[[Drawn, Kiosk], Iterator[L.Entry]]


def _moved(drawn: Drawn, kiosk: Kiosk) -> Iterator[L.Entry]:
    key, goal = drawn.random.choice(HOLDERS), drawn.random.choice(("B", "R", "S", "D", "E", "P", None))
    row = T.Holder.get_by_id(key)
    if row.place != goal and not row.retired:
        yield L.Moved(key, row.place, goal)
        if goal == "S":
            yield L.Heated(key, "S")


def _built(drawn: Drawn, kiosk: Kiosk) -> Iterator[L.Entry]:
    key, cutter = drawn.random.choice(HOLDERS), drawn.random.choice(CUTTERS)
    row = T.Holder.get_by_id(key)
    if row.assembly is not None:
        yield L.ConditionSaid(key, row.assembly, drawn.random.choice(list(Condition)))
        yield L.TornDown(key, row.assembly)
        if drawn.random.random() < 0.3:
            yield L.TornDown(key, row.assembly, undoes=kiosk.sharing.tail.number + 2 + 2**40)
        return
    built = T.Holder.select(T.Assembly.cutter).join(T.Assembly, on=(T.Holder.assembly == T.Assembly.key))
    if cutter not in {each["cutter"] for each in rows(built)} and T.Cutter.get_or_none(T.Cutter.key == cutter):
        yield L.Built(f"A{drawn.count}{kiosk.name[:1]}", "a", key, cutter)


def _about_assembly(drawn: Drawn, kiosk: Kiosk) -> Iterator[L.Entry]:
    found = rows(T.Assembly.select().where(T.Assembly.torn_line.is_null()))
    if found:
        row = drawn.random.choice(found)
        length_mm = drawn.random.choice((119.2, 120.0))
        yield drawn.random.choice((
            L.ToolNumbered(row["holder"], row["key"], drawn.random.choice((7, 8, None))),
            L.MeasuredLine(row["holder"], row["key"], Measured(length_mm, 12.0)),
            L.ConditionSaid(row["holder"], row["key"], drawn.random.choice(list(Condition))),
        ))  # fmt: skip


def _facts(drawn: Drawn, kiosk: Kiosk) -> Iterator[L.Entry]:
    """By hand or file: a file keeps what is told differently."""
    name = drawn.random.choice(("one", "two"))
    steel = drawn.random.choice(STEEL)
    cutter = Cutter(drawn.random.choice(CUTTERS), name, 12.0, 12.0, 80.0)
    entry = drawn.random.choice((
        L.HolderRegistered(replace(steel, name=name), "import"),
        L.CutterAdded(cutter, "import"),
        L.PlaceAdded(Place("D", f"Slot {name}", Kind.SLOT, capacity=1), reason="import"),
        L.PocketAssigned("P", drawn.random.choice((None, *HOLDERS))),
        L.CutterReground(cutter.key, drawn.random.choice((11.0, 11.5))),
    ))  # fmt: skip
    apart = frozenset((each[0].value, each[1]) for each in drawn.open(kiosk))
    if not drawn._under_hold((entry,)) and not intake.settles(entry, apart):
        yield entry


def _use(drawn: Drawn, kiosk: Kiosk) -> Iterator[L.Entry]:
    kind, table, key = drawn.random.choice((
        (L.HolderRetired, T.Holder, "T2"), (L.CutterRetired, T.Cutter, "C2"), (L.PlaceRetired, T.Place, "E"),
    ))  # fmt: skip
    if not table.get_by_id(key).retired:
        yield kind(key, "worn")


def _people(drawn: Drawn, kiosk: Kiosk) -> Iterator[L.Entry]:
    key = drawn.random.choice(PEOPLE)
    row = T.Operator.get_by_id(key)
    able = {each["key"] for each in rows(T.Operator.select()) if _able(each)}
    pin = f"argon2 {drawn.count}{kiosk.name[:1]}" if row.role == "supervisor" and drawn.random.random() < 0.5 else None
    if drawn.random.random() < 0.3 and able - {key} and not row.retired:
        yield L.OperatorRetired(key, "left")
    elif not row.retired:
        role = drawn.random.choice((row.role, "setter")) if able - {key} else row.role
        yield L.OperatorAdded(key, drawn.random.choice((key, key.title())), role, pin)


def _able(row: dict[str, object]) -> bool:
    return row["role"] == "supervisor" and row["pin_hash"] is not None and not row["retired"]


def _labels(drawn: Drawn, kiosk: Kiosk) -> Iterator[L.Entry]:
    text = drawn.random.choice(("X1", "X2"))
    bound = T.Binding.get_or_none(T.Binding.text == text)
    if bound is None:
        yield L.CodeBound(text, drawn.random.choice(HOLDERS), "holder", foreign=True)
    elif bound.retired_line is None:
        yield L.CodeRetired(text, "worn")


def _rules(drawn: Drawn, kiosk: Kiosk) -> Iterator[L.Entry]:
    yield L.SettingChanged("heat.limit_c", drawn.random.choice(("41.5", "43", "47")), "so")


TOLD: tuple[Telling, ...] = (_moved, _moved, _built, _built, _about_assembly, _facts, _use, _people, _labels, _rules)


@pytest.mark.parametrize("seed", range(FIRST, FIRST + SCHEDULES))
def test_whatever_is_told_apart_and_settled_all_books_agree_and_all_of_it_can_be_settled(seed: int) -> None:
    drawn = Drawn(seed)
    drawn.run()
    drawn.level()
    one, *others = drawn.kiosks
    for _ in range(60):
        found = drawn.open(one)
        if not found:
            break
        done = [drawn.settle(one, each) for each in found if each in drawn.open(one)]
        if not any(done):
            drawn.ends_holds(one)
    assert drawn.open(one) == [], "what is told differently can be settled"
    drawn.level()
    assert all(each.tables() == one.tables() for each in others)
    assert [each.wrong() for each in drawn.kiosks] == [[], [], []]
    assert all(each.differences() == set() for each in drawn.kiosks), "and stays so"
    with one:
        assert any(map(_able, rows(T.Operator.select()))), "the shop has a PIN still"
        for row in rows(T.Hold.select().where(T.Hold.ended_line.is_null())):
            assert T.Holder.get_by_id(row["holder"]).heat != Heat.COOL.value
