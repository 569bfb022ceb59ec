"""What lines about heat leave in the tables, at a kiosk that has watched for months."""

from __future__ import annotations

import json
from typing import Any

import pytest

from kiosk.ledger.derive import MemoryState, Put, Stamp, changes
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Cutter, Family, Holder
from kiosk.rules.cards import Heat
from kiosk.rules.places import Kind, Place

HOUR_S = 3600.0
STEEL = Holder("T1", "Shrink 12", Coupling(Family.HOLLOW_TAPER, 63), Clamping.SHRINK_FIT, 12.0)
PLACES = (
    Place("B", "Bench", Kind.BENCH),
    Place("R", "Rack", Kind.COOLING, way="free_air"),
    Place("F", "Fan", Kind.COOLING, way="forced_air"),
    Place("S", "Station", Kind.SHRINK),
    Place("D", "Slot", Kind.SLOT),
    Place("O", "Out", Kind.OUT),
)
VALUES = {"temp_c": "330.0", "ambient_c": "23.0", "limit_c": "43.0", "heating_s": "60,0", "length_tolerance_um": "3.0"}
STARTED = L.KioskStarted("2", tuple((f"heat.{name}", value) for name, value in VALUES.items()))


class Told:
    """Lines told to a state, each at so many seconds after `begun_s` on a kiosk's watched clock."""

    def __init__(self, begun_s: float) -> None:
        self.state = MemoryState()
        self.begun_s = begun_s
        self.line = 0

    def say(self, after_s: float, *entries: L.Entry, kiosk: str = "K") -> int:
        for entry in entries:
            self.line += 1
            stamp = Stamp(self.line, 1.8e9 + after_s, self.begun_s + after_s, kiosk, "jo")
            for change in changes(entry, stamp, self.state):
                self.state.apply(change)
        return self.line

    def holder(self, key: str = "T1") -> dict[str, Any]:
        row = self.state.get("holder", key)
        assert row is not None
        return row

    @property
    def hold(self) -> dict[str, Any]:
        row = self.state.get("hold", "T1")
        assert row is not None
        return row

    @property
    def stays(self) -> list[tuple[str | None, float]]:
        return [(place, since_s - self.begun_s) for place, since_s, *_ in json.loads(self.hold["stages"])]

    @property
    def unwatched(self) -> list[str | None]:
        """Where it stood for longer than counts."""
        return [place for place, _, _, *more in json.loads(self.hold["stages"]) if more]


@pytest.fixture(params=[6 * HOUR_S, 3 * 24 * HOUR_S, 200 * 24 * HOUR_S])
def told(request: pytest.FixtureRequest) -> Told:
    told = Told(request.param)
    told.say(-60.0, *map(L.PlaceAdded, PLACES), L.CutterAdded(Cutter("C1", "Mill", 12.0, 12.0, 83.0)))
    told.say(-50.0, STARTED, L.HolderRegistered(STEEL, stood_cold=True), L.Moved("T1", None, "B"))
    return told


def heated(told: Told, after_s: float = 0.0, **more: Any) -> int:
    place = told.holder()["place"]
    return told.say(after_s, *([L.Moved("T1", place, "S")] if place != "S" else []), L.Heated("T1", "S", **more))


# where it stood


def test_a_hold_keeps_every_stay_and_when_it_began(told: Told) -> None:
    heated(told)
    told.say(20.0, L.Moved("T1", "S", "R"))
    told.say(90.0, L.Moved("T1", "R", "F"))
    told.say(400.0, L.Moved("T1", "F", "R"))
    assert told.stays == [("S", 0.0), ("R", 20.0), ("F", 90.0), ("R", 400.0)]
    assert told.hold["heated_watched_s"] == told.hold["first_watched_s"] == told.begun_s


