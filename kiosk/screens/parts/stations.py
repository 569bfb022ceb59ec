"""The way to a thing, station by station, the last in the largest letters: cabinet, drawer, slot.

Each station is a name with a small word above that says what it is; names are the shop's own and wrap.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, ListProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.touch import Panel


class Station(Panel):
    """One station.  `goal`: it is the last."""

    text = StringProperty()
    note = StringProperty()
    goal = BooleanProperty(False)


class Stations(BoxLayout):
    """Shows `stations` (`Choice`s), or `empty` where there are none."""

    stations = ListProperty()
    empty = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("stations", "empty"):
            self.fbind(name, self._lay)

    def _lay(self, *_: object) -> None:
        self.clear_widgets()
        last = len(self.stations) - 1
        for at, choice in enumerate(self.stations):
            self.add_widget(Station(text=choice.text, note=choice.note, goal=at == last))
        if not self.stations and self.empty:
            self.add_widget(Station(text=self.empty))


load_beside(__file__)
