"""One of several layouts in the same place: a screen's pages, a pad's typing and mending.

Only the one shown is in the tree, so that the others take no touch and no drawing.  The layout names them.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from kivy.properties import StringProperty
from kivy.uix.boxlayout import BoxLayout


class Deck(BoxLayout):
    """Shows the one of its children whose `called` is `shown`.  A name that no child has is a KeyError."""

    shown = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        self._cards: dict[str, Any] = {}
        self._whole = False
        super().__init__(**kwargs)

    def add_widget(self, widget: Any, *args: Any, **kwargs: Any) -> None:
        """Take a child; it is known once its layout says what it is called."""
        widget.create_property("called", "")
        widget.fbind("called", partial(self._take, widget))
        widget.deck = self  # out of sight it must not outlive the screen that its layout speaks of

    def _take(self, card: Any, _: Any, name: str) -> None:
        self._cards[name] = card
        if name == self.shown:
            self.on_shown()

    def on_kv_post(self, _: Any) -> None:
        """Every child has its name by now."""
        self._whole = True
        self.on_shown()

    def on_shown(self, *_: object) -> None:
        """Change what is in the tree."""
        card = self._cards[self.shown] if self._whole else self._cards.get(self.shown)
        if card is not None and card.parent is self:
            return
        for child in list(self.children):
            super().remove_widget(child)
        if card is not None:
            super().add_widget(card)
