"""What earlier heats can be worth: the shortest hold any way of learning allows, beside the one a kiosk says.

As `cooling_ladder`, on the fitted surface.  Types are drawn, six heats of each are drawn and read once each by a probe
at the nose, and the seventh is held.  Many other types, each weighed by how likely its heats, whatever is new in each,
make all six readings, give the shortest time that keeps the promise: exact in everything that learning takes as normal
and linear.  Beside it what knowing all that stays the same for sure would allow, and all that types have in common.
Medians over types, in true times:

    python -m kiosk.bench.cooling_ladder_heats --draws 8 --only sleeve30
"""

from __future__ import annotations

import argparse
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from kiosk.bench.cooling_chance import ROOM, Scene, scenes
from kiosk.bench.cooling_ladder import times_until
from kiosk.rules.belief import PROBE_TOLERANCE_K, Instrument, Lesson, Standing, take
from kiosk.rules.cooling.assessment import Touch, Way, Zone, assess_bound, bound_of, predict_bound
from kiosk.rules.cooling.bound import fresh_sd, learnt_sd
from kiosk.rules.cooling.likelihood import right_density, wrong_density
from kiosk.rules.cooling.mesh import Floats
from kiosk.rules.cooling.posterior import Draws
from kiosk.rules.cooling.unknowns import COMMON, SURE, WRONG, Promise
from kiosk.rules.lessons import Heats

_TYPES, _HEATS_EACH = 2500, 24  # types a truth is compared with, and heats of each
_LEAST_S = 60.0
_REACH = 3.0  # holders are followed to so many holds
_PLAIN = (Promise(1.0, 0.99),)
STEPS: Mapping[str, tuple[Sequence[Promise], bool]] = {
    "exact": (_PLAIN, False),  # 99 % with every reading right and known to be
    "wider": ((*_PLAIN, Promise(1.2, 0.98)), False),  # and 98 % were every spread a fifth wider
    "wrong": ((*_PLAIN, Promise(1.2, 0.98)), True),  # some readings are wrong
    "sure": (SURE, True),  # what the promises keep back
}


class Rung(NamedTuple):
    """The seventh heat of one type.  held: step -> hold over true time."""

    cooled: str
    held: dict[str, float]


