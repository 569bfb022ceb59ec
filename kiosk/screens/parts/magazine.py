"""A magazine as it really is: chain, disc, carousel or shelf, each tool as wide as it is.

Shows what stands where, which pocket is one holder's own, what a wide neighbour covers and which pocket is
proposed; hatched is what other kiosks may have changed.  It is a picture, not a control: pockets are chosen in the grid
beside it.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from kivy.clock import Clock
from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Ellipse, Line, Rectangle
from kivy.properties import BooleanProperty, ListProperty, NumericProperty, ObjectProperty, StringProperty
from kivy.uix.widget import Widget

from kiosk.rules.fitting.magazine import Magazine, MagazineKind
from kiosk.screens.parts.slots import Slot, SlotState
from kiosk.screens.theme import look

Point = tuple[float, float]
_TALL_MM = 30.0  # a ring lower than this has no room for its numbers


def centres(kind: MagazineKind, pockets: int, rows: int, width: float, height: float) -> list[Point]:
    """Where to draw the pockets in a box with its lower left corner at 0, 0: pocket by pocket, px."""
    if kind is MagazineKind.SHELF:
        across = max(1, pockets // max(1, rows))
        return [
            (width * (at % across + 0.5) / across, height * (1 - (at // across + 0.5) / max(1, rows)))
            for at in range(pockets)
        ]
    if kind in (MagazineKind.DISC, MagazineKind.CAROUSEL):
        radius = min(width, height) / 2
        turns = [math.pi / 2 - 2 * math.pi * at / pockets for at in range(pockets)]
        return [(width / 2 + radius * math.cos(a), height / 2 + radius * math.sin(a)) for a in turns]
    return [_on_loop(at / pockets, width, height) for at in range(pockets)]


def _on_loop(share: float, width: float, height: float) -> Point:
    """A point of a chain's loop: two straights and two half rounds, from the middle of the top clockwise."""
    radius = min(width, height) / 2
    straight = max(width, height) - 2 * radius
    lying = width >= height
    way = share * (2 * straight + 2 * math.pi * radius)
    legs = (straight / 2, math.pi * radius, straight, math.pi * radius, straight / 2)
    x = y = 0.0
    for leg, length in enumerate(legs):
        if way <= length or leg == len(legs) - 1:
            if leg == 0:
                x, y = way, radius
            elif leg == 1:
                angle = math.pi / 2 - way / radius
                x, y = straight / 2 + radius * math.cos(angle), radius * math.sin(angle)
            elif leg == 2:
                x, y = straight / 2 - way, -radius
            elif leg == 3:
                angle = -math.pi / 2 - way / radius
                x, y = -straight / 2 + radius * math.cos(angle), radius * math.sin(angle)
            else:
                x, y = -straight / 2 + way, radius
            break
        way -= length
    if not lying:
        x, y = -y, x
    return width / 2 + x, height / 2 + y


