"""A case file says every number itself: what is missing, no number or beyond every measure is named by its path."""

from __future__ import annotations

import copy
import itertools
from typing import Any

import pytest

from kiosk.rules.assembly import Material
from kiosk.rules.cooling.case import Case, case_report
from kiosk.rules.cooling.stand import CoolingError, Heat, Room, Stage
from kiosk.rules.cooling.unknowns import FILMS, Film, Way
from kiosk.rules.outline import CUTTER_METALS, STEEL, Metal, Segment, Tool
from tests.rules.cooling_examples import CASES

FULL = CASES[1]
NUMBERS = [
    "ambient_c", "limit_c", "heat.temp_c", "heat.length_mm", "holder.0.length_mm", "holder.1.od_start_mm",
    "holder.2.od_end_mm", "holder.0.bore_mm", "tool.shank_mm", "tool.insert_mm", "tool.stickout_mm", "stages.1.start_s",
    "stages.1.end_s", "stages.1.cooled_length_mm", "methods.mist.film_w_m2k", "methods.sleeve.emissivity", "steel.k",
    "steel.rho", "steel.c", "steel.alpha", "tools.carbide.k", "tools.carbide.rho", "tools.carbide.c",
    "tools.carbide.alpha",
]  # fmt: skip
NEEDED = [name for name in NUMBERS if name not in ("stages.1.end_s", "stages.1.cooled_length_mm")]


def with_value(path: str, value: object, drop: bool = False) -> dict[str, Any]:
    data = copy.deepcopy(FULL)
    at: Any = data
    *ways, last = path.split(".")
    for way in ways:
        at = at[int(way)] if way.isdigit() else at[way]
    if drop:
        del at[last]
    else:
        at[last] = value
    return data


def said(path: str) -> str:
    """The path as an error writes it."""
    parts = [f"[{part}]" if part.isdigit() else f".{part}" for part in path.split(".")]
    return f"case{''.join(parts)}"


def why(data: object) -> tuple[str, str]:
    with pytest.raises(CoolingError) as fault:
        Case.from_json(data)
    return fault.value.field, fault.value.why


def test_a_case_is_what_its_file_says() -> None:
    case = Case.from_json(FULL)
    assert case.name == FULL["name"] and case.heat == Heat(330.0, 45.0)
    assert case.profile.segments[0] == Segment(55.0, 24.0, 31.0, 10.0) and len(case.profile.segments) == 4
    assert case.profile.tool == Tool(10.0, 42.0, 33.0, Metal(80.0, 14500.0, 230.0, 5.5e-6, 600.0))
    assert case.profile.steel == Metal(28.0, 7800.0, 470.0, 1.15e-5, STEEL.e_gpa)
    assert case.stages[:2] == (Stage(Way.FREE_AIR, 0.0, 12.0), Stage(Way.SLEEVE, 12.0, 34.0, 50.0))
    assert case.stages[-1] == Stage(Way.FREE_AIR, 82.0) and case.room == Room(22.0, 43.0, films=FILMS)


def test_what_a_file_may_leave_out_is_what_the_kiosk_knows() -> None:
    for path in ("tools", "steel", "methods"):
        for data in (with_value(path, None, drop=True), with_value(path, None), with_value(path, {})):
            case = Case.from_json(data) if path != "steel" or data.get("steel") is None else None
            if case is not None:
                assert case.profile.steel == STEEL or path != "steel"
                assert case.room.films == FILMS or path != "methods"
                assert path != "tools" or case.profile.tool is not None
                assert path != "tools" or case.profile.tool.metal == CUTTER_METALS[Material.CARBIDE]  # type: ignore[union-attr]
    bare = Case.from_json(with_value("tool", None))
    assert bare.profile.tool is None
    nameless = Case.from_json(with_value("name", None, drop=True))
    assert nameless.name == ""


def test_a_film_a_file_gives_is_used_and_the_others_are_the_trades() -> None:
    case = Case.from_json(with_value("methods", {"mist": {"film_w_m2k": 222.0, "emissivity": 0.1}}))
    assert case.room.films == {**FILMS, Way.MIST: Film(222.0, 0.1)}


def test_a_cutters_metal_is_the_files_and_else_the_trades_by_its_name() -> None:
    for name, given, metal in (
        ("hss", None, CUTTER_METALS[Material.HSS]),
        ("carbide", None, CUTTER_METALS[Material.CARBIDE]),
        ("hss", {"k": 20.0, "rho": 8000.0, "c": 450.0, "alpha": 1e-5}, Metal(20.0, 8000.0, 450.0, 1e-5, 210.0)),
        ("cermet", {"k": 20.0, "rho": 6000.0, "c": 450.0, "alpha": 1e-5}, Metal(20.0, 6000.0, 450.0, 1e-5, 600.0)),
    ):
        data = with_value("tool.material", name)
        data["tools"] = {name: given} if given else {}
        tool = Case.from_json(data).profile.tool
        assert tool is not None and tool.metal == metal
    unknown = with_value("tool.material", "cermet")
    assert why(unknown) == ("case.tool.material", "'cermet' stands neither in `tools` nor among ['carbide', 'hss']")
    del unknown["tools"]
    assert why(unknown)[0] == "case.tool.material"


