"""Finding at the desk: the index says what the rules mean, keeps up with every line, soonest usable first."""

from __future__ import annotations

import random

import pytest

from kiosk.desk.session import NotThere
from kiosk.ledger.find import FindIndex
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Condition, Coupling, Cutter, Holder, Measured
from kiosk.rules.cards import Heat
from kiosk.rules.codes import CodeKind
from kiosk.rules.finding import Usable, matches, parse
from kiosk.rules.outcomes import Done
from tests.conftest import Shop

TYPED = (
    *("", "1", "12", "12 r", "12 r0", "12 r0.5", "8.5", "end", "end mill", "mill 6", "hsk63", "a40", "cabinet a"),
    *("cabinet", "free", "free 12", "free holder for a 12 mm shank with hsk63", "length 80-130", "10-12", "1-05"),
    *("h7sj", "T0", "t002", "shrink", "collet 12", "worn", "broken", "hot", "missing", "mill 1", "drill", "zzz"),
    *("r0", "b", "reamer 12"),
)


def index(shop: Shop) -> FindIndex:
    cards = shop.desk.session.cards
    return FindIndex(lambda: cards.places, lambda: cards.counting)


def found(index: FindIndex, typed: str) -> set[str]:
    return {row.key for row in index.search(parse(typed), 0, 10_000, lambda key: None).rows}


def test_the_index_gives_what_the_rules_mean(shop: Shop) -> None:
    made = index(shop)
    everything = made.search(parse(""), 0, 10_000, lambda key: None).rows
    assert len(everything) == 40
    for typed in TYPED:
        assert found(made, typed) == {row.key for row in everything if matches(parse(typed), row)}, typed


def test_the_index_follows_every_line(shop: Shop) -> None:
    made = index(shop)
    found(made, "")
    desk, rng = shop.desk, random.Random(3)
    hsk = Coupling.parse("HSK63")
    benches = [shop.place("Bench 1"), shop.place("Bench 2"), shop.place("Rack 1")]
    steps = [
        lambda: desk.session.write(
            L.HolderRegistered(Holder("N1", "Shrink 12 x 120", hsk, Clamping.SHRINK_FIT, 12.0), stood_cold=True)
        ),
        lambda: desk.session.write(L.Moved("N1", None, benches[0])),
        lambda: desk.session.write(
            L.CutterAdded(Cutter("N2", "Ball mill 12", 12.0, 12.0, 90.0, re_mm=6.0)),
            L.Built("N3", "Ball mill 12", "N1", "N2"),
        ),
        lambda: desk.session.write(L.MeasuredLine("N1", "N3", Measured(120.25, 12.0))),
        lambda: desk.session.write(L.TornDown("N1", "N3")),
        lambda: desk.shop.replace_label("T002", shop.desk.session.fresh_code(CodeKind.HOLDER).text),
        lambda: desk.shop.retire("N1", "sold"),
        lambda: desk.session.write(L.Restored("b", ("T003",), ("T004",))),
    ]
    for step in steps:
        step()
        key = rng.choice(["T005", "T006", "T007"])
        place = desk.session.holder(key).at
        desk.session.write(L.Moved(key, place.place.code if place else None, rng.choice(benches)))
        fresh = index(shop)
        for typed in TYPED:
            assert found(made, typed) == found(fresh, typed), typed
        assert [r.key for r in made.search(parse(""), 0, 100, lambda key: None).rows] == [
            r.key for r in fresh.search(parse(""), 0, 100, lambda key: None).rows
        ]


def test_what_is_ready_comes_first_and_what_is_out_last(shop: Shop) -> None:
    usable = [row.usable for row in shop.desk.finding.find("", count=100).rows]
    assert usable == sorted(usable)
    assert {Usable.READY, Usable.IN_MACHINE} <= set(usable)


