"""A hold: the facts the ledger keeps about one heating, and what they mean at a moment.

The facts are what was seen (when it was heated, where it stood since, what was read); nothing in them was
computed, so that a better model needs no change of the ledger.  All times are watched seconds.
"""

from __future__ import annotations

from dataclasses import dataclass

from kiosk.rules.assembly import Assembly, Holder
from kiosk.rules.cards import HoldView


@dataclass(frozen=True, slots=True)
class Stay:
    """Where it stood from `since_s` on.  `way` None: not a cooling place, or nowhere known: free air."""

    place: str | None
    since_s: float
    way: str | None = None
    wet_length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """A thermometer's word.  where: nose, flange, shank.  instrument: probe, infrared."""

    at_s: float
    where: str
    value_c: float
    instrument: str
    verdict: str


@dataclass(frozen=True, slots=True)
class HoldFacts:
    """One hold as the ledger saw it."""

    holder: Holder
    assembly: Assembly | None
    heated_at_s: float
    heated_utc_s: float
    temp_c: float | None  # None: not known
    length_mm: float | None
    stays: tuple[Stay, ...]
    readings: tuple[Reading, ...] = ()
    reading_only: bool = False
    gaps: int = 0


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a new reading means: `verdict` (agrees, questioned, confirmed), and whether it ends the hold."""

    verdict: str
    ends: bool
    expected_c: float | None
    pair: str


@dataclass(frozen=True, slots=True)
class TimedHolds:
    """A hold of fixed length for each way of cooling: the longest of the ways it went through."""

    limit_c: float = 43.0
    free_air_s: float = 2700.0
    sleeve_s: float = 1200.0
    hottest_c: float = 330.0

    def view(self, facts: HoldFacts, now_s: float) -> HoldView:
        sleeved = any(stay.way == "sleeve" for stay in facts.stays)
        length_s = self.sleeve_s if sleeved else self.free_air_s
        left_s = max(0.0, length_s - (now_s - facts.heated_at_s))
        return HoldView(
            hottest_c=self.hottest_c,
            low_c=self.limit_c,
            high_c=self.hottest_c,
            where="nose",
            remaining_s=left_s,
            measure_in_s=left_s,
            needs_reading=facts.reading_only,
            gap=facts.gaps > 0,
            since_utc_s=facts.heated_utc_s,
        )

    def judge(self, facts: HoldFacts, reading: Reading) -> Verdict:
        return Verdict("agrees", reading.value_c <= self.limit_c, None, "")

    def length_error_um(self, facts: HoldFacts, now_s: float) -> float:
        """Straight line from the hottest to nothing at the end of the hold, over 100 mm of steel."""
        share = (self.view(facts, now_s).remaining_s or 0.0) / self.free_air_s
        return 11.5e-6 * 100e3 * self.hottest_c * share
