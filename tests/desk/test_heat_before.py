"""A heating that is over is drawn with what the ones before it had left, as its hold counted it while it ran."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from kiosk.rules import lines as L
from kiosk.rules.hold_facts import HoldFacts
from tests.conftest import Shop

HOUR_S = 3600.0
STATION, RACK, SLEEVE = "Shrink station", "Rack 1", "Sleeve 1"


@pytest.fixture(params=[7 * HOUR_S, 200 * 24 * HOUR_S], ids=["hours", "months"])
def shop(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Shop]:
    shop = Shop(tmp_path / "data")
    shop.clock.forward(request.param)
    yield shop
    assert shop.desk.session.book.check() == []
    shop.desk.close()


def put(shop: Shop, place: str, wait_s: float) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place(place))
    shop.clock.forward(wait_s)


def by_the_row(shop: Shop) -> HoldFacts:
    """What the hold that runs counts of the heatings before it; of the shop's values what nobody set since."""
    facts = shop.desk.session.cards.hold_facts("T001")
    assert facts is not None
    return replace(facts, earlier=tuple(replace(each, began=()) for each in facts.earlier))


def counted(facts: HoldFacts) -> tuple[object, ...]:
    return facts.heating, facts.heats, facts.earlier, facts.again_s, facts.body_unknown, facts.temp_c, facts.body_c


def from_the_sleeve(shop: Shop) -> None:
    put(shop, STATION, 20.0)
    put(shop, SLEEVE, 38.0)


def in_air(shop: Shop) -> None:
    put(shop, STATION, 40.0)


def at_the_rack_and_read(shop: Shop) -> None:
    put(shop, STATION, 30.0)
    put(shop, RACK, 300.0)
    shop.desk.heat.read("T001", "nose", 150.0)
    shop.clock.forward(60.0)


def while_nobody_watched(shop: Shop) -> None:
    put(shop, STATION, 30.0)
    put(shop, RACK, 60.0)
    shop.reopen()
    shop.clock.forward(60.0)


def told_twice(shop: Shop) -> None:
    put(shop, STATION, 25.0)
    shop.desk.session.write(L.Heated("T001", shop.place(STATION), heats=0, again=True))
    shop.clock.forward(15.0)


def with_a_step_taken_back(shop: Shop) -> None:
    put(shop, STATION, 20.0)
    put(shop, RACK, 10.0)
    shop.desk.undo()
    shop.clock.forward(10.0)
    put(shop, SLEEVE, 30.0)


def with_a_dip_taken_back(shop: Shop) -> None:
    put(shop, STATION, 20.0)
    put(shop, RACK, 10.0)
    put(shop, SLEEVE, 25.0)
    shop.desk.undo()
    shop.clock.forward(10.0)


def with_a_visit_to_the_station(shop: Shop) -> None:
    put(shop, STATION, 20.0)
    put(shop, RACK, 30.0)
    rack, station = shop.place(RACK), shop.place(STATION)
    shop.desk.session.write(L.Moved("T001", rack, station))
    shop.clock.forward(10.0)
    shop.desk.session.write(L.Moved("T001", station, rack))
    shop.clock.forward(10.0)


def of_which_nobody_knows_the_body(shop: Shop) -> None:
    put(shop, STATION, 20.0)
    shop.desk.session.write(L.Heated("T001", shop.place(STATION), body_unknown=True))
    put(shop, RACK, 30.0)


ROWS = [
    (from_the_sleeve,), (in_air,), (from_the_sleeve, in_air), (in_air,) * 3, (in_air,) * 4,
    (at_the_rack_and_read,), (at_the_rack_and_read, in_air), (while_nobody_watched,), (while_nobody_watched, in_air),
    (told_twice,), (in_air, told_twice), (with_a_step_taken_back,), (with_a_dip_taken_back,),
    (with_a_visit_to_the_station,), (of_which_nobody_knows_the_body,),
]  # fmt: skip


@pytest.mark.parametrize("before", ROWS, ids=lambda row: " ".join(each.__name__ for each in row))
def test_the_lines_of_a_row_of_heatings_tell_what_each_hold_counted_of_those_before(
    shop: Shop, before: tuple[Callable[[Shop], None], ...]
) -> None:
    """Or that its body was as hot as can be: never less than the hold counted."""
    ran = []
    for each in before:
        each(shop)
        ran.append(by_the_row(shop))
    put(shop, STATION, 20.0)
    put(shop, SLEEVE, 10.0)
    ran.append(by_the_row(shop))
    found = {record.facts.heating: record.facts for record in shop.desk.records.heatings("T001")}
    for facts in ran:
        told = found[facts.heating]
        hotter = not told.earlier and told.heats >= facts.heats and (told.body_c or 0.0) >= (facts.body_c or 0.0)
        assert counted(told) == counted(facts) or hotter, (counted(told), counted(facts))
    if not {while_nobody_watched, with_a_step_taken_back, with_a_dip_taken_back} & {*before}:
        assert counted(found[ran[-1].heating]) == counted(ran[-1])


def test_a_heating_that_is_over_is_drawn_as_its_hold_was_however_often_it_was_heated_since(shop: Shop) -> None:
    from_the_sleeve(shop)
    from_the_sleeve(shop)
    drawn = shop.desk.heat.curve("T001")
    shop.desk.heat.read("T001", "flange", 24.0)
    shop.clock.forward(3000.0)
    shop.desk.heat.read("T001", "flange", 24.0)
    (record, _) = shop.desk.records.heatings("T001")
    assert record.held_s is not None and drawn is not None
    plot = shop.desk.records.heat_plot(record)
    for at_s in (60.0, 200.0, 600.0):
        then = [min(curve.points, key=lambda point: abs(point[0] - at_s))[1] for curve in (plot.curve, drawn)]
        assert then[0] == pytest.approx(then[1], abs=12.0), "not as if its body had been as hot as its nose"
    shop.clock.forward(5 * HOUR_S)
    in_air(shop)
    assert shop.desk.records.heat_plot(shop.desk.records.heatings("T001")[1]) == plot
