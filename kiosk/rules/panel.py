"""How fine a panel is, by a bank card held to it.

A card is 85.60 mm long, whoever printed it (ISO/IEC 7810, ID-1).
"""

from __future__ import annotations

from kiosk.rules.bounds import Bound

CARD_MM = 85.60
DENSITY = Bound(2.0, 25.0, "px/mm", 2)  # from a large screen of few pixels to a telephone


def px_per_mm(card_px: float) -> float | None:
    """Pixels a millimetre where a card is so many pixels long; None: no panel is like that."""
    found = round(card_px / CARD_MM, 2)
    return found if DENSITY.takes(found) else None
