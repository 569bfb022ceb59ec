"""Heat flow itself: against closed formulas, a general solver, and what heat never does."""

from __future__ import annotations

import math

import numpy as np
import pytest
from cooling_examples import CASES
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from kiosk.rules.cooling.assessment import Heat, Room, Stage, Way, Zone
from kiosk.rules.cooling.case import Case
from kiosk.rules.cooling.mesh import ZONES
from kiosk.rules.cooling.stand import Draw, course_of, excess_at_start, exchanges, mesh_for
from kiosk.rules.cooling.unknowns import FILMS, Film
from kiosk.rules.outline import STEEL, Metal, Profile, Segment, Tool, free

AIR = (Stage(Way.FREE_AIR, 0),)


def room(film: float, emissivity: float = 0.0) -> Room:
    return Room(22.0, 43.0, films=FILMS | {Way.FREE_AIR: Film(film, emissivity)})


def test_a_small_pin_of_good_metal_cools_as_newton_said() -> None:
    metal = Metal(4000.0, 7800.0, 470.0, 1e-5, 210.0)
    pin = Profile((Segment(40, 8, 8),), steel=metal)
    area_m2 = math.pi * 8e-3 * 40e-3 + 2 * math.pi * 16e-6
    rate = 20 * area_m2 / (math.pi * 16e-6 * 40e-3 * metal.rho_kg_m3 * metal.c_j_kgk)
    times = np.array([1.0, 30.0, 120.0, 600.0])
    excess = course_of(pin, Heat(322.0, 40.0), AIR, room(20.0)).hottest(times)
    assert np.allclose(excess, 300 * np.exp(-rate * times), rtol=2e-3)


def test_heat_that_cannot_leave_spreads_evenly_and_is_all_still_there() -> None:
    profile = free([Segment(60, 30, 30, 10), Segment(30, 60, 60)], Tool(10, 40, 30))
    course = course_of(profile, Heat(300, 50), AIR, room(0.1))
    heat = course.mesh.root**2
    start, later = course.state(0.0), course.state(2500.0)
    assert heat @ later == pytest.approx(heat @ start, rel=0.02)
    assert later.max() - later.min() < 6


def test_a_long_cylinder_in_a_strong_film_follows_the_series_solution() -> None:
    """Infinite cylinder, Bi = 1: T/T0 at the axis = sum of Bessel terms; the first term suffices late."""
    radius_m, length_mm = 15e-3, 400.0
    film = STEEL.k_w_mk / radius_m
    cylinder = free([Segment(length_mm, 30, 30)])
    diffusivity = STEEL.k_w_mk / (STEEL.rho_kg_m3 * STEEL.c_j_kgk)
    at_s = 0.6 * radius_m**2 / diffusivity
    course = course_of(cylinder, Heat(122, length_mm), AIR, room(film))
    state = course.state(at_s)
    middle = (course.mesh.low_mm > 180) & (course.mesh.high_mm < 220)
    first_root, first_share = 1.2558, 1.2071  # Bi = 1, as every heat transfer text tabulates it
    axis = 100 * first_share * math.exp(-(first_root**2) * 0.6)
    assert state[middle].max() == pytest.approx(axis, rel=0.02)