@pytest.mark.parametrize("path", NEEDED)
def test_a_number_that_is_missing_is_named(path: str) -> None:
    assert why(with_value(path, None, drop=True)) == (said(path), "is missing")
    assert why(with_value(path, None)) == (said(path), "is missing")


@pytest.mark.parametrize("path", NUMBERS)
def test_what_is_no_number_is_named_and_shown(path: str) -> None:
    for value, shown in ((True, "True"), ("7", "'7'"), ([7], "[7]")):
        assert why(with_value(path, value)) == (said(path), f"must be a number, not {shown}")
    for large in (float("nan"), float("inf"), -1.01e9, 1.01e9, 10**400):
        field, reason = why(with_value(path, large))
        assert field == said(path) and reason.startswith("must be a number within 1e+09, not ")


def test_the_largest_number_is_one() -> None:
    with pytest.raises(CoolingError) as fault:
        Case.from_json(with_value("ambient_c", 1e9))
    assert fault.value.field == "ambient_c", "a number, and no shop is as warm"


@pytest.mark.parametrize("path", ["holder", "stages"])
def test_a_list_is_a_list_with_something_in_it(path: str) -> None:
    for value in ([], "ab", 7, {"a": 1}):
        assert why(with_value(path, value)) == (f"case.{path}", "must be a list with at least one entry")
    assert why(with_value(path, [7])) == (f"case.{path}[0]", "must be an object with named values")


@pytest.mark.parametrize("path", ["heat", "tool", "tools", "steel", "methods"])
def test_an_object_is_an_object(path: str) -> None:
    for value in (7, "ab", [1]):
        assert why(with_value(path, value)) == (f"case.{path}", "must be an object with named values")


@pytest.mark.parametrize("path", ["tool.material", "stages.0.method"])
def test_a_word_is_a_word(path: str) -> None:
    for value in (7, ["carbide"], True):
        assert why(with_value(path, value))[1].startswith("must be a word, not ")
    assert why(with_value(path, None)) == (said(path), "is missing")


def test_a_way_of_cooling_is_one_of_four_and_a_profile_one_that_can_be() -> None:
    field, reason = why(with_value("stages.1.method", "bath"))
    assert field == "case.stages[1].method" and reason == "'bath' is none of free_air, forced_air, sleeve, mist"
    assert why(with_value("holder.1.bore_mm", 99))[0] == "holder[1].bore_mm"


def test_a_report_is_what_the_model_says_with_a_curve_that_never_stops_early() -> None:
    report = case_report(Case.from_json(FULL))
    case = Case.from_json(FULL)
    assert report.mass_kg == round(case.profile.mass_kg, 3)
    times = [at_s for at_s, _ in report.curve]
    assert times == sorted(set(times)) and set(map(float, range(121))) <= set(times) and times[-1] >= 7200.0
    dense = [later - sooner for sooner, later in itertools.pairwise(times) if later <= 7200.0]
    assert max(dense) < 240.0
    hot = [hottest_c for at_s, hottest_c in report.curve if at_s > report.touch_safe_s]
    assert max(hot) <= case.room.limit_c + 0.01 and report.hold_s is not None and report.hold_s > report.touch_safe_s
    assert report.take_out_s is None and report.measure_ready_s >= report.touch_safe_s
    wet = copy.deepcopy(FULL)
    wet["stages"] = [*FULL["stages"][:1], FULL["stages"][1] | {"end_s": None}]
    assert case_report(Case.from_json(wet)).take_out_s is not None


@pytest.mark.parametrize(
    ("at", "points", "last_s", "sum_s"),
    [(1, 515, 7200.0, 299853.81), (4, 587, 7412.79, 561173.9), (5, 469, 9127.73, 483212.3)],
)
def test_the_moments_of_a_reports_curve_are_two_hours_or_all_that_was_worked_out(
    at: int, points: int, last_s: float, sum_s: float
) -> None:
    """How finely it is drawn, written down: whoever compares reports of two days compares the same moments."""
    times = [at_s for at_s, _ in case_report(Case.from_json(CASES[at])).curve]
    assert (len(times), times[0], times[-1]) == (points, 0.0, last_s)
    assert sum(times) == pytest.approx(sum_s, abs=0.5)