def test_only_the_stay_that_is_taken_back_was_none(told: Told) -> None:
    heated(told)
    told.say(20.0, L.Moved("T1", "S", "R"))
    mistake = told.say(90.0, L.Moved("T1", "R", "F"))
    told.say(100.0, L.Moved("T1", "F", "R", undoes=mistake))
    assert told.stays == [("S", 0.0), ("R", 20.0)]
    told.say(200.0, L.Moved("T1", "R", "F"))
    last = told.say(300.0, L.Moved("T1", "F", "R"))
    told.say(310.0, L.Moved("T1", "R", "F", undoes=last))
    assert told.stays == [("S", 0.0), ("R", 20.0), ("F", 200.0)]
    told.say(320.0, L.Moved("T1", "F", "R", undoes=1))
    assert told.stays[-1] == ("R", 320.0), "what is taken back to where it did not stand last is a stay like any other"


def test_the_stay_it_was_heated_at_is_never_taken_away(told: Told) -> None:
    heating = heated(told)
    told.say(20.0, L.Moved("T1", "S", "R", undoes=heating - 1))
    assert told.stays == [("S", 0.0), ("R", 20.0)]


def test_steel_that_may_still_be_warm_keeps_where_it_stands_for_six_hours_by_the_same_clock(told: Told) -> None:
    heated(told)
    told.say(20.0, L.Moved("T1", "S", "R"))
    told.say(3000.0, L.HoldEnded("T1", "reading"))
    told.say(6 * HOUR_S - 1.0, L.Moved("T1", "R", "B"))
    assert told.stays[-1] == ("B", 6 * HOUR_S - 1.0)
    told.say(6 * HOUR_S - 0.5, L.Moved("T1", "B", None))
    assert told.hold["reading_only"] == 0, "what is over is not held again by a step"
    told.say(6 * HOUR_S, L.Moved("T1", None, "B"))
    assert told.stays[-1] == (None, 6 * HOUR_S - 0.5)


def test_another_kiosk_adds_no_stay_to_a_hold_that_is_over(told: Told) -> None:
    heated(told)
    told.say(3000.0, L.HoldEnded("T1", "reading"))
    told.say(3100.0, L.Moved("T1", "S", "B"), kiosk="other")
    assert told.stays == [("S", 0.0)] and told.hold["kiosk"] == "K"


def test_a_running_hold_is_counted_past_six_hours(told: Told) -> None:
    heated(told)
    told.say(9 * HOUR_S, L.Moved("T1", "S", "R"))
    assert told.stays == [("S", 0.0), ("R", 9 * HOUR_S)]


# steps that show that something was not seen


@pytest.mark.parametrize(("goal", "reading_only"), [("R", 0), ("F", 0), ("B", 0), ("S", 1), (None, 1)])
def test_a_step_to_the_station_or_to_nowhere_leaves_a_hold_to_readings(
    told: Told, goal: str | None, reading_only: int
) -> None:
    heated(told)
    told.say(20.0, L.Moved("T1", "S", "R"))
    told.say(30.0, L.Moved("T1", "R", goal))
    assert told.hold["reading_only"] == reading_only and told.holder()["heat"] == Heat.HELD.value


def test_a_step_taken_back_to_the_station_was_none_but_one_to_nowhere_is_nowhere(told: Told) -> None:
    heated(told)
    step = told.say(20.0, L.Moved("T1", "S", "R"))
    told.say(30.0, L.Moved("T1", "R", "S", undoes=step))
    assert told.hold["reading_only"] == 0
    told.say(40.0, L.Moved("T1", "S", None, undoes=step))
    assert told.hold["reading_only"] == 1
    told.say(50.0, L.Moved("T1", None, "R"))
    assert told.hold["reading_only"] == 1, "nothing but a reading takes that away"


@pytest.mark.parametrize(
    ("goal", "heat"), [("R", "cool"), ("D", "cool"), ("O", "cool"), ("S", "unknown"), (None, "unknown")]
)
def test_what_is_cool_is_not_known_to_be_once_it_stood_at_the_station_or_nowhere(
    told: Told, goal: str | None, heat: str
) -> None:
    told.say(0.0, L.Moved("T1", "B", goal))
    row = told.holder()
    assert (row["heat"], row["place"], row["since_watched_s"], row["last_kiosk"]) == (heat, goal, told.begun_s, "K")


