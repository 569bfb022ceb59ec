"""Where a hand may be put on a held holder: nowhere that the bound or the solver has above the limit, then or later."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.belief import Instrument, Standing
from kiosk.rules.cooling.assessment import Heat, Room, Stage, Touch, Way, Zone, assess_bound, bound_of
from kiosk.rules.cooling.bound import Bound
from kiosk.rules.cooling.mesh import ZONES
from kiosk.rules.cooling.unknowns import SURE
from kiosk.rules.hold import view
from kiosk.rules.hold_cases import Case, assessment, solved
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Stay
from kiosk.rules.outline import outline
from kiosk.rules.skin import may_be_held, skin_of, solved_skin
from kiosk.rules.skin_slices import SkinNow

ROOM = Room(22.0, 43.0, 3.0)
DAYS_S = 40 * 86_400.0  # no watched time here begins at nought
HOLDER = Holder("H1", "Shrink 12 x 220", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0,
                projection_mm=220.0)  # fmt: skip
CUTTER = Cutter("C1", "Mill 12", 12.0, 12.0, 83.0, lu_mm=26.0)
BUILT = Assembly("A1", "Mill 12", HOLDER, CUTTER, 47.0)
FACTS = HoldFacts(
    HOLDER, BUILT, DAYS_S, 1.79e9, 320.0, 52.0,
    (Stay("P1", DAYS_S), Stay("P2", DAYS_S + 30.0, Way.FREE_AIR.value)),
)  # fmt: skip
RULES = HoldRules(ROOM, 320.0)


def held(projection_mm: float = 220.0, way: Way = Way.FREE_AIR, coupling: str = "HSK63") -> Bound:
    profile = outline(Coupling.parse(coupling), 12.0, 24.0, projection_mm, insert_mm=47.0, stickout_mm=36.0)
    stages = (Stage(way, 0.0, 60.0, 40.0), Stage(Way.FREE_AIR, 60.0)) if way.wet else (Stage(way, 0.0),)
    return bound_of(profile, Heat(320.0, 52.0), stages, ROOM)


@settings(max_examples=12, deadline=None)
@given(
    projection_mm=st.sampled_from((70.0, 90.0, 160.0, 220.0)),
    way=st.sampled_from((Way.FREE_AIR, Way.FORCED_AIR, Way.SLEEVE)),
    coupling=st.sampled_from(("HSK63", "A40")),
    at_s=st.floats(1.0, 5000.0),
)
def test_no_hand_is_let_on_a_part_that_the_bound_has_above_the_limit_then_or_later(
    projection_mm: float, way: Way, coupling: str, at_s: float
) -> None:
    bound = held(projection_mm, way, coupling)
    now = skin_of(bound).at(at_s, "nose", True)
    assert "shank" not in now.hands  # a cutter has edges, however cool
    later = np.unique(np.concatenate([[at_s], at_s + np.geomspace(1.0, 9000.0, 50)]))
    draws = bound.draw(later)
    over = np.zeros(len(draws.weight), bool)
    for name in now.hands:
        over |= (draws.shown(Zone(name), later) > ROOM.limit_c).any(axis=1)
    for weight, promise in zip(draws.weights, SURE, strict=True):
        assert weight[over].sum() <= 1 - promise.share + 2e-4
    nominal = bound.nominal()
    warm_c = nominal.ambient_c + nominal.skin(later)
    for name in now.hands:
        assert warm_c[nominal.mesh.zone == ZONES.index(Zone(name))].max() <= ROOM.limit_c
    for piece in now.slices:
        assert piece.zone not in now.hands or piece.high_c <= ROOM.limit_c


def test_hands_are_let_on_flange_and_taper_of_a_long_holder_at_once_and_on_a_short_one_only_when_it_is_over() -> None:
    assert skin_of(held(220.0)).at(60.0, "nose", True).hands == ("flange", "taper")
    short = skin_of(held(70.0))
    assert short.at(60.0, "nose", True).hands == ()  # cold still, and warm in ten minutes
    assert short.at(60.0, "nose", True).slices[-1].high_c < short.at(900.0, "nose", True).slices[-1].high_c
    assert set(short.at(9000.0, "nose", True).hands) == {"nose", "flange", "taper"}


def test_the_skin_covers_the_holder_from_tip_to_coupling_without_a_hole() -> None:
    slices = skin_of(held()).at(300.0, "nose", True).slices
    covered = slices[0].start_mm
    assert covered == -36.0
    for piece in slices:
        assert piece.start_mm <= covered + 1e-6
        covered = max(covered, piece.end_mm)
    assert covered == pytest.approx(252.0)


def test_the_warmest_slice_is_about_as_warm_as_the_board_says_at_the_most() -> None:
    bound = held()
    for at_s in (60.0, 400.0, 1200.0):
        high_c = max(piece.high_c for piece in skin_of(bound).at(at_s, "nose", True).slices)
        assert high_c >= assess_bound(bound).now(at_s).high_c - 2.0


def test_readings_that_no_drawn_holder_explains_let_no_hand_on() -> None:
    odd = tuple(Touch(300.0 + 70 * at, Zone.NOSE, Instrument.PROBE, 30.0 + 60 * (at % 2), True) for at in range(6))
    assert skin_of(held(), odd).at(3000.0, "nose", True).hands == ()


@pytest.mark.parametrize(
    "facts",
    [
        replace(FACTS, gaps=1),
        replace(FACTS, body_unknown=True),
        replace(FACTS, reading_only=True),
        replace(FACTS, watched=False),
        replace(FACTS, assembly=replace(BUILT, insert_mm=None)),
        replace(FACTS, holder=replace(HOLDER, nose_mm=None)),
        replace(FACTS, assembly=None),
        replace(FACTS, stays=(*FACTS.stays, Stay(None, DAYS_S + 90.0))),
        replace(FACTS, stays=(*FACTS.stays, Stay("P3", DAYS_S + 90.0, Way.SLEEVE.value, 40.0))),
        replace(FACTS, stays=(*FACTS.stays, Stay("P3", DAYS_S + 90.0, Way.FORCED_AIR.value))),
    ],
)
def test_what_is_not_known_of_a_hold_lets_a_hand_on_nowhere(facts: HoldFacts) -> None:
    assert may_be_held(FACTS, False) and not may_be_held(FACTS, True)
    assert not may_be_held(facts, False)


def test_the_time_in_the_coil_lets_a_hand_on_nowhere_and_the_same_hold_later_does() -> None:
    skin, found = solved_skin(FACTS, solved(FACTS, RULES, None)), assessment(FACTS, RULES, None)

    def hands(at_s: float, needs_reading: bool = False) -> tuple[str, ...]:
        now = replace(view(FACTS, RULES, found, Standing(), DAYS_S + at_s), needs_reading=needs_reading)
        return skin.now(FACTS, RULES, now, DAYS_S + at_s).hands

    assert hands(10.0) == ()
    assert hands(100.0) == ("flange", "taper")
    assert hands(100.0, needs_reading=True) == ()


def test_a_part_is_as_warm_as_in_the_warmest_of_what_the_hold_may_be_and_hands_are_let_on_only_in_all() -> None:
    warmer = replace(RULES, temp_c=360.0)
    cases = solved(FACTS, RULES, None)
    facts = replace(FACTS, temp_c=None)
    hot = solved(facts, warmer, None)
    seen = view(FACTS, RULES, assessment(FACTS, RULES, None), Standing(), DAYS_S + 900.0)
    seen = replace(seen, needs_reading=False)

    def now(*each: Case) -> SkinNow:
        return solved_skin(FACTS, each).now(FACTS, RULES, seen, DAYS_S + 900.0)

    one, two, both = now(*cases), now(*hot), now(*cases, *hot)
    for alone, other, together in zip(one.slices, two.slices, both.slices, strict=True):
        assert together.high_c == max(alone.high_c, other.high_c)
    assert set(both.hands) == set(one.hands) & set(two.hands)
