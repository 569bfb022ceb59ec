"""Which holders the one that stands there may be, given what was learnt before and what was read of it since.

Weighted draws of the unknowns: quasi-random points about what was expected, about what the readings say, and
about the warm side that decides the bound, weighted by how likely each is.  A reading is never taken as certainly
right: some are of another zone, of another holder, mistyped, or taken on bright steel, and weigh as such.  The
same facts always give the same draws.  Source: importance sampling with a mixture of proposals (Owen and Zhou 2000).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from kiosk.rules.belief import Instrument
from kiosk.rules.cooling.mesh import Floats, Ints, Zone
from kiosk.rules.cooling.sampling import Normal, Proposal, ln_proposed, weigh
from kiosk.rules.cooling.surface import Surface
from kiosk.rules.cooling.touches import Touch
from kiosk.rules.cooling.unknowns import BRIGHT, SURE, WRONG, WRONG_BRIGHT, WRONG_PLACE, WRONG_ZONE

_ABOUT = 384  # draws about what was expected before any reading of this heat
_NEAR = 512  # about what the readings say
_WARM = 640  # about the warm side
_WARM_SD = 2.2  # how far out that is
_WIDER = 1.25  # proposals are so much wider than what they are about: light tails lose weight
_STEPS = 6
_FOLLOWED = 0.3
_LATE = 0.2  # of all the moments: half of the nominal time, where draws are followed to two and a half of it
_LEAST_WRONG = 1e-9  # where nothing else is left to explain a reading
_BAND = 400  # draws of equal weight a shown band is taken from
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


class _Put(NamedTuple):
    """Holders put to the surface.  values: (draws, n); terms: (draws, terms); scale, heat: (draws,) ln of what warmer
    air leaves of every excess, and of the heat level."""

    values: Floats
    terms: Floats
    scale: Floats
    heat: Floats

    def of(self, picked: Ints) -> _Put:
        """Those of some of them."""
        return _Put(*(each[picked] for each in self))


class Draws:
    """Weighted holders.  weight: (draws,), sums to one; weights: (promises, draws) the same for each width."""

    def __init__(
        self,
        surface: Surface,
        setting: Setting,
        expected: Normal,
        touches: Sequence[Touch],
        times_s: Floats,
        spots: Floats,
    ) -> None:
        """spots: what the surface fits at `times_s` (`Surface.spots`)."""
        self.surface, self.setting, self.expected, self.times_s = surface, setting, expected, times_s
        self.touched = bool(touches)
        self._spots = spots
        self._seen = [_Seen(surface, touch) for touch in touches]
        about = Proposal(expected, 1.0)
        near = Proposal(self._narrowed(expected), _WIDER) if touches else Proposal(expected, _WIDER)
        first = self._put(np.concatenate([about.draw(_ABOUT, 0), near.draw(_NEAR, _ABOUT)]))
        first_s = self._safe_s(first)
        first_seen = self._likelihood(first)
        first_far = [about.distance(first.values), near.distance(first.values)]
        weight = weigh(
            about.ln_density(first_far[0]) + first_seen - ln_proposed((about, near), first_far, (_ABOUT, _NEAR))
        )
        warm = Proposal(_moved_out(first.values, first_s, weight, near.normal), _WIDER)
        second = self._put(warm.draw(_WARM, _ABOUT + _NEAR))
        self._put_all = _Put(*(np.concatenate(both) for both in zip(first, second, strict=True)))
        self.values = self._put_all.values
        self.safe_s = np.concatenate([first_s, self._safe_s(second)])
        seen = np.concatenate([first_seen, self._likelihood(second)])
        second_far = [about.distance(second.values), near.distance(second.values)]
        far = [np.concatenate(both) for both in zip(first_far, second_far, strict=True)]
        proposed = ln_proposed((about, near, warm), [*far, warm.distance(self.values)], (_ABOUT, _NEAR, _WARM))
        self.weights = np.stack([weigh(about.ln_density(far[0], promise.width) + seen - proposed) for promise in SURE])
        self.weight = self.weights[0]
        self._order = np.argsort(self.safe_s, kind="stable")

    def _full(self, values: Floats) -> Floats:
        unknowns = np.empty((len(values), len(self.setting.middle)))
        unknowns[:] = self.setting.middle
        unknowns[:, self.setting.moved] = values
        return unknowns

    def _put(self, values: Floats) -> _Put:
        """Holders as they are put to the surface.  values: (holders, n)."""
        unknowns = self._full(values)
        return _Put(values, self.surface.terms(unknowns), self._scale(unknowns), unknowns[:, 0])

    def _scale(self, unknowns: Floats) -> Floats:
        """(draws,) ln of what warmer air leaves of every excess: less of a rise to begin with."""
        rise_k = self.setting.rise_k * np.exp(unknowns[:, 0])
        scale: Floats = np.log(np.maximum(1.0 - unknowns[:, -1] / rise_k, 0.05))
        return scale

    def _fit(self, terms: Floats, since: int = 0) -> Floats:
        """(draws, times) what the surface fits for the hottest point, before air and guard.  since: of those moments
        from this one on."""
        spots = self._spots[:, :, since:]
        warmest = terms @ spots[:, 0]
        for spot in range(1, spots.shape[1]):  # one after the other: all at once leave the processor's cache
            np.maximum(warmest, terms @ spots[:, spot], out=warmest)
        return np.asarray(warmest, np.float64)

    def _ceiling(self, put: _Put) -> Floats:
        """(draws,) ln(excess, K) nothing is above: its hottest at the start, however the surface bends there."""
        return np.asarray(math.log(self.setting.guard * self.setting.rise_k) + np.maximum(put.heat, 0.0), np.float64)

    def _hottest(self, put: _Put, fit: Floats) -> Floats:
        """(draws, times) ln(excess, K) of the hottest point, over the drawn ambient, guarded."""
        hottest = np.log(self.surface.excess_k(fit)) + (math.log(self.setting.guard) + put.scale)[:, None]
        return np.asarray(np.minimum(hottest, self._ceiling(put)[:, None]), np.float64)

    def hottest(self, values: Floats) -> Floats:
        """(holders, times) ln(excess, K) of the hottest point of others than the drawn ones, guarded."""
        put = self._put(values)
        return self._hottest(put, self._fit(put.terms))

    def _safe_s(self, put: _Put) -> Floats:
        """(draws,) when each is safe for good, seconds since heating; infinity where the grid does not reach.

        What is hot is told by the fit alone, only about the last such moment is it turned into temperatures, and what
        came before is looked at only of those that are never hot late.
        """
        setting, times = self.setting, self.times_s
        allowed_k = setting.limit_c - setting.ambient_c - put.values[:, -1]
        level = np.log(np.maximum(allowed_k, 1e-3))
        least = self.surface.fitted(np.exp(level - math.log(setting.guard) - put.scale))
        least[self._ceiling(put) <= level] = math.inf
        safe_s = np.zeros(len(level))
        some = np.arange(len(level))
        for since in (int(np.searchsorted(times, _LATE * times[-1])), 0):
            fit = self._fit(put.terms[some], since)
            hot = fit > least[some, None]
            found = np.flatnonzero(hot.any(axis=1))
            last = hot.shape[1] - 1 - hot[found, ::-1].argmax(axis=1)
            ends = np.stack([last, np.minimum(last + 1, hot.shape[1] - 1)], axis=1)
            there = some[found]
            over = self._hottest(put.of(there), fit[found[:, None], ends]) - level[there, None]
            above, below = over.T
            one_s, other_s = times[since + ends].T
            safe_s[there] = one_s + above / np.maximum(above - below, 1e-12) * (other_s - one_s)
            safe_s[there[ends[:, 0] == ends[:, 1]]] = math.inf
            some = np.delete(some, found)
        return safe_s

    def _likelihood(self, put: _Put) -> Floats:
        """(draws,) ln of how likely the readings are."""
        total = np.zeros(len(put.values))
        for seen in self._seen:
            total += seen.ln(put.terms, put.scale, put.values[:, -1], self.setting)
        return total

    def _narrowed(self, expected: Normal) -> Normal:
        """Where the readings move what was expected, and how narrow they make it: Gauss-Newton on the surface."""
        at, inverse = expected.mean.copy(), np.linalg.inv(expected.cov)
        sd = np.sqrt(np.diag(expected.cov))
        precision = inverse
        for _ in range(_STEPS):
            around = np.concatenate([at[None], at + 0.1 * np.diag(sd)])
            unknowns = self._full(around)
            terms, scale = self.surface.terms(unknowns), self._scale(unknowns)
            precision, pull = inverse.copy(), inverse @ (expected.mean - at)
            for seen in self._seen:
                shown_c = seen.shown_c(terms, scale, unknowns[:, -1], self.setting)
                shown = shown_c[0]
                slope = (shown[1:] - shown[0]) / (0.1 * sd)
                # A reading far off is followed halfway: whether it is believed is for the weights to say.
                trust = max(seen.trust(shown_c[:, 0], self.setting), _FOLLOWED)
                sure = trust / seen.noise_k(float(shown[0]) - self.setting.ambient_c) ** 2
                precision += sure * np.outer(slope, slope)
                pull += sure * slope * (seen.touch.value_c - shown[0])
            step = np.linalg.solve(precision, pull)
            far = float(np.sqrt(step @ inverse @ step))
            at = at + step * min(1.0, 2.0 / max(far, 1e-9))
        return Normal(at, np.linalg.inv(precision))

    def safe_from_s(self, values: Floats) -> Floats:
        """(holders,) when others than the drawn ones are safe for good.  values: (holders, n)."""
        return self._safe_s(self._put(values))

    def shown(self, zone: Zone, times_s: Floats, values: Floats | None = None) -> Floats:
        """(draws, times) what a zone shows, °C; values: (draws, n) of others than the drawn ones."""
        unknowns = self._full(self.values if values is None else values)
        excess = self.surface.excess_k(self.surface.terms(unknowns) @ self.surface.zone(zone, times_s))
        return excess * np.exp(self._scale(unknowns))[:, None] + self.setting.ambient_c + unknowns[:, -1:]

    def slopes(self, zone: Zone, at_s: float) -> tuple[float, Floats]:
        """What the expected holder shows at a zone, °C, and (n,) K for a unit of each drawn unknown."""
        step = 0.05
        mean = self.expected.mean
        unknowns = self._full(np.concatenate([mean[None], mean + step * np.eye(len(mean))]))
        here = self.surface.zone(zone, np.array([at_s]))[:, 0]
        excess = self.surface.excess_k(self.surface.terms(unknowns) @ here)
        shown = excess * np.exp(self._scale(unknowns)) + unknowns[:, -1]
        return float(shown[0]) + self.setting.ambient_c, (shown[1:] - shown[0]) / step

    def on_edge(self, share: float) -> Floats:
        """(n,) the mean of the draws whose time is about the one that is kept with `share`."""
        order = self._order
        upto = np.cumsum(self.weight[order])
        rest = 1.0 - share
        near = order[(upto >= 1.0 - 2.0 * rest) & (upto <= 1.0 - 0.3 * rest)]
        if not len(near):
            near = order[[int(np.argmax(upto >= share))]]
        edge: Floats = self.weight[near] @ self.values[near] / self.weight[near].sum()
        return edge

    def band(self, low: float, high: float) -> tuple[Floats, Floats, Floats]:
        """(times,) quantiles of the hottest point in °C at `times_s`, and how far it still rises above its value
        then, K, at `high`."""
        picked = np.searchsorted(np.cumsum(self.weight), (np.arange(_BAND) + 0.5) / _BAND)
        picked = np.minimum(picked, len(self.weight) - 1)
        warmer = self.values[picked, -1][:, None]
        hottest_c = np.exp(self._hottest_of(picked)) + self.setting.ambient_c + warmer
        later_c = np.maximum.accumulate(hottest_c[:, ::-1], axis=1)[:, ::-1]
        lower, upper = np.quantile(hottest_c, [low, high], axis=0)
        rises: Floats = np.quantile(later_c - hottest_c, high, axis=0)
        return lower, upper, rises

    def _hottest_of(self, picked: Ints) -> Floats:
        """`hottest` of some of the drawn ones."""
        some = self._put_all.of(picked)
        return self._hottest(some, self._fit(some.terms))

    @property
    def effective(self) -> float:
        """How many draws of equal weight these are worth, for the promise that has the fewest."""
        return float((1.0 / (self.weights**2).sum(axis=1)).min())

    def hot_after(self, at_s: float) -> float:
        """The chance that any touchable point is above the limit at `at_s` or later.

        With wider spreads more is allowed, and counts for so much less.
        """
        hot = self.weights[:, self.safe_s > at_s].sum(axis=1)
        allowed = np.array([1.0 - promise.share for promise in SURE])
        return float((hot * allowed[0] / allowed).max())

    def kept_s(self, seen: Floats | None = None) -> float:
        """After it every promise about any touchable point being above the limit, then or later, is kept.

        seen: (draws,) how likely a further reading is.  Infinity where that is later than the moments reach.
        """
        safe_s = self.safe_s[self._order]
        weights = self.weights[:, self._order]
        if seen is not None:
            weights = weights * seen[self._order]
        latest_s = 0.0
        for weight, promise in zip(weights, SURE, strict=True):
            upto = np.cumsum(weight)
            # From the far end, so that what is left out never rounds to nothing.
            at = int(np.argmax(upto[-1] - upto <= (1.0 - promise.share) * upto[-1]))
            latest_s = max(latest_s, float(safe_s[at]))
        return latest_s


class _Seen:
    """One reading and what the surface says it may show: at its zone, or at each zone it may have been taken for."""

    def __init__(self, surface: Surface, touch: Touch) -> None:
        self.touch, self._wrong = touch, _LEAST_WRONG if touch.sure else WRONG
        moment = np.array([touch.at_s])
        self._excess_k = surface.excess_k
        there = [zone for zone in surface.zones if zone is not touch.zone]
        self._zones = np.stack([surface.zone(zone, moment)[:, 0] for zone in (touch.zone, *there)], axis=1)

    def noise_k(self, excess_k: float) -> float:
        base_k, share = self.touch.noise
        return base_k + share * max(excess_k, 0.0)

    def shown_c(self, terms: Floats, scale: Floats, warmer_k: Floats, setting: Setting) -> Floats:
        """(zones, draws) °C, its own zone first."""
        excess_k = self._excess_k(terms @ self._zones) * np.exp(scale)[:, None]
        return np.asarray(excess_k.T + (setting.ambient_c + warmer_k), np.float64)

    def _parts(self, shown_c: Floats, setting: Setting) -> tuple[Floats, Floats]:
        """(draws,) densities of the value if the reading is right, and if it is wrong.  shown_c: (zones, draws)."""
        here, elsewhere = shown_c[0], shown_c[1:]
        right, wrong = right_density(self.touch, setting, here), wrong_density(self.touch, setting, here, elsewhere)
        return (1 - self._wrong) * right, self._wrong * wrong

    def ln(self, terms: Floats, scale: Floats, warmer_k: Floats, setting: Setting) -> Floats:
        """(draws,) ln of how likely it is."""
        right, wrong = self._parts(self.shown_c(terms, scale, warmer_k, setting), setting)
        return np.asarray(np.log(right + wrong), np.float64)

    def trust(self, shown_c: Floats, setting: Setting) -> float:
        """The chance that it is right of a holder that shows (zones,)."""
        right, wrong = self._parts(shown_c[:, None], setting)
        return float((right / (right + wrong))[0])


def right_density(touch: Touch, setting: Setting, shown_c: Floats, factor: float = 1.0) -> Floats:
    """(draws,) density of the reading where the skin has `shown_c`; factor: of what stands there, which was entered."""
    base_k, share = touch.noise
    sd = base_k + share * np.maximum(shown_c - setting.ambient_c, 0.0)
    off = (touch.value_c / factor - shown_c) / sd
    result: Floats = np.exp(-0.5 * off * off) / (factor * sd * math.sqrt(2 * math.pi))
    return result


def wrong_density(touch: Touch, setting: Setting, here_c: Floats, elsewhere_c: Sequence[Floats] | Floats) -> Floats:
    """(draws,) density of a reading that is wrong.  here_c, elsewhere_c: (draws,) its zone and each other one."""
    excess_k = max(touch.value_c - setting.ambient_c, _LEAST_K)
    anything = 1.0 / (excess_k * math.log(1.2 * max(setting.rise_k, 2 * _LEAST_K) / _LEAST_K))
    slipped = right_density(touch, setting, here_c, 0.1)
    result: Floats = WRONG_PLACE * slipped + (1 - WRONG_PLACE - WRONG_ZONE) * anything
    if len(elsewhere_c):
        result += WRONG_ZONE * right_density(touch, setting, np.asarray(elsewhere_c)).mean(axis=0)
    else:
        result += WRONG_ZONE * anything
    if touch.instrument is Instrument.INFRARED:
        full_k = np.maximum(here_c - setting.ambient_c, _LEAST_K)
        low, high = (share * full_k for share in BRIGHT)
        bright = ((low <= excess_k) & (excess_k <= high)) / (high - low)
        result = WRONG_BRIGHT * bright + (1 - WRONG_BRIGHT) * result
    return result


def _moved_out(values: Floats, safe_s: Floats, weight: Floats, near: Normal) -> Normal:
    """The same spread, moved to the side on which holders take longest: by regression of ln(time)."""
    known = np.isfinite(safe_s) & (safe_s > 0)
    if weight[known].sum() < 0.05:
        return near
    root = np.sqrt(weight[known])
    off = values[known] - near.mean
    design = np.concatenate([np.ones((len(off), 1)), off], axis=1) * root[:, None]
    slope = np.linalg.lstsq(design, np.log(safe_s[known]) * root, rcond=1e-9)[0][1:]
    towards = near.cov @ slope
    size = math.sqrt(max(float(slope @ towards), 1e-18))
    return Normal(near.mean + _WARM_SD * towards / size, near.cov)
