"""The bound about one heating: what is drawn of it, how often it is solved, and when it may be taken out of the wet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from kiosk.rules.cooling import bound as bounds
from kiosk.rules.cooling.assessment import (
    Heat,
    Stage,
    Touch,
    Way,
    Zone,
    assess_bound,
    bound_of,
    predict_bound,
    touch_safe_s,
)
from kiosk.rules.cooling.bound import UNKNOWNS, fresh_sd, learnt_sd, unknown_sd
from kiosk.rules.cooling.flow import Courses, Exchange, Start, flow
from kiosk.rules.cooling.lasting import GUARD, moments
from kiosk.rules.cooling.likelihood import right_density
from kiosk.rules.cooling.mesh import Mesh
from kiosk.rules.cooling.posterior import Draws
from kiosk.rules.cooling.stand import course_of, exchanges, start_of
from kiosk.rules.outline import Profile
from tests.rules.test_cooling_figures import EMPTY, HOT, ROOM, SLIM, outline, probe

SMALL = outline("HSK25", 4.0, 12.0, 45.0, 18.0)
AIR = (Stage(Way.FREE_AIR, 0.0),)


@pytest.mark.parametrize("profile", [SLIM, EMPTY])
def test_what_is_not_known_is_what_readings_can_teach_and_what_they_cannot_together(profile: Profile) -> None:
    whole, learnt, fresh = unknown_sd(profile), learnt_sd(profile), fresh_sd(profile)
    assert len(whole) == len(learnt) == len(fresh) == UNKNOWNS
    assert learnt**2 + fresh**2 == pytest.approx(whole**2, rel=0.02)
    assert fresh_sd(profile, 0.8)[-1] == 0.8 and unknown_sd(profile, 0.8)[-1] == 0.8, "the air is the shop's"


def test_how_many_solutions_a_hold_takes_is_as_many_as_are_made(monkeypatch: pytest.MonkeyPatch) -> None:
    solved = 0
    as_it_is = bounds.flows

    def counted(mesh: Mesh, start: Start, exchanges: Sequence[Exchange]) -> Courses:
        nonlocal solved
        found = as_it_is(mesh, start, exchanges)
        solved += found.count
        return found

    monkeypatch.setattr(bounds, "flows", counted)
    found = bound_of(SLIM, HOT, AIR, ROOM)
    assert found.runs == solved


@pytest.mark.parametrize(
    ("profile", "heat", "way", "wet_mm", "out_s"),
    [
        (SMALL, Heat(200.0, 22.0), Way.SLEEVE, 40.0, 37.0), (SMALL, Heat(150.0, 22.0), Way.MIST, None, 56.0),
        (SMALL, Heat(120.0, 22.0), Way.MIST, None, 45.0), (SMALL, Heat(250.0, 10.0), Way.MIST, None, 52.0),
        (SLIM, Heat(110.0, 20.0), Way.SLEEVE, 60.0, 27.0),
    ],
)  # fmt: skip
def test_taken_out_of_the_wet_then_nothing_gets_hot_again_and_a_little_sooner_it_may(
    profile: Profile, heat: Heat, way: Way, wet_mm: float | None, out_s: float
) -> None:
    """The figure as it was, and a second look: a holder on the edge stays under the limit, three seconds sooner not."""
    stages = (Stage(way, 0.0, None, wet_mm),)
    found = bound_of(profile, heat, stages, ROOM)
    draws = found.draw(moments(found.stages, 600.0))
    _, edge = found.expected_and_edge(draws)
    assert assess_bound(found).take_out_s == out_s
    course = course_of(profile, heat, stages, ROOM, edge.draw)
    (air,) = exchanges(course.mesh, AIR, ROOM, edge.draw)
    start = start_of(course.mesh, heat, ROOM, edge.draw)

    def hottest_k(at_s: float) -> float:
        later = flow(course.mesh, start._replace(excess=course.state(at_s)), [air])
        return float(later.hottest(np.linspace(0.0, 900.0, 200)).max())

    allowed_k = (ROOM.limit_c - course.ambient_c) / GUARD
    assert hottest_k(out_s) <= allowed_k < hottest_k(out_s - 3.0)


def test_a_reading_of_the_same_moment_is_counted_by_the_next() -> None:
    found = bound_of(SLIM, HOT, AIR, ROOM)
    before = predict_bound(found, Zone.NOSE, 900.0)
    warm: Touch = probe(900.0, before.expected_c + 9.0)
    again = predict_bound(found, Zone.NOSE, 900.0, (warm,))
    assert again.expected_c > before.expected_c + 3.0
    later = predict_bound(found, Zone.NOSE, 900.0, (warm._replace(at_s=900.5),))
    assert later == before, "what was read later tells nothing yet"


def test_draws_are_followed_a_minute_into_the_last_stay_and_no_stay_is_too_short_for_it() -> None:
    stays = (Stage(Way.FREE_AIR, 0.0, 100.0), Stage(Way.SLEEVE, 100.0))
    assert moments(stays, 50.0)[[0, -1]].tolist() == [0.0, 160.0]
    assert moments(stays, 900.0)[-1] == 900.0
    none = (Stage(Way.FREE_AIR, 0.0, 100.0), Stage(Way.MIST, 100.0, 100.0), Stage(Way.SLEEVE, 100.0))
    assert moments(none, 900.0)[-1] == 900.0 and np.isfinite(moments(none, 900.0)).all()
    three = (none[0], Stage(Way.MIST, 100.0, 200.0), Stage(Way.SLEEVE, 200.0))
    for stages, count in ((AIR, 61), (stays, 103), (three, 103)):
        times_s = moments(stages, 900.0)
        assert len(times_s) == count and (np.diff(times_s) > 0).all() and math.isclose(times_s[-1], 900.0)


def test_what_was_never_too_hot_to_touch_is_safe_at_once() -> None:
    assert touch_safe_s(SLIM, Heat(42.0, 42.0), AIR, ROOM) == 0.0
    assert touch_safe_s(SLIM, Heat(44.0, 42.0), AIR, ROOM) > 0.0


def test_nothing_drawn_is_ever_hotter_than_it_was_heated() -> None:
    """Also far outside of what was solved, where the surface bends as it likes."""
    found = bound_of(SLIM, HOT, AIR, ROOM)
    draws = found.draw(moments(found.stages, 600.0))
    sds = np.sqrt(np.diag(draws.expected.cov))
    values = draws.expected.mean + sds * np.array(
        [[heat, *(far,) * (len(sds) - 1)] for heat in (-3.0, 0.0, 3.0) for far in (-12.0, -6.0, 0.0, 6.0, 12.0)]
    )
    hottest_k = np.exp(draws.hottest(values))
    most_k = GUARD * (HOT.temp_c - ROOM.ambient_c) * np.exp(np.maximum(values[:, 0], 0.0))
    assert (hottest_k <= most_k[:, None] * (1 + 1e-9)).all()


@pytest.mark.parametrize("ambient_c", [23.0, 41.0])
@pytest.mark.parametrize("stages", [AIR, (Stage(Way.SLEEVE, 0.0, 30.0, 42.0), Stage(Way.FREE_AIR, 30.0))])
def test_each_drawn_holder_is_safe_between_the_last_moment_it_is_hot_and_the_next(
    ambient_c: float, stages: tuple[Stage, ...]
) -> None:
    """By its temperatures at every moment; one whose air is as warm as the limit never is."""
    room = ROOM._replace(ambient_c=ambient_c)
    draws = bound_of(SLIM, HOT, stages, room).draw(moments(stages, 9000.0))
    allowed_k = room.limit_c - ambient_c - draws.values[:, -1]
    hot = np.exp(draws.hottest(draws.values)) > np.maximum(allowed_k, 1e-3)[:, None]
    times_s = np.append(draws.times_s, math.inf)
    last = np.where(hot.any(axis=1), hot.shape[1] - 1 - hot[:, ::-1].argmax(axis=1), -1)
    ends = last == hot.shape[1] - 1
    assert (draws.safe_s[ends] == math.inf).all() and (draws.safe_s[last < 0] == 0.0).all()
    between = ~ends & (last >= 0)
    assert (times_s[last[between]] - 1e-6 <= draws.safe_s[between]).all()
    assert (draws.safe_s[between] <= times_s[last[between] + 1] + 1e-6).all()
    assert (allowed_k < 0.0).any() == (ambient_c > 40.0) and ends[allowed_k < 0.0].all()


def test_a_shown_band_is_of_all_draws_the_last_one_too() -> None:
    """Weights that miss one by rounding leave the last draw to be picked, and it is a draw like any other."""
    hottest = np.log(np.array([[10.0, 5.0], [20.0, 15.0], [300.0, 200.0]]))
    for weight in ([0.0, 0.0, 1.0], [0.0, 0.1, 0.89]):
        draws: Any = SimpleNamespace(
            weight=np.array(weight), _hottest_of=hottest.__getitem__, values=np.zeros((3, 2)),
            times_s=np.array([0.0, 60.0]), setting=SimpleNamespace(ambient_c=23.0),
        )  # fmt: skip
        low, high, _ = Draws.band(draws, 0.5, 0.98)
        assert (low.tolist(), high.tolist()) == (pytest.approx([323.0, 223.0]), pytest.approx([323.0, 223.0]))


@pytest.mark.parametrize("factor", [0.5, 1.8])
def test_a_reading_in_another_measure_is_as_likely_as_in_its_own(factor: float) -> None:
    """Where what stands there was entered as so many times as much: the density of the figure, not of the steel."""
    setting: Any = SimpleNamespace(ambient_c=23.0)
    shown_c = np.array([40.0, 80.0, 150.0])
    own = right_density(probe(600.0, 82.0), setting, shown_c)
    entered = right_density(probe(600.0, 82.0 * factor), setting, shown_c, factor)
    assert entered == pytest.approx(own / factor) and entered.argmax() == 1


def test_a_nose_as_wide_as_its_flange_is_read_like_any_other() -> None:
    """Nothing of it lies before the flange, so that there is no zone of that name."""
    wide = outline("HSK63", 12.0, 80.0, 100.0, 46.0)
    found = bound_of(wide, HOT, AIR, ROOM)
    before = assess_bound(found)
    assert before.hold_s is not None
    warm = probe(0.5 * before.touch_safe_s, predict_bound(found, Zone.NOSE, 0.5 * before.touch_safe_s).expected_c + 9.0)
    cold = warm._replace(value_c=warm.value_c - 18.0)
    warmer, colder = assess_bound(found, (warm,)), assess_bound(found, (cold,))
    assert warmer.hold_s is not None and colder.hold_s is not None
    assert colder.hold_s < warmer.hold_s and colder.hold_s < before.hold_s