def test_a_book_without_the_shops_values_believes_a_step_to_the_station() -> None:
    for left_out in VALUES:
        older = Told(90 * 24 * HOUR_S)
        some = tuple((f"heat.{name}", value) for name, value in VALUES.items() if name != left_out)
        older.say(
            0.0, *map(L.PlaceAdded, PLACES), L.HolderRegistered(STEEL, stood_cold=True), L.KioskStarted("1", some)
        )
        older.say(1.0, L.Moved("T1", None, "S"))
        assert older.holder()["heat"] == Heat.COOL.value
        older.say(2.0, L.Heated("T1", "S"))
        assert older.hold["began"] is None
        older.say(3.0, L.HoldEnded("T1", "reading"), L.Moved("T1", "S", "B"))
        older.say(4.0, L.CutterAdded(Cutter("C1", "Mill", 12.0, 12.0, 83.0)), L.Built("A1", "Mill", "T1", "C1", 40.0))
        older.say(5.0, L.TornDown("T1", "A1"))
        assert older.holder()["heat"] == Heat.COOL.value, "its lines are taken as they were"


# heatings


@pytest.mark.parametrize(
    ("before", "line", "unused", "cycles"),
    [
        (0, {"heats": 1}, 1, 1),
        (0, {"heats": 1, "reading_only": True}, 1, 1),
        (0, {"heats": 0}, 0, 0),
        (1, {"heats": 0}, 1, 0),
        (1, {"heats": 0, "reading_only": True}, 0, 0),
        (1, {"heats": 2}, 1, 2),
    ],
)
def test_a_heating_that_was_seen_opens_a_shrink_fit(
    told: Told, before: int, line: dict[str, Any], unused: int, cycles: int
) -> None:
    told.state.apply(Put("holder", told.holder() | {"heat_unused": before}))
    told.say(0.0, L.Heated("T1", "R", **line))
    row = told.holder()
    assert (row["heat_unused"], row["heat_cycles"], row["heat"]) == (unused, cycles, Heat.HELD.value)


def test_a_hold_begins_with_what_its_line_says_and_the_values_of_the_shop(told: Told) -> None:
    line = heated(told, temp_c=340.0, length_mm=44.0, body_c=70.0, body_unknown=True, reading_only=True)
    hold = told.hold
    assert (hold["temp_c"], hold["length_mm"], hold["body_c"]) == (340.0, 44.0, 70.0)
    assert (hold["body_unknown"], hold["reading_only"], hold["heated_line"], hold["gaps"]) == (1, 1, line, 0)
    assert '"heating_s":60.0' in hold["began"] and '"limit_c":43.0' in hold["began"]


SAME = {"temp_c": 340.0, "length_mm": 44.0, "body_c": 70.0, "body_unknown": True, "reading_only": True}


def test_the_same_heating_scanned_once_more_is_hot_from_now_with_its_body_as_it_was(told: Told) -> None:
    heated(told, **SAME)
    told.say(25.0, L.Heated("T1", "S", heats=0, again=True))
    hold = told.hold
    assert {name: hold[name] for name in SAME} == SAME
    assert hold["heated_watched_s"] == told.begun_s + 25.0 and hold["first_watched_s"] == told.begun_s
    assert told.holder()["heat_cycles"] == 1


@pytest.mark.parametrize("what", ["another heating", "ended", "another clock"])
def test_a_heating_of_its_own_begins_anew(told: Told, what: str) -> None:
    heated(told, **SAME)
    if what == "ended":
        told.say(20.0, L.HoldEnded("T1", "reading"))
    kiosk = "other" if what == "another clock" else "K"
    told.say(25.0, L.Heated("T1", "S", again=what != "another heating"), kiosk=kiosk)
    hold = told.hold
    assert (hold["temp_c"], hold["body_c"], hold["reading_only"], hold["kiosk"]) == (None, None, 0, kiosk)
    assert hold["first_watched_s"] == hold["heated_watched_s"] == told.begun_s + 25.0


