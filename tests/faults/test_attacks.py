"""What let hot steel go once, or cut a hold short, or stopped the kiosk: each as short as it can be said.

Every attack ends with a look at the truth and a check of the book (`shopfloor`); what is found by `siege` comes here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from kiosk.rules.cards import Heat
from tests.faults.drawn import HOUR_S
from tests.faults.shopfloor import Floor
from tests.faults.weeks_of_work import WORLDS, prepared


@pytest.fixture(params=[5.0, 9 * HOUR_S, 960 * HOUR_S], ids=["at once", "after a shift", "after weeks"])
def floor(request: pytest.FixtureRequest) -> Iterator[Floor]:
    floor = Floor(prepared("nominal", False), WORLDS["nominal"], request.param)
    try:
        yield floor
        floor.look()
        floor.check()
    finally:
        floor.gone()


def heat(floor: Floor, key: str = "T001") -> None:
    goes(floor, key, "Shrink station")
    floor.wait(2.0)


def goes(floor: Floor, key: str, name: str) -> None:
    floor.scan_holder(key)
    floor.scan_place(name)


def watch(floor: Floor, seconds: float, looks: int = 40) -> None:
    for _ in range(looks):
        floor.wait(seconds / looks)
        floor.look()


def test_the_same_copy_put_back_twice_frees_nothing(floor: Floor) -> None:
    floor.backup()
    heat(floor)
    floor.restore(0)
    floor.look()
    floor.restore(0)


def test_a_restore_that_finds_the_disk_full_leaves_the_old_book_or_the_finished_new_one(floor: Floor) -> None:
    if not floor.disk.small:
        pytest.skip("this system lets us mount no small file system")
    floor.backup()
    heat(floor)
    for pages in (0, 10, 100, 200, *range(205, 260, 5), 300, 400, 500):
        floor.disk_fills(pages)
        floor.restore(0)
        floor.look()
        floor.check()


def test_a_restore_cut_at_any_step_leaves_the_old_book_or_the_finished_new_one(floor: Floor) -> None:
    floor.backup()
    heat(floor)
    for step in range(1, 80, 3):
        floor.power_goes(step)
        floor.restore(0)
        floor.look()
    floor.check()


def test_a_rehearsal_lets_no_time_go_by_in_a_book_that_people_write(floor: Floor) -> None:
    heat(floor)
    for _ in range(3):
        floor.rehearse(3600.0)
        floor.look()


def test_an_import_taken_back_changes_no_place_under_a_hold(floor: Floor) -> None:
    floor.import_place("Rack 1", "cooling", "sleeve", 300.0)
    floor.import_place("Rack 1", "cooling", "free_air", None)
    heat(floor)
    goes(floor, "T001", "Rack 1")
    floor.undo_import("")
    floor.undo_import("a slip")
    watch(floor, 600.0)


def test_an_import_taken_back_changes_no_holder_under_a_hold(floor: Floor) -> None:
    floor.import_holder("T001", {"projection_mm": "160"})
    heat(floor)
    goes(floor, "T001", "Rack 1")
    floor.undo_import("a slip")
    watch(floor, 600.0)


def test_an_import_changes_no_cutter_in_a_hot_holder(floor: Floor) -> None:
    heat(floor)
    floor.import_cutter("T001", {"OAL": "400"})
    floor.import_cutter("T001", {"material": "hss"})


def test_a_cutter_reground_on_paper_shortens_no_hold(floor: Floor) -> None:
    heat(floor)
    built = floor.card("T001").assembly
    assert built is not None
    floor.command("reground", built.cutter.key, "--oal", "50", "--data", floor.folder)


@pytest.mark.parametrize(
    "change", [("temp_c", 150.0), ("limit_c", 48.0), ("ambient_c", 10.0), ("heating_s", 5.0)], ids=lambda each: each[0]
)
def test_a_heat_setting_edited_by_hand_shortens_no_hold(floor: Floor, change: tuple[str, float]) -> None:
    heat(floor)
    floor.edit_settings("heat", *change)
    watch(floor, 3000.0)


@pytest.mark.parametrize(
    ("there", "back"),
    [
        (("temp_c", 380.0), ("temp_c", 330.0)),
        (("limit_c", 35.0), ("limit_c", 43.0)),
        (("ambient_c", 28.0), ("ambient_c", 23.0)),
    ],
)
def test_a_heat_setting_edited_there_and_back_shortens_no_hold(
    floor: Floor, there: tuple[str, float], back: tuple[str, float]
) -> None:
    heat(floor)
    floor.edit_settings("heat", *there)
    floor.edit_settings("heat", *back)
    held = floor.desk.session.cards.hold_facts("T001")
    assert held is not None
    assert {getattr(each, there[0]) for each in held.began} >= {there[1]}


@pytest.mark.parametrize(
    "change", [("temp_c", 380.0), ("ambient_c", 28.0), ("heating_s", 300.0)], ids=lambda each: each[0]
)
def test_a_heat_setting_edited_after_readings_shortens_no_hold(floor: Floor, change: tuple[str, float]) -> None:
    heat(floor)
    for _ in range(2):
        floor.wait(300.0)
        floor.read("T001", "nose", 0.0)
    floor.edit_settings("heat", *change)
    floor.reopen()


def test_another_name_and_back_uses_nobody_elses_time(floor: Floor) -> None:
    floor.edit_settings("kiosk", "name", "other")
    heat(floor)
    floor.edit_settings("kiosk", "name", "kiosk")
    watch(floor, 1200.0)
    floor.edit_settings("kiosk", "name", "other")
    watch(floor, 1200.0)


def test_a_heating_after_the_wall_clock_was_set_back_is_a_heating(floor: Floor) -> None:
    heat(floor)
    floor.wait(2 * HOUR_S)
    floor.clocks.set_wall(-2.5 * HOUR_S)
    heat(floor)


def test_a_heating_after_a_step_that_was_undone_is_a_heating(floor: Floor) -> None:
    heat(floor)
    floor.wait(2 * HOUR_S)
    goes(floor, "T001", "Rack 1")
    floor.undo(never_left=False)
    heat(floor)


def test_a_stay_that_was_undone_cooled_nothing(floor: Floor) -> None:
    heat(floor)
    goes(floor, "T001", "Sleeve 1")
    floor.wait(58.0)
    floor.undo(never_left=True)
    watch(floor, 2400.0)


@pytest.mark.parametrize("apart_s", [40.0, 290.0])
def test_steel_heated_again_while_its_body_is_warm_is_no_heating_scanned_twice(floor: Floor, apart_s: float) -> None:
    floor.edit_settings("heat", "reheat_s", 300.0)
    floor.edit_settings("heat", "heating_s", 5.0)
    heat(floor)
    floor.wait(apart_s)
    heat(floor)
    goes(floor, "T001", "Sleeve 1")
    watch(floor, 1200.0)


def test_a_label_that_answers_for_nothing_is_not_retired_again(floor: Floor) -> None:
    floor.retire_label("T002")
    floor.retire_label("T002")
    assert "T002" in floor.said


@pytest.mark.parametrize("names", [("other", "kiosk"), ("other", "third", "kiosk")])
def test_a_stay_that_was_undone_cooled_nothing_though_other_names_counted_it_meanwhile(
    floor: Floor, names: tuple[str, ...]
) -> None:
    floor.edit_settings("heat", "heating_s", 5.0)
    heat(floor)
    floor.wait(20.0)
    goes(floor, "T001", "Sleeve 1")
    for name in names:
        floor.edit_settings("kiosk", "name", name)
    floor.wait(50.0)
    floor.undo(never_left=True)
    assert floor.bodies["T001"].spot == floor.spots["Shrink station"], "it was taken back"
    watch(floor, 2400.0)


@pytest.mark.parametrize(("apart_s", "times"), [(2.0, 60), (31.0, 40), (600.0, 40)])
def test_heating_again_and_again_stops_nothing_else(floor: Floor, apart_s: float, times: int) -> None:
    goes(floor, "T008", "Shrink station")
    for _ in range(times):
        goes(floor, "T001", "Shrink station")
        floor.wait(apart_s)
        floor.look()
    assert isinstance(floor.desk.heat.board(), tuple)


def stands_there_by_an_audit(floor: Floor) -> None:
    floor.audit("Shrink station", ("T001",))
    floor.settle("T001", "book_moved")
    floor.leave_audit(True)


def stands_there_by_a_correction(floor: Floor) -> None:
    floor.correct_place("T001", "Shrink station")


def is_built_at_the_bench(floor: Floor) -> None:
    goes(floor, "T014", "Bench 1")
    floor.build("T014")


def is_built_long_after_its_heating(floor: Floor) -> None:
    heat(floor, "T014")
    floor.wait(2 * HOUR_S)
    floor.build("T014")


def is_built_late_in_its_hold(floor: Floor) -> None:
    heat(floor, "T014")
    floor.wait(4000.0)
    floor.build("T014")
    watch(floor, 3600.0)


def is_built_in_the_middle_of_its_hold(floor: Floor) -> None:
    heat(floor, "T014")
    floor.wait(1500.0)
    floor.build("T014")
    watch(floor, 3600.0)


def is_torn_down_as_an_eye_says(floor: Floor) -> None:
    floor.audit("Cabinet A · 1-01", ("T002",))
    floor.act(lambda: floor.desk.audits.empty("T002"))
    floor.settle("T002", "torn_down")


@pytest.mark.parametrize(
    "way",
    [
        stands_there_by_an_audit,
        stands_there_by_a_correction,
        is_built_at_the_bench,
        is_built_long_after_its_heating,
        is_built_late_in_its_hold,
        is_built_in_the_middle_of_its_hold,
        is_torn_down_as_an_eye_says,
    ],
    ids=lambda way: way.__name__,
)
def test_what_was_heated_without_a_scan_counts_as_hot(floor: Floor, way: Callable[[Floor], None]) -> None:
    way(floor)
    floor.look()


@pytest.mark.parametrize("key", ["T001", "T014"])
@pytest.mark.parametrize("off_s", [300.0, 1200.0])
def test_heat_that_went_deeper_while_nobody_watched_is_in_the_sleeve_until_it_is_out(
    floor: Floor, key: str, off_s: float
) -> None:
    """What the sleeve takes from a hot nose in minutes takes it far longer once it has soaked into the body."""
    heat(floor, key)
    floor.reopen(off_s)
    goes(floor, key, "Sleeve 1")
    watch(floor, 1200.0)


def test_a_holder_heated_nine_times_is_in_a_sleeve_as_long_as_its_neck_until_it_is_cool(floor: Floor) -> None:
    for _ in range(9):
        heat(floor, "T002")
        floor.wait(38.0)
    goes(floor, "T002", "Sleeve 1")
    watch(floor, 1000.0)


@pytest.mark.parametrize("seconds", [59.0, 62.0, 90.0])
def test_a_holder_that_left_the_coil_as_it_was_scanned_has_soaked_since(floor: Floor, seconds: float) -> None:
    heat(floor, "T008")
    floor.wait(seconds)
    goes(floor, "T008", "Sleeve 1")
    watch(floor, 900.0)


@pytest.mark.parametrize("off_s", [300.0, 1200.0, 3600.0])
def test_what_is_heated_again_after_a_while_nobody_watched_is_heated_warm(floor: Floor, off_s: float) -> None:
    heat(floor, "T002")
    floor.reopen(off_s)
    heat(floor, "T002")
    goes(floor, "T002", "Sleeve 1")
    watch(floor, 600.0, looks=200)


def test_no_pocket_becomes_a_cooling_place_by_a_file(floor: Floor) -> None:
    floor.import_place("Mill 1 · pocket 12", "cooling", "sleeve", 300.0)
    heat(floor)
    goes(floor, "T001", "Mill 1 · pocket 12")


def test_no_bench_becomes_a_cooling_place_under_what_stands_on_it(floor: Floor) -> None:
    floor.import_place("Bench 1", "cooling", "sleeve", 300.0)  # T001 stands there
    heat(floor, "T002")
    goes(floor, "T002", "Bench 1")


def test_a_cooling_place_a_hot_holder_stood_at_stays_what_it_was(floor: Floor) -> None:
    heat(floor)
    goes(floor, "T001", "Rack 1")
    floor.wait(60.0)
    goes(floor, "T001", "Air blower")
    floor.import_place("Rack 1", "cooling", "sleeve", 300.0)
    watch(floor, 600.0)


def test_nowhere_known_never_becomes_cool_by_time(floor: Floor) -> None:
    heat(floor)
    floor.correct_place("T001", None)
    watch(floor, 12 * HOUR_S)
    card = floor.card("T001")
    assert card.hold is not None or card.heat is not Heat.COOL


def test_a_cutter_whose_coming_out_a_full_disk_refused_leaves_steel_of_unknown_warmth_in_the_next_start(
    floor: Floor,
) -> None:
    if not floor.disk.small:
        pytest.skip("this system lets us mount no small file system")
    for _ in range(3):
        heat(floor)
    floor.disk_fills(0)
    floor.tear_down("T001")
    floor.backup()
    floor.reopen()
