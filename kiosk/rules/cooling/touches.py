"""Readings of one heat as the bound counts them: which of them say something each, and which share an error.

It must never take a thousand readings of a thermometer that was left where it is for a thousand thermometers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from kiosk.rules.belief import PROBE_TOLERANCE_K, Instrument
from kiosk.rules.cooling.mesh import Zone

_APART_S = 60.0
_LEFT_S = 90.0  # what follows a reading so soon was never lifted off


class Touch(NamedTuple):
    """A thermometer's word about this heat.

    at_s: since heating.  sure: taken as surely right, noise apart.  alike: how many readings share its error, itself
    counted.  tolerance_k: limit of error of the probe.
    """

    at_s: float
    zone: Zone
    instrument: Instrument
    value_c: float
    sure: bool = False
    alike: int = 1
    tolerance_k: float = PROBE_TOLERANCE_K

    @property
    def noise(self) -> tuple[float, float]:
        """Standard deviation: K, and share of the excess over ambient."""
        base_k, share = self.instrument.noise_within(self.tolerance_k)
        together = math.sqrt(self.alike)
        return base_k * together, share * together

    @property
    def infrared(self) -> bool:
        return self.instrument is Instrument.INFRARED

    @property
    def order(self) -> tuple[float, str, str, float]:
        """Readings of the same moment have an order too, whichever was entered first."""
        return self.at_s, self.zone.value, self.instrument.value, self.value_c


def told_apart(touches: Sequence[Touch]) -> list[Touch]:
    """Readings that say something each, in order of time.

    A probe left where it is reads the same error again: of what one instrument shows at one spot within a minute the
    hottest counts, once, and all that follows one another without a pause shares one error, so that a logger's
    thousand say no more of the level than one.  Of such a row the first and last count, and whatever
    was hotter than all before it.  What was read before it began to cool says nothing about how it does.
    """
    ordered = sorted((touch for touch in touches if touch.at_s > 0), key=lambda touch: touch.order, reverse=True)
    kept: list[Touch] = []
    latest: dict[tuple[Zone, Instrument], tuple[float, int]] = {}
    for touch in ordered:
        end_s, at = latest.get((touch.zone, touch.instrument), (math.inf, 0))
        if end_s - touch.at_s < _APART_S:
            kept[at] = max(kept[at], touch, key=lambda one: one.value_c)
            continue
        latest[touch.zone, touch.instrument] = (touch.at_s, len(kept))
        kept.append(touch)
    rows: dict[tuple[Zone, Instrument], list[list[Touch]]] = {}
    for touch in sorted(kept, key=lambda touch: touch.order):
        row = rows.setdefault((touch.zone, touch.instrument), [[touch]])[-1]
        if row[-1] is touch:
            continue
        if touch.at_s - row[-1].at_s < _LEFT_S:
            row.append(touch)
        else:
            rows[touch.zone, touch.instrument].append([touch])
    ends = (_ends(row) for spot in rows.values() for row in spot)
    return sorted((touch._replace(alike=len(row)) for row in ends for touch in row), key=lambda touch: touch.order)


def _ends(row: Sequence[Touch]) -> list[Touch]:
    """Its first, its last, and each in between that was hotter than all before it."""
    kept = [row[0]]
    for touch in row[1:]:
        if touch is row[-1] or touch.value_c > max(each.value_c for each in kept):
            kept.append(touch)
    return kept
