"""The drawing of a holder: in true proportion, told by hatch and not by colour, and never safer than the bound."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder, Measured
from kiosk.rules.holder_drawing import HATCHES, Area, Drawing, Part, Warmth, around, draw, draw_holder, hatched
from kiosk.rules.skin_slices import SkinNow, SkinSlice, unknown_skin

HOLDER = Holder("H1", "Shrink 12 x 90", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0,
                projection_mm=90.0)  # fmt: skip
MILL = Cutter("C1", "Roughing mill 12 R1", 12.0, 12.0, 83.0, lu_mm=26.0, re_mm=1.0, zefp=4)
DISC = Cutter("C2", "Disc mill 125", 125.0, 20.0, 75.0, lu_mm=12.0)
BUILT = Assembly("A1", "Roughing mill 12 R1", HOLDER, MILL, 47.0)


def area(drawing: Drawing, part: Part) -> Area:
    return next(area for area in drawing.areas if area.part is part)


def skin(*temperatures_c: float, hands: tuple[str, ...] = (), limit_c: float = 43.0) -> SkinNow:
    """Slices of equal length from the tip at -36 mm to the end of a 90 mm holder's coupling."""
    ends = [-36.0 + (122.0 + 36.0) * at / len(temperatures_c) for at in range(len(temperatures_c) + 1)]
    zones = ["shank" if end <= 0 else "nose" if end <= 64 else "flange" if end <= 90 else "taper" for end in ends[1:]]
    return SkinNow(
        tuple(SkinSlice(a, b, c, z) for (a, b), c, z in zip(pairwise(ends), temperatures_c, zones, strict=True)),
        limit_c, "nose", hands,
    )  # fmt: skip


def test_every_length_and_diameter_is_drawn_at_the_same_scale() -> None:
    drawing = draw_holder(HOLDER, BUILT)
    assert drawing.ends_mm == (-(83.0 - 47.0), 90.0 + 32.0)  # stick-out in front, projection and 32 mm taper behind
    assert drawing.gauge_mm == 90.0
    assert drawing.radius_mm == 31.5  # the 63 mm flange
    body = area(drawing, Part.BODY).edge
    assert body[0] == (0.0, 12.0) and body[-1].z_mm == 90.0
    cutting = area(drawing, Part.CUTTING).edge
    assert (cutting[0].z_mm, cutting[-1].z_mm) == (-36.0, -10.0)
    assert max(point.r_mm for point in cutting) == 6.0
    assert drawing.hidden == (((0.0, 6.0), (47.0, 6.0), (47.0, 0.0)),)


def test_a_cutter_wider_than_its_shank_is_drawn_wider() -> None:
    drawing = draw(replace(HOLDER, bore_mm=20.0, nose_mm=52.0), DISC, 50.0)
    assert drawing.radius_mm == 62.5
    assert area(drawing, Part.SHANK).edge == ((-13.0, 10.0), (0.0, 10.0))


def test_a_ball_ends_round() -> None:
    ball = draw_holder(HOLDER, replace(BUILT, cutter=replace(MILL, re_mm=6.0)))
    edge = area(ball, Part.CUTTING).edge
    assert edge[0] == pytest.approx((-36.0, 0.0), abs=1e-9)
    assert edge[-2] == pytest.approx((-30.0, 6.0), abs=1e-9)
    for z, r in edge[:-1]:
        assert math.hypot(z + 30.0, r) == pytest.approx(6.0)


def test_lengths_are_written_as_they_are_and_none_for_what_nobody_entered() -> None:
    values = {each.name: each.value_mm for each in draw_holder(HOLDER, BUILT).dimensions}
    assert values["depth"] == 47.0 and values["stickout"] == 36.0 and values["projection"] == 90.0
    assert values["length"] == 126.0 and values["heated"] > 47.0
    measured = replace(BUILT, measured=Measured(126.118, 12.0))
    assert {each.name: each.value_mm for each in draw_holder(HOLDER, measured).dimensions}["length"] == 126.118
    unknown = draw_holder(replace(HOLDER, projection_mm=None), replace(BUILT, insert_mm=None))
    assert {"projection_mm", "insert_mm"} <= set(unknown.assumed)
    assert {each.name for each in unknown.dimensions} <= {"heated"}


def test_numbers_that_make_no_holder_are_drawn_as_not_known() -> None:
    drawing = draw_holder(replace(HOLDER, nose_mm=5.0), BUILT)
    assert "coupling" in drawing.assumed and not drawing.dimensions


@pytest.mark.parametrize("warmth", Warmth)
def test_each_warmth_has_a_hatch_of_its_own(warmth: Warmth) -> None:
    others = [HATCHES[other] for other in Warmth if other is not warmth]
    assert HATCHES[warmth] not in others
    lines = hatched(area(draw_holder(HOLDER, BUILT), Part.BODY).edge, warmth, 2.0)
    assert bool(lines) is (warmth is not Warmth.SAFE)