def test_a_second_scan_that_says_again_where_no_hold_is_begins_one(told: Told) -> None:
    told.say(0.0, L.Heated("T1", "S", heats=0, again=True))
    assert told.hold["first_watched_s"] == told.begun_s and told.hold["ended_line"] is None


def changed(told: Told, after_s: float, name: str, value: str) -> str:
    told.say(after_s, L.SettingChanged(name, value, reason="the shop's rule"))
    return str(told.hold["began"])


def test_a_running_hold_keeps_the_strictest_of_the_shops_values(told: Told) -> None:
    heated(told)
    assert '"limit_c":40.0' in changed(told, 10.0, "heat.limit_c", "40,0")
    began = changed(told, 20.0, "heat.limit_c", "48.0")
    assert '"limit_c":40.0' in began and "48.0" not in began
    assert changed(told, 30.0, "kiosk.undo_s", "5.0") == began
    assert '"temp_c":380.0' in changed(told, 40.0, "heat.temp_c", "380.0")
    told.say(50.0, L.KioskStarted("2", (("heat.limit_c", "39.0"), ("heat.temp_c", "300.0"))))
    assert '"limit_c":39.0' in told.hold["began"] and '"temp_c":380.0' in told.hold["began"]


def test_after_more_values_than_can_be_worked_out_only_a_reading_ends_a_hold(told: Told) -> None:
    heated(told)
    for more in range(1, 9):
        changed(told, 10.0 * more, "heat.temp_c", f"{330 + more}.0")
        assert told.hold["reading_only"] == (1 if more == 8 else 0), more
    assert '"temp_c":338.0' in told.hold["began"] and '"temp_c":330.0' not in told.hold["began"]


def test_what_is_set_after_a_hold_is_over_is_none_of_its(told: Told) -> None:
    heated(told)
    told.say(3000.0, L.HoldEnded("T1", "reading"))
    began = told.hold["began"]
    assert changed(told, 3100.0, "heat.limit_c", "40.0") == began and "40.0" not in began


# shrink fits


@pytest.mark.parametrize(("goal", "left"), [("S", 1), ("R", 1), ("B", 1), ("D", 0), ("O", 0), (None, 0)])
def test_a_heating_is_used_up_by_leaving_station_cooling_and_bench(told: Told, goal: str | None, left: int) -> None:
    heated(told)
    told.say(20.0, L.Moved("T1", "S", "F"))
    told.say(30.0, L.Moved("T1", "F", goal))
    assert told.holder()["heat_unused"] == left


def built(told: Told, at_s: float, key: str = "A1") -> None:
    told.say(at_s, L.Built(key, "Mill", "T1", "C1", 40.0))


def test_a_fit_closed_by_the_heating_that_was_seen_leaves_its_hold_alone(told: Told) -> None:
    heated(told)
    built(told, 20.0)
    assert (told.hold["reading_only"], told.holder()["heat_unused"], told.holder()["heat"]) == (0, 0, Heat.HELD.value)
    told.say(30.0, L.TornDown("T1", "A1"))
    assert (told.hold["reading_only"], told.holder()["heat"]) == (1, Heat.HELD.value)


@pytest.mark.parametrize(("at", "heat"), [("S", Heat.UNKNOWN), ("R", Heat.COOL), ("B", Heat.COOL)])
def test_what_stands_cool_at_the_station_was_heated_there_once_more_and_elsewhere_its_heating_is_used(
    told: Told, at: str, heat: Heat
) -> None:
    heated(told)
    if at != "S":
        told.say(20.0, L.Moved("T1", "S", at))
    told.say(3000.0, L.HoldEnded("T1", "reading"))
    built(told, 3100.0)
    assert told.holder()["heat"] == heat.value
    told.say(3200.0, L.TornDown("T1", "A1"))
    assert told.holder()["heat"] == Heat.UNKNOWN.value, "by a second heating, which nobody saw"
    assert told.hold["reading_only"] == 0 and told.hold["ended_line"] is not None, "what is over stays over"


