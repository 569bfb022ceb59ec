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

from kiosk.rules.cooling.likelihood import Seen, Setting
from kiosk.rules.cooling.mesh import Floats, Ints, Zone
from kiosk.rules.cooling.sampling import Normal, Proposal, ln_proposed, weigh
from kiosk.rules.cooling.surface import Surface
from kiosk.rules.cooling.touches import Touch
from kiosk.rules.cooling.unknowns import SURE

_ABOUT = 384  # draws about what was expected before any reading of this heat
_NEAR = 512  # about what the readings say
_WARM = 640  # about the warm side
_WARM_SD = 2.2  # how far out that is
_WIDER = 1.25  # proposals are so much wider than what they are about: light tails lose weight
_STEPS = 6
_FOLLOWED = 0.3
_LATE = 0.2  # of all the moments: half of the nominal time, where draws are followed to two and a half of it
_BAND = 400  # draws of equal weight a shown band is taken from


class _Put(NamedTuple):
    """Holders put to the surface.  values: (draws, n); terms: (draws, terms); scale, heat: (draws,) ln of what warmer
    air leaves of every excess, and of the heat level."""

    values: Floats
    terms: Floats
    scale: Floats
    heat: Floats


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
        self._seen = Seen(surface, setting, touches) if touches else None
        about = Proposal(expected, 1.0)
        near = Proposal(self._narrowed(expected, self._seen) if self._seen else expected, _WIDER)
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

    def _fit(self, terms: Floats, some: slice = slice(None)) -> Floats:
        """(draws, times) what the surface fits for the hottest point, before air and guard.  some: of those moments."""
        spots = self._spots[:, :, some]
        warmest = terms @ spots[:, 0]
        for spot in range(1, spots.shape[1]):  # one after the other: all at once leave the processor's cache
            np.maximum(warmest, terms @ spots[:, spot], out=warmest)
        return np.asarray(warmest, np.float64)

    def _ceiling(self, heat: Floats) -> Floats:
        """(draws,) ln(excess, K) nothing is above: its hottest at the start, however the surface bends there."""
        return np.asarray(math.log(self.setting.guard * self.setting.rise_k) + np.maximum(heat, 0.0), np.float64)

    def _hottest(self, scale: Floats, heat: Floats, fit: Floats) -> Floats:
        """(draws, times) ln(excess, K) of the hottest point, over the drawn ambient, guarded.  scale, heat: as `_Put`
        has them."""
        hottest = np.log(self.surface.excess_k(fit)) + (math.log(self.setting.guard) + scale)[:, None]
        return np.asarray(np.minimum(hottest, self._ceiling(heat)[:, None]), np.float64)

    def hottest(self, values: Floats) -> Floats:
        """(holders, times) ln(excess, K) of the hottest point of others than the drawn ones, guarded."""
        put = self._put(values)
        return self._hottest(put.scale, put.heat, self._fit(put.terms))

    def _safe_s(self, put: _Put) -> Floats:
        """(draws,) when each is safe for good, seconds since heating; infinity where the grid does not reach.

        What is hot is told by the fit alone, only about the last such moment is it turned into temperatures, and what
        came before is looked at only of those that are never hot late.
        """
        setting, times = self.setting, self.times_s
        allowed_k = setting.limit_c - setting.ambient_c - put.values[:, -1]
        level = np.log(np.maximum(allowed_k, 1e-3))
        least = self.surface.fitted(np.exp(level - math.log(setting.guard) - put.scale))
        least[self._ceiling(put.heat) <= level] = math.inf
        safe_s = np.zeros(len(level))
        some = np.arange(len(level))
        late = int(np.searchsorted(times, _LATE * times[-1]))
        for since, until in ((late, len(times)), (late // 2, late), (0, late // 2)):
            if since == until:
                continue
            fit = self._fit(put.terms[some], slice(since, until + 1))  # and the next moment, at which none is hot
            hot = fit[:, : until - since] > least[some, None]
            found = np.flatnonzero(hot.any(axis=1))
            last = hot.shape[1] - 1 - hot[found, ::-1].argmax(axis=1)
            ends = np.stack([last, np.minimum(last + 1, fit.shape[1] - 1)], axis=1)
            there = some[found]
            over = self._hottest(put.scale[there], put.heat[there], fit[found[:, None], ends]) - level[there, None]
            above, below = over.T
            one_s, other_s = times[since + ends].T
            safe_s[there] = one_s + above / np.maximum(above - below, 1e-12) * (other_s - one_s)
            safe_s[there[ends[:, 0] == ends[:, 1]]] = math.inf
            some = np.delete(some, found)
        return safe_s

    def _likelihood(self, put: _Put) -> Floats:
        """(draws,) ln of how likely the readings are."""
        if self._seen is None:
            return np.zeros(len(put.values))
        return self._seen.ln(self._seen.shown_c(put.terms, put.scale, put.values[:, -1]))

    def _narrowed(self, expected: Normal, seen: Seen) -> Normal:
        """Where the readings move what was expected, and how narrow they make it: Gauss-Newton on the surface."""
        at, inverse = expected.mean.copy(), np.linalg.inv(expected.cov)
        sd = np.sqrt(np.diag(expected.cov))
        precision = inverse
        for _ in range(_STEPS):
            around = self._put(np.concatenate([at[None], at + 0.1 * np.diag(sd)]))
            shown_c = seen.shown_c(around.terms, around.scale, around.values[:, -1])
            here_c = seen.here(shown_c)
            slope = (here_c[:, 1:] - here_c[:, :1]) / (0.1 * sd)
            # A reading far off is followed halfway: whether it is believed is for the weights to say.
            trust = np.maximum(seen.trust(shown_c[..., 0]), _FOLLOWED)
            sure = trust / seen.noise_k(here_c[:, 0]) ** 2
            precision = inverse + (slope.T * sure) @ slope
            pull = inverse @ (expected.mean - at) + (sure * (seen.value_c - here_c[:, 0])) @ slope
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
        drawn = self._put_all
        return self._hottest(drawn.scale[picked], drawn.heat[picked], self._fit(drawn.terms[picked]))

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