def test_a_hatch_stays_in_its_part_and_closer_means_warmer() -> None:
    edge = area(draw_holder(HOLDER, BUILT), Part.BODY).edge
    drawn: dict[Warmth, float] = {}
    for warmth in (Warmth.SAFE, Warmth.WARM, Warmth.HOT, Warmth.GLOWING):
        lines = hatched(edge, warmth, 2.0)
        drawn[warmth] = sum(math.dist(one, two) for one, two in lines)
        for one, two in lines:
            for share in (0.02, 0.5, 0.98):
                z = one.z_mm + (two.z_mm - one.z_mm) * share
                r = one.r_mm + (two.r_mm - one.r_mm) * share
                assert _inside(edge, z, abs(r))
    assert 0 == drawn[Warmth.SAFE] < drawn[Warmth.WARM] < drawn[Warmth.HOT] < drawn[Warmth.GLOWING]


def _inside(edge: tuple[tuple[float, float], ...], z: float, r: float) -> bool:
    pieces = [(a, b) for a, b in pairwise(edge) if a[0] <= z <= b[0] and b[0] > a[0]]
    tall = [a[1] + (b[1] - a[1]) * (z - a[0]) / (b[0] - a[0]) for a, b in pieces]
    return bool(tall) and r <= max(tall) + 1e-6


def test_the_skin_is_drawn_by_what_each_length_of_it_may_be() -> None:
    drawing = draw_holder(HOLDER, BUILT, skin(60.0, 60.0, 200.0, 100.0, 43.0, 30.0))
    assert [band.warmth for band in drawing.bands] == [Warmth.WARM, Warmth.GLOWING, Warmth.HOT, Warmth.SAFE]
    assert drawing.bands[0].edge[0].z_mm == -36.0 and drawing.bands[-1].edge[-1].z_mm == 122.0
    for one, two in pairwise(drawing.bands):
        assert one.edge[-1].z_mm == pytest.approx(two.edge[0].z_mm)
    assert [spot.where for spot in drawing.spots if spot.hottest] == ["nose"]
    assert drawing.warmths == (Warmth.SAFE, Warmth.WARM, Warmth.HOT, Warmth.GLOWING)


def test_what_nobody_computed_is_not_known_and_no_hand_is_let_on_it() -> None:
    nothing = draw_holder(HOLDER, BUILT, unknown_skin(43.0, "nose"))
    assert [band.warmth for band in nothing.bands] == [Warmth.UNKNOWN] and nothing.hands == ()
    some = skin(50.0, 50.0, 50.0, 30.0, 30.0, 30.0, hands=("taper",))
    partly = draw_holder(HOLDER, BUILT, replace(some, slices=some.slices[2:-1]))
    assert [band.warmth for band in partly.bands] == [Warmth.UNKNOWN, Warmth.WARM, Warmth.SAFE, Warmth.UNKNOWN]
    low, high = partly.hands[0]
    assert low >= partly.bands[2].edge[0].z_mm and high <= partly.bands[2].edge[-1].z_mm
    assert draw_holder(HOLDER, BUILT, skin(math.nan, math.inf)).warmths == (Warmth.UNKNOWN,)


def test_hands_are_drawn_only_on_what_is_safe_and_let() -> None:
    drawing = draw_holder(HOLDER, BUILT, skin(99, 99, 60, 50, 40, 30, 30, 30, hands=("taper", "nose", "shank")))
    for low, high in drawing.hands:
        for band in drawing.bands:
            start, end = band.edge[0].z_mm, band.edge[-1].z_mm
            assert band.warmth is Warmth.SAFE or end <= low + 1e-6 or start >= high - 1e-6
    assert drawing.hands
    assert draw_holder(HOLDER, BUILT, skin(30, 30, 30, 30)).hands == ()


def test_the_outline_is_closed_by_its_mirror_image() -> None:
    edge = area(draw_holder(HOLDER, BUILT), Part.BODY).edge
    corners = around(edge)
    assert sum(r for _, r in corners) == pytest.approx(0.0) and len(corners) == 2 * len(edge)


def test_a_holder_is_as_wide_before_a_length_as_its_widest_part_there() -> None:
    drawing = draw_holder(HOLDER, BUILT)
    assert drawing.radius_before_mm(-40.0) == 0.0  # in front of the tip there is nothing
    assert drawing.radius_before_mm(-1.0) == 6.0  # cutter and shank
    assert 12.0 < drawing.radius_before_mm(30.0) < 20.0  # the nose grows towards the flange
    assert drawing.radius_before_mm(500.0) == drawing.radius_mm
