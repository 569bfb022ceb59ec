"""The live picture with its aiming corners.

The corners stand still in the middle and close in on a symbol when one is seen, in one colour while it is unread, in
another once it is read; hint words say what keeps it from being read, where they do not cover it.  It shows the
frame it was given and knows nothing of cameras or codes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from kivy.animation import Animation
from kivy.clock import Clock
from kivy.graphics import Color, InstructionGroup, Rectangle
from kivy.graphics.texture import Texture
from kivy.properties import BooleanProperty, ListProperty, NumericProperty, StringProperty
from kivy.uix.relativelayout import RelativeLayout
from numpy.typing import NDArray

from kiosk.screens.kv import load_beside

_HOLD_S = 0.6  # how long the corners stay on a symbol after it was last seen


class LivePicture(RelativeLayout):
    """Shows frames.  `hint`: words over the picture.  `absent`: why there is no picture, in words.

    `box`: where the aiming corners are, (x, y, width, height) in widget pixels.  `seen`: they are on a symbol;
    `read`: which was read.  `hint_high`: the words stand above, because the symbol is below.
    """

    hint = StringProperty()
    absent = StringProperty()
    box = ListProperty([0.0, 0.0, 0.0, 0.0])
    seen = BooleanProperty(False)
    read = BooleanProperty(False)
    hint_high = BooleanProperty(False)
    corner_px = NumericProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._release = Clock.create_trigger(self._let_go, _HOLD_S)
        self._frame_size = (1, 1)
        self._texture: Texture | None = None
        self._tint = Color(1, 1, 1, 0)
        self._picture = Rectangle()
        below = InstructionGroup()
        below.add(self._tint)
        below.add(self._picture)
        self.canvas.insert(0, below)  # below the corners, which the layout draws
        self.fbind("size", self._let_go)
        self.fbind("absent", self._dim)
        self.fbind("hint", self._make_room)

    @property
    def has_picture(self) -> bool:
        """Whether a frame was ever shown."""
        return self._texture is not None

    def show(self, frame: NDArray[np.uint8]) -> None:
        """Show a frame: (H, W) grey or (H, W, 3) in OpenCV's order, unsigned bytes."""
        self._frame_size = (frame.shape[1], frame.shape[0])
        if frame.shape[1] >= 2 * max(1.0, self.width):
            frame = frame[::2, ::2]  # finer than the screen shows
        height, width = frame.shape[:2]
        colour = "bgr" if frame.ndim == 3 else "luminance"
        texture = self._texture
        if texture is None or texture.size != (width, height) or texture.colorfmt != colour:
            texture = self._texture = Texture.create(size=(width, height), colorfmt=colour)
            self._picture.texture = texture
            self._crop()
        texture.blit_buffer(np.ascontiguousarray(frame).tobytes(), colorfmt=colour, bufferfmt="ubyte")
        self.absent = ""
        self._dim()
        self.canvas.ask_update()

    def _dim(self, *_: object) -> None:
        """A picture that is not live any more is not shown."""
        self._tint.a = 1.0 if self._texture is not None and not self.absent else 0.0

    def _crop(self) -> None:
        """The middle of the frame, as wide or high as the widget, upright."""
        width, height = self._frame_size
        scale = max(self.width / width, self.height / height)
        share_x, share_y = min(1.0, self.width / (width * scale)), min(1.0, self.height / (height * scale))
        left, right = 0.5 - share_x / 2, 0.5 + share_x / 2
        top, bottom = 0.5 - share_y / 2, 0.5 + share_y / 2
        self._picture.size = self.size
        # A texture's corner coordinates are lost when its texture is set, so they are set last.
        self._picture.tex_coords = [left, bottom, right, bottom, right, top, left, top]

    def close_in(self, corners: Sequence[Sequence[float]], read: bool = True) -> None:
        """A symbol was seen at these four corners, pixels of the frame: the aiming corners go there."""
        width, height = self._frame_size
        scale = max(self.width / width, self.height / height)
        points = [
            (
                self.width / 2 + (x - width / 2) * scale,
                self.height / 2 - (y - height / 2) * scale,
            )
            for x, y in corners
        ]
        margin = self.corner_px * 0.5
        left = max(0.0, min(x for x, _ in points) - margin)
        right = min(float(self.width), max(x for x, _ in points) + margin)
        low = max(0.0, min(y for _, y in points) - margin)
        high = min(float(self.height), max(y for _, y in points) + margin)
        if right > left and high > low:
            self.seen, self.read = True, read
            Animation.cancel_all(self, "box")
            Animation(box=[left, low, right - left, high - low], duration=0.12).start(self)
            self._release.cancel()
            self._release()

    def _make_room(self, *_: object) -> None:
        """Words that just came stand on the side where the symbol is not, and stay there."""
        if self.hint:
            self.hint_high = self.seen and self.box[1] + self.box[3] / 2 < self.height / 2

    def _let_go(self, *_: object) -> None:
        self.seen = self.read = False
        Animation.cancel_all(self, "box")
        side = min(self.width, self.height) * 0.56
        self.box = [(self.width - side) / 2, (self.height - side) / 2, side, side]
        if self._texture is not None:
            self._crop()


load_beside(__file__)
