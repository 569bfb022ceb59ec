"""A finger on the window itself: what takes a touch at a point, in the layers that the window really has.

The touch goes in where a touch screen's does, through Kivy's event loop and the window, so whatever lies over or
beside a button has its chance at it.  It is taken away again before it could do anything.
"""

from __future__ import annotations

from typing import Any

from kivy.base import EventLoop
from kivy.core.window import Window
from kivy.input.motionevent import MotionEvent

from kiosk.screens.parts.touch import Touchable, hand

INSET_PX = 2.0  # a finger at the very corner of what is drawn


class Finger(MotionEvent):  # type: ignore[misc]  # Kivy gives no types
    """One touch at window pixels `x`, `y`, counted from the lower left corner."""

    def __init__(self, x: float, y: float) -> None:
        at = {"x": x / (Window.width - 1.0), "y": y / (Window.height - 1.0)}
        super().__init__("finger", 1, at, is_touch=True, type_id="touch")
        self.profile = ["pos"]

    def depack(self, args: dict[str, float]) -> None:
        self.sx, self.sy = args["x"], args["y"]
        super().depack(args)


def taken_by(x: float, y: float) -> Any:
    """The `Touchable` that a finger at this point presses; None where none is."""
    finger = Finger(x, y)
    hand.forget()  # each is a touch by itself
    EventLoop.post_dispatch_input("begin", finger)
    pressed = None
    for reference in list(finger.grab_list):
        widget = reference()
        if widget is None:
            continue
        finger.ungrab(widget)
        if isinstance(widget, Touchable):
            pressed = pressed or widget
            widget.state = "normal"
    EventLoop.post_dispatch_input("end", finger)
    hand.forget()
    return pressed


def corners(box: tuple[float, float, float, float]) -> dict[str, tuple[float, float]]:
    """The corners of a box (left, low, right, top), by their names, as far in as a finger that just meets them."""
    left, low, right, top = box
    return {
        f"{upright} {side}": (x, y)
        for upright, y in (("lower", low + INSET_PX), ("upper", top - INSET_PX))
        for side, x in (("left", left + INSET_PX), ("right", right - INSET_PX))
    }