class MagazineMap(Widget):
    """Draws `magazine` with its `slots` (pocket by pocket) and `widths_mm` (0: empty).  `chosen`: a slot's key.

    may_differ: other kiosks may know more of the pockets.
    """

    magazine = ObjectProperty(None, allownone=True)
    slots = ListProperty()
    widths_mm = ListProperty()
    chosen = StringProperty()
    margin = NumericProperty()
    may_differ = BooleanProperty(False)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        soon = Clock.create_trigger(self._draw, -1)
        for name in ("magazine", "slots", "widths_mm", "chosen", "may_differ", "size", "pos"):
            self.fbind(name, soon)
        look.fbind("text", soon)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        magazine: Magazine | None = self.magazine
        if magazine is None or not self.slots or self.width < look.mm * 12:
            return
        edge = look.mm * 4.5
        box = (max(1.0, self.width - 2 * edge), max(1.0, self.height - 2 * edge))
        if magazine.kind is MagazineKind.SHELF:
            box = (box[0] - edge, box[1] + edge)  # numbers stand on the left alone
        across, up = self.right - edge / 2 - box[0], self.center_y - box[1] / 2
        if magazine.kind is not MagazineKind.SHELF:
            across = self.center_x - box[0] / 2
        points = centres(magazine.kind, len(self.slots), magazine.rows, *box)
        at = [(across + x, up + y) for x, y in points]
        apart = min((math.dist(a, b) for a, b in pairwise(at)), default=look.mm * 8)
        scale = apart / magazine.pitch_mm
        middle = (self.center_x, self.center_y)
        with self.canvas:
            for point, slot, width_mm in zip(at, self.slots, self.widths_mm, strict=False):
                self._pocket(point, slot, width_mm * scale / 2, min(apart * 0.42, look.mm * 3.2))
            if magazine.change_at is not None:
                x, y = at[magazine.change_at - magazine.first]
                Color(*look.text)
                Line(circle=(x, y, min(apart * 0.48, look.mm * 3.9)), width=1.2)
            shelf = magazine.kind is MagazineKind.SHELF
            self._numbers(at, apart, magazine.pockets // magazine.rows if shelf else 0, middle)

    def _pocket(self, point: Point, slot: Slot, tool_px: float, pocket_px: float) -> None:
        x, y = point
        Color(*(look.line if slot.state is not SlotState.BLOCKED else look.raised))
        Line(circle=(x, y, pocket_px), width=1.1)
        if tool_px > 0:
            radius = max(tool_px, pocket_px * 0.5)
            Color(*look.quiet[:3], 0.85)
            Ellipse(pos=(x - radius, y - radius), size=(2 * radius, 2 * radius))
        if self.may_differ:
            self._hatch(x, y, max(tool_px, pocket_px), full=tool_px > 0)
        if slot.state is SlotState.OWN:
            star = CoreLabel(text="★", font_name="B612", font_size=pocket_px * 2)
            star.refresh()
            width, height = star.texture.size
            Color(*look.text)
            Rectangle(texture=star.texture, size=(width, height), pos=(x - width / 2, y - height / 2))
        if slot.state is SlotState.BLOCKED and tool_px <= 0:
            Color(*look.quiet)
            half = pocket_px * 0.6
            Line(points=[x - half, y - half, x + half, y + half], width=1.1)
            Line(points=[x - half, y + half, x + half, y - half], width=1.1)
        if slot.state is SlotState.PROPOSED or slot.key == self.chosen:
            Color(*look.act)
            Line(circle=(x, y, pocket_px + look.mm * 0.5), width=look.mm * 0.5)

    @staticmethod
    def _hatch(x: float, y: float, radius: float, *, full: bool) -> None:
        """Slanting lines across a round pocket: dark where something stands in it, light where nothing does."""
        Color(*(look.ground if full else look.quiet))
        for off in (-0.9, -0.3, 0.3, 0.9):
            across, half = off * radius / math.sqrt(2), radius * math.sqrt((1 - off * off) / 2)
            ends = [x + across - half, y - across - half, x + across + half, y - across + half]
            Line(points=ends, width=look.mm * 0.12)

    def _numbers(self, at: list[Point], apart: float, row: int, middle: Point) -> None:
        """A number now and then inside the ring, and the one chosen; on a shelf (`row` pockets wide) one a row."""
        step = next((step for step in (1, 2, 5, 10, 20, 50) if apart * step >= look.least * 2), 100)
        chosen = next((index for index, slot in enumerate(self.slots) if slot.key == self.chosen), None)
        for index, (x, y) in enumerate(at):
            slot = self.slots[index]
            marked = index == chosen
            apart_by = math.inf if chosen is None or marked else abs(index - chosen)
            away_from_chosen = min(apart_by, len(at) - apart_by)
            if not row and self.height < look.mm * _TALL_MM:
                if not marked:
                    continue
                y = middle[1]  # between its two rows there is room for the one number
            elif index % row if row else not marked and (int(slot.label) % step or away_from_chosen < step):
                continue
            label = CoreLabel(text=slot.label, font_name="B612", font_size=look.least, bold=marked)
            label.refresh()
            width, height = label.texture.size
            if not row and y != middle[1]:
                away = math.dist((x, y), middle) or 1.0
                inwards = (look.mm * 3.4 + width / 2) / away
                x, y = x + (middle[0] - x) * inwards, y + (middle[1] - y) * inwards
            elif row:
                x = self.x + width / 2
            Color(*(look.act if marked else look.quiet))
            Rectangle(texture=label.texture, size=(width, height), pos=(round(x - width / 2), round(y - height / 2)))
