"""How old a line of a list is that rests on what another kiosk told, while not all kiosks are heard."""

from __future__ import annotations

from dataclasses import dataclass

from kiosk.rules.apart import Apart


@dataclass(frozen=True, slots=True)
class AsOf:
    """When any other kiosk was last heard, wall time in seconds UTC, for people; None: none ever was."""

    utc_s: float | None


def as_of(apart: Apart | None, last_kiosk: str | None) -> AsOf | None:
    """None: as new as can be, for all are heard or this kiosk moved it last.  last_kiosk: which one did."""
    if apart is None or apart.all_heard or last_kiosk == apart.kiosk:
        return None
    return AsOf(apart.as_of_utc_s)
