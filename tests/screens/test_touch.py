"""What is out of sight takes no touch, however its owner folded it away."""

from __future__ import annotations

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one
from kivy.input.motionevent import MotionEvent
from kivy.uix.floatlayout import FloatLayout
from kivy.uix.widget import Widget

from kiosk.screens.parts.touch import BigButton

FOLDED = {"flat": {"height": 0}, "narrow": {"width": 0}, "clear": {"opacity": 0}}


class Finger(MotionEvent):  # type: ignore[misc]  # Kivy gives no types
    def __init__(self, x: float, y: float) -> None:
        super().__init__("finger", 1, {}, is_touch=True, type_id="touch")
        self.profile, self.x, self.y, self.pos = ["pos"], x, y, (x, y)


@pytest.mark.parametrize("disabled", [False, True])
@pytest.mark.parametrize("how", FOLDED)
@pytest.mark.parametrize("owner", [False, True])
def test_a_button_folded_away_leaves_the_touch_to_the_one_that_is_seen(how: str, disabled: bool, owner: bool) -> None:
    below = BigButton(text="Understood", pos=(0, 0), size=(200, 94), size_hint=(None, None))
    above = BigButton(text="Scan", pos=(0, 0), size=(200, 94), size_hint=(None, None), disabled=disabled)
    label = Widget(pos=(0, 0), size=(200, 94))  # a button's words may keep their size when the button has none
    above.add_widget(label)
    room = FloatLayout(size=(200, 94))
    room.add_widget(below)
    folded = above
    if owner:
        folded = FloatLayout(pos=(0, 0), size=(200, 94), size_hint=(None, None))
        folded.add_widget(above)
    room.add_widget(folded)
    for name, value in FOLDED[how].items():
        setattr(folded, name, value)
    finger = Finger(100, 40)
    assert room.on_touch_down(finger)
    assert below.state == "down" and above.state == "normal"
