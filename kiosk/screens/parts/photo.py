"""A photograph as large as its room, and on it what was seen: round each label an outline, beside it a sign and a word.

Sign, word and the way the outline is drawn say what its colour says.  A touch brings that part of the picture
nearer, so that the words of a crowded drawer find room; where a word finds none its sign stands alone, and no two
tags ever cover one another.  It knows nothing of cameras, codes or audits.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any, NamedTuple

import numpy as np
from kivy.clock import Clock
from kivy.graphics import Color, InstructionGroup, Line, Rectangle, RoundedRectangle
from kivy.graphics.texture import Texture
from kivy.properties import ListProperty, NumericProperty, ObjectProperty
from kivy.uix.label import Label
from kivy.uix.widget import Widget
from numpy.typing import NDArray

from kiosk.screens.parts.text import line_px, width_px
from kiosk.screens.parts.touch import Touchable
from kiosk.screens.theme import look

NEAR_MM = 30.0  # a label that was touched is brought as near as this
NEAREST = 5.0
_RANK = {"heat": 0, "stop": 1, "plain": 2, "done": 3}  # who chooses its place first


@dataclass(frozen=True, slots=True)
class Mark:
    """A label on the picture.  corners: shares of its width and height from the upper left.

    tone: done, stop, heat or plain.  words: what may stand beside the sign, the longest first.
    """

    key: str
    corners: tuple[tuple[float, float], ...]
    sign: str
    tone: str
    words: tuple[str, ...]

    @property
    def centre(self) -> tuple[float, float]:
        return (
            sum(x for x, _ in self.corners) / len(self.corners),
            sum(y for _, y in self.corners) / len(self.corners),
        )


class Box(NamedTuple):
    """A rectangle, px: left, bottom, width, height."""

    x: float
    y: float
    w: float
    h: float

    def meets(self, other: Box, apart: float = 0.0) -> bool:
        return (
            self.x < other.x + other.w + apart
            and other.x < self.x + self.w + apart
            and self.y < other.y + other.h + apart
            and other.y < self.y + self.h + apart
        )

    def holds(self, other: Box) -> bool:
        return (
            self.x <= other.x
            and self.y <= other.y
            and other.x + other.w <= self.x + self.w
            and other.y + other.h <= self.y + self.h
        )


class PhotoPicture(Touchable, Widget):
    """`show` a frame; `marks` (`Mark`s) lie over it.  `near`: the mark that was touched, None for the whole picture.

    Event `on_choose(mark)`: another one is near now.
    """

    marks = ListProperty()
    near = ObjectProperty(None, allownone=True)
    dim = NumericProperty(0.0)  # 0..1, how far the picture stands back

    __events__ = ("on_choose",)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._texture: Texture | None = None
        self._frame_size = (4, 3)
        self._drawn = InstructionGroup()
        self.canvas.add(self._drawn)
        self._draw_soon = Clock.create_trigger(self._draw, -1)
        for name in ("pos", "size", "marks", "near", "dim"):
            self.fbind(name, self._draw_soon)
        look.bind(mm=self._draw_soon, colours=self._draw_soon)  # weakly: the look outlives every screen

    def show(self, frame: NDArray[np.uint8] | None) -> None:
        """Show a frame: (H, W) grey or (H, W, 3) in OpenCV's order; None: no picture."""
        if frame is None:
            self._texture = None
            self._draw_soon()
            return
        self._frame_size = (frame.shape[1], frame.shape[0])
        if frame.shape[1] >= 4 * max(1.0, self.width):
            frame = frame[::2, ::2]  # finer than the screen shows, even brought near
        height, width = frame.shape[:2]
        colour = "bgr" if frame.ndim == 3 else "luminance"
        texture, fresh = self._texture, False
        if texture is None or texture.size != (width, height) or texture.colorfmt != colour:
            texture, fresh = Texture.create(size=(width, height), colorfmt=colour), True
            self._texture = texture
        texture.blit_buffer(np.ascontiguousarray(frame).tobytes(), colorfmt=colour, bufferfmt="ubyte")
        if fresh:
            self._draw_soon()
        self.canvas.ask_update()

    def on_choose(self, mark: Mark | None) -> None:
        """The part around a mark is near now, or the whole picture again."""

    def on_release(self) -> None:
        """Bring the label that was touched near, or show the whole picture again."""
        if not self.marks:
            return
        if self.near is not None:
            self.near = None
        else:
            x, y = self.last_touch.pos
            view, room = self._view()

            def away(mark: Mark) -> float:
                at_x, at_y = _at(mark.centre, view, room)
                return hypot(at_x - x, at_y - y)

            self.near = min(self.marks, key=away)
        self.dispatch("on_choose", self.near)

    # Where things are ---------------------------------------------------------------------------------------

    def _view(self) -> tuple[Box, Box]:
        """The part of the picture that is shown, in shares from the upper left, and where on the screen it is."""
        wide, high = self._frame_size
        fit = min(self.width / wide, self.height / high)
        scale, middle = fit, (0.5, 0.5)
        if self.near is not None:
            across = max(max(x for x, _ in self.near.corners) - min(x for x, _ in self.near.corners), 0.005) * wide
            scale = fit * min(max(1.6, NEAR_MM * look.mm / (across * fit)), NEAREST)
            middle = self.near.centre
        share_x, share_y = min(1.0, self.width / (wide * scale)), min(1.0, self.height / (high * scale))
        left = min(max(0.0, middle[0] - share_x / 2), 1 - share_x)
        top = min(max(0.0, middle[1] - share_y / 2), 1 - share_y)
        shown = share_x * wide * scale, share_y * high * scale
        room = Box(self.center_x - shown[0] / 2, self.center_y - shown[1] / 2, *shown)
        return Box(left, top, share_x, share_y), room

    # Drawing ------------------------------------------------------------------------------------------------

    def _draw(self, *_: object) -> None:
        drawn = self._drawn
        drawn.clear()
        self.clear_widgets()
        if self._texture is None or self.width < 2 or self.height < 2:
            return
        view, room = self._view()
        rectangle = Rectangle(texture=self._texture, pos=room[:2], size=room[2:])
        low, high = view.y + view.h, view.y
        # A texture's first row is the picture's uppermost.
        rectangle.tex_coords = [
            view.x, low, view.x + view.w, low, view.x + view.w, high, view.x, high,
        ]  # fmt: skip
        light = 1.0 - 0.65 * self.dim
        drawn.add(Color(light, light, light, 1))
        drawn.add(rectangle)
        seen = [mark for mark in self.marks if _inside(mark.centre, view)]
        for mark in seen:
            self._outline(mark, [_at(corner, view, room) for corner in mark.corners], room)
        for mark, text, box in tags(seen, view, room):
            self._tag(mark, text, box)

    def _outline(self, mark: Mark, points: Sequence[tuple[float, float]], room: Box) -> None:
        inside = [(min(max(x, room.x), room.x + room.w), min(max(y, room.y), room.y + room.h)) for x, y in points]
        thick = look.mm * (0.3 if mark.tone == "done" else 0.55)
        for colour, width in (((0, 0, 0, 0.75), thick + look.mm * 0.22), (_colour(mark.tone), thick)):
            self._drawn.add(Color(*colour))
            for part in _dashes(inside) if mark.tone == "plain" else (_closed(inside),):
                self._drawn.add(Line(points=part, width=width, joint="round"))

    def _tag(self, mark: Mark, text: str, box: Box) -> None:
        self._drawn.add(Color(*_colour(mark.tone)))
        self._drawn.add(RoundedRectangle(pos=box[:2], size=box[2:], radius=[look.mm * 0.6]))
        label = Label(
            text=text, bold=True, font_name="B612", font_size=look.least, color=_ink(mark.tone), halign="center",
            valign="middle", pos=box[:2], size=box[2:], size_hint=(None, None), text_size=box[2:],
        )  # fmt: skip
        self.add_widget(label)


