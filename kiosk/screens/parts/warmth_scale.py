"""What is written below a holder's drawing: the scale of warmth, or which of its figures nobody entered.

Colours and hatches of warmth are here and nowhere else on the screen; red is heat, and what is safe or not known has
none of it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from kivy.graphics import Color, Line, Mesh

from kiosk.rules.holder_drawing import HOT_TO_C, WARM_TO_C, Drawing, Point, Warmth, hatched
from kiosk.screens.parts.drawn import texture_of
from kiosk.screens.theme import look
from kiosk.words import t

Xy = tuple[float, float]
SWATCH_EMS = 1.17  # width of a field, font sizes of the words beside it
PITCH_MM = 1.25  # on the panel, between the closest lines of a hatch


class Entry(NamedTuple):
    """One field of the legend and the words right of it; warmth None: where a hand may be put."""

    warmth: Warmth | None
    said: str
    bold: bool = False


def legend(drawing: Drawing) -> list[Entry]:
    """From cool to hot, each field with the temperature it ends at; the last one with the unit."""
    if drawing.limit_c is None:
        return []
    found: list[Entry] = []
    scale = [warmth for warmth in drawing.warmths if warmth is not Warmth.UNKNOWN]
    ends = {Warmth.SAFE: drawing.limit_c, Warmth.WARM: WARM_TO_C, Warmth.HOT: HOT_TO_C}
    if scale:
        whole = list(ends)[list(ends).index(scale[0]) if scale[0] in ends else 0 :]
        top = scale[-1]
        for warmth in whole:
            if warmth is not top:
                found.append(Entry(warmth, f"{ends[warmth]:.0f}", warmth is Warmth.SAFE))
            else:
                break
        last = "drawing.limit" if top is Warmth.SAFE else "drawing.warmer"
        found.append(Entry(top, t(last, limit_c=drawing.limit_c)))
    if Warmth.UNKNOWN in drawing.warmths:
        found.append(Entry(Warmth.UNKNOWN, t("drawing.unknown")))
    return [*found, Entry(None, t("drawing.hands"), True)] if drawing.hands else found


def missing_words(drawing: Drawing | None) -> str:
    """Which figures nobody entered, in words; empty where none is missing."""
    if drawing is None or not drawing.assumed:
        return ""
    return t("drawing.assumed", names=", ".join(t(f"drawing.missing.{name}") for name in drawing.assumed))


def entry_px(entry: Entry, letters_px: float) -> float:
    """Width of a field with its words of that font size, px."""
    return float(texture_of(entry.said, letters_px, entry.bold).width + letters_px * SWATCH_EMS + look.mm * 2.0)


def swatch(box: tuple[float, float, float, float], warmth: Warmth, strips: Callable[..., None]) -> None:
    """A piece of a warmth's colour and hatch."""
    x, y, wide, tall = box
    edge = (Point(0.0, tall / 2), Point(wide, tall / 2))

    def at(point: Point) -> Xy:
        return x + point.z_mm, y + tall / 2 + point.r_mm

    Color(*colour_of(warmth))
    corners = [at(point) for point in (Point(0, tall / 2), Point(0, -tall / 2), Point(wide, tall / 2),
                                       Point(wide, -tall / 2))]  # fmt: skip
    Mesh(vertices=[v for xy in corners for v in (*xy, 0, 0)], indices=[0, 1, 2, 3], mode="triangle_strip")
    Color(*ink_of(warmth))
    strips([(at(one), at(two)) for one, two in hatched(edge, warmth, look.mm * PITCH_MM)], look.mm * 0.26)
    Color(*look.quiet)
    Line(rectangle=box, width=1.0)


def between(one: Any, other: Any, share: float) -> list[float]:
    return [a + (b - a) * share for a, b in zip(one[:3], other[:3], strict=True)]


def colour_of(warmth: Warmth) -> list[float]:
    """Red, and lighter as it glows; what is safe or not known has none of it."""
    if warmth is Warmth.GLOWING:
        return between(look.heat, (1.0, 1.0, 0.75), 0.45)
    if warmth is Warmth.HOT:
        return list(look.heat[:3])
    if warmth is Warmth.WARM:
        return between(look.heat_deep, look.heat, 0.2)
    return between(look.ground, look.text, 0.34 if warmth is Warmth.SAFE else 0.2)


def ink_of(warmth: Warmth) -> tuple[float, ...]:
    if warmth is Warmth.GLOWING:
        return (0.25, 0.0, 0.0, 1.0)
    return tuple(look.text) if warmth is Warmth.UNKNOWN else (1.0, 1.0, 1.0, 0.9)
