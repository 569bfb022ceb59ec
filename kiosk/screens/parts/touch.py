"""Things a gloved hand touches: buttons and the ground that shows what belongs together.

Every touchable part is a `Touchable`, and says how large it must be; a test holds it to that on every screen.
It reports a release on itself, never needs a double tap, a long press or a swipe.  What is out of sight takes no
touch; that is seen to here and by no screen: parts keep their place in a layout though their owner folded it away.
"""

from __future__ import annotations

from kivy.input.motionevent import MotionEvent
from kivy.properties import BooleanProperty, ColorProperty, NumericProperty, StringProperty
from kivy.uix.behaviors import ButtonBehavior
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.widget import Widget

from kiosk.screens.kv import load_beside
from kiosk.screens.theme import TOUCH_MM


class Touchable(ButtonBehavior):
    """Something to touch.  `least_mm`: the short way across it, on the panel."""

    least_mm = NumericProperty(TOUCH_MM)
    always_release = False

    def on_touch_down(self, touch: MotionEvent) -> bool:
        """What nobody sees leaves a touch to whatever is seen there, whether it is disabled or not."""
        return in_sight(self) and bool(super().on_touch_down(touch))


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