def test_a_collet_opens_cold_and_uses_up_nothing(told: Told) -> None:
    collet = Holder("T2", "Collet", STEEL.coupling, Clamping.COLLET, 12.0)
    told.say(0.0, L.HolderRegistered(collet, stood_cold=True), L.Moved("T2", None, "B"))
    told.say(1.0, L.Built("A2", "Mill", "T2", "C1", 40.0), L.TornDown("T2", "A2"))
    assert told.holder("T2")["heat"] == Heat.COOL.value


@pytest.mark.parametrize(("after_s", "reading_only"), [(20.0, 0), (60.0, 0), (60.5, 1)])
def test_a_cutter_goes_in_by_a_heating_of_just_now(told: Told, after_s: float, reading_only: int) -> None:
    heated(told)
    built(told, after_s)
    assert told.hold["reading_only"] == reading_only


def test_a_heating_by_another_clock_is_none_of_just_now(told: Told) -> None:
    heated(told)
    told.begun_s -= 1000.0
    told.say(1020.0, L.Built("A1", "Mill", "T1", "C1", 40.0), kiosk="other")
    assert told.hold["reading_only"] == 1


def test_a_cutter_that_goes_in_after_a_while_nobody_watched_was_heated_in_once_more(told: Told) -> None:
    heated(told)
    told.say(10.0, L.KioskStarted("2"))
    built(told, 20.0)
    assert told.hold["reading_only"] == 1


@pytest.mark.parametrize(("lines", "kiosk"), [([L.KioskStarted("2")], "K"), ([], "other")])
def test_a_heating_scanned_again_is_another_one_after_a_gap_or_by_another_clock_and_its_body_is_warm(
    told: Told, lines: list[L.Entry], kiosk: str
) -> None:
    heated(told)
    told.say(10.0, *lines)
    told.say(20.0, L.Heated("T1", "S", heats=0, again=True), kiosk=kiosk)
    assert told.hold["body_unknown"] == 1 and told.hold["first_watched_s"] == told.begun_s + 20.0


def test_a_heating_scanned_again_at_once_is_one_with_the_body_it_began_with(told: Told) -> None:
    heated(told, body_c=61.0)
    told.say(20.0, L.Heated("T1", "S", heats=0, again=True))
    assert (told.hold["body_c"], told.hold["body_unknown"]) == (61.0, 0)
    assert told.hold["first_watched_s"] == told.begun_s and told.hold["heated_watched_s"] == told.begun_s + 20.0


def test_heatings_in_a_row_are_counted_until_a_hold_ends_and_one_scanned_again_is_one(told: Told) -> None:
    counted = []
    for after_s in (0.0, 40.0, 80.0):
        heated(told, after_s)
        counted.append(told.hold["heats"])
    told.say(90.0, L.Heated("T1", "S", heats=0, again=True))
    counted.append(told.hold["heats"])
    told.say(100.0, L.KioskStarted("2"))
    told.say(110.0, L.Heated("T1", "S", heats=0, again=True))
    counted.append(told.hold["heats"])
    told.say(9000.0, L.HoldEnded("T1", "time"))
    heated(told, 9001.0)
    assert [*counted, told.hold["heats"]] == [1, 2, 3, 3, 4, 1]


def _comes_again(told: Told, after_s: float, **more: Any) -> list[dict[str, Any]]:
    """Carried to the station and heated there, as one scan says it; what the hold keeps of the heatings before."""
    told.say(after_s, L.Moved("T1", told.holder()["place"], "S"), L.Heated("T1", "S", **more))
    kept: list[dict[str, Any]] = json.loads(told.hold["earlier"])
    return kept


