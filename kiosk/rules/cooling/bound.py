"""The 99 % side of a hold: the nominal holder as solved, and the draws of all it may be.

It bounds the touch-safe time itself, re-soak included, by weighted draws (`cooling.posterior`) on temperatures that
are smooth in the unknowns (`cooling.surface`).  It must never know more than `cooling.unknowns` and what readings
taught (`belief`) or said of this heat.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from kiosk.rules.belief import FilmSlope, Prediction
from kiosk.rules.cooling.flow import Course, Courses, flow, flows
from kiosk.rules.cooling.lasting import (
    GUARD,
    HORIZON_S,
    grid,
    longest,
    moments,
    other_ends,
    taken,
    touch_safe_of,
)
from kiosk.rules.cooling.likelihood import Setting
from kiosk.rules.cooling.mesh import COARSE, FINE, Floats, Mesh, Zone
from kiosk.rules.cooling.posterior import Draws
from kiosk.rules.cooling.sampling import Normal
from kiosk.rules.cooling.stand import (
    WAYS,
    Draw,
    Heat,
    Room,
    Stage,
    exchanges,
    few,
    limit_over_ambient_k,
    mesh_for,
    start_of,
)
from kiosk.rules.cooling.surface import Axis, Surface
from kiosk.rules.cooling.touches import Touch, told_apart
from kiosk.rules.cooling.unknowns import (
    AMBIENT_K,
    BULK_ASSUMED,
    BULK_ENTERED,
    FILM,
    HEAT_LEVEL,
    HEATED_LENGTH_MM,
    SKIN,
    Spread,
    Way,
)
from kiosk.rules.lessons import Known
from kiosk.rules.outline import Profile

_HEAT, _LENGTH, _FILM, _BULK, _AMBIENT = 0, 1, 2, 2 + len(WAYS), 3 + len(WAYS)
UNKNOWNS = 4 + len(WAYS)
_MOST_TOUCHES = 8  # the latest; more say no more about a handful of unknowns
_EDGE = 0.997
_WARM_SD, _LEAST_LIMIT_K = 1.2, 0.5  # of every unknown at once: where the bound is
_REACH = 2.5  # draws are followed to so many times the nominal time, further where that is not enough
_AFTERWARDS_S = np.concatenate([np.zeros(1), np.geomspace(0.5, 3600.0, 40)])


def draw_of(unknown: Floats) -> Draw:
    """A draw from (unknowns,): ln heat, mm, ln film by way, ln bulk, K of ambient; many from (holders, unknowns)."""
    heat, length_mm, *films, bulk, ambient_k = np.moveaxis(unknown, -1, 0)[..., None] if unknown.ndim > 1 else unknown
    return Draw(
        heat=np.exp(heat),
        length_mm=length_mm,
        film=tuple(np.exp(film) for film in films),
        bulk=np.exp(bulk),
        ambient_k=ambient_k,
    )


class Edge(NamedTuple):
    """One drawn holder and its course."""

    draw: Draw
    course: Course


class Bound:
    """One hold as its facts stand, ready to be asked what readings of it mean.

    Solving is done once; every set of readings is then put to the same solved holders.  simplified: it stood in more
    places than are solved, or longer in one than anybody watched, and is expected warmer than it is.
    """

    def __init__(
        self,
        profile: Profile,
        heat: Heat,
        stages: Sequence[Stage],
        room: Room,
        known: Known,
    ) -> None:
        self.stages, self.room, self._heat = few(stages), room, heat
        self._profile, self._known = profile, known
        self.simplified = len(self.stages) < len(stages) or any(stage.longer_s == math.inf for stage in stages)
        stages = self.stages
        self._mesh, self._coarse = (mesh_for(profile, heat, stages, grid) for grid in (FINE, COARSE))
        ways = {stage.way for stage in stages}
        if any(stage.wet_length_mm is not None for stage in stages):
            ways.add(Way.FREE_AIR)
        found = [way for way in WAYS if way in ways]
        nominal, skin = np.zeros(UNKNOWNS), unknown_mean()
        nominal[: 1 + len(WAYS) + 1] = np.insert(known.mean, 1, 0.0)
        self._middle = nominal + skin
        for way in found:
            # What readings found of a film, they found on the real skin.
            nominal[_FILM + WAYS.index(way)] += math.log(SKIN) * (1 - known.film_var_share(way))
        self._moved = (_HEAT, _LENGTH, _BULK, *(_FILM + WAYS.index(way) for way in found), _AMBIENT)
        self._films = found
        cov = _covariance(profile, known, found, ambient_sd_k(room, stages))
        self._expected = Normal(self._middle[list(self._moved)], cov)
        self.stages = self._longest(taken(stages))
        about, self._nominal = self._solved(self._middle, nominal)
        self._surface = Surface(self._middle, self._axes(), self._courses, about)
        self._rise_k = max(heat.temp_c - room.ambient_c, (heat.body_c or room.ambient_c) - room.ambient_c, 1.0)

    def _axes(self) -> list[Axis]:
        found = []
        sds = np.sqrt(np.diag(self._expected.cov))
        for at, index in enumerate(self._moved[:-1]):
            is_film = _FILM <= index < _BULK
            power = 1 if is_film else -1 if index == _BULK else 0
            warm = -1 if is_film else 1
            # Heat is a factor on every excess, radiation apart.
            found.append(Axis(index, float(self._middle[index]), float(sds[at]), power, warm, index != _HEAT))
        return found

    def _longest(self, choices: Sequence[tuple[Stage, ...]]) -> tuple[Stage, ...]:
        """Of stays of unknown length the one that keeps a holder hot longest which is warm in every way."""
        if len(choices) == 1:
            return choices[0]
        warm = self._middle.copy()
        for axis in self._axes():
            warm[axis.at] += _WARM_SD * axis.warm * axis.sd
        draw = draw_of(warm)
        # They part only where the stay of unknown length ends: up to there one is solved for all.
        each = zip(*(exchanges(self._coarse, stages, self.room, draw) for stages in choices), strict=True)
        together = [
            replace(stages[0], longer=tuple(dict.fromkeys(longer for stage in stages for longer in stage.longer)))
            for stages in each
        ]
        courses = flows(self._coarse, start_of(self._coarse, self._heat, self.room, draw), together)
        limit_k = self.room.limit_c - self.room.ambient_c - _WARM_SD * self.room.ambient_sd_k
        return choices[longest(courses, max(limit_k / GUARD, _LEAST_LIMIT_K))]

    @cached_property
    def others(self) -> tuple[Bound, ...]:
        """The same hold had it stood for the shortest or longest time where nobody saw for how long.

        A reading that shows little is of a holder that cooled fast, or of one whose heat is still behind the spot.
        """
        return tuple(
            Bound(self._profile, self._heat, stages, self.room, self._known) for stages in other_ends(self.stages)
        )

    @cached_property
    def at_once(self) -> Course | None:
        """The expected holder had it stood nowhere for longer than was counted: hotter at first than one whose heat
        went deeper meanwhile.  None where it did not."""
        stages = [stage._replace(longer_s=0.0, taken=None) for stage in self.stages]
        if list(self.stages) == stages:
            return None
        draw = draw_of(self._middle)
        start = start_of(self._mesh, self._heat, self.room, draw)
        return flow(self._mesh, start, exchanges(self._mesh, stages, self.room, draw))

    @property
    def runs(self) -> int:
        """How many solutions an assessment takes, the take-out time apart."""
        return self._surface.courses.count + 2

    def _flows(self, mesh: Mesh, unknowns: Sequence[Floats]) -> Courses:
        draws = draw_of(np.array(unknowns))
        return flows(
            mesh, start_of(mesh, self._heat, self.room, draws), exchanges(mesh, self.stages, self.room, draws)
        )

    def _courses(self, unknowns: Sequence[Floats]) -> Courses:
        return self._flows(self._coarse, unknowns)

    def _solved(self, *unknowns: Floats) -> list[Course]:
        return self._flows(self._mesh, unknowns).each()

    def draw(self, times_s: Floats, touches: Sequence[Touch] = ()) -> Draws:
        """The holders it may be, followed at `times_s`, ascending.  touches: read of this heat and not doubted."""
        return self._draws(touches, times_s, self._surface.spots(times_s))

    def _draws(self, touches: Sequence[Touch], times_s: Floats, spots: Floats) -> Draws:
        used = told_apart(touches)[-_MOST_TOUCHES:]
        room = self.room
        setting = Setting(self._moved, self._middle, room.ambient_c, room.limit_c, self._rise_k, GUARD)
        return Draws(self._surface, setting, self._expected, used, times_s, spots)

    @cached_property
    def _followed(self) -> tuple[float, Floats, Floats]:
        """How long draws are followed at first, at which moments, and what the surface fits there."""
        limit_k = limit_over_ambient_k(self.room)
        worth_s = grid(self._nominal, limit_k, self.room.tolerance_um)
        until_s = max(float(worth_s[-1]), _REACH * touch_safe_of(self._nominal, limit_k))
        times_s = moments(self.stages, until_s)
        return until_s, times_s, self._surface.spots(times_s)

    def drawn(self, touches: Sequence[Touch]) -> Draws:
        """The holders it may be, followed until few enough are still hot.  touches: as in `draw`."""
        until_s, times_s, spots = self._followed
        draws = self._draws(touches, times_s, spots)
        while not math.isfinite(draws.kept_s()) and until_s < HORIZON_S:  # a holder on the warm side takes longer
            until_s *= 2.0
            draws = self.draw(moments(self.stages, until_s), touches)
        return draws

    def nominal(self, draws: Draws | None = None) -> Course:
        """The holder to expect: before any reading of this heat as the outline is counted, then as the draws say."""
        if draws is None or not draws.touched:
            return self._nominal
        return self._solved(self._full(draws.weight @ draws.values))[0]

    def _full(self, values: Floats) -> Floats:
        unknown = self._middle.copy()
        unknown[list(self._moved)] = values
        return unknown

    def expected_and_edge(self, draws: Draws) -> tuple[Course, Edge]:
        """`nominal`, and a holder beyond the edge of the bound, for what is not drawn: the middle of the draws about a
        later time.  Together they cost little more than one.

        What delays the end of a wet stage is not quite what makes steel warm up after it: further out covers that.
        """
        edge = self._full(draws.on_edge(_EDGE))
        means = [self._full(draws.weight @ draws.values)] if draws.touched else []
        *expected, course = self._solved(*means, edge)
        return expected[0] if expected else self._nominal, Edge(draw_of(edge), course)

    def prediction(self, draws: Draws, zone: Zone, at_s: float) -> Prediction:
        """What a reading should show, after what was read before it."""
        shown = draws.shown(zone, np.array([at_s]))[:, 0]
        expected_c = float(draws.weight @ shown)
        spread_k = math.sqrt(float(draws.weight @ (shown - expected_c) ** 2))
        usual_c, slopes = draws.slopes(zone, at_s)
        if self.simplified:  # what is off then is no lesson about films
            slopes = np.zeros_like(slopes)
        by_film = {way: round(float(slopes[3 + at]), 2) for at, way in enumerate(self._films)}
        other = sum(slopes[at] ** 2 * self._expected.cov[at, at] for at in (1, 2, -1))
        about = self._expected.mean
        return Prediction(
            ambient_c=self.room.ambient_c,
            expected_c=round(expected_c, 2),
            by_heat_k=round(float(slopes[0]), 2),
            by_film_k=by_film[self.stages[-1].way],
            other_sd_k=round(math.sqrt(other), 2),
            spread_k=round(spread_k, 2),
            usual_c=round(usual_c, 2),
            about_heat=round(float(about[0]), 4),
            films=tuple(
                FilmSlope(way, None, by_film[way], round(float(about[3 + at]), 4)) for at, way in enumerate(self._films)
            ),
        )

    def take_out_s(self, edge: Edge) -> float | None:
        """Earliest moment in a wet last stage from which free air lets nothing rise above the limit, at 99 %."""
        stage = self.stages[-1]
        if not stage.way.wet:
            return None
        exchange = exchanges(self._mesh, [Stage(Way.FREE_AIR, 0.0)], self.room, edge.draw)
        start = start_of(self._mesh, self._heat, self.room, edge.draw)
        allowed_k = (self.room.limit_c - edge.course.ambient_c) / GUARD

        def safe(after_s: float) -> bool:
            excess = edge.course.state(stage.start_s + after_s)
            # Hotter skin than is allowed is no less hot for being looked at later, and no skin gets hotter than the
            # hottest inside: only in between is there anything to solve.
            if excess[self._mesh.skin].max() > allowed_k or excess.max() <= allowed_k:
                return bool(excess.max() <= allowed_k)
            course = flow(self._mesh, start._replace(excess=excess), exchange)
            return bool(course.hottest(_AFTERWARDS_S).max() <= allowed_k)

        high = 15.0
        while not safe(high):
            if high > 4000.0:
                return None
            high *= 2
        low = high / 2 if high > 15.0 else 0.0
        while high - low > max(1.0, 0.02 * high):
            middle = (low + high) / 2
            low, high = (low, middle) if safe(middle) else (middle, high)
        return float(math.ceil(stage.start_s + high))


def ambient_sd_k(room: Room, stages: Sequence[Stage]) -> float:
    """Standard deviation of what a holder stands in about the shop's temperature: water has no thermometer in it."""
    return max(room.ambient_sd_k, AMBIENT_K.whole) if stages[-1].way.wet else room.ambient_sd_k


