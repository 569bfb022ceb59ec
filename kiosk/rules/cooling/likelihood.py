"""How likely readings are of a holder: what each zone of it would show, against what was read.

A reading is never taken as certainly right: some are of another zone, of another holder, mistyped, or taken on bright
steel, and weigh as such.  All readings of a hold are asked at once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kiosk.rules.cooling.mesh import Floats
from kiosk.rules.cooling.surface import Surface
from kiosk.rules.cooling.touches import Touch
from kiosk.rules.cooling.unknowns import BRIGHT, WRONG, WRONG_BRIGHT, WRONG_PLACE, WRONG_ZONE

_LEAST_WRONG = 1e-9  # where nothing else is left to explain a reading
_LEAST_K = 2.0  # a wrong reading is as likely in each doubling of excess from here up


class Setting(NamedTuple):
    """What turns draws into temperatures.

    moved: (n,) places of the drawn unknowns in all of them; the last is ambient.  middle: (unknowns,) the rest.
    rise_k: what was set over the shop's ambient.
    """

    moved: tuple[int, ...]
    middle: Floats
    ambient_c: float
    limit_c: float
    rise_k: float
    guard: float


class _Read(NamedTuple):
    """Of many readings what `Touch` says of one.  value_c, infrared and both of noise: (readings, ...)."""

    value_c: Floats
    noise: tuple[Floats, Floats]
    infrared: NDArray[np.bool_]


class Seen:
    """Readings of one hold, and what the surface says each may show: at its zone, or wherever it may have been taken.

    value_c: (readings,).
    """

    def __init__(self, surface: Surface, setting: Setting, touches: Sequence[Touch]) -> None:
        """touches: at least one, in order of time."""
        self._setting, self._excess_k = setting, surface.excess_k
        zones = surface.zones
        self._own = np.array([surface.place(touch.zone) for touch in touches])
        elsewhere = np.array([[zone is not touch.zone for zone in zones] for touch in touches], np.float64)
        self._alone = np.asarray(elsewhere.sum(axis=1) == 0.0)
        self._elsewhere = elsewhere / np.maximum(elsewhere.sum(axis=1, keepdims=True), 1.0)
        there = surface.of_zones(np.array([touch.at_s for touch in touches]))
        self._there = there.transpose(2, 1, 0).reshape(-1, len(there))
        self.value_c = np.array([touch.value_c for touch in touches])
        self._noise = np.array([touch.noise for touch in touches]).T
        self._infrared = np.array([touch.infrared for touch in touches])
        self._wrong = np.array([_LEAST_WRONG if touch.sure else WRONG for touch in touches])

    def noise_k(self, shown_c: Floats) -> Floats:
        """(readings,) standard deviation of each where its zone has `shown_c`."""
        base_k, share = self._noise
        return np.asarray(base_k + share * np.maximum(shown_c - self._setting.ambient_c, 0.0), np.float64)

    def shown_c(self, terms: Floats, scale: Floats, warmer_k: Floats) -> Floats:
        """(readings, zones, draws) °C."""
        excess_k = self._excess_k(self._there @ terms.T) * np.exp(scale)
        shown = excess_k + (self._setting.ambient_c + warmer_k)
        return np.asarray(shown.reshape(len(self._own), -1, len(terms)), np.float64)

    def here(self, shown_c: Floats) -> Floats:
        """(readings, ...) what each shows at its own zone, of (readings, zones, ...)."""
        return np.asarray(shown_c[np.arange(len(self._own)), self._own], np.float64)

    def _read(self, further: int) -> _Read:
        """All of them, against arrays of so many further dimensions."""
        shape = (-1, *(1,) * further)
        base_k, share = (each.reshape(shape) for each in self._noise)
        return _Read(self.value_c.reshape(shape), (base_k, share), self._infrared.reshape(shape))

    def _parts(self, shown_c: Floats) -> tuple[Floats, Floats]:
        """(readings, draws) densities of each value if the reading is right, and if it is wrong."""
        setting = self._setting
        each = right_density(self._read(2), setting, shown_c)
        elsewhere = (self._elsewhere[:, None, :] @ each)[:, 0]
        wrong = _wrong(self._read(1), setting, self.here(shown_c), elsewhere, self._alone[:, None])
        is_wrong = self._wrong[:, None]
        return (1 - is_wrong) * self.here(each), is_wrong * wrong

    def ln(self, shown_c: Floats) -> Floats:
        """(draws,) ln of how likely all of them are."""
        right, wrong = self._parts(shown_c)
        return np.asarray(np.log(right + wrong).sum(axis=0), np.float64)

    def trust(self, shown_c: Floats) -> Floats:
        """(readings,) the chance that each is right of a holder that shows (readings, zones)."""
        right, wrong = self._parts(shown_c[..., None])
        return np.asarray((right / (right + wrong))[:, 0], np.float64)


def right_density(touch: Touch | _Read, setting: Setting, shown_c: Floats, factor: float = 1.0) -> Floats:
    """(draws,) density of the reading where the skin has `shown_c`; factor: of what stands there, which was entered."""
    base_k, share = touch.noise
    sd = base_k + share * np.maximum(shown_c - setting.ambient_c, 0.0)
    off = (touch.value_c / factor - shown_c) / sd
    result: Floats = np.exp(-0.5 * off * off) / (factor * sd * math.sqrt(2 * math.pi))
    return result


def wrong_density(touch: Touch, setting: Setting, here_c: Floats, elsewhere_c: Sequence[Floats] | Floats) -> Floats:
    """(draws,) density of a reading that is wrong.  here_c, elsewhere_c: (draws,) its zone and each other one."""
    alone = not len(elsewhere_c)
    elsewhere = here_c if alone else right_density(touch, setting, np.asarray(elsewhere_c)).mean(axis=0)
    return _wrong(touch, setting, here_c, elsewhere, alone)


def _wrong(
    touch: Touch | _Read, setting: Setting, here_c: Floats, elsewhere: Floats, alone: bool | NDArray[np.bool_]
) -> Floats:
    """elsewhere: density at any other zone, which counts where it is not alone."""
    excess_k = np.maximum(touch.value_c - setting.ambient_c, _LEAST_K)
    anything = 1.0 / (excess_k * math.log(1.2 * max(setting.rise_k, 2 * _LEAST_K) / _LEAST_K))
    slipped = right_density(touch, setting, here_c, 0.1)
    result: Floats = WRONG_PLACE * slipped + (1 - WRONG_PLACE - WRONG_ZONE) * anything
    result = result + WRONG_ZONE * np.where(alone, anything, elsewhere)
    if np.any(touch.infrared):
        full_k = np.maximum(here_c - setting.ambient_c, _LEAST_K)
        low, high = (share * full_k for share in BRIGHT)
        bright = ((low <= excess_k) & (excess_k <= high)) / (high - low)
        result = np.where(touch.infrared, WRONG_BRIGHT * bright + (1 - WRONG_BRIGHT) * result, result)
    return result