def test_of_heatings_in_a_row_all_that_was_seen_is_kept(told: Told) -> None:
    heated(told, body_c=31.0)
    told.say(20.0, L.Moved("T1", "S", "R"))
    (first,) = _comes_again(told, 120.0, body_c=190.0)
    assert first["stays"] == [["S", 0.0, None, None], ["R", 20.0, "free_air", None], ["S", 120.0, None, None]]
    assert (first["lasted_s"], first["body_c"]) == (120.0, 31.0)
    assert first["began"][0]["temp_c"] == 330.0 and first["cutter"] is None and first["again_s"] == 0.0
    told.say(140.0, L.Heated("T1", "S", heats=0, again=True))
    assert json.loads(told.hold["earlier"]) == [first], "one heating, scanned again"
    told.say(190.0, L.Heated("T1", "S", body_c=220.0))
    _, second = json.loads(told.hold["earlier"])
    assert (second["stays"], second["lasted_s"], second["again_s"]) == ([["S", 0.0, None, None]], 50.0, 20.0)


def test_of_more_heatings_than_are_solved_and_after_a_hold_that_ended_none_is_kept(told: Told) -> None:
    kept = []
    for after_s in range(0, 240, 40):
        heated(told, float(after_s))
        kept.append(len(json.loads(told.hold["earlier"])))
    assert kept == [0, 1, 2, 3, 0, 0]
    told.say(9000.0, L.HoldEnded("T1", "time"))
    heated(told, 9001.0)
    assert told.hold["earlier"] == "[]"


@pytest.mark.parametrize(
    "lines",
    [
        [L.KioskStarted("2")],
        [L.TemperatureRead("T1", "nose", 90.0, "probe", "agrees")],
        [L.TemperatureRead("T1", "nose", 190.0, "probe", "questioned")],
        [L.Moved("T1", "S", None), L.Moved("T1", None, "R")],
        [L.Moved("T1", "S", "D"), L.Moved("T1", "D", "S")],
    ],
    ids=["a gap", "a reading", "a doubted one", "nowhere known", "at the station unseen"],
)
def test_where_anything_of_a_heating_was_not_seen_or_was_read_it_is_as_hot_as_at_its_hottest(
    told: Told, lines: list[L.Entry]
) -> None:
    heated(told)
    told.say(20.0, *lines)
    if told.holder()["place"] == "S":
        told.say(60.0, L.Heated("T1", "S", body_c=190.0))
    else:
        _comes_again(told, 60.0, body_c=190.0)
    assert (told.hold["earlier"], told.hold["body_c"]) == ("[]", 190.0)


def test_a_heating_by_another_clock_or_on_unknown_steel_has_none_before_it(told: Told) -> None:
    heated(told)
    told.say(40.0, L.Heated("T1", "S", body_unknown=True))
    assert told.hold["earlier"] == "[]"
    told.say(50.0, L.HoldEnded("T1", "time"))
    heated(told, 60.0)
    told.say(100.0, L.Heated("T1", "S", body_c=200.0), kiosk="other")
    assert told.hold["earlier"] == "[]"
    told.say(140.0, L.Heated("T1", "S", body_c=200.0), kiosk="other")
    told.say(150.0, L.Moved("T1", "S", "R"))
    assert told.hold["earlier"] == "[]", "of the one before that one not all was seen"


def test_a_step_to_the_station_that_is_taken_back_was_a_heating_there_all_the_same(told: Told) -> None:
    heated(told)
    told.say(20.0, L.Moved("T1", "S", "F"))
    step = told.say(60.0, L.Moved("T1", "F", "S"))
    told.say(60.0, L.Heated("T1", "S", body_c=190.0))
    told.say(70.0, L.Moved("T1", "S", "F", undoes=step))
    _, second = _comes_again(told, 90.0, body_c=250.0)
    assert [stay[:2] for stay in second["stays"]] == [["S", 0.0], ["F", 10.0], ["S", 30.0]]


