"""The rail: the six destinations, one row in a wide window and two rows of three in a high one.

Two rows keep every target 18 mm the short way where six side by side would not.  It goes nowhere itself.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.gridlayout import GridLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.touch import Touchable
from kiosk.words import t

DESTINATIONS = (
    ("scan", "scan"),
    ("hot", "hot"),
    ("find", "find"),
    ("audit", "audit"),
    ("labels", "label"),
    ("shop", "shop"),
)  # name of the screen, name of the icon
NAMES = frozenset(name for name, _ in DESTINATIONS)


class RailKey(Touchable, BoxLayout):
    """One destination.  `here`: it is the one shown."""

    name = StringProperty()
    icon = StringProperty()
    word = StringProperty()
    here = BooleanProperty(False)


class Rail(GridLayout):
    """`here`: the destination shown.  `language`: its words'.  Event `on_go(name)`: another one was touched."""

    here = StringProperty("scan")
    language = StringProperty("en")

    __events__ = ("on_go",)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name, icon in DESTINATIONS:
            key = RailKey(name=name, icon=icon, here=name == self.here)
            key.bind(on_release=lambda key: self.dispatch("on_go", key.name))
            self.add_widget(key)
        self.on_language()

    def on_language(self, *_: object) -> None:
        for key in self.children:
            key.word = t(f"rail.{key.name}")

    def on_here(self, *_: object) -> None:
        for key in self.children:
            key.here = key.name == self.here

    def on_go(self, name: str) -> None:
        """A destination was touched."""


load_beside(__file__)
