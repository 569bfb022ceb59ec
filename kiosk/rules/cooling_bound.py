"""The 99 % side of a hold: one nominal course and one for each thing that is not known.

It must never bound times directly: they jump when a re-soak just misses the limit, while temperatures are
smooth in the unknowns.  So the shifts of temperature are added as independent errors are, which is a
first-order reliability bound.  Spreads: `cooling_unknowns`, narrowed by what readings taught (`belief`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from kiosk.rules.belief import Belief, Prediction, prior
from kiosk.rules.cooling_flow import Course, flow
from kiosk.rules.cooling_mesh import ZONES, Floats, Zone
from kiosk.rules.cooling_stand import WAYS, Draw, Heat, Room, Stage, excess_at_start, exchanges, mesh_for
from kiosk.rules.cooling_unknowns import (
    AMBIENT_K,
    BETA,
    BULK_ASSUMED,
    BULK_ENTERED,
    FILM,
    HEAT_LEVEL,
    HEATED_LENGTH_MM,
    SKIN,
    Spread,
    Way,
)
from kiosk.rules.outline import Profile

# On every excess shown or judged: this grid and the reference's differ by up to 1 % of it.
GUARD = 1.01
_HEAT, _LENGTH, _FILM, _BULK, _AMBIENT = 0, 1, 2, 2 + len(WAYS), 3 + len(WAYS)
UNKNOWNS = 4 + len(WAYS)
_AFTERWARDS_S = np.concatenate([np.zeros(1), np.geomspace(0.5, 3600.0, 40)])


def draw_of(unknown: Floats) -> Draw:
    """A draw from (unknowns,): ln heat, mm, ln film by way, ln bulk, K of ambient."""
    return Draw(
        heat=math.exp(unknown[_HEAT]),
        length_mm=float(unknown[_LENGTH]),
        film=tuple(math.exp(unknown[_FILM + index]) for index in range(len(WAYS))),
        bulk=math.exp(unknown[_BULK]),
        ambient_k=float(unknown[_AMBIENT]),
    )


class Look(NamedTuple):
    """Guarded excess over ambient of the hottest point, K, at `times_s` (t,).

    nominal_k, high_k: now.  later_k: (1 + moved unknowns, t) and high_later_k: the hottest from then on.
    """

    times_s: Floats
    nominal_k: Floats
    high_k: Floats
    later_k: Floats
    high_later_k: Floats


class Edge(NamedTuple):
    """One drawn holder and its course."""

    draw: Draw
    course: Course


class Fan:
    """The nominal course and one course for each thing that is not known, moved to its 99 % side.

    Shifts are added as independent errors are: a first-order reliability bound taken on temperatures, which
    are smooth in the unknowns, and not on times, which jump.
    """

    def __init__(
        self, profile: Profile, heat: Heat, stages: Sequence[Stage], room: Room, beliefs: Mapping[Way, Belief]
    ) -> None:
        self._stages, self._room, self._heat = stages, room, heat
        self._mesh = mesh_for(profile, heat, stages)
        ways = {stage.way for stage in stages}
        if any(stage.wet_length_mm is not None for stage in stages):
            ways.add(Way.FREE_AIR)
        self._way = stages[-1].way
        held = {way: beliefs.get(way) or prior(way) for way in ways}
        self._mean = np.zeros(UNKNOWNS)
        self._mean[_HEAT] = held[self._way].heat
        self._skin = unknown_mean()
        for way, belief in held.items():
            self._mean[_FILM + WAYS.index(way)] = belief.film
            # What readings found of a film, they found on the real skin.
            self._skin[_FILM + WAYS.index(way)] *= belief.var_film / FILM[way].learnt ** 2
        self._moves = _moves(self._way, held, profile)
        self.nominal = self._course(self._mean)
        self._others = [self._course(self._mean + move) for move in self._moves]

    @property
    def runs(self) -> int:
        """How many solutions an assessment takes: nominal, one for each unknown, and the edge."""
        return 2 + len(self._others)

    def _course(self, unknown: Floats) -> Course:
        draw = draw_of(unknown)
        return flow(
            self._mesh,
            excess_at_start(self._mesh, self._heat, self._room, draw),
            self._room.ambient_c + draw.ambient_k,
            exchanges(self._mesh, self._stages, self._room, draw),
            draw.bulk,
        )

    def look(self, times: Floats) -> Look:
        """The nominal and the 99 % side at some moments, ascending."""
        each = GUARD * np.stack([course.hottest(times) for course in (self.nominal, *self._others)])
        later = np.maximum.accumulate(each[:, ::-1], axis=1)[:, ::-1]
        ambient_k = BETA * AMBIENT_K.whole
        shift, later_shift = (np.sqrt(((rows[1:] - rows[0]) ** 2).sum(axis=0) + ambient_k**2) for rows in (each, later))
        return Look(times, each[0], each[0] + shift, later, later[0] + later_shift)

    def edge(self, look: Look, limit_k: float) -> Edge:
        """The holder at the 99 % edge: every unknown moved in proportion to what it does when the bound is
        reached.  Its course carries what adding shifts leaves out, that one unknown makes another worse."""
        over = np.flatnonzero(look.high_later_k > limit_k)
        then = look.later_k[:, int(over[-1]) if len(over) else 0]
        steps = [float(other - then[0]) for other in then[1:]]
        steps.append(BETA * AMBIENT_K.whole)
        size = math.sqrt(sum(step * step for step in steps))
        unknown = self._mean + self._skin
        moves = [*self._moves, _ambient_move()]
        for move, step in zip(moves, steps, strict=True):
            unknown += move * max(step, 0.0) / size
        draw = draw_of(unknown)
        return Edge(draw, self._course(unknown))

    def take_out_s(self, edge: Edge) -> float | None:
        """Earliest moment in a wet last stage from which free air lets nothing rise above the limit, at 99 %."""
        stage = self._stages[-1]
        if not stage.way.wet:
            return None
        exchange = exchanges(self._mesh, [Stage(Way.FREE_AIR, 0.0)], self._room, edge.draw)
        allowed_k = (self._room.limit_c - edge.course.ambient_c) / GUARD

        def safe(after_s: float) -> bool:
            excess = edge.course.state(stage.start_s + after_s)
            course = flow(self._mesh, excess, edge.course.ambient_c, exchange, edge.draw.bulk)
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

    def prediction(self, zone: Zone, at_s: float) -> Prediction:
        here = self._mesh.zone == ZONES.index(zone)
        if not here.any():
            here = self._mesh.zone == ZONES.index(Zone.NOSE)
        moment = np.array([at_s])

        def shown(course: Course) -> Floats:
            skin: Floats = course.skin(moment)[here, 0]
            return skin

        nominal = shown(self.nominal)
        expected = float(nominal.max())
        step = 0.05
        slopes = []
        for index in (_HEAT, _FILM + WAYS.index(self._way)):
            unknown = self._mean.copy()
            unknown[index] += step
            slopes.append((float(shown(self._course(unknown)).max()) - expected) / step)
        # Everything but heat level and this place's film, and where in the zone the probe sits.
        other = AMBIENT_K.whole**2 + ((expected - float(nominal.mean())) / 2) ** 2 + (0.01 * expected) ** 2
        for course in self._others[2:]:
            other += ((float(shown(course).max()) - expected) / BETA) ** 2
        return Prediction(
            ambient_c=self._room.ambient_c,
            expected_c=round(self._room.ambient_c + expected, 2),
            by_heat_k=round(slopes[0], 2),
            by_film_k=round(slopes[1], 2),
            other_sd_k=round(math.sqrt(other), 2),
        )


def _moves(way: Way, held: Mapping[Way, Belief], profile: Profile) -> list[Floats]:
    """(unknowns,) for each independent unknown, moved to its 99 % side; the first two are heat and `way`'s film."""
    film = _FILM + WAYS.index(way)
    var_heat, var_film, cov = held[way].total()
    values, vectors = np.linalg.eigh(np.array([[var_heat, cov], [cov, var_film]]))
    found = []
    for value, vector in zip(values, vectors.T, strict=True):
        move = np.zeros(UNKNOWNS)
        sign = 1.0 if vector[0] - vector[1] > 0 else -1.0  # more heat, less film
        move[[_HEAT, film]] = sign * BETA * math.sqrt(max(value, 0.0)) * vector
        found.append(move)
    for other, belief in held.items():
        if other is not way:
            move = np.zeros(UNKNOWNS)
            move[_FILM + WAYS.index(other)] = -BETA * math.sqrt(belief.total()[1])
            found.append(move)
    move = np.zeros(UNKNOWNS)
    move[_LENGTH] = BETA * HEATED_LENGTH_MM.whole
    found.append(move)
    move = np.zeros(UNKNOWNS)
    move[_BULK] = BETA * (BULK_ASSUMED if profile.assumed else BULK_ENTERED).whole
    found.append(move)
    return found


def _ambient_move() -> Floats:
    move = np.zeros(UNKNOWNS)
    move[_AMBIENT] = BETA * AMBIENT_K.whole
    return move


def unknown_mean() -> Floats:
    """(unknowns,) what to expect before any reading, in the order `draw_of` takes them."""
    mean = np.zeros(UNKNOWNS)
    mean[_FILM:_BULK] = math.log(SKIN)
    return mean


def learnt_sd(profile: Profile) -> Floats:
    """(unknowns,) standard deviations between holder types and places."""
    return np.array([spread.learnt for spread in _spreads(profile)])


def fresh_sd(profile: Profile) -> Floats:
    """(unknowns,) standard deviations from heat to heat."""
    return np.array([spread.fresh for spread in _spreads(profile)])


def unknown_sd(profile: Profile) -> Floats:
    """(unknowns,) standard deviations before any reading."""
    return np.array([spread.whole for spread in _spreads(profile)])


def _spreads(profile: Profile) -> list[Spread]:
    bulk = BULK_ASSUMED if profile.assumed else BULK_ENTERED
    return [HEAT_LEVEL, HEATED_LENGTH_MM, *(FILM[way] for way in WAYS), bulk, AMBIENT_K]
