"""Where the time of a hold goes: from the shortest that keeps its promise to the one a kiosk says, step by step.

Many holders are drawn from what is expected, all on the fitted surface, so that the surface's own error has no part in
it.  Each in turn is the truth, read by a probe at the nose at 30 to 70 % of the nominal time and once more later;
the others, weighed by how likely they make what was read, give the shortest time that keeps 99 %.  No bound that keeps
its promise after every reading can be shorter.  Medians over holders, in true times:

    python -m kiosk.bench.cooling_ladder --draws 24 --only sleeve30 --tolerance 1.5 --air 0.8
"""

from __future__ import annotations

import argparse
import zlib
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from kiosk.bench.cooling_chance import AGAIN_S, ROOM, Scene, scenes
from kiosk.rules.belief import PROBE_TOLERANCE_K, Instrument
from kiosk.rules.cooling.assessment import Stage, Touch, Zone, assess_bound, bound_of
from kiosk.rules.cooling.likelihood import right_density, wrong_density
from kiosk.rules.cooling.mesh import Floats
from kiosk.rules.cooling.unknowns import SURE, WRONG, Promise

_OTHERS = 12_000
_REACH = 3.0  # holders are followed to so many holds
STEPS = {
    "exact": ((Promise(1.0, 0.99),), False),  # 99 % with every reading right and known to be
    "wider": ((Promise(1.0, 0.99), Promise(1.2, 0.98)), False),  # and 98 % were every spread a fifth wider
    "wrong": ((Promise(1.0, 0.99), Promise(1.2, 0.98)), True),  # some readings are wrong
    "sure": (SURE, True),  # what the promises keep back
}


class Rung(NamedTuple):
    """One holder after so many readings.  held: step or `hold` -> hold over true time."""

    cooled: str
    readings: int
    held: dict[str, float]


def rungs(scene: Scene, each: int, tolerance_k: float, air_sd_k: float, seed: int = 1) -> Iterator[Rung]:
    """Holders of a scene: nothing read, one reading, two.  tolerance_k: of the probe."""
    bound = bound_of(scene.profile, scene.heat, scene.stages, ROOM._replace(ambient_sd_k=air_sd_k))
    unread = assess_bound(bound)
    unread_s = unread.hold_s or float("inf")
    until_s = _REACH * unread_s
    draws = bound.draw(times_until(bound.stages, until_s))
    rng = np.random.default_rng([seed, zlib.crc32(scene.name.encode())])
    points = rng.standard_normal((_OTHERS, len(draws.expected.mean)))
    values = draws.expected.mean + points @ np.linalg.cholesky(draws.expected.cov).T
    safe_s = np.concatenate([draws.safe_from_s(some) for some in np.array_split(values, 12)])
    square = (points * points).sum(axis=1)

    def kept_s(seen: Floats, promises: Sequence[Promise]) -> float:
        order = np.argsort(safe_s)
        latest_s = 0.0
        for promise in promises:
            wider = np.exp(-0.5 * square * (1.0 / promise.width**2 - 1.0))
            upto = np.cumsum((seen * wider)[order])
            latest_s = max(latest_s, float(safe_s[order][np.searchsorted(upto, promise.share * upto[-1])]))
        return latest_s

    for truth in range(each):
        at_s = float(rng.uniform(0.3, 0.7)) * unread.touch_safe_s
        moments_s = [at_s, at_s + float(rng.uniform(1.0, 1.4)) * AGAIN_S]
        true_s = max(float(safe_s[truth]), 1.0)
        others = np.arange(_OTHERS) != truth
        likely = {step: others.astype(float) for step in STEPS}
        touches: list[Touch] = []
        hold_s = unread_s
        for readings in range(3):
            if readings:
                moment_s = moments_s[readings - 1]
                if moment_s > hold_s:
                    break
                shown = {z: draws.shown(z, np.array([moment_s]), values)[:, 0] for z in draws.surface.zones}
                nose_c = shown.pop(Zone.NOSE)
                touch = Touch(moment_s, Zone.NOSE, Instrument.PROBE, 0.0, tolerance_k=tolerance_k)
                base_k, share = touch.noise
                sd_k = base_k + share * (nose_c[truth] - ROOM.ambient_c)
                touch = touch._replace(value_c=round(float(nose_c[truth] + sd_k * rng.standard_normal()), 1))
                touches.append(touch)
                right = right_density(touch, draws.setting, nose_c)
                wrong = wrong_density(touch, draws.setting, nose_c, list(shown.values()))
                for step, (_, mixed) in STEPS.items():
                    likely[step] = likely[step] * ((1 - WRONG) * right + WRONG * wrong if mixed else right)
                hold_s = max(assess_bound(bound, touches).hold_s or float("inf"), moment_s)
            held = {step: kept_s(likely[step], promises) / true_s for step, (promises, _) in STEPS.items()}
            yield Rung(scene.cooled, readings, held | {"hold": hold_s / true_s})


def times_until(stages: Sequence[Stage], until_s: float) -> Floats:
    """Moments at which holders are followed, seconds, ascending."""
    return np.unique(np.concatenate([[0.0], *_times(stages, until_s)]))


def _times(stages: Sequence[Stage], until_s: float) -> Iterator[Floats]:
    for stage in stages:
        start_s, end_s = stage.start_s, stage.end_s
        long_s = (until_s if end_s is None else end_s) - start_s
        if long_s > 0:
            yield start_s + np.geomspace(min(1.0, long_s), long_s, 60 if end_s is None else 20)


def table(found: Sequence[Rung]) -> Iterator[str]:
    """Lines by way of cooling: medians over holders of each step, after no reading, one, two."""
    names = [*STEPS, "hold"]
    head = "".join(f"{name:>7}" for name in names)
    yield f"{'':9}" + "  |".join(f"{head}" for _ in range(3))
    for way in [*sorted({rung.cooled for rung in found}), "all"]:
        cells = []
        for readings in range(3):
            some = [rung.held for rung in found if way in ("all", rung.cooled) and rung.readings == readings]
            cells.append("".join(f"{np.median([held[name] for held in some]) if some else 0:7.2f}" for name in names))
        yield f"{way:9}" + "  |".join(cells)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=12, help="holders of each scene")
    parser.add_argument("--only", default="", help="scenes whose names hold this")
    parser.add_argument("--tolerance", type=float, default=PROBE_TOLERANCE_K, help="limit of error of the probe, K")
    parser.add_argument("--air", type=float, default=ROOM.ambient_sd_k, help="standard deviation of the air, K")
    given = parser.parse_args()
    some = [scene for scene in scenes() if given.only in scene.name]
    print("\n".join(table([rung for scene in some for rung in rungs(scene, given.draws, given.tolerance, given.air)])))


if __name__ == "__main__":
    main()
