"""What is out of sight takes no touch, however its owner folded it away."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kivy.base import EventLoop
from kivy.core.window import Window  # noqa: F401 - the widgets need one
from kivy.input.motionevent import MotionEvent
from kivy.uix.floatlayout import FloatLayout
from kivy.uix.widget import Widget

from kiosk.screens.clerk import Clerk
from kiosk.screens.parts import touch as touching
from kiosk.screens.parts.keyboard import LetterKeys, TextEntry
from kiosk.screens.parts.pads import NumberPad, PadKey, SymbolKeys
from kiosk.screens.parts.search import SearchPad
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


class Room:
    """Keys beside each other, each 200 px wide, that say what was done with them."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        hand.forget()
        self.now_s = 90 * 86_400.0
        monkeypatch.setattr(touching.time, "monotonic", lambda: self.now_s)
        self.done: list[str] = []
        self.room = FloatLayout(size=(600, 94))

    def begin_anew(self) -> None:
        """As if nothing had been touched; fingers that still lie have gone."""
        hand.forget()
        self.done.clear()
        for finger in [each for each in EventLoop.me_list if isinstance(each, Finger)]:
            EventLoop.me_list.remove(finger)
        self.now_s += 3600.0

    def show(self, text: str, x: float, kind: type[BigButton] = BigButton) -> BigButton:
        key = kind(text=text, pos=(x, 0), size=(200, 94), size_hint=(None, None))
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

    def touch(self, x: float, after_s: float) -> None:
        """A finger comes down so long after the one before has lifted, and lifts at once."""
        self.now_s += after_s
        self.up(self.down(x))


class Panel(Room):
    """Two keys that do something, beside each other."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        super().__init__(monkeypatch)
        self.show("Good", 0)
        self.show("Worn", 300)


class Pad(Room):
    """Two keys of a pad, edge to edge."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        super().__init__(monkeypatch)
        self.show("1", 0, PadKey)
        self.show("2", 200, PadKey)