def test_a_cutter_that_stayed_in_is_named_and_one_that_went_in_is_not(told: Told) -> None:
    heated(told)
    built(told, 10.0)
    told.say(50.0, L.Heated("T1", "S", body_c=250.0))
    told.say(100.0, L.Heated("T1", "S", body_c=250.0))
    one, two = json.loads(told.hold["earlier"])
    assert (one["cutter"], two["cutter"]) == (None, told.holder()["assembly"]) and two["cutter"]


# ends and readings


def test_a_line_about_one_heating_ends_no_others_hold(told: Told) -> None:
    first = heated(told)
    second = heated(told, 600.0)
    told.say(900.0, L.HoldEnded("T1", "reading", first))
    assert told.hold["ended_line"] is None and told.holder()["heat"] == Heat.HELD.value
    end = told.say(900.0, L.HoldEnded("T1", "reading", second))
    assert told.hold["ended_line"] == end and told.holder()["heat"] == Heat.COOL.value


def test_without_a_hold_only_a_line_about_none_makes_a_holder_cool(told: Told) -> None:
    told.say(0.0, L.Moved("T1", "B", None), L.HoldEnded("T1", "reading", 3))
    assert told.holder()["heat"] == Heat.UNKNOWN.value
    told.say(1.0, L.HoldEnded("T1", "reading"))
    assert told.holder()["heat"] == Heat.COOL.value and told.state.get("hold", "T1") is None


def read(told: Told, after_s: float, heating: int | None, value_c: float = 90.0, **more: Any) -> None:
    told.say(after_s, L.TemperatureRead("T1", "nose", value_c, "probe", "agrees", heating=heating, **more))


def test_readings_belong_to_their_heating_and_to_a_hold_that_runs(told: Told) -> None:
    first = heated(told)
    read(told, 100.0, None, 80.0)
    at = told.line
    read(told, 110.0, first, 81.0)
    read(told, 120.0, first + 7, 20.0)
    kept = [
        [told.begun_s + 100.0, "nose", 80.0, "probe", "agrees", at],
        [told.begun_s + 110.0, "nose", 81.0, "probe", "agrees", at + 1],
    ]
    assert json.loads(told.hold["readings"]) == kept
    told.say(130.0, L.HoldEnded("T1", "reading", first))
    read(told, 140.0, first, 22.0)
    assert json.loads(told.hold["readings"]) == kept


def test_a_reading_by_another_clock_begins_the_hold_anew_where_it_stands(told: Told) -> None:
    line = heated(told)
    told.say(20.0, L.Moved("T1", "S", "R"))
    read(told, 50.0, line)
    told.say(90.0, L.TemperatureRead("T1", "nose", 88.0, "probe", "agrees", heating=line), kiosk="other")
    assert told.stays == [("S", 90.0), ("R", 90.0)] == [(place, 90.0) for place in told.unwatched]
    assert told.hold["kiosk"] == "other"
    assert json.loads(told.hold["readings"]) == [[told.begun_s + 90.0, "nose", 88.0, "probe", "agrees", told.line]]


@pytest.mark.parametrize(("verdicts", "readings_only"), [("aq", 1), ("qa", 0), ("q", 1), ("qc", 0), ("", 0)])
def test_a_reading_that_was_doubted_leaves_a_hold_of_another_clock_to_readings(
    told: Told, verdicts: str, readings_only: int
) -> None:
    """Why it was so warm nobody knows, and what was read by that clock is not told on."""
    words = {"a": "agrees", "q": "questioned", "c": "confirmed"}
    line = heated(told)
    for at, verdict in enumerate(verdicts):
        told.say(60.0 + at, L.TemperatureRead("T1", "nose", 290.0, "probe", words[verdict], heating=line))
    told.say(90.0, L.Moved("T1", "S", "R"), kiosk="other")
    assert told.hold["reading_only"] == readings_only and json.loads(told.hold["readings"]) == []


