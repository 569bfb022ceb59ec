"""What fits what, by clamping, and why not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.rules.assembly import Clamping, Coupling, Cutter, Holder, Material
from kiosk.rules.fitting.fits import Fit, FitReason, FitRules, Question, Sleeve, Source, SpeedLimit, fit
from kiosk.rules.fitting.magazine import Machine, Magazine, MagazineKind
from kiosk.rules.fitting.obstacles import ObstacleReason as Against
from kiosk.rules.fitting.shrink import ShrinkRules

HOLDER = Holder(
    key="h1",
    name="shrink 12",
    coupling=Coupling.parse("HSK63"),
    clamping=Clamping.SHRINK_FIT,
    bore_mm=12.0,
    nose_mm=24.0,
    projection_mm=80.0,
    insert_min_mm=36.0,
    insert_max_mm=47.0,
    rpm_max=25000.0,
    mass_kg=1.0,
)
CUTTER = Cutter(key="c1", name="end mill 12", dc_mm=12.0, dmm_mm=12.0, oal_mm=83.0, lu_mm=36.0, rpmx_rpm=30000.0)
COLLET = replace(HOLDER, clamping=Clamping.COLLET, bore_mm=12.0, bore_min_mm=11.0)
SCREW = replace(HOLDER, clamping=Clamping.SIDE_SCREW)
PRESS = replace(HOLDER, clamping=Clamping.PRESS_FIT)
RULES = FitRules()


def ask(holder: Holder, cutter: Cutter = CUTTER, rules: FitRules = RULES, **more: object) -> Fit:
    return fit(Question(holder, cutter, **{"insert_mm": 40.0, **more}), rules)  # type: ignore[arg-type]


def reasons(answer: Fit) -> set[FitReason]:
    return {finding.reason for finding in answer.findings}


def test_a_round_h6_carbide_shank_of_the_bores_size_fits_without_a_word() -> None:
    answer = ask(HOLDER, rpm=18000.0)
    assert answer.findings == ()
    assert answer.ok
    assert answer.shrink is not None
    assert answer.speeds[:2] == (SpeedLimit(Source.HOLDER, 25000.0), SpeedLimit(Source.CUTTER, 30000.0))
    assert answer.speed_limit_rpm == 25000.0


@pytest.mark.parametrize(
    ("shank_mm", "fits"), [(10.99, False), (11.0, True), (11.5, True), (12.0, True), (12.01, False)]
)
def test_a_collet_takes_its_range_and_nothing_else(shank_mm: float, fits: bool) -> None:
    answer = ask(COLLET, replace(CUTTER, dmm_mm=shank_mm))
    assert answer.ok is fits
    assert (FitReason.SHANK_OUTSIDE_COLLET in reasons(answer)) is not fits


def test_a_collet_of_unknown_range_takes_its_nominal_size_only() -> None:
    holder = replace(COLLET, bore_min_mm=None)
    assert ask(holder, replace(CUTTER, dmm_mm=11.989)).ok
    assert reasons(ask(holder, replace(CUTTER, dmm_mm=11.5))) == {FitReason.SHANK_OUTSIDE_COLLET}


def test_a_side_screw_wants_its_flat_and_limits_the_speed() -> None:
    assert reasons(ask(SCREW)) == {FitReason.NO_FLAT}
    flat = replace(CUTTER, flat=True)
    answer = ask(SCREW, flat)
    assert answer.ok
    assert answer.speeds[0] == SpeedLimit(Source.CLAMPING, 8000.0)
    fast = ask(SCREW, flat, rpm=12000.0)
    assert not fast.ok
    assert fast.findings[0].values == {
        "asked_rpm": 12000.0,
        "allowed_rpm": 8000.0,
        "source": "term.speed_of_clamping",
    }


def test_a_press_fit_wants_the_sleeve_for_that_shank() -> None:
    slim = replace(CUTTER, dmm_mm=8.0)
    answer = ask(PRESS, slim)
    assert not answer.ok
    assert answer.findings[0].reason is FitReason.NO_SLEEVE
    stocked = FitRules(sleeves=frozenset({Sleeve(12.0, 8.0), Sleeve(20.0, 10.0)}))
    with_sleeve = ask(PRESS, slim, stocked)
    assert with_sleeve.ok
    assert with_sleeve.findings[0].values == {"outside_mm": 12.0, "inside_mm": 8.0}
    assert not ask(PRESS, replace(CUTTER, dmm_mm=10.0), stocked).ok
    assert ask(PRESS).findings == ()


@pytest.mark.parametrize("holder", [HOLDER, SCREW, PRESS, replace(HOLDER, clamping=Clamping.MORSE_TAPER)])
def test_a_shank_of_another_size_goes_into_no_plain_bore(holder: Holder) -> None:
    cutter = replace(CUTTER, dmm_mm=14.0, flat=True)
    answer = ask(holder, cutter)
    assert not answer.ok
    assert FitReason.SHANK_NOT_BORE in reasons(answer)


@pytest.mark.parametrize(("shank_um", "fits"), [(0.0, True), (-5.0, True), (-11.0, True), (-11.5, False), (1.0, False)])
def test_a_measured_shank_must_be_within_h6_to_be_shrunk(shank_um: float, fits: bool) -> None:
    answer = ask(HOLDER, shank_um=shank_um)
    assert answer.ok is fits
    assert (FitReason.SHANK_OFF_TOLERANCE in reasons(answer)) is not fits
    as_entered = ask(HOLDER, replace(CUTTER, dmm_mm=12.0 + shank_um / 1000))
    assert as_entered.ok is fits


def test_a_shank_that_is_not_h6_is_not_shrunk() -> None:
    assert reasons(ask(HOLDER, replace(CUTTER, shank_h6=False))) == {FitReason.SHANK_NOT_H6}
    assert ask(HOLDER, replace(CUTTER, shank_h6=False), shank_um=-6.0).ok


def test_a_flat_is_not_round_unless_the_shop_says_so() -> None:
    flat = replace(CUTTER, flat=True)
    assert not ask(HOLDER, flat).ok
    lenient = ask(HOLDER, flat, FitRules(flat_blocks_shrink=False))
    assert lenient.ok
    assert reasons(lenient) == {FitReason.FLAT_IN_SHRINK}


def test_high_speed_steel_is_warned_about_with_what_opens_at_release() -> None:
    answer = ask(HOLDER, replace(CUTTER, material=Material.HSS))
    assert answer.ok
    finding = answer.findings[0]
    assert finding.reason is FitReason.HSS_IN_SHRINK
    # 45.54 um opening less 0.6 of it for the shank, less 26 um: -7.78 um, it will not come out by itself
    assert finding.values["release_um"] == pytest.approx(45.54 * 0.4 - 26.0)


def test_measured_bore_and_shank_narrow_the_fit_to_one_value() -> None:
    answer = ask(HOLDER, shank_um=-4.0, bore_um=-22.0)
    assert answer.shrink is not None
    assert answer.shrink.interference_um == (18.0, 18.0)


def test_a_loose_bore_grips_nothing_and_an_unsure_one_says_so() -> None:
    assert FitReason.NO_GRIP in reasons(ask(HOLDER, bore_um=2.0))
    unsure = ask(HOLDER, bore_um=-8.0)
    assert FitReason.GRIP_UNSURE in reasons(unsure)
    assert unsure.speed_limit_rpm == 0.0


def test_a_bore_the_unit_cannot_open_is_refused_and_a_doubtful_one_is_flagged() -> None:
    weak = FitRules(shrink=ShrinkRules(unit_max_c=120.0))
    assert FitReason.OPENS_TOO_LITTLE in reasons(ask(HOLDER, rules=weak))
    doubtful = ask(HOLDER, rules=FitRules(shrink=ShrinkRules(unit_max_c=220.0)))
    assert doubtful.ok
    assert FitReason.MAY_NOT_OPEN in reasons(doubtful)


def test_heat_cycles_are_counted_against_the_holders_or_the_shops_limit() -> None:
    assert reasons(ask(HOLDER, heats_used=1960)) == {FitReason.HEATS_FEW_LEFT}
    assert not ask(HOLDER, heats_used=2000).ok
    own = replace(HOLDER, heat_limit=100)
    used_up = ask(own, heats_used=100)
    assert used_up.findings[0].values == {"used": 100, "limit": 100}


def test_a_nose_without_wall_or_without_size_is_said() -> None:
    assert FitReason.NOSE_NO_WALL in reasons(ask(replace(HOLDER, nose_mm=12.0)))
    unknown = ask(replace(HOLDER, nose_mm=None))
    assert unknown.ok
    assert reasons(unknown) == {FitReason.NOSE_UNKNOWN}
    assert unknown.shrink is not None and unknown.shrink.rest is None


def test_a_thin_nose_may_be_stressed_too_high() -> None:
    # a 0.3 mm wall with 60 um of interference on 12 mm: hoop stress near E * 60/12000 = 1050 MPa
    assert FitReason.NOSE_OVERSTRESSED in reasons(ask(replace(HOLDER, nose_mm=12.6), bore_um=-65.0, shank_um=0.0))


@pytest.mark.parametrize(
    ("insert_mm", "reason"),
    [
        (30.0, FitReason.INSERT_TOO_SHORT),
        (0.0, FitReason.INSERT_TOO_SHORT),
        (48.0, FitReason.INSERT_TOO_DEEP),
        (None, FitReason.INSERT_UNKNOWN),
    ],
)
def test_insertion_has_a_least_and_a_most(insert_mm: float | None, reason: FitReason) -> None:
    answer = ask(HOLDER, insert_mm=insert_mm)
    assert reason in reasons(answer)
    assert answer.ok is (insert_mm is None)


def test_flutes_stay_out_of_the_bore() -> None:
    long_flutes = replace(CUTTER, lu_mm=50.0)
    answer = ask(HOLDER, long_flutes)
    assert answer.findings[0].values == {"actual_mm": 40.0, "shank_mm": 33.0}
    assert not answer.ok


def test_coolant_through_the_cutter_needs_a_channel_in_the_holder() -> None:
    drilled = replace(CUTTER, coolant=True)
    assert reasons(ask(HOLDER, drilled)) == {FitReason.NO_COOLANT_CHANNEL}
    wanted = ask(HOLDER, drilled, coolant_wanted=True)
    assert not wanted.ok
    assert reasons(wanted) == {FitReason.NO_CHANNEL_IN_HOLDER}
    solid = ask(replace(HOLDER, coolant=True), CUTTER, coolant_wanted=True)
    assert reasons(solid) == {FitReason.NO_CHANNEL_IN_CUTTER}
    assert ask(replace(HOLDER, coolant=True), drilled, coolant_wanted=True).ok


def test_the_machines_that_could_take_it_are_asked_one_by_one() -> None:
    taper = replace(HOLDER, coupling=Coupling.parse("A40"), knob="AD", clamping=Clamping.COLLET)
    machines = [
        Machine("mill 1", Magazine(MagazineKind.CHAIN, 24, 80.0, couplings=frozenset({Coupling.parse("HSK63")}))),
        Machine(
            "mill 2", Magazine(MagazineKind.CHAIN, 24, 80.0, couplings=frozenset({Coupling.parse("A40")}), knob="AD")
        ),
        Machine(
            "mill 3", Magazine(MagazineKind.CHAIN, 24, 80.0, couplings=frozenset({Coupling.parse("A40")}), knob="UD")
        ),
    ]
    answer = fit(Question(taper, CUTTER, 40.0), RULES, machines)
    assert [[obstacle.reason for obstacle in machine.obstacles] for machine in answer.machines] == [
        [Against.COUPLING],
        [],
        [Against.KNOB],
    ]
    assert answer.findings == ()
    alone = fit(Question(taper, CUTTER, 40.0), RULES, machines[:1])
    assert reasons(alone) == {FitReason.NO_MACHINE}


def test_a_steep_taper_without_a_knob_is_noticed() -> None:
    assert reasons(ask(replace(COLLET, coupling=Coupling.parse("J50")))) == {FitReason.KNOB_MISSING}


def test_a_speed_nobody_knows_is_said_and_one_too_high_refused() -> None:
    silent = ask(replace(COLLET, rpm_max=None), replace(CUTTER, rpmx_rpm=None))
    assert reasons(silent) == {FitReason.SPEED_UNKNOWN}
    assert silent.speed_limit_rpm is None
    assert reasons(ask(HOLDER, rpm=25001.0)) == {FitReason.TOO_FAST}


def test_every_finding_carries_the_id_of_its_message() -> None:
    assert ask(SCREW).findings[0].message_id == "fits.no_flat"
