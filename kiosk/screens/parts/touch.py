"""Things a gloved hand touches: buttons and the ground that shows what belongs together.

Every touchable part is a `Touchable`, and says how large it must be; a test holds it to that on every screen.
It reports a release on itself, never needs a double tap, a long press or a swipe.  What is out of sight takes no
touch; that is seen to here and by no screen: parts keep their place in a layout though their owner folded it away.
"""

from __future__ import annotations

import math
import time
import weakref
from typing import NamedTuple

from kivy.base import EventLoop
from kivy.input.motionevent import MotionEvent
from kivy.properties import BooleanProperty, ColorProperty, NumericProperty, StringProperty
from kivy.uix.behaviors import ButtonBehavior
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.widget import Widget

from kiosk.screens.asked import asked
from kiosk.screens.kv import load_beside
from kiosk.screens.theme import TOUCH_MM, look

BOUNCE_S = 0.25  # a finger that comes down again sooner has bounced: nobody has read by then what appeared under it
BOUNCE_MM = 8.0  # and so near
# A key that types may be meant twice (11, 00), which takes a quick finger some 0.08 s between lifting and coming down;
# a panel that loses a finger for a moment has it again sooner.
FLICKER_S = 0.06
RESTS_S = 3.0  # a finger that lies longer is a palm on the panel, or a panel that lost it, and stops no other any more
# Two thumbs that type in turn: the second comes down before the first has lifted, but neither together with it, which
# is one palm on two keys, nor long after, which is a hand that lies on the panel.
TOGETHER_S = 0.04
ROLLS_S = 0.5
_TYPED = "typed"  # of a finger: what it was meant for is done, though it lies there still


class _Lift(NamedTuple):
    """Where and when a finger left the panel, and from what."""

    at_s: float
    at: tuple[float, float]
    on: weakref.ref[Touchable]


class Hand:
    """What a gloved hand does without meaning it: a second touch where the first was, two keys at once.

    The second touch does nothing, whether the first brought up something else there or the same key is still there:
    it may say something else by then.  A key that asked the desk something does nothing more until it was answered.
    Of two keys that type, on one pad, the second may come down before the first has lifted: then the first types at
    once, so that the order is that in which they were touched.  Three at a time are a palm.
    """

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """As if nothing had been touched yet."""
        self._down: MotionEvent | None = None  # whose key does something when it lifts
        self._down_on: weakref.ref[Touchable] | None = None
        self._down_s = -math.inf
        self._lying: list[tuple[float, MotionEvent]] = []  # all that came down on keys, meant or not
        self._lifts: list[_Lift] = []

    def means(self, widget: Touchable, touch: MotionEvent) -> bool:
        """Whether this touch is meant for this widget."""
        if asked.answered < widget.asked and not (widget.types or widget.always):
            return False
        now_s = time.monotonic()
        others = self._others(touch, now_s)
        if touch not in [finger for _, finger in self._lying]:
            self._lying.append((now_s, touch))
        if self._is_down(touch, now_s) and not (len(others) == 1 and self._rolls_to(widget, now_s)):
            return False
        other_thumbs = [lift for lift in self._lifts[:-1] if _type_alike(lift.on(), widget)]  # it may flicker too
        return not any(self._bounces(lift, widget, touch, now_s) for lift in (*other_thumbs, *self._lifts[-1:]))

    def _others(self, touch: MotionEvent, now_s: float) -> list[MotionEvent]:
        """The other fingers that lie on keys now."""
        self._lying = [
            (at_s, finger) for at_s, finger in self._lying if finger in EventLoop.touches and now_s - at_s < RESTS_S
        ]
        return [finger for _, finger in self._lying if finger is not touch]

    def _is_down(self, touch: MotionEvent, now_s: float) -> bool:
        """Whether another finger is down on a key that waits for its lifting."""
        down = self._down
        return down is not None and down is not touch and down in EventLoop.touches and now_s - self._down_s < RESTS_S

    def _rolls_to(self, widget: Touchable, now_s: float) -> bool:
        """Whether a hand that types goes on to this key before it has let go of the one before."""
        on = self._down_on() if self._down_on is not None else None
        return on is not widget and _type_alike(on, widget) and TOGETHER_S <= now_s - self._down_s < ROLLS_S

    def _bounces(self, lift: _Lift, widget: Touchable, touch: MotionEvent, now_s: float) -> bool:
        """Whether it comes down again where a finger has just lifted; a key that types waits for a flicker only."""
        within_s = FLICKER_S if _type_alike(lift.on(), widget) else BOUNCE_S
        near = math.dist(widget.to_window(*touch.pos), lift.at) <= BOUNCE_MM * look.mm
        return near and now_s - lift.at_s < within_s

    def pressed(self, widget: Touchable, touch: MotionEvent) -> None:
        """A finger came down on something to touch; the key it rolled over from types at once, if it lies there yet."""
        now_s = time.monotonic()
        before = self._down_on() if self._down_on is not None and self._is_down(touch, now_s) else None
        if before is not None and self._down is not None and now_s - self._down_s < ROLLS_S:
            self._down.ud[_TYPED] = True
            before.state = "normal"
            if before.collide_point(*before.to_widget(*self._down.pos)):  # it may have slid off, as one that lifts may
                before.dispatch("on_release")
        self._down, self._down_s, self._down_on = touch, now_s, weakref.ref(widget)

    def lifted(self, widget: Touchable, touch: MotionEvent) -> None:
        """And lifts from it."""
        if self._down is touch:
            self._down = None
        now_s = time.monotonic()
        self._lifts = [lift for lift in self._lifts if now_s - lift.at_s < BOUNCE_S]
        self._lifts.append(_Lift(now_s, widget.to_window(*touch.pos), weakref.ref(widget)))


