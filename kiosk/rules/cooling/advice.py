"""What to do to be sooner: the next moment and spot to probe, and what the reading would mean.

Every reading that may come is tried on the draws of the hold: each shows something at a spot and moment, and what it
shows weighs the others.  Best is the spot and moment after which the holder is free soonest on average.  It never
promises: a reading that comes is judged and counted as any other.  Computed when the facts of a hold change.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kiosk.rules.belief import PROBE_TOLERANCE_K, Instrument
from kiosk.rules.cooling.likelihood import right_density, wrong_density
from kiosk.rules.cooling.mesh import Floats, Zone
from kiosk.rules.cooling.posterior import Draws
from kiosk.rules.cooling.touches import Touch
from kiosk.rules.cooling.unknowns import WRONG

SPOTS = (Zone.NOSE, Zone.FLANGE, Zone.SHANK)
_IN_S = (0.0, 300.0, 600.0, 900.0, 1200.0, 1800.0, 2700.0, 3600.0)
_SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)  # of what may be read
_WORTH_S, _WORTH_SHARE = 60.0, 0.05  # a shortening under both is not worth a walk
_TELLS_S = 60.0  # what is free by so little later is no other news
_SOON = 0.9  # probing now is as good as later if it saves so much of it


@dataclass(frozen=True, slots=True)
class Advice:
    """Where and when to probe next; seconds since heating.

    under_c: the reading that parts good news from bad.  free_s: free by then if it is under that.  else_s: free by
    about then otherwise.  saves_s: expected shortening of the hold.
    """

    where: Zone
    at_s: float
    under_c: float
    free_s: float
    else_s: float
    saves_s: float


def advise(
    draws: Draws, now_s: float, hold_s: float, tolerance_k: float = PROBE_TOLERANCE_K
) -> Advice | None:
    """The best next reading, or None where none is worth it.  now_s, hold_s: since heating.  tolerance_k: the probe's
    limit of error."""
    if now_s >= hold_s:
        return None
    moments = np.array([now_s + later_s for later_s in _IN_S if now_s + later_s < hold_s])
    shown = {zone: draws.shown(zone, moments) for zone in draws.surface.zones}
    best: list[Advice] = []
    for at, moment_s in enumerate(moments.tolist()):
        then = {zone: values[:, at] for zone, values in shown.items()}
        tried = [
            _tried(draws, then, Touch(moment_s, zone, Instrument.PROBE, 0.0, tolerance_k=tolerance_k), hold_s)
            for zone in then
            if zone in SPOTS
        ]
        best.append(max(tried, key=lambda advice: advice.saves_s))
    most = max(best, key=lambda advice: advice.saves_s)
    if most.saves_s < max(_WORTH_S, _WORTH_SHARE * (hold_s - now_s)):
        return None
    return next(advice for advice in best if advice.saves_s >= _SOON * most.saves_s)


def _tried(draws: Draws, shown: dict[Zone, Floats], touch: Touch, hold_s: float) -> Advice:
    """What readings at a spot and moment would do, whatever they show.  shown: (draws,) °C at each zone then."""
    here = shown[touch.zone]
    ascending = np.argsort(here, kind="stable")
    shares = np.cumsum(draws.weight[ascending])
    values = here[ascending[np.minimum(np.searchsorted(shares, _SHARES), len(here) - 1)]]
    free = [_free_s(draws, shown, touch._replace(value_c=float(value))) for value in values]
    parts = len(free) // 2  # what is read in the middle, or warmer where that is free as soon: at once, mostly
    while parts + 1 < len(free) and free[parts + 1] < max(free[: parts + 1]) + _TELLS_S:
        parts += 1
    return Advice(
        where=touch.zone,
        at_s=touch.at_s,
        under_c=float(math.floor(values[parts])),
        free_s=max(free[: parts + 1]),
        else_s=max(free[: parts + 2]) if parts + 1 < len(free) else max(hold_s, *free),
        saves_s=hold_s - sum(min(each, hold_s) for each in free) / len(free),
    )


def _free_s(draws: Draws, shown: dict[Zone, Floats], touch: Touch) -> float:
    """From when it is free at the bound's share if a probe shows that then."""
    others = [values for zone, values in shown.items() if zone is not touch.zone]
    right = right_density(touch, draws.setting, shown[touch.zone])
    wrong = wrong_density(touch, draws.setting, shown[touch.zone], others)
    free_s = draws.kept_s((1 - WRONG) * right + WRONG * wrong)
    return max(min(free_s, float(draws.times_s[-1])), touch.at_s)
