"""Where a label lives on a holder: on the flange, which every holder has and no coil heats.

Never on the nose, which is heated to some 330 °C; never on the taper or its face, where it would seat in the spindle.
What the label must bear is said as properties, so that any maker's stock can be held against them.
"""

from __future__ import annotations

from dataclasses import replace

from kiosk.rules.assembly import Holder
from kiosk.rules.holder_drawing import Drawing, draw_holder

FLANGE = "flange"
BEARS_C = 150.0  # of film and adhesive on a flange: warmer than re-soak brings one, with something to spare


def drawn(holder: Holder) -> Drawing | None:
    """The holder with the one spot where its label goes; None: its figures make no drawing."""
    drawing = draw_holder(holder, None)
    if drawing is None:
        return None
    return replace(drawing, spots=tuple(spot for spot in drawing.spots if spot.where == FLANGE))
