"""One of several layouts in the same place: a screen's pages, a pad's typing and mending.

Only the one shown is in the tree, so that the others take no touch and no drawing.  The layout names them.  A page is
built when it is shown first, or when a screen asks for something on it by its id.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from kivy.properties import ObjectProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import Page


class Deck(BoxLayout):
    """Shows the one of its pages that is called `shown`.  A name that no page has is a KeyError.

    `pages`: what they are called -> a page as the layout has it, given by `kv.load_beside`.
    """

    shown = StringProperty()
    pages = ObjectProperty({})

    def __init__(self, **kwargs: Any) -> None:
        self._built: dict[str, Any] = {}
        self._named: dict[str, Any] = {}
        self._root: Any = None
        self._whole = False
        super().__init__(**kwargs)

    def apply_class_lang_rules(self, root: Any = None, **kwargs: Any) -> None:
        """Kivy says whose layout this is part of."""
        self._root = root
        super().apply_class_lang_rules(root=root, **kwargs)

    def on_pages(self, _: Any, pages: dict[str, Page]) -> None:
        """Whoever asks the screen for something on a page that is not there yet has it built."""
        self._root.ids.update({name: _Later(self, called, name) for called, page in pages.items() for name in page.ids})

    def on_kv_post(self, _: Any) -> None:
        """All that a page may speak of is there."""
        self._whole = True
        self.on_shown()

    def named(self, called: str, name: str) -> Any:
        """What has this id on a page."""
        self.page(called)
        return self._named[name]

    def page(self, called: str) -> Any:
        """The page of this name, built by now."""
        if called not in self._built:
            self._named.update(self.pages[called].build(self._root, self.add_widget))
        return self._built[called]

    def add_widget(self, widget: Any, *args: Any, **kwargs: Any) -> None:
        """Take a page; it is known once its layout says what it is called."""
        widget.create_property("called", "")
        widget.fbind("called", partial(self._take, widget))
        widget.deck = self  # out of sight it must not outlive the screen that its layout speaks of

    def _take(self, page: Any, _: Any, called: str) -> None:
        self._built[called] = page

    def on_shown(self, *_: object) -> None:
        """Change what is in the tree."""
        if not self._whole:
            return
        page = self.page(self.shown)
        if page.parent is self:
            return
        for child in list(self.children):
            super().remove_widget(child)
        super().add_widget(page)


class _Later:
    """Stands for what has an id on a page that is not built: whatever is asked of it, the page is built first."""

    def __init__(self, deck: Deck, called: str, name: str) -> None:
        object.__setattr__(self, "_where", (deck.proxy_ref, called, name))

    def _there(self) -> Any:
        deck, called, name = object.__getattribute__(self, "_where")
        return deck.named(called, name)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._there(), name)

    def __setattr__(self, name: str, value: Any) -> None:
        setattr(self._there(), name, value)
