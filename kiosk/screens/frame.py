"""The frame every screen stands in: heat strip above, rail below, the screen between.

The strip and the rail are the same on every screen; a screen may cover the rail (a pad) or everything (heat).
It changes pages at once: a moving picture between two screens helps nobody who wears gloves.
"""

from __future__ import annotations

from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk import words
from kiosk.screens.kv import load_beside
from kiosk.screens.view import View


class Frame(BoxLayout):
    """`view`: the screen shown.  `hot`, `next_s`, `note`, `trouble`: what the strip shows.

    `wanted`: name of the screen that is coming, which the rail marks at once.
    Events: `on_go(name)`: the rail was touched; `on_who`: the name of who is at work was.
    """

    here = StringProperty("scan")
    wanted = StringProperty()
    covers = NumericProperty(0)
    hot = NumericProperty(0)
    next_s = NumericProperty(-1)
    by_reading = BooleanProperty(False)  # and then a probe must say so
    probe = StringProperty()  # what to probe now to be sooner
    probe_of = StringProperty()  # its name
    note = StringProperty()
    mark = StringProperty()  # the part of it that counts most, where there is room for no more
    trouble = StringProperty()
    language = StringProperty("en")
    view: View | None = None

    __events__ = ("on_go", "on_who")

    def show(self, view: View) -> None:
        """Put a screen between strip and rail, in place of the one that was there."""
        self.ids.stage.clear_widgets()
        self.ids.stage.add_widget(view)
        self.view = view
        self.here = view.rail
        self.covers = int(view.covers)

    def breathe(self) -> None:
        """A second has gone by and the desk has said so: the strip's one movement takes its next step."""
        self.ids.strip.breathe()

    def say_anew(self) -> None:
        """Say strip and rail anew, in the language that is spoken now."""
        self.language = words.language()

    def on_go(self, name: str) -> None:
        """A destination was touched."""

    def on_who(self) -> None:
        """The name of who is at work was touched."""


load_beside(__file__)