def test_cooling_ones_are_in_the_order_of_their_time(shop: Shop) -> None:
    for key in ("T002", "T003", "T004"):
        shop.desk.scan(shop.holder(key))
        shop.desk.scan(shop.place("Shrink station"))
        shop.clock.forward(60.0)
        shop.desk.scan(shop.holder(key))
        shop.desk.scan(shop.place("Rack 1"))
        shop.clock.forward(300.0)
    rows = [row for row in shop.desk.finding.find("hot", count=100).rows if row.usable is Usable.COOLING]
    assert {row.key for row in rows} == {"T002", "T003", "T004"}
    left = [float("inf") if row.left_s is None else row.left_s for row in rows]
    assert left == sorted(left)


def test_pages_follow_each_other_without_gap_or_double(shop: Shop) -> None:
    whole = [row.key for row in shop.desk.finding.find("mill", count=100).rows]
    paged = [row.key for first in range(0, 100, 7) for row in shop.desk.finding.find("mill", first, 7).rows]
    assert paged == whole and len(set(whole)) == len(whole)
    assert shop.desk.finding.find("mill", 0, 3).total == len(whole)


def test_a_move_is_found_at_once(shop: Shop) -> None:
    shop.desk.finding.warm()
    shop.desk.scan(shop.holder("T002"))
    assert isinstance(shop.desk.scan(shop.place("Bench 2")).outcome, Done)
    assert "T002" in {row.key for row in shop.desk.finding.find("bench 2").rows}


def test_take_me_there_says_cabinet_drawer_and_slot(shop: Shop) -> None:
    way = shop.desk.finding.way("T002")
    assert way.path == ("Cabinet A", "Drawer 1", "1-01")
    assert way.usable is Usable.READY
    with pytest.raises(NotThere):
        shop.desk.finding.way("no such holder")


def test_a_holder_nobody_can_find_is_nowhere(shop: Shop) -> None:
    place = shop.desk.session.holder("T002").at
    assert place is not None
    shop.desk.session.write(L.Moved("T002", place.place.code, None))
    (row,) = (row for row in shop.desk.finding.find("missing", count=100).rows if row.key == "T002")
    assert row.usable is Usable.NOWHERE
    assert shop.desk.session.holder("T002").heat is Heat.UNKNOWN


def test_what_came_back_worn_or_was_measured_warm_is_never_first_while_another_is_sound(shop: Shop) -> None:
    desk = shop.desk
    alike = [row for row in desk.finding.find("end mill", count=100).rows if row.usable is Usable.READY]
    assert len(alike) > 2
    first, second = alike[0], alike[1]
    desk.build.say_condition(first.key, Condition.WORN)
    card = desk.session.holder(second.key)
    assert card.assembly is not None
    warm = Measured(100.0, 10.0, length_error_um=12.0)
    desk.session.write(L.MeasuredLine(second.key, card.assembly.key, warm))
    found = [(row.key, row.usable) for row in desk.finding.find("end mill", count=100).rows]
    usable = dict(found)
    assert usable[first.key] is Usable.WORN and usable[second.key] is Usable.REMEASURE
    assert found[0][1] is Usable.READY
    sound = [at for at, (_, how) in enumerate(found) if how in (Usable.READY, Usable.NEAR)]
    spent = [at for at, (key, _) in enumerate(found) if key in (first.key, second.key)]
    assert max(sound) < min(spent)


def test_a_worn_cutter_that_is_still_hot_comes_behind_a_sound_one_in_a_machine(shop: Shop) -> None:
    """Once it is cool it is torn down: nobody waits for it."""
    desk = shop.desk
    desk.build.say_condition("T001", Condition.WORN)
    desk.scan(shop.holder("T001"))
    desk.scan(shop.place("Shrink station"))
    found = {row.key: (at, row.usable) for at, row in enumerate(desk.finding.find("", count=100).rows)}
    worn_at, how = found["T001"]
    assert how is Usable.COOLING, "the words stay those of heat"
    assert worn_at > max(at for at, usable in found.values() if usable is Usable.IN_MACHINE)
