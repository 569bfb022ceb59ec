"""A few large buttons whose words are only known while the kiosk runs: what can be done about a thing, reasons.

Shows what it is given, in that order, and reports which was touched.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty
from kivy.uix.gridlayout import GridLayout

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.touch import ActButton, BigButton


class BigKeys(GridLayout):
    """A button for each of `choices` (`Choice`s).  `acts`: the first is what a hand most likely wants.

    `fills`: the buttons share the height given; else each is as high as a touch.  Event `on_choose(key)`.
    """

    choices = ListProperty()
    across = NumericProperty(3)  # buttons in a row of a wide window
    across_tall = NumericProperty(1)
    acts = BooleanProperty(True)
    fills = BooleanProperty(False)

    __events__ = ("on_choose",)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("choices", "acts", "fills"):
            self.fbind(name, self._lay)
        self._lay()

    def _lay(self, *_: object) -> None:
        self.clear_widgets()
        for at, choice in enumerate(self.choices):
            kind = ActButton if self.acts and at == 0 else BigButton
            hint = {"size_hint_y": 1} if self.fills else {}
            key = kind(text=choice.text, note=choice.note, **hint)
            key.bind(on_release=lambda _, chosen=choice.key: self.dispatch("on_choose", chosen))
            self.add_widget(key)

    def on_choose(self, key: str) -> None:
        """A button was touched."""


load_beside(__file__)