def tags(marks: Sequence[Mark], view: Box, room: Box) -> list[tuple[Mark, str, Box]]:
    """What stands where over the picture: for every mark its sign, and as many of its words as find room.

    What can hurt chooses first.  No tag covers another, nor the sign of another; a sign that finds no room between
    its neighbours' is left out, as its outline is still there.
    """
    size, gap = look.least, look.mm * 0.4
    high = line_px(size) + look.mm * 0.3
    taken: dict[str, Box] = {}
    order = sorted(marks, key=lambda mark: _RANK[mark.tone])
    spots = {mark.key: _bounds([_at(corner, view, room) for corner in mark.corners]) for mark in marks}
    for mark in order:
        box = _beside(spots[mark.key], _wide(mark.sign), high)[0]
        if not any(box.meets(other, gap) for other in taken.values()):
            taken[mark.key] = box
    told = {mark.key: mark.sign for mark in marks if mark.key in taken}
    for mark in order:
        others = [box for key, box in taken.items() if key != mark.key]
        labels = [spot for key, spot in spots.items() if key != mark.key]
        own = _column(spots[mark.key], labels, room)
        for text, box in _wishes(mark, spots[mark.key], high):
            if own.holds(box) and not any(box.meets(other, gap) for other in (*others, *labels)):
                taken[mark.key], told[mark.key] = box, text
                break
    return [(mark, told[mark.key], taken[mark.key]) for mark in marks if mark.key in taken]


