"""A tear-down is taken back within the minute, by whoever did it; and no scan ever tears down."""

from __future__ import annotations

import random

from kiosk.rules.assembly import Condition
from kiosk.rules.cards import Command, Heat
from kiosk.rules.lines import TornDown
from kiosk.rules.outcomes import Done, Reason, Refused, Step
from tests.conftest import Shop

WEEKS_S = 40 * 86400.0


def at_station(shop: Shop) -> None:
    shop.clock.forward(WEEKS_S)
    for code in (shop.holder("T001"), shop.place("Shrink station")):
        shop.desk.scan(code)


def test_a_tear_down_is_taken_back_within_the_minute_and_the_steel_stays_hot(shop: Shop) -> None:
    at_station(shop)
    shop.clock.forward(30)
    before = shop.desk.session.holder("T001")
    shop.desk.build.tear_down("T001", Condition.WORN)
    assert shop.desk.session.holder("T001").assembly is None
    shop.clock.forward(55)
    undone = shop.desk.undo().outcome
    assert isinstance(undone, Done) and undone.step is Step.UNDONE
    after = shop.desk.session.holder("T001")
    assert after.assembly == before.assembly, "with what was said of its cutter before"
    assert after.heat is Heat.HELD and after.hold is not None and before.hold is not None
    assert (after.hold.remaining_s or 0.0) >= (before.hold.remaining_s or 0.0) - 30 - 55
    assert shop.desk.session.book.check() == []
    again = shop.desk.undo().outcome
    assert isinstance(again, Refused) and again.reason is Reason.NOTHING_TO_UNDO


def test_what_was_said_of_a_cutter_before_its_tear_down_is_kept(shop: Shop) -> None:
    at_station(shop)
    shop.desk.build.say_condition("T001", Condition.BROKEN)
    shop.clock.forward(5)
    shop.desk.build.tear_down("T001", Condition.GOOD)
    shop.desk.undo()
    assembly = shop.desk.session.holder("T001").assembly
    assert assembly is not None and assembly.condition is Condition.BROKEN


def test_a_tear_down_is_not_taken_back_later_by_another_or_when_the_holder_was_used_since(shop: Shop) -> None:
    at_station(shop)
    shop.desk.build.tear_down("T001", Condition.GOOD)
    shop.clock.forward(61)
    late = shop.desk.undo().outcome
    assert isinstance(late, Refused) and late.reason is Reason.UNDO_TOO_LATE
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Shrink station"))
    shop.desk.build.tear_down("T002", Condition.GOOD)
    cutter = next(each for each in shop.desk.build.free_cutters() if shop.desk.build.fit("T002", each.key).ok)
    shop.desk.build.build("T002", cutter.key)
    used = shop.desk.undo().outcome
    assert isinstance(used, Refused) and used.reason in (Reason.NOTHING_TO_UNDO, Reason.UNDO_OVERTAKEN)
    assert shop.desk.session.book.check() == []


def test_a_cutter_built_in_elsewhere_meanwhile_does_not_come_back(shop: Shop) -> None:
    at_station(shop)
    torn = shop.desk.session.holder("T001").assembly
    assert torn is not None
    shop.desk.build.tear_down("T001", Condition.GOOD)
    step = shop.desk.session.last_step()
    assert step is not None and step.still_there
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Sleeve 1"))
    moved = shop.desk.session.last_step()
    assert moved is not None and moved.torn is None, "the step that is taken back now is the move"


def test_no_scan_whatever_it_is_and_whatever_came_before_it_tears_down(shop: Shop) -> None:
    draw = random.Random(7)
    cards = shop.desk.shop.holders()
    places = list(shop.desk.session.cards.places.rows)
    texts = [card.code for card in cards] + places
    for _ in range(400):
        shop.clock.forward(draw.choice((0.5, 3.0, 25.0, 90.0)))
        if draw.random() < 0.15:
            shop.desk.command(draw.choice([each for each in Command if each is not Command.UNDO]))
        else:
            shop.desk.scan(draw.choice(texts))
    assert not any(isinstance(line.entry, TornDown) for line in shop.desk.session.book.lines())