@pytest.mark.parametrize("data", CASES[:4], ids=lambda data: data["name"])
def test_the_closed_form_is_never_colder_than_a_general_solver_on_the_same_rings(data: dict) -> None:
    case = Case.from_json(data)
    mesh = mesh_for(case.profile, case.heat, case.stages)
    course = course_of(case.profile, case.heat, case.stages, case.room)
    n, bands = len(mesh.root), mesh.bands
    dense = np.diag(bands[0])
    for row in range(1, bands.shape[0]):
        dense += np.diag(bands[row, : n - row], row) + np.diag(bands[row, : n - row], -row)
    dense = dense * mesh.root[:, None] * mesh.root
    absolute = case.room.ambient_c + 273.15
    excess = excess_at_start(mesh, case.heat, case.room, Draw())
    for exchange in exchanges(mesh, case.stages, case.room, Draw()):
        radiant = np.zeros(n) if exchange.radiant_w_k4 is None else exchange.radiant_w_k4
        end_s = min(exchange.end_s, exchange.start_s + 300)

        def change(_: float, u: np.ndarray, exchange=exchange, radiant=radiant) -> np.ndarray:
            lost = dense @ u + exchange.film_w_k * u + radiant * ((u + absolute) ** 4 - absolute**4)
            return -lost / mesh.root**2

        def slope(_: float, u: np.ndarray, exchange=exchange, radiant=radiant) -> np.ndarray:
            leaves = np.diag(exchange.film_w_k + 4 * radiant * (u + absolute) ** 3)
            return -(dense + leaves) / (mesh.root**2)[:, None]

        exact = solve_ivp(change, (exchange.start_s, end_s), excess, method="BDF", jac=slope, rtol=1e-6, atol=1e-4)
        excess = exact.y[:, -1]
        late = exact.t > exchange.start_s + 3
        off = course.hottest(exact.t[late]) - exact.y[mesh.skin][:, late].max(axis=0)
        assert off.min() > -0.15
        assert off.max() < 0.01 * (case.heat.temp_c - case.room.ambient_c)


def test_skin_warms_again_after_a_short_dip_and_the_flange_peaks_late() -> None:
    profile = free(
        [Segment(60, 24, 33, 12), Segment(20, 38, 53), Segment(26, 63, 63), Segment(32, 48, 46, 30)], Tool(12, 47, 40)
    )
    stages = (Stage(Way.FREE_AIR, 0, 20), Stage(Way.SLEEVE, 20, 32, 55), Stage(Way.FREE_AIR, 32))
    course = course_of(profile, Heat(330, 50), stages, Room())
    zones = course.mesh.zone
    times = np.linspace(32, 1200, 400)
    skin = course.skin(times)
    nose = skin[zones == ZONES.index(Zone.NOSE)]
    front = nose[5]
    assert front[:40].max() > front[0] + 5  # re-soak
    flange = skin[zones == ZONES.index(Zone.FLANGE)].max(axis=0)
    assert times[flange.argmax()] > 120


profiles = st.builds(
    lambda nose, neck, bore, flange, insert, stick: free(
        [Segment(neck, nose, nose + 6, bore), Segment(20, flange, flange), Segment(30, 0.7 * flange, 0.6 * flange)],
        Tool(bore, insert * neck, stick),
    ),
    st.floats(18, 40),
    st.floats(30, 90),
    st.floats(3, 15),
    st.floats(50, 90),
    st.floats(0.2, 1.0),
    st.floats(1, 80),
)
ways = st.lists(st.tuples(st.sampled_from(list(Way)), st.floats(1, 400)), min_size=0, max_size=4)


def stages_of(parts: list[tuple[Way, float]]) -> tuple[Stage, ...]:
    stages, at_s = [], 0.0
    for way, long_s in parts:
        stages.append(Stage(way, at_s, at_s + long_s, 40.0 if way is Way.SLEEVE else None))
        at_s += long_s
    return (*stages, Stage(Way.FREE_AIR, at_s))


@settings(max_examples=60)
@given(profiles, ways, st.floats(150, 380), st.floats(10, 60))
def test_nothing_is_ever_colder_than_the_air_or_hotter_than_it_was_heated(
    profile: Profile, parts: list[tuple[Way, float]], temp_c: float, length_mm: float
) -> None:
    course = course_of(profile, Heat(temp_c, length_mm), stages_of(parts), Room())
    times = np.unique(np.concatenate([np.geomspace(3, 20_000, 60), [piece.start_s + 3 for piece in course.pieces]]))
    skin = course.skin(times)
    rise = temp_c - Room().ambient_c
    assert skin.max() <= rise * 1.01
    assert skin.min() >= -0.01 * rise
    warmest = np.array([course.state(at_s).max() for at_s in times])
    assert np.all(np.diff(warmest) <= 0.003 * rise)  # no heat from nowhere: the warmest cell only cools
