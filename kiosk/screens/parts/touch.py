"""Things a gloved hand touches: buttons and the ground that shows what belongs together.

Every touchable part is a `Touchable`, and says how large it must be; a test holds it to that on every screen.
It reports a release on itself, never needs a double tap, a long press or a swipe.  What is out of sight takes no
touch; that is seen to here and by no screen: parts keep their place in a layout though their owner folded it away.
"""

from __future__ import annotations

import math
import time
import weakref

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


class Hand:
    """What a gloved hand does without meaning it: a second touch where the first was, two keys at once.

    The second touch does nothing, whether the first brought up something else there or the same key is still there:
    it may say something else by then.  A key that asked the desk something does nothing more until it was answered.
    """

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """As if nothing had been touched yet."""
        self._down: MotionEvent | None = None
        self._down_s = self._up_s = -math.inf
        self._up_at = (0.0, 0.0)
        self._up_on: weakref.ref[Touchable] | None = None

    def means(self, widget: Touchable, touch: MotionEvent) -> bool:
        """Whether this touch is meant for this widget."""
        if asked.answered < widget.asked and not (widget.types or widget.always):
            return False
        now_s = time.monotonic()
        down = self._down
        if down is not None and down is not touch and down in EventLoop.touches and now_s - self._down_s < RESTS_S:
            return False
        if now_s - self._up_s >= (FLICKER_S if self._types_on(widget) else BOUNCE_S):
            return True
        return math.dist(widget.to_window(*touch.pos), self._up_at) > BOUNCE_MM * look.mm

    def _types_on(self, widget: Touchable) -> bool:
        """Whether this key types, and the one touched before it on the same pad did: nothing came up meanwhile."""
        before = self._up_on() if self._up_on is not None else None
        return before is not None and bool(before.types and widget.types) and before.parent is widget.parent

    def pressed(self, touch: MotionEvent) -> None:
        """A finger came down on something to touch."""
        self._down, self._down_s = touch, time.monotonic()

    def lifted(self, widget: Touchable, touch: MotionEvent) -> None:
        """And lifts from it."""
        self._down, self._up_s = None, time.monotonic()
        self._up_at, self._up_on = widget.to_window(*touch.pos), weakref.ref(widget)


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
            hand.pressed(touch)
        return taken

    def on_touch_up(self, touch: MotionEvent) -> bool:
        """The hand remembers where it was, before what it did changes the screen."""
        if touch.grab_current is not self:
            return bool(super().on_touch_up(touch))
        hand.lifted(self, touch)
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
