"""What is out of sight takes no touch, however its owner folded it away."""

from __future__ import annotations

import pytest
from kivy.base import EventLoop
from kivy.core.window import Window  # noqa: F401 - the widgets need one
from kivy.input.motionevent import MotionEvent
from kivy.uix.floatlayout import FloatLayout
from kivy.uix.widget import Widget

from kiosk.screens.parts import touch as touching
from kiosk.screens.parts.touch import BigButton, hand

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


class Panel:
    """Two keys beside each other, and a third that the first brings up where it stands itself."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        hand.forget()
        self.now_s = 90 * 86_400.0
        monkeypatch.setattr(touching.time, "monotonic", lambda: self.now_s)
        self.done: list[str] = []
        self.room = FloatLayout(size=(600, 94))
        self.show("Good", 0)
        self.show("Worn", 300)

    def show(self, text: str, x: float) -> BigButton:
        key = BigButton(text=text, pos=(x, 0), size=(200, 94), size_hint=(None, None))
        key.bind(on_release=lambda key: self.done.append(key.text))
        self.room.add_widget(key)
        return key

    def down(self, x: float) -> Finger:
        finger = Finger(x, 40)
        EventLoop.me_list.append(finger)
        self.room.on_touch_down(finger)
        return finger

    def up(self, finger: Finger) -> None:
        EventLoop.me_list.remove(finger)
        for reference in list(finger.grab_list):
            finger.grab_current = reference()
            finger.grab_current.on_touch_up(finger)
        finger.grab_current = None


def test_a_finger_that_bounces_does_not_touch_what_its_first_touch_brought_up(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Panel(monkeypatch)
    panel.up(panel.down(100))
    panel.show("Take it out", 0)
    panel.now_s += 0.1
    panel.up(panel.down(101))
    assert panel.done == ["Good"]
    panel.now_s += 0.3
    panel.up(panel.down(101))
    assert panel.done == ["Good", "Take it out"]


def test_one_key_may_be_touched_as_quickly_as_one_can_and_so_may_its_neighbour(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Panel(monkeypatch)
    for x in (100, 100, 350, 100):
        panel.now_s += 0.05
        panel.up(panel.down(x))
    assert panel.done == ["Good", "Good", "Worn", "Good"]


def test_of_two_keys_pressed_at_once_only_the_first_does_something(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Panel(monkeypatch)
    first, second = panel.down(100), panel.down(350)
    panel.up(second)
    panel.up(first)
    assert panel.done == ["Good"]


def test_a_finger_the_panel_lost_does_not_lock_the_keys_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Panel(monkeypatch)
    lost = panel.down(100)
    panel.now_s += 3.1
    panel.up(panel.down(350))
    assert panel.done == ["Worn"]
    EventLoop.me_list.remove(lost)
