"""A held holder's skin at one moment, as values: between the rules that work it out and whoever draws it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SkinSlice:
    """A length of the holder and what it may be at the most, °C.  zone: as the ledger writes it."""

    start_mm: float
    end_mm: float
    high_c: float
    zone: str


@dataclass(frozen=True, slots=True)
class SkinNow:
    """A held holder's skin at one moment.

    slices: from the cutter's tip to the coupling; empty: nobody can tell, all of it counts as hot.  hottest: where a
    probe goes for the hottest part.  hands: zones that stay at or under the limit from now on, as the bound has it.
    """

    slices: tuple[SkinSlice, ...]
    limit_c: float
    hottest: str
    hands: tuple[str, ...] = ()


def unknown_skin(limit_c: float, hottest: str) -> SkinNow:
    """The skin of a holder of which nobody can tell how warm it is."""
    return SkinNow((), limit_c, hottest)
