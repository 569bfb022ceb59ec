"""A magazine as it really is: chain, disc, carousel or shelf, each tool as wide as it is.

Shows what stands where, which pocket is one holder's own, what a wide neighbour covers and which pocket is
proposed; hatched is what other kiosks may have changed.  Where pockets would lie too close to be told apart, the one
that is meant stands large between its neighbours, and the whole magazine shows where that is.  It is a picture, not a
control: pockets are chosen in the grid beside it.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from kivy.clock import Clock
from kivy.graphics import Color, Ellipse, Line, Mesh
from kivy.properties import BooleanProperty, ListProperty, NumericProperty, ObjectProperty, StringProperty
from kivy.uix.widget import Widget

from kiosk.rules.fitting.magazine import Magazine, MagazineKind
from kiosk.screens.parts.drawn import LINE, texture_of, write
from kiosk.screens.parts.slots import Slot, SlotState
from kiosk.screens.theme import look

Point = tuple[float, float]
Box = tuple[float, float, float, float]  # x, y, width, height
_TALL_MM = 30.0  # a ring lower than this has no room for its numbers
_EDGE_MM = 4.5  # kept free around the pockets for wide tools
_POCKET_MM, _POCKET_SHARE = 3.2, 0.055  # most radius of a pocket: on the panel, or of the picture's shorter side
_CLOSE_MM = 5.0  # pockets closer than this are not told apart
_NEIGHBOUR_MM = 9.0  # from pocket to pocket where some are shown large
_MOST_LARGE = 9
_ASLANT = 4.0  # how many times longer than wide a disc is drawn at most


def centres(kind: MagazineKind, pockets: int, rows: int, width: float, height: float) -> list[Point]:
    """Where to draw the pockets in a box with its lower left corner at 0, 0: pocket by pocket, px."""
    if kind is MagazineKind.SHELF:
        across = max(1, pockets // max(1, rows))
        return [
            (width * (at % across + 0.5) / across, height * (1 - (at // across + 0.5) / max(1, rows)))
            for at in range(pockets)
        ]
    if kind in (MagazineKind.DISC, MagazineKind.CAROUSEL):
        return _on_disc(pockets, width, height)
    return [_on_loop(at / pockets, width, height) for at in range(pockets)]


def _on_disc(pockets: int, width: float, height: float) -> list[Point]:
    """Points of a disc from its top clockwise, equally far apart along its rim.

    In a box that is much longer one way it is drawn as it looks from aslant: round, it would be a small one.
    """
    half_wide, half_high = min(width, height * _ASLANT) / 2, min(height, width * _ASLANT) / 2
    steps = 4 * pockets + 360
    rim = [
        (half_wide * math.sin(2 * math.pi * at / steps), half_high * math.cos(2 * math.pi * at / steps))
        for at in range(steps + 1)
    ]
    way = [0.0]
    for one, two in pairwise(rim):
        way.append(way[-1] + math.dist(one, two))
    found, at = [], 0
    for pocket in range(pockets):
        while way[at + 1] < way[-1] * pocket / pockets:
            at += 1
        found.append((width / 2 + rim[at][0], height / 2 + rim[at][1]))
    return found


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


def neighbours(pocket: int, pockets: int, row: int, most: int) -> list[int]:
    """So many pockets at most, in a line with the one meant, which stands in the middle where there is no end near.

    Counted from 0.  row: pockets of a shelf's row; 0: the line has no ends.
    """
    most = min(most, row or pockets)
    first = pocket - most // 2
    if row:
        start = pocket - pocket % row
        first = min(max(first, start), start + row - most)
    return [at % pockets for at in range(first, first + most)]


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
        for name in ("body", "text"):
            look.fbind(name, soon)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        magazine: Magazine | None = self.magazine
        if magazine is None or not self.slots or self.width < look.mm * 12:
            return
        chosen = next((index for index, slot in enumerate(self.slots) if slot.key == self.chosen), None)
        whole = (self.x, self.y, self.width, self.height)
        with self.canvas:
            if chosen is None or self._laid(magazine, whole)[1] >= look.mm * _CLOSE_MM:
                self._whole(magazine, whole, chosen, numbered=True)
                return
            small, large = self._parted()
            at = self._whole(magazine, small, chosen, numbered=False)
            self._large(magazine, large, chosen, at[chosen])

    def _parted(self) -> tuple[Box, Box]:
        """Where the whole is drawn and where some of its pockets stand large: below it, or beside a low one."""
        if self.height < look.mm * _TALL_MM:
            wide = self.width * 0.42
            return (self.x, self.y, wide, self.height), (self.x + wide, self.y, self.width - wide, self.height)
        tall = min(self.height * 0.46, look.text_mm * 24)
        return (self.x, self.y + tall, self.width, self.height - tall), (self.x, self.y, self.width, tall)

    def _laid(self, magazine: Magazine, box: Box) -> tuple[list[Point], float, float]:
        """Middles of all pockets drawn in that box, how far apart they are and how large one may be, px."""
        x, y, width, height = box
        most = max(look.mm * _POCKET_MM, _POCKET_SHARE * min(width, height))
        edge = max(look.mm * _EDGE_MM, most * 1.2)
        inner = (max(1.0, width - 2 * edge), max(1.0, height - 2 * edge))
        left = x + (width - inner[0]) / 2
        if magazine.kind is MagazineKind.SHELF:  # numbers stand on the left alone
            inner = (max(1.0, width - 3 * edge), max(1.0, height - edge))
            left = x + width - edge / 2 - inner[0]
        low = y + (height - inner[1]) / 2
        at = [(left + dx, low + dy) for dx, dy in centres(magazine.kind, len(self.slots), magazine.rows, *inner)]
        apart = min((math.dist(a, b) for a, b in pairwise(at)), default=look.mm * 8)
        if magazine.kind is MagazineKind.SHELF:
            apart = min(apart, inner[1] / max(1, magazine.rows))  # in a low box rows lie nearer than pockets
        return at, apart, min(apart * 0.42, most)

    def _whole(self, magazine: Magazine, box: Box, chosen: int | None, *, numbered: bool) -> list[Point]:
        """All pockets in that box; their middles, px."""
        at, apart, pocket_px = self._laid(magazine, box)
        scale = apart / magazine.pitch_mm
        for point, slot, width_mm in zip(at, self.slots, self.widths_mm, strict=False):
            self._pocket(point, slot, width_mm * scale / 2, pocket_px)
        if magazine.change_at is not None:
            x, y = at[magazine.change_at - magazine.first]
            Color(*look.text)
            Line(circle=(x, y, pocket_px * 1.2), width=1.2)
        if numbered:
            shelf = magazine.kind is MagazineKind.SHELF
            row = magazine.pockets // magazine.rows if shelf else 0
            self._numbers(at, apart, pocket_px * 1.2 + look.mm * 0.4, row, chosen)
        return at

    def _large(self, magazine: Magazine, box: Box, chosen: int, whence: Point) -> None:
        """The pocket that is meant and its neighbours in that box, and a wedge from where it is in the whole."""
        x, y, width, height = box
        row = magazine.pockets // magazine.rows if magazine.kind is MagazineKind.SHELF else 0
        most = min(_MOST_LARGE, max(3, int(width / (look.mm * _NEIGHBOUR_MM))))
        shown = neighbours(chosen, len(self.slots), row, most - 1 + most % 2)
        pitch = width / len(shown)
        letters = max(look.least, min(look.body, pitch * 0.5, height * 0.3))
        pocket_px = min(pitch * 0.42, (height - letters * LINE) / 2 - look.mm)
        middle = y + letters * LINE + (height - letters * LINE) / 2
        Color(*look.act[:3], 0.25)
        at = x + (shown.index(chosen) + 0.5) * pitch
        near = [(at - pitch / 2, middle), (at + pitch / 2, middle)] if y + height <= whence[1] else [
            (at, middle - pocket_px), (at, middle + pocket_px)
        ]  # fmt: skip
        Mesh(vertices=[v for xy in (whence, *near) for v in (*xy, 0, 0)], indices=[0, 1, 2], mode="triangles")
        for place, index in enumerate(shown):
            slot, across = self.slots[index], x + (place + 0.5) * pitch
            tool_px = self.widths_mm[index] * pitch / magazine.pitch_mm / 2
            self._pocket((across, middle), slot, min(tool_px, (height - letters * LINE) / 2), pocket_px)
            ink = look.act if index == chosen else look.quiet
            write(self, slot.label, (across, y), (0.5, 0.0), ink, letters, bold=index == chosen)

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
            write(self, "★", point, (0.5, 0.5), look.text, pocket_px * 2)
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

    def _numbers(self, at: list[Point], apart: float, off_px: float, row: int, chosen: int | None) -> None:
        """Numbers inside the ring, as many as keep clear of each other; on a shelf (`row` pockets wide) one a row."""
        middle = (self.center_x, self.center_y)
        letters = max(look.least, min(look.body, apart * 0.7))
        sizes = [texture_of(slot.label, letters, index == chosen).size for index, slot in enumerate(self.slots)]
        if row:
            places = [(self.x + width / 2, y) for (width, _), (_, y) in zip(sizes, at, strict=True)]
            shown = [index for index in range(len(at)) if index % row == 0]
        elif self.height < look.mm * _TALL_MM:
            places = [(x, middle[1]) for x, _ in at]  # between its two rows there is room for the one number
            shown = [] if chosen is None else [chosen]
        else:
            places = [_inside(at, index, size, off_px, middle) for index, size in enumerate(sizes)]
            shown = self._clear(places, sizes, chosen)
        for index in shown:
            ink = look.act if index == chosen else look.quiet
            write(self, self.slots[index].label, places[index], (0.5, 0.5), ink, letters, bold=index == chosen)

    def _clear(self, places: list[Point], sizes: list[Point], chosen: int | None) -> list[int]:
        """The pockets whose numbers are written: every one, or every second, fifth ..., none on another."""

        def meet(one: int, two: int) -> bool:
            return all(
                abs(places[one][way] - places[two][way]) < (sizes[one][way] + sizes[two][way]) / 2 + look.mm * gap
                for way, gap in ((0, 0.8), (1, -0.8))
            )

        marked = [] if chosen is None else [chosen]
        for step in (1, 2, 5, 10, 20, 50):
            whole = [index for index, slot in enumerate(self.slots) if step == 1 or int(slot.label) % step == 0]
            shown = [index for index in whole if index == chosen or not any(meet(index, other) for other in marked)]
            if not any(meet(one, two) for one, two in pairwise([*shown, *shown[:1]]) if one != two):
                return sorted({*shown, *marked})
        return marked


def _inside(at: list[Point], index: int, size: Point, off_px: float, middle: Point) -> Point:
    """Middle of a number of that size beside its pocket, across the ring and inwards, clear of the pocket's circle."""
    (x, y), before, after = at[index], at[index - 1], at[(index + 1) % len(at)]
    along = math.dist(before, after) or 1.0
    across_x, across_y = (after[1] - before[1]) / along, (before[0] - after[0]) / along
    if (middle[0] - x) * across_x + (middle[1] - y) * across_y < 0:
        across_x, across_y = -across_x, -across_y
    off = off_px + abs(across_x) * size[0] / 2 + abs(across_y) * size[1] * 0.4
    return x + across_x * off, y + across_y * off
