"""The truth beside the kiosk is true enough, and a kiosk that is wrong is found out by it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from kiosk.rules.cooling.assessment import Heat as Heating
from kiosk.rules.cooling.assessment import Room, Stage, Way, assess
from kiosk.rules.outline import outlines_of
from tests.conftest import Shop
from tests.faults.shopfloor import Floor
from tests.faults.steel import NOMINAL, WARM, Shape, Steel, World
from tests.faults.truth import HOLDERS, Broke, Burnt, shape_of
from tests.faults.weeks_of_work import prepared
from tests.rules.axisymmetric import solve
from tests.rules.cooling_examples import case

TWELVE = Shape("HSK63", 12.0, 24.0, 90.0, 12.0, 47.0, 36.0)
NECK_MM, CONE_END_MM = 64.0, 24.0 + 2 * math.tan(math.radians(4.5)) * 0.85 * 64.0
SEGMENTS = [
    (57.0, 24.0, 24.0 + (CONE_END_MM - 24.0) * 57 / NECK_MM, 12.0),
    (7.0, 24.0 + (CONE_END_MM - 24.0) * 57 / NECK_MM, CONE_END_MM, 0.0),
    (26.0, 63.0, 63.0, 0.0),
    (32.0, 48.0, 44.8, 34.0),
]
LONG = [(Way.FREE_AIR, 0.0, None, None)]
BLOWN = [(Way.FORCED_AIR, 0.0, None, None)]
DIPPED = [(Way.FREE_AIR, 0.0, 20.0, None), (Way.SLEEVE, 20.0, 50.0, 55.0), (Way.FREE_AIR, 50.0, None, None)]
SOAKED = [(Way.FREE_AIR, 0.0, 20.0, None), (Way.SLEEVE, 20.0, None, 55.0)]
Stays = list[tuple[Way, float, float | None, float | None]]


def cool_from_s(shape: Shape, stays: Stays, world: World = NOMINAL) -> float:
    """When no point is above 43 °C any more, s."""
    steel, last_s, at_s = Steel(shape, world, 23.0), 0.0, 0.0
    steel.heat(330.0, 23.0)
    while at_s < 20_000.0 and steel.hottest_c > 28.0:
        way, _, _, wet_mm = [stay for stay in stays if stay[1] <= at_s][-1]
        step_s = 1.0 if at_s < 600.0 else 10.0
        steel.wait(step_s, way.value, wet_mm)
        at_s += step_s
        last_s = at_s if steel.hottest_c > 43.0 else last_s
    return last_s


@pytest.mark.parametrize("stays", [BLOWN, SOAKED])
def test_the_bar_cools_as_the_slow_solver_says(stays: Stays) -> None:
    ways = [(way.value, start, end, wet) for way, start, end, wet in stays]
    slow = solve(case("twelve", SEGMENTS, (12, 47, 36, "carbide"), (51, 330), ways, ambient_c=23.0))
    assert cool_from_s(TWELVE, stays) == pytest.approx(slow.safe_s, rel=0.15)


@pytest.mark.parametrize("key", [*HOLDERS, "T012", "T025", "T028"])
@pytest.mark.parametrize("stays", [LONG, BLOWN, DIPPED, SOAKED], ids=["long", "blown", "dipped", "soaked"])
def test_the_kiosk_lets_the_bar_go_later_than_it_is_cool(shop: Shop, key: str, stays: Stays) -> None:
    card = shop.desk.session.holder(key)
    shape = shape_of(card)
    profile = outlines_of(card.holder, card.assembly)[0]
    hold_s = assess(profile, Heating(330.0, shape.insert_mm + 4), [Stage(*stay) for stay in stays], Room()).hold_s
    assert hold_s is None or cool_from_s(shape, stays, WARM) < hold_s


def test_steel_between_two_stays_is_one_piece_and_time_may_be_cut_anywhere() -> None:
    once, often = Steel(TWELVE, NOMINAL, 23.0), Steel(TWELVE, NOMINAL, 23.0)
    for steel in (once, often):
        steel.heat(330.0, 23.0)
    once.wait(600.0)
    for _ in range(60):
        often.wait(10.0)
    assert often.hottest_c == pytest.approx(once.hottest_c, abs=1e-6)
    before_c = once.read_c("flange")
    once.heat(330.0, 23.0)
    assert once.read_c("nose") > 280.0 and once.read_c("flange") == pytest.approx(before_c)


@pytest.fixture
def floor() -> Iterator[Floor]:
    floor = Floor(prepared("nominal", pin=True), NOMINAL, 9 * 3600.0)
    yield floor
    floor.gone()


def heat(floor: Floor, key: str = "T001") -> None:
    floor.scan_holder(key)
    floor.scan_place("Shrink station")


def test_a_kiosk_whose_counter_jumps_ahead_is_found_out(floor: Floor) -> None:
    heat(floor)
    floor.look()
    floor.clocks.counter_jumps(9000.0)
    with pytest.raises(Burnt):
        floor.act(floor.desk.tick)
        floor.look()


def test_a_kiosk_that_lets_hot_steel_go_is_found_out(floor: Floor) -> None:
    heat(floor)
    floor.clocks.counter_jumps(9000.0)
    floor.scan_holder("T001")
    with pytest.raises(Burnt):
        floor.scan_place("Bench 1")


def test_a_book_that_was_changed_is_found_out(floor: Floor) -> None:
    floor.desk.close()
    data = (floor.folder / "ledger.db").read_bytes()
    (floor.folder / "ledger.db").write_bytes(data.replace(b"Roughing mill 12 R1", b"Roughing mill 13 R1"))
    floor.open()
    with pytest.raises(Broke):
        floor.check()


def test_power_that_goes_before_a_scan_is_written_moves_no_steel(floor: Floor) -> None:
    before = floor.bodies["T001"].spot
    floor.scan_holder("T001")
    floor.power_goes(1)
    floor.scan_place("Rack 1")
    assert floor.bodies["T001"].spot == before
    card = floor.card("T001")
    assert card.at is not None and card.at.name == "Bench 1"
    floor.check()


def test_a_full_disk_keeps_a_scan_from_counting(floor: Floor, tmp_path: Path) -> None:
    if not floor.disk.small:
        pytest.skip("this system lets us mount no small file system")
    floor.scan_holder("T001")
    floor.disk_fills(0)
    floor.scan_place("Rack 1")
    assert floor.said and floor.bodies["T001"].spot == floor.spots["Bench 1"]
    floor.check()