def _column(spot: Box, labels: Sequence[Box], room: Box) -> Box:
    """The room above and below a label that no label beside it could claim: half the way to each neighbour."""
    middle = spot.x + spot.w / 2
    beside = [label.x + label.w / 2 for label in labels if abs(label.y + label.h / 2 - spot.y - spot.h / 2) < spot.h]
    left = max([room.x, *((x + middle) / 2 for x in beside if x < middle)])
    right = min([room.x + room.w, *((x + middle) / 2 for x in beside if x > middle)])
    return Box(left, room.y, right - left, room.h)


def _wishes(mark: Mark, spot: Box, high: float) -> Iterator[tuple[str, Box]]:
    """Sign and words, the longest first: below the label, above it, on it."""
    for words in mark.words:
        text = f"{mark.sign} {words}"
        on, below, above = _beside(spot, _wide(text), high)
        yield from ((text, below), (text, above))
        if on.w <= spot.w:
            yield text, on


def _beside(spot: Box, wide: float, high: float) -> tuple[Box, Box, Box]:
    """A tag on the middle of a label, below it and above it."""
    x, gap = spot.x + (spot.w - wide) / 2, look.mm * 0.6
    return (
        Box(x, spot.y + (spot.h - high) / 2, wide, high),
        Box(x, spot.y - gap - high, wide, high),
        Box(x, spot.y + spot.h + gap, wide, high),
    )


def _wide(text: str) -> float:
    return width_px(text, look.least, True) + look.mm * 1.4


def _at(share: tuple[float, float], view: Box, room: Box) -> tuple[float, float]:
    """Where a point of the picture is on the screen, px."""
    return (
        room.x + (share[0] - view.x) / view.w * room.w,
        room.y + room.h - (share[1] - view.y) / view.h * room.h,
    )


def _inside(share: tuple[float, float], view: Box) -> bool:
    return view.x <= share[0] <= view.x + view.w and view.y <= share[1] <= view.y + view.h


def _bounds(points: Sequence[tuple[float, float]]) -> Box:
    left, low = min(x for x, _ in points), min(y for _, y in points)
    return Box(left, low, max(x for x, _ in points) - left, max(y for _, y in points) - low)


def _closed(points: Sequence[tuple[float, float]]) -> list[float]:
    return [value for point in (*points, points[0]) for value in point]


def _dashes(points: Sequence[tuple[float, float]]) -> Iterator[list[float]]:
    """The outline dash by dash: Kivy dashes lines of one pixel only."""
    dash = look.mm * 1.1
    for (ax, ay), (bx, by) in zip(points, (*points[1:], points[0]), strict=True):
        count = max(2, round(hypot(bx - ax, by - ay) / dash / 2))
        for at in range(count):
            start, end = (at + 0.0) / count, (at + 0.5) / count
            yield [ax + (bx - ax) * start, ay + (by - ay) * start, ax + (bx - ax) * end, ay + (by - ay) * end]


def _colour(tone: str) -> Any:
    return {"done": look.done, "stop": look.stop, "heat": look.heat}.get(tone, look.text)


def _ink(tone: str) -> Any:
    return {"done": look.done_ink, "stop": look.stop_ink, "heat": look.heat_ink}.get(tone, look.ground)
