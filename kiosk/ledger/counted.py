"""What a holder's heat in the tables counts as: the one place where lists and cards agree that cool is not known.

Three things make a holder that is cool in the tables count as unknown: one label on two, a heating that could not be
written, and a shrink fit brought by another kiosk while the station is not heard (`rules.apart`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kiosk.rules.apart import Answer, Apart, about_cool
from kiosk.rules.cards import Heat


@dataclass(frozen=True, slots=True)
class Counting:
    """What makes cool unknown now.  doubted: keys of holders of which nobody knows; apart: how far this kiosk is."""

    doubted: frozenset[str]
    apart: Apart | None = None

    def on_card(self, key: str, heat: Heat) -> Heat:
        """As a card says it, which brings how far its kiosk is apart along (`checkin.warmth`)."""
        return Heat.UNKNOWN if heat is Heat.COOL and key in self.doubted else heat

    def in_list(self, key: str, heat: Heat, shrinks: bool, last_kiosk: str | None) -> Heat:
        """As a list says it.  shrinks: a shrink fit; last_kiosk: which kiosk moved it last."""
        heat = self.on_card(key, heat)
        unheard = heat is Heat.COOL and about_cool(self.apart, shrinks, last_kiosk) is Answer.HEAT_UNKNOWN
        return Heat.UNKNOWN if unheard else heat

    def what_matters(self) -> Counting:
        """The same without what changes every second and makes nothing else of any holder."""
        if self.apart is None or self.apart.stations_heard:
            return replace(self, apart=None)
        kept = Apart(
            self.apart.kiosk, stations_heard=False, all_heard=False, caught_up=False, own_whole=self.apart.own_whole
        )
        return replace(self, apart=kept)