def _type_alike(one: Touchable | None, other: Touchable) -> bool:
    """Whether both are keys that type, on the same pad: nothing came up between them."""
    return one is not None and bool(one.types and other.types) and one.parent is other.parent


hand = Hand()


class Touchable(ButtonBehavior):
    """Something to touch.  `least_mm`: the short way across it, on the panel.

    `always`: it never waits for an answer of the desk, because it lets heat go on being told.
    `types`: it adds a letter or takes one back, and may be touched again as quickly as one can; any other acts once.
    """

    types = BooleanProperty(False)
    always = BooleanProperty(False)
    asked = 0  # number of the last question that a touch of it put to the desk
    least_mm = NumericProperty(TOUCH_MM)
    always_release = False

    def on_touch_down(self, touch: MotionEvent) -> bool:
        """What nobody sees leaves a touch to whatever is seen there, whether it is disabled or not."""
        if not in_sight(self):
            return False
        if self.collide_point(*touch.pos) and not hand.means(self, touch):
            return True
        taken = bool(super().on_touch_down(touch))
        if taken and self in touch.ud:
            hand.pressed(self, touch)
        return taken

    def on_touch_up(self, touch: MotionEvent) -> bool:
        """The hand remembers where it was, before what it did changes the screen."""
        if touch.grab_current is not self:
            return bool(super().on_touch_up(touch))
        hand.lifted(self, touch)
        if _TYPED in touch.ud:
            touch.ungrab(self)
            return True
        before = asked.last
        taken = bool(super().on_touch_up(touch))
        if asked.last > before:
            self.asked = asked.last
        return taken


def in_sight(widget: Widget) -> bool:
    """Whether there is anything to see of it: it and all it stands in have some size and are not quite transparent."""
    while widget is not None and widget is not widget.parent:  # the window is its own parent
        if widget.opacity <= 0 or widget.width < 1 or widget.height < 1:
            return False
        widget = widget.parent
    return True


class Panel(BoxLayout):
    """Ground with rounded corners for what belongs together."""

    fill = ColorProperty()
    edge = ColorProperty((0, 0, 0, 0))  # a frame around it


class TouchPanel(Touchable, Panel):
    """Ground that is touched to see more of what stands on it."""


class BigButton(Touchable, BoxLayout):
    """A word, with or without an icon, that does something.  `note` is a smaller line below the word.

    `elides`: a word or note of the shop's own (a printer, a place, a cutter) ends in dots where it is too long.
    """

    text = StringProperty()
    note = StringProperty()
    largest = NumericProperty()  # font size of the word, px
    edge = ColorProperty((0, 0, 0, 0))  # a frame that marks it
    elides = BooleanProperty(False)
    icon = StringProperty()
    fill = ColorProperty()
    ink = ColorProperty()


class ActButton(BigButton):
    """What a hand may do now: one on a screen where possible."""


class IconButton(Touchable, BoxLayout):
    """A drawing to touch, where a word would only stand in the way (arrows, delete)."""

    icon = StringProperty()
    fill = ColorProperty()
    ink = ColorProperty()


load_beside(__file__)