def test_where_it_stood_while_nobody_watched_is_known_whatever_is_scanned_or_taken_back_later(told: Told) -> None:
    heated(told)
    told.say(10.0, L.KioskStarted("2"))
    told.say(20.0, L.Moved("T1", "S", "R"))
    assert told.unwatched == ["S"] and told.hold["gaps"] == 1
    moved = told.line
    told.say(30.0, L.KioskStarted("2"))
    told.say(40.0, L.KioskStarted("2"))
    assert told.unwatched == ["S", "R"] and told.hold["gaps"] == 3
    told.say(50.0, L.Moved("T1", "R", "S", undoes=moved))
    assert told.stays == [("S", 0.0)] and told.unwatched == ["S"]


def test_a_step_taken_back_leaves_the_gap_in_it_where_the_steel_never_left(told: Told) -> None:
    heated(told)
    told.say(20.0, L.Moved("T1", "S", "R"))
    moved = told.line
    told.say(30.0, L.KioskStarted("2"))
    told.say(50.0, L.Moved("T1", "R", "S", undoes=moved))
    assert told.stays == [("S", 0.0)] and told.unwatched == ["S"]


def test_a_reading_teaches_where_a_pair_is_named_and_nowhere_else(told: Told) -> None:
    line = heated(told)
    read(told, 50.0, line)
    assert told.state.all("teaching") == []
    read(told, 60.0, line + 9, pair="HSK63 at rack", way="free_air")
    (row,) = told.state.all("teaching")
    assert (row["pair"], row["line"], row["watched_s"]) == ("HSK63 at rack", told.line, told.begun_s + 60.0)


# restores


@pytest.mark.parametrize(("at", "stands"), [("B", None), ("D", None), ("O", None), ("R", "R"), ("S", "S")])
def test_what_a_replaced_book_held_is_held_and_stands_only_where_heat_may_stand(
    told: Told, at: str, stands: str | None
) -> None:
    told.say(0.0, L.Moved("T1", "B", at) if at != "B" else L.SignedIn("jo"))
    told.say(10.0, L.Restored("copy", ("T1",)))
    hold = told.hold
    assert told.holder()["heat"] == Heat.HELD.value and told.holder()["place"] == stands
    assert (hold["reading_only"], hold["gaps"], hold["ended_line"], hold["body_unknown"]) == (1, 1, None, 0)
    assert told.stays == [(stands, 10.0)] and hold["began"]


def test_a_holder_nowhere_known_is_held_there(told: Told) -> None:
    told.say(0.0, L.Moved("T1", "B", None), L.Restored("copy", ("T1",)))
    assert told.holder()["heat"] == Heat.HELD.value and told.holder()["place"] is None


def test_what_a_replaced_book_doubted_is_doubted_and_what_runs_runs_on(told: Told) -> None:
    told.say(0.0, L.Restored("copy", (), ("T1",)))
    assert told.holder()["heat"] == Heat.UNKNOWN.value and told.state.get("hold", "T1") is None
    heated(told, 5.0)
    told.say(10.0, L.Restored("copy", (), ("T1",)))
    assert told.holder()["heat"] == Heat.HELD.value


@pytest.mark.parametrize("held", [True, False])
def test_a_holder_registered_after_the_copy_is_not_cool_when_it_comes_again(told: Told, held: bool) -> None:
    told.say(0.0, L.Restored("copy", *((("T9",), ()) if held else ((), ("T9",)))))
    assert told.state.get("doubted", "T9") == {"holder": "T9", "line": told.line}
    told.say(
        1.0, L.HolderRegistered(Holder("T9", "Shrink", STEEL.coupling, Clamping.SHRINK_FIT, 12.0), stood_cold=True)
    )
    assert told.holder("T9")["heat"] == Heat.UNKNOWN.value
    assert told.state.get("doubted", "T1") is None