class _Many:
    """Types and heats of each, on the surface of a hold nothing was read for.  types, heats: standard normal draws."""

    def __init__(self, scene: Scene, draws: Draws, air_sd_k: float, rng: np.random.Generator) -> None:
        self.draws, mean, moved = draws, draws.expected.mean, list(draws.setting.moved)
        self.learnt_sd = learnt_sd(scene.profile)[moved]
        self.fresh_sd = fresh_sd(scene.profile, air_sd_k)[moved]
        self.types = rng.standard_normal((_TYPES, len(mean))) * (self.learnt_sd > 0)
        self.heats = rng.standard_normal((_TYPES, _HEATS_EACH, len(mean)))
        self.values = (self.of_types(self.types)[:, None] + self.heats * self.fresh_sd).reshape(-1, len(mean))
        self.safe_s = self._safe_from_s(self.values)
        self._order = np.argsort(self.safe_s)
        self._types_square, self._heats_square = (self.types**2).sum(axis=1), (self.heats**2).sum(axis=2)

    def of_types(self, points: Floats) -> Floats:
        return np.asarray(self.draws.expected.mean + points * self.learnt_sd, np.float64)

    def _safe_from_s(self, values: Floats) -> Floats:
        parts = np.array_split(values, max(len(values) // 2000, 1))
        return np.concatenate([self.draws.safe_from_s(part) for part in parts])

    def heat_weight(self, width: float) -> Floats:
        """(types, heats) of each type's heats, if what is new in each were so many times as wide."""
        weight = np.exp(-0.5 * self._heats_square * (1.0 / width**2 - 1.0))
        return np.asarray(weight / weight.sum(axis=1, keepdims=True), np.float64)

    def kept_s(self, ln_likely: Mapping[float, Floats], promises: Sequence[Promise], me: int) -> float:
        """ln_likely: width -> (types,) of what was read.  me: the type that is the truth, no witness of itself."""
        latest_s = 0.0
        for promise in promises:
            seen = ln_likely[promise.width]
            weight = np.exp(seen - seen.max() - 0.5 * self._types_square * (1.0 / promise.width**2 - 1.0))
            weight[me] = 0.0
            upto = np.cumsum((weight[:, None] * self.heat_weight(promise.width)).ravel()[self._order])
            at = min(int(np.searchsorted(upto, promise.share * upto[-1])), len(upto) - 1)
            latest_s = max(latest_s, float(self.safe_s[self._order][at]))
        return latest_s

    def if_known_s(self, me: int, common: float, rng: np.random.Generator) -> float:
        """Of a type whose common share of what is learnable is known for sure, 99 %."""
        rest = rng.standard_normal((4000, self.types.shape[1])) * np.sqrt(1.0 - common)
        of_types = self.of_types(np.sqrt(common) * self.types[me] + rest)
        heats = rng.standard_normal(of_types.shape) * self.fresh_sd
        return float(np.quantile(self._safe_from_s(of_types + heats), 0.99))


def rungs(scene: Scene, each: int, heats: int, tolerance_k: float, air_sd_k: float, seed: int = 1) -> Iterator[Rung]:
    """Types of a scene, `each` of them.  tolerance_k: of the probe."""
    room = ROOM._replace(ambient_sd_k=air_sd_k)
    bound = bound_of(scene.profile, scene.heat, scene.stages, room)
    unread = assess_bound(bound)
    unread_s = unread.hold_s or float("inf")
    draws = bound.draw(times_until(bound.stages, _REACH * unread_s))
    rng = np.random.default_rng([seed, zlib.crc32(scene.name.encode()), heats])
    many = _Many(scene, draws, air_sd_k, rng)
    places: dict[Way, str | None] = {stage.way: stage.way.value for stage in scene.stages}
    start_s, long_s = scene.stages[-1].start_s, max(unread.touch_safe_s, _LEAST_S)
    for _ in range(each):
        me = int(rng.integers(_TYPES))
        own = many.of_types(many.types[me]) + rng.standard_normal((heats + 1, len(draws.expected.mean))) * many.fresh_sd
        true_s = max(float(draws.safe_from_s(own[-1:])[0]), 1.0)
        likely = {step: {width: np.zeros(_TYPES) for width in (1.0, 1.2)} for step in ("right", "mixed")}
        book, standing = Heats(), Standing()
        for heating in range(heats):
            at_s = start_s + float(rng.uniform(0.3, 1.0)) * long_s
            moment = np.array([at_s])
            touch = Touch(at_s, Zone.NOSE, Instrument.PROBE, 0.0, tolerance_k=tolerance_k)
            nose_c = float(draws.shown(Zone.NOSE, moment, own[heating : heating + 1])[0, 0])
            base_k, share = touch.noise
            sd_k = base_k + share * (nose_c - room.ambient_c)
            touch = touch._replace(value_c=round(nose_c + sd_k * float(rng.standard_normal()), 1))
            shown = {zone: draws.shown(zone, moment, many.values)[:, 0] for zone in draws.surface.zones}
            there = shown.pop(Zone.NOSE)
            right = right_density(touch, draws.setting, there).reshape(_TYPES, -1)
            wrong = wrong_density(touch, draws.setting, there, list(shown.values())).reshape(_TYPES, -1)
            for width in (1.0, 1.2):
                weight = many.heat_weight(width)
                likely["right"][width] += np.log((weight * right).sum(axis=1) + 1e-300)
                likely["mixed"][width] += np.log((weight * ((1 - WRONG) * right + WRONG * wrong)).sum(axis=1))
            taught = bound_of(scene.profile, scene.heat, scene.stages, room, book.known("", places))
            seen = predict_bound(taught, Zone.NOSE, at_s)
            seen = replace(seen, films=tuple(replace(film, place=places[film.way]) for film in seen.films))
            way = scene.stages[-1].way
            lesson = Lesson(1e4 * heating, Zone.NOSE, touch.instrument, touch.value_c, seen, way, "", heating, heating)
            standing, _, accepted = take(standing, lesson)
            for one in accepted:
                book.add(one)
        held = {
            step: many.kept_s(likely["mixed" if mixed else "right"], promises, me)
            for step, (promises, mixed) in STEPS.items()
        }
        held |= {"nothing": unread_s, "shop": many.if_known_s(me, COMMON, rng), "known": many.if_known_s(me, 1.0, rng)}
        taught = bound_of(scene.profile, scene.heat, scene.stages, room, book.known("", places))
        held["hold"] = assess_bound(taught).hold_s or float("inf")
        yield Rung(scene.cooled, {step: each_s / true_s for step, each_s in held.items()})


def table(found: Sequence[Rung]) -> Iterator[str]:
    """Lines by way of cooling: medians over types of each step."""
    names = ["nothing", "shop", "known", *STEPS, "hold"]
    yield f"{'':9} {'n':>5}" + "".join(f"{name:>9}" for name in names)
    for way in [*sorted({rung.cooled for rung in found}), "all"]:
        some = [rung.held for rung in found if way in ("all", rung.cooled)]
        yield f"{way:9} {len(some):5}" + "".join(f"{np.median([one[name] for one in some]):9.2f}" for name in names)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=8, help="types of each scene")
    parser.add_argument("--only", default="", help="scenes whose names hold this")
    parser.add_argument("--heats", type=int, default=6, help="heats that are read once each")
    parser.add_argument("--tolerance", type=float, default=PROBE_TOLERANCE_K, help="limit of error of the probe, K")
    parser.add_argument("--air", type=float, default=ROOM.ambient_sd_k, help="standard deviation of the air, K")
    given = parser.parse_args()
    some = [scene for scene in scenes() if given.only in scene.name]
    found = [
        rung for scene in some for rung in rungs(scene, given.draws, given.heats, given.tolerance, given.air)
    ]
    print("\n".join(table(found)))


if __name__ == "__main__":
    main()