def test_a_finger_that_bounces_does_not_touch_what_its_first_touch_brought_up(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Panel(monkeypatch)
    panel.touch(100, 0)
    panel.show("Take it out", 0)
    panel.touch(101, 0.1)
    assert panel.done == ["Good"]
    panel.touch(101, 0.3)
    assert panel.done == ["Good", "Take it out"]


@pytest.mark.parametrize("after_s", [0.01, 0.05, 0.1, 0.12])
def test_a_finger_that_bounces_on_a_key_does_what_it_says_once(monkeypatch: pytest.MonkeyPatch, after_s: float) -> None:
    panel = Panel(monkeypatch)
    panel.touch(100, 0)
    panel.touch(101, after_s)
    panel.touch(101, after_s)  # a stiff finger may come down a third time
    assert panel.done == ["Good"]
    panel.touch(101, 0.25)  # and this one is meant
    assert panel.done == ["Good", "Good"]


def test_a_key_that_says_something_else_by_now_is_not_touched_by_the_bounce(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Room(monkeypatch)
    key = panel.show("Enter", 100)
    panel.touch(150, 0)
    key.text = "None"  # the next figure may be left empty
    panel.touch(151, 0.1)
    assert panel.done == ["Enter"]


def test_a_key_that_asked_the_desk_does_nothing_more_until_it_was_answered(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Panel(monkeypatch)
    kept: list[Callable[[object], None]] = []

    class Slow:
        def ask(self, question: object, then: Callable[[object], None], failed: object) -> None:
            kept.append(then)

    clerk = Clerk(Slow(), None, lambda view: None)  # type: ignore[arg-type]
    key = panel.show("Print", 600)
    key.bind(on_release=lambda _: clerk.ask(lambda desk: None))
    panel.room.width = 800
    panel.touch(700, 0)
    for after_s in (0.4, 2.0, 30.0):
        clerk.ask(lambda desk: None)  # what is asked once a second is none of its business
        panel.touch(700, after_s)
    assert panel.done == ["Print"]
    panel.touch(100, 1.0)
    assert panel.done == ["Print", "Good"]
    kept[0](None)
    panel.touch(700, 1.0)
    assert panel.done == ["Print", "Good", "Print"]


def test_a_neighbour_is_touched_as_quickly_as_one_can(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Panel(monkeypatch)
    for x in (100, 350, 100, 350):
        panel.touch(x, 0.05)
    assert panel.done == ["Good", "Worn", "Good", "Worn"]


def test_a_pad_types_one_figure_twice_and_its_neighbour_as_quickly_as_a_finger_can(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pad = Pad(monkeypatch)
    for x in (100, 100, 198, 202, 202, 198):  # the last ones beside the edge between them
        pad.touch(x, 0.08)
    assert pad.done == ["1", "1", "1", "2", "2", "1"]


def test_a_touch_that_the_panel_lost_for_a_moment_types_one_figure(monkeypatch: pytest.MonkeyPatch) -> None:
    pad = Pad(monkeypatch)
    pad.touch(100, 0)
    pad.touch(101, 0.03)
    pad.touch(199, 1.0)
    pad.touch(201, 0.03)
    assert pad.done == ["1", "1"]


def test_a_figure_of_another_pad_that_came_up_below_the_finger_is_not_typed(monkeypatch: pytest.MonkeyPatch) -> None:
    pad = Pad(monkeypatch)
    pad.touch(100, 0)
    pad.room = FloatLayout(size=(600, 94))
    pad.show("7", 0, PadKey)
    pad.touch(100, 0.1)
    assert pad.done == ["1"]


def _said(key: object) -> str:
    """What a key shows."""
    return next((said for name in ("symbol", "icon", "text") if (said := str(getattr(key, name, "")))), "space")


def test_of_a_keyboards_keys_only_what_types_and_deletes_goes_twice() -> None:
    searched = [key for row in SearchPad().children for key in row.children]
    keys = [*LetterKeys().children, *searched, *NumberPad().children, *SymbolKeys().children]
    twice = {_said(key) for key in keys if key.types}
    once = {_said(key) for key in keys if not key.types}
    assert once == {"ABC", "123", "stop", "forward", "capitals", "find"}
    assert not {"ABC", "123", "stop", "forward", "capitals", "find"} & twice
    assert {"1", "a", "space", "erase", "H"} <= twice


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


def test_two_thumbs_that_type_in_turn_lose_no_figure_and_keep_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    pad = Pad(monkeypatch)
    held = pad.down(100)
    for x in (300, 100, 300, 100, 300):
        pad.now_s += 0.09
        following = pad.down(x)
        pad.now_s += 0.03
        pad.up(held)
        held = following
    assert pad.done == ["1", "2", "1", "2", "1"], "the last types as it lifts"
    pad.up(held)
    assert pad.done == ["1", "2", "1", "2", "1", "2"]


@pytest.mark.parametrize("back", [False, True])
def test_a_thumb_that_slid_off_its_key_types_nothing_when_the_other_comes_down(
    monkeypatch: pytest.MonkeyPatch, back: bool
) -> None:
    pad = Pad(monkeypatch)
    slid = pad.down(100)
    pad.now_s += 0.1
    slid.pos = (100, 300)
    other = pad.down(300)
    pad.up(other)
    assert pad.done == ["2"]
    slid.pos = (100, 40 if back else 300)
    pad.up(slid)
    assert pad.done == ["2"], "nor later, behind the figure that came after it"


def test_a_finger_that_types_does_not_roll_onto_a_key_that_acts_nor_off_one(monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Room(monkeypatch)
    panel.show("1", 0, PadKey)
    panel.show("Enter", 300)
    for first, second in ((100, 400), (400, 100)):
        panel.now_s += 1.0
        panel.done.clear()
        held = panel.down(first)
        panel.now_s += 0.1
        panel.up(panel.down(second))
        panel.up(held)
        assert panel.done == ["1" if first == 100 else "Enter"]


def test_whatever_the_rhythm_of_two_thumbs_each_figure_is_typed_once_and_in_its_order(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pad = Pad(monkeypatch)

    @settings(max_examples=60, deadline=None)
    @given(st.lists(st.tuples(st.floats(0.07, 0.4), st.floats(0.02, 0.45)), min_size=1, max_size=25))
    def types(presses: list[tuple[float, float]]) -> None:
        """How long after the one before, at most how long it lies; a thumb lifts before it comes down again."""
        pad.begin_anew()
        at_s, events = pad.now_s, []
        for number, (after_s, lies_s) in enumerate(presses):
            at_s = round(at_s + after_s, 4)
            most_s = sum(after for after, _ in presses[number + 1 : number + 3]) - 0.061  # then this thumb is back
            events += [(at_s, number, True), (at_s + min(lies_s, max(most_s, 0.01)), number, False)]
        lying: dict[int, Finger] = {}
        for when_s, number, comes in sorted(events):
            pad.now_s = when_s
            if comes:
                lying[number] = pad.down((100, 300)[number % 2])
            else:
                pad.up(lying.pop(number))
        assert pad.done == [("1", "2")[number % 2] for number in range(len(presses))]

    types()


def test_a_palm_that_comes_down_on_many_keys_types_one_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    pad = Pad(monkeypatch)
    pad.show("3", 400, PadKey)

    @settings(max_examples=40, deadline=None)
    @given(
        st.lists(st.tuples(st.sampled_from([100, 300, 500]), st.floats(0.0, 0.039)), min_size=2, max_size=12),
        st.floats(0.5, 20.0),
        st.booleans(),
    )
    def rests(touches: list[tuple[int, float]], lies_s: float, first_lifts_first: bool) -> None:
        pad.begin_anew()
        began_s, fingers = pad.now_s, []
        for x, after_s in touches:
            pad.now_s = began_s + after_s
            fingers.append(pad.down(x))
        pad.now_s = began_s + lies_s
        for finger in fingers if first_lifts_first else reversed(fingers):
            pad.up(finger)
        assert len(pad.done) <= 1

    rests()


def test_a_hand_that_rests_on_the_panel_types_nothing_by_another_finger_and_a_third_finger_is_a_palms(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pad = Pad(monkeypatch)
    pad.show("3", 400, PadKey)
    rests = pad.down(100)
    pad.now_s += 0.6
    pad.up(pad.down(300))
    assert pad.done == []
    pad.up(rests)
    pad.now_s += 1.0
    pad.done.clear()
    first = pad.down(100)
    pad.now_s += 0.08
    second = pad.down(300)
    pad.now_s += 0.08
    third = pad.down(500)
    for finger in (third, second, first):
        pad.up(finger)
    assert pad.done == ["1", "2"]


def test_a_thumb_that_the_panel_loses_for_a_moment_while_the_other_types_types_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pad = Pad(monkeypatch)
    first = pad.down(100)
    pad.now_s += 0.08
    second = pad.down(300)
    pad.now_s += 0.05
    pad.up(first)
    pad.now_s += 0.02
    again = pad.down(101)
    pad.now_s += 0.02
    pad.up(second)
    pad.now_s += 0.02
    pad.up(again)
    assert pad.done == ["1", "2"]


def test_two_fingers_on_one_key_type_it_once(monkeypatch: pytest.MonkeyPatch) -> None:
    pad = Pad(monkeypatch)
    first = pad.down(20)
    pad.now_s += 0.1
    second = pad.down(180)
    pad.up(second)
    pad.up(first)
    assert pad.done == ["1"]


def test_the_letters_of_a_keyboard_are_made_when_a_text_is_first_asked_for_and_only_once() -> None:
    entry = TextEntry()
    assert not any(isinstance(part, PadKey) for part in entry.walk())
    entry.begin("Facing mill")
    keys = entry.letters
    assert keys.page == "letters" and not keys.capital
    entry.begin()
    assert entry.letters is keys and keys.capital
    entry.type("F")
    entry.end()
    assert entry.text == "F"


def test_a_key_of_a_pad_is_one_text_on_its_ground_for_hundreds_of_them_are_held() -> None:
    assert all(len(list(key.walk(restrict=True))) == 2 for key in SymbolKeys().children)
