"""One of several layouts in the same place: a screen's steps, a pad's typing and mending.

Only the one shown is in the tree, so that the others take no touch and no drawing.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import NumericProperty
from kivy.uix.boxlayout import BoxLayout


class Deck(BoxLayout):
    """Shows its child number `shown`, counted from 0 in the order they were added."""

    shown = NumericProperty(0)

    def __init__(self, **kwargs: Any) -> None:
        self._cards: list[Any] = []
        super().__init__(**kwargs)

    def add_widget(self, widget: Any, *args: Any, **kwargs: Any) -> None:
        self._cards.append(widget)
        widget.deck = self  # out of sight it must not outlive the screen that its layout speaks of
        if len(self._cards) - 1 == int(self.shown):
            self.on_shown()

    def on_shown(self, *_: object) -> None:
        """Change what is in the tree."""
        for child in list(self.children):
            super().remove_widget(child)
        if 0 <= self.shown < len(self._cards):
            super().add_widget(self._cards[int(self.shown)])
