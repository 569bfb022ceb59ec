"""Data that cannot bound a temperature is named, and each figure is bounded where it is written here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf, nan

import numpy as np
import pytest

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.cooling.flow import conductance, radiance
from kiosk.rules.cooling.stand import (
    CoolingError,
    Draw,
    Heat,
    Room,
    Stage,
    checked,
    default_heated_mm,
    exchanges,
    few,
    limit_over_ambient_k,
    mesh_for,
)
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


def test_the_air_is_known_within_bounds_and_a_stage_begins_within_three_years() -> None:
    for sd_k, said in ((0.1, None), (10.0, None), (0.09, "ambient_sd_k"), (10.01, "ambient_sd_k")):
        assert field(room=ROOM._replace(ambient_sd_k=sd_k)) == said
    late_s = 0.7e8
    assert field(stages=(Stage(Way.FREE_AIR, 0.0, late_s), Stage(Way.SLEEVE, late_s))) is None
    assert field(stages=(Stage(Way.FREE_AIR, 1e-6),)) is None, "a microsecond is rounding"
    assert field(stages=(Stage(Way.FREE_AIR, 2e-6),)) == "stages[0].start_s"
    assert Room() == Room(23.0, 43.0, 3.0, FILMS, 1.5)


def test_without_a_cutter_a_wet_length_begins_at_the_nose() -> None:
    def said(wet_mm: float) -> str | None:
        try:
            checked(Profile((Segment(60.0, 40.0, 40.0, 12.0),)), HEAT, (Stage(Way.SLEEVE, 0.0, None, wet_mm),), ROOM)
        except CoolingError as error:
            return error.field
        return None

    assert said(0.0) is None and said(-0.5) == "stages[0].wet_length_mm"


@pytest.mark.parametrize("mark_mm", [0.4, 7.3, 45.0])
def test_a_slice_ends_where_the_heat_and_the_sleeve_do(mark_mm: float) -> None:
    wet = (Stage(Way.SLEEVE, 0.0, None, mark_mm),)
    for mesh in (mesh_for(PROFILE, Heat(330.0, mark_mm), AIR), mesh_for(PROFILE, HEAT, wet)):
        assert min(abs(mesh.low_mm - mark_mm)) < 1e-9


@pytest.mark.parametrize("wet_mm", [-40.0, -17.3, -1.1, 0.0, 12.7, 38.0])
def test_skin_is_wet_as_far_as_the_sleeve_reaches_and_not_a_tenth_beyond(wet_mm: float) -> None:
    """Also where no slice ends there, on the cutter: each slice by the share of its length."""
    stages = (Stage(Way.SLEEVE, 0.0, None, wet_mm),)
    mesh = mesh_for(PROFILE, HEAT, stages)
    (found,) = exchanges(mesh, stages, ROOM, Draw())
    share = np.clip((np.minimum(mesh.high_mm, wet_mm) - mesh.low_mm) / (mesh.high_mm - mesh.low_mm), 0.0, 1.0)
    water, air = FILMS[Way.SLEEVE], FILMS[Way.FREE_AIR]
    wet, dry = conductance(mesh, water.film_w_m2k), conductance(mesh, air.film_w_m2k)
    assert found.film_w_k == pytest.approx(share * wet + (1 - share) * dry)
    shone = share * radiance(mesh, water.emissivity) + (1 - share) * radiance(mesh, air.emissivity)
    assert found.radiant_w_k4 == pytest.approx(shone)


def test_of_many_stays_those_are_taken_together_that_give_away_least() -> None:
    """Nine stays: a wink in a sleeve beside free air gives away more than two winks of mist, however short."""
    long_s, at_s = 100.0, 0.0
    stays: list[Stage] = []
    ways = (Way.MIST, Way.MIST, Way.SLEEVE, Way.FREE_AIR, Way.SLEEVE, Way.SLEEVE, Way.SLEEVE, Way.SLEEVE)
    mist_s, wink_s = 0.2 / FILMS[Way.MIST].film_w_m2k, 0.6 / FILMS[Way.SLEEVE].film_w_m2k
    lasts_s = (mist_s, mist_s, long_s, long_s, wink_s, long_s, long_s, long_s)
    for way, lasts in zip(ways, lasts_s, strict=True):
        stays.append(Stage(way, at_s, at_s + lasts))
        at_s += lasts
    stays.append(Stage(Way.FREE_AIR, at_s))
    mist = Stage(Way.FREE_AIR, 0.0, stays[1].end_s)
    assert few(stays) == (mist, *stays[2:])
    assert few(stays[1:]) == tuple(stays[1:]), "eight are solved as they are"