def _covariance(profile: Profile, known: Known, ways: Sequence[Way], air_sd_k: float) -> Floats:
    """(moved, moved) of what was expected before any reading of this heat."""
    bulk = BULK_ASSUMED if profile.assumed else BULK_ENTERED
    taught = [0, *(1 + WAYS.index(way) for way in ways)]
    fresh = [HEAT_LEVEL.fresh**2, *(FILM[way].fresh ** 2 for way in ways)]
    inner = known.cov[np.ix_(taught, taught)] + np.diag(fresh)
    cov = np.diag([0.0, HEATED_LENGTH_MM.whole**2, bulk.whole**2, *(0.0 for _ in ways), air_sd_k**2])
    at = [0, *range(3, 3 + len(ways))]
    cov[np.ix_(at, at)] = inner
    return cov


def unknown_mean() -> Floats:
    """(unknowns,) what to expect before any reading, in the order `draw_of` takes them."""
    mean = np.zeros(UNKNOWNS)
    mean[_FILM:_BULK] = math.log(SKIN)
    return mean


def learnt_sd(profile: Profile) -> Floats:
    """(unknowns,) standard deviations between holder types and places."""
    return np.array([*(spread.learnt for spread in _spreads(profile)), AMBIENT_K.learnt])


def fresh_sd(profile: Profile, air_sd_k: float = AMBIENT_K.fresh) -> Floats:
    """(unknowns,) standard deviations from heat to heat.  air_sd_k: of the air it stands in."""
    return np.array([*(spread.fresh for spread in _spreads(profile)), air_sd_k])


def unknown_sd(profile: Profile, air_sd_k: float = AMBIENT_K.whole) -> Floats:
    """(unknowns,) standard deviations before any reading.  air_sd_k: of the air it stands in."""
    return np.array([*(spread.whole for spread in _spreads(profile)), air_sd_k])


def _spreads(profile: Profile) -> list[Spread]:
    bulk = BULK_ASSUMED if profile.assumed else BULK_ENTERED
    return [HEAT_LEVEL, HEATED_LENGTH_MM, *(FILM[way] for way in WAYS), bulk]
