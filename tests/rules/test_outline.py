"""Outlines from four numbers, free segments, and the largest plausible holder."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.rules.assembly import SIZES, Assembly, Clamping, Coupling, Cutter, Family, Holder, Material
from kiosk.rules.outline import OutlineError, Profile, Segment, Tool, bare, free, outline, outlines_of


def holder(**changes: object) -> Holder:
    values: dict[str, object] = {
        "key": "k1",
        "name": "shrink 12",
        "coupling": Coupling.parse("HSK63"),
        "clamping": Clamping.SHRINK_FIT,
        "bore_mm": 12.0,
        "nose_mm": 24.0,
        "projection_mm": 106.0,
    }
    return Holder(**(values | changes))  # type: ignore[arg-type]


def test_segments_weigh_what_turned_steel_weighs() -> None:
    profile = free([Segment(100, 20, 20, 10)])
    assert profile.holder_kg == pytest.approx(3.14159 / 4 * (0.02**2 - 0.01**2) * 0.1 * 7800, rel=1e-4)
    cone = free([Segment(60, 24, 33)])
    assert cone.holder_kg == pytest.approx(3.14159 / 12 * 0.06 * (24**2 + 24 * 33 + 33**2) * 1e-6 * 7800, rel=1e-4)


def test_the_cutter_is_on_the_scale_too() -> None:
    profile = free([Segment(60, 30, 30, 12)], Tool(12, 40, 40))
    assert profile.mass_kg - profile.holder_kg == pytest.approx(3.14159 / 4 * 0.012**2 * 0.08 * 14500, rel=1e-4)


@pytest.mark.parametrize(
    ("coupling", "bore", "nose", "projection", "insert", "stickout", "mass_kg"),
    [
        # drawn from their segments: two hollow-taper and two steep-taper holders of ordinary make
        ("HSK63", 12, 24, 106, 47, 40, 1.54),
        ("J30", 6, 21, 69, 36, 22, 0.56),
        ("J40", 20, 33, 97, 52, 60, 1.96),
    ],
)
def test_four_numbers_weigh_about_what_the_drawn_holder_weighs(
    coupling: str, bore: float, nose: float, projection: float, insert: float, stickout: float, mass_kg: float
) -> None:
    profile = outline(Coupling.parse(coupling), bore, nose, projection, insert_mm=insert, stickout_mm=stickout)
    assert profile.mass_kg == pytest.approx(mass_kg, rel=0.15)
    assert profile.assumed == ()


@pytest.mark.parametrize("family", list(Family))
def test_every_coupling_has_an_outline_that_ends_in_its_taper(family: Family) -> None:
    for size in SIZES[family]:
        profile = outline(Coupling(family, size), None, None, None)
        assert profile.gauge_z_mm == pytest.approx(profile.length_mm - profile.segments[-1].length_mm)
        start, end = profile.flange_mm
        assert 0 <= start < end <= profile.gauge_z_mm + 1e-6
        assert set(profile.assumed) == {"bore_mm", "nose_mm", "projection_mm", "insert_mm", "stickout_mm"}


def test_more_steel_weighs_more() -> None:
    masses = [
        outline(Coupling.parse("HSK63"), 12, 24, projection, insert_mm=47, stickout_mm=40).mass_kg
        for projection in (80, 100, 120, 160)
    ]
    assert masses == sorted(masses)


@pytest.mark.parametrize(
    ("bore", "nose", "projection", "field"),
    [
        (12, 10, 100, "nose_mm"),
        (0.2, 24, 100, "bore_mm"),
        (12, 24, 5, "projection_mm"),
        (12, 24, float("nan"), "projection_mm"),
    ],
)
def test_numbers_that_make_no_holder_are_named(bore: float, nose: float, projection: float, field: str) -> None:
    with pytest.raises(OutlineError) as caught:
        outline(Coupling.parse("HSK63"), bore, nose, projection)
    assert caught.value.field == field


def test_a_bore_wider_than_its_steel_is_named() -> None:
    with pytest.raises(OutlineError) as caught:
        free([Segment(20, 30, 30, 10), Segment(20, 30, 20, 20)])
    assert caught.value.field == "segments[1].bore_mm"


def test_a_shank_wider_than_the_nose_is_named() -> None:
    with pytest.raises(OutlineError) as caught:
        free([Segment(20, 10, 10, 6)], Tool(12, 10, 10))
    assert caught.value.field == "tool.shank_mm"


def test_the_books_holder_and_cutter_become_a_profile() -> None:
    cutter = Cutter("c1", "mill", dc_mm=12, dmm_mm=12, oal_mm=87, material=Material.HSS)
    profile = outlines_of(holder(), Assembly("a1", "mill in 12", holder(), cutter, insert_mm=47))[0]
    assert profile.assumed == ()
    assert profile.tool is not None
    assert (profile.tool.insert_mm, profile.tool.stickout_mm) == (47, 40)
    assert profile.tool.metal.rho_kg_m3 == 8100


def test_an_unknown_holder_is_the_largest_plausible_one() -> None:
    unknown: Profile = outlines_of(None, None)[0]
    assert "coupling" in unknown.assumed
    assert unknown.mass_kg > outlines_of(holder(), None)[0].mass_kg


def test_numbers_on_record_that_cannot_be_are_taken_as_not_known() -> None:
    profile = outlines_of(holder(nose_mm=3.0), None)[0]
    assert "nose_mm" in profile.assumed


def test_where_nobody_knows_the_cutter_the_holder_is_looked_at_with_one_and_without() -> None:
    known = Assembly("a1", "12", holder(), Cutter("c1", "12", 12.0, 12.0, 83.0), 38.0)
    assert [profile.tool is None for profile in outlines_of(holder(), known)] == [False]
    too_short = replace(known, cutter=replace(known.cutter, oal_mm=30.0))  # ends in the bore, which cannot be
    impossible = holder(bore_mm=200.0, nose_mm=30.0)
    for whose, built in (
        (holder(), None),
        (holder(), replace(known, insert_mm=None)),
        (holder(), too_short),
        (impossible, known),
        (None, None),
    ):
        assert [profile.tool is None for profile in outlines_of(whose, built)] == [False, True]


def test_figures_that_make_no_holder_are_said_to_whoever_enters_them() -> None:
    thin = Holder("T1", "", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 25.0, nose_mm=25.5, projection_mm=90.0)
    with pytest.raises(OutlineError, match="nose_mm"):
        bare(thin)
    assert bare(replace(thin, nose_mm=40.0)).holder_kg > 0.5
