"""Data that cannot bound a temperature is named, and each figure is bounded where it is written here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf, nan

import pytest

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.cooling.stand import CoolingError, Heat, Room, Stage, checked, default_heated_mm, limit_over_ambient_k
from kiosk.rules.cooling.unknowns import FILMS, Film, Way
from kiosk.rules.outline import Profile, Segment, outlines_of

HOLDER = Holder("k", "k", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
TOOL = Assembly("a", "mill", HOLDER, Cutter("c", "mill", 12.0, 12.0, 83.0), 38.0)
PROFILE = outlines_of(HOLDER, TOOL)[0]
AIR = (Stage(Way.FREE_AIR, 0.0),)
HEAT, ROOM = Heat(330.0, 42.0), Room()


def field(heat: Heat = HEAT, stages: Sequence[Stage] = AIR, room: Room = ROOM) -> str | None:
    try:
        checked(PROFILE, heat, stages, room)
    except CoolingError as error:
        return error.field
    return None


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [("heat.temp_c", 23.0, 600.0), ("heat.length_mm", 0.0, 2000.0), ("heat.body_c", 23.0, 600.0)],
)
def test_heat_is_bounded(name: str, least: float, most: float) -> None:
    def said(value: float) -> str | None:
        return field(HEAT._replace(**{name.removeprefix("heat."): value}))

    assert said(least) is said(most) is None
    assert {said(value) for value in (least - 0.01, most + 0.01, nan, inf, -inf)} == {name}


def test_the_shop_is_bounded_and_its_limit_is_above_its_air() -> None:
    assert field(room=Room(60.0, 100.0), heat=Heat(330.0, 42.0)) is field(room=Room(-30.0, 43.0)) is None
    assert field(room=Room(60.1, 100.0)) == field(room=Room(-30.1, 43.0)) == "ambient_c"
    assert field(room=Room(23.0, 100.1)) == field(room=Room(-29.0, -31.0)) == "limit_c"
    assert field(room=Room(42.6, 43.0)) == "limit_c" and field(room=Room(42.5, 43.0)) is None
    assert limit_over_ambient_k(Room(23.0, 43.0)) == 20.0
    assert field(room=Room(5.0, 20.0)) is None
    for start_s in (nan, -1.0):
        assert field(stages=(Stage(Way.FREE_AIR, start_s),)) == "stages[0].start_s"


def test_every_film_is_there_and_bounded() -> None:
    for way in Way:
        assert field(room=ROOM._replace(films={each: FILMS[each] for each in Way if each is not way})) == (
            f"films.{way.value}"
        )
    wrong = (("film_w_m2k", Film(0.09, 0.3)), ("film_w_m2k", Film(20001, 0.3)))
    for name, film in (*wrong, ("emissivity", Film(7, -0.01)), ("emissivity", Film(7, 1.01))):
        assert field(room=ROOM._replace(films={**FILMS, Way.MIST: film})) == f"films.mist.{name}"
    for film in (Film(0.1, 0.0), Film(20000, 1.0)):
        assert field(room=ROOM._replace(films={**FILMS, Way.MIST: film})) is None


def test_stages_have_no_holes_and_what_follows_the_last_is_free_air() -> None:
    dipped = (Stage(Way.FREE_AIR, 0.0, 40.0), Stage(Way.SLEEVE, 40.0, 90.0))
    assert checked(PROFILE, HEAT, dipped, ROOM) == (*dipped, Stage(Way.FREE_AIR, 90.0))
    assert checked(PROFILE, HEAT, AIR, ROOM) == AIR
    assert field(stages=()) == "stages"
    assert field(stages=(Stage(Way.FREE_AIR, 1.0),)) == "stages[0].start_s"
    assert field(stages=(dipped[0], Stage(Way.SLEEVE, 41.0))) == "stages[1].start_s"
    assert field(stages=(dipped[0], Stage(Way.SLEEVE, 39.0))) == "stages[1].start_s"
    assert field(stages=(Stage(Way.FREE_AIR, 0.0), Stage(Way.SLEEVE, 0.0))) == "stages[0].end_s"
    assert field(stages=(dipped[0], dipped[1]._replace(end_s=39.0))) == "stages[1].end_s"
    assert field(stages=(Stage(Way.FREE_AIR, -0.5),)) == "stages[0].start_s"
    assert field(stages=(Stage(Way.FREE_AIR, 0.0, nan),)) == "stages[0].end_s"
    assert field(stages=(Stage(Way.FREE_AIR, 0.0, 1e8),)) is None
    assert field(stages=(Stage(Way.FREE_AIR, 0.0, 1.1e8),)) == "stages[0].end_s"


def test_a_wet_length_reaches_from_the_cutters_tip_and_no_farther() -> None:
    tip_mm = -(83.0 - 38.0)

    def wet(length_mm: float) -> str | None:
        return field(stages=(Stage(Way.SLEEVE, 0.0, None, length_mm),))

    assert wet(tip_mm) is wet(0.0) is wet(2000.0) is None
    assert wet(tip_mm - 0.1) == wet(2000.1) == wet(nan) == "stages[0].wet_length_mm"


def test_where_no_length_is_known_it_was_heated_a_little_past_the_insert() -> None:
    assert default_heated_mm(PROFILE) == 42.0
    deep = outlines_of(HOLDER, replace(TOOL, insert_mm=PROFILE.length_mm - 1.0))[0]
    assert default_heated_mm(deep) <= deep.length_mm
    empty = outlines_of(HOLDER, None)[0]
    bored = [segment for segment in empty.segments if segment.bore_mm == 12.0]
    if empty.tool is None:
        assert default_heated_mm(empty) == pytest.approx(sum(segment.length_mm for segment in bored))


@pytest.mark.parametrize(
    ("bores", "heated_mm"),
    [
        ((12.0, 12.0, 20.0, 12.0), 50.0), ((12.0, 0.0, 12.0, 12.0), 20.0), ((12.0, 12.0, 12.0, 12.0), 100.0),
        ((0.0, 12.0, 12.0, 12.0), 20.0), ((12.0, 20.0, 20.0, 0.0), 20.0),
    ],
)  # fmt: skip
def test_without_a_cutter_the_bore_is_heated_as_deep_as_it_is_one(bores: tuple[float, ...], heated_mm: float) -> None:
    segments = tuple(Segment(mm, 40.0, 40.0, bore) for mm, bore in zip((20.0, 30.0, 40.0, 10.0), bores, strict=True))
    assert default_heated_mm(Profile(segments)) == heated_mm
