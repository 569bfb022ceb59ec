"""Loads the layout that lies beside a module of this room, and lets a rule end with the widget it is for.

The pages of a `Deck` are cut out of it and kept for when one is shown first (`pages_of`): three of five widgets stand
on pages that nobody turns to, at 45 kB each.

Every part and screen has its layout in a `.kv` file of its own name; this is the only way such a file is read.  Kivy
keeps a copy of all names that a layout may use for every line of it that follows a property: 38 000 for all screens, of
which 40 MB are saved here, where the lines of one widget share one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from types import CodeType
from typing import Any

from kivy.lang import Builder, builder
from kivy.lang.parser import ParserRule, ParserRuleProperty


class _Names(dict[str, Any]):
    """Names that the lines of one widget in one rule share: a copy of it is itself, for nobody changes it."""

    def __copy__(self) -> _Names:
        return self


def _shared(follow: Callable[..., Any]) -> Callable[..., Any]:
    """Kivy's function that has a line of a layout follow what it names, with one map of names a widget and rule."""
    widget: Any = None
    ids: Any = None
    names = _Names()

    def follow_shared(owner: Any, element: Any, key: Any, value: Any, rule: Any, given: Any, *more: Any) -> Any:
        nonlocal widget, ids, names
        if owner is not widget or given is not ids:
            widget, ids, names = owner, given, _Names(given)
        return follow(owner, element, key, value, rule, names, *more)

    return follow_shared


builder.create_handler = _shared(builder.create_handler)
_work_out: Callable[[Any, Any, Any], None] = builder.call_fn


def _tell(told: Any, instance: Any, value: Any) -> None:
    """Give a widget what its rule says, unless it went while that was worked out.

    Kivy only unbinds a rule when its widget is collected, and the collector may come by between the working out and
    the giving: then Kivy raises ReferenceError, which would end the window.  told: widget and rule, as Kivy has them.
    """
    try:
        _work_out(told, instance, value)
    except ReferenceError:
        if _is_there(told[0]):
            raise


def _is_there(widget: Any) -> bool:
    try:
        return widget.uid is not None
    except ReferenceError:
        return False


builder.call_fn = _tell


class Page(ParserRule):
    """One page of a `Deck` as its layout says it, not built yet.  ids: of all that stands on it."""

    def __init__(self, layout: Any) -> None:
        self.name = "Deck's page"
        self.id, self.level, self.handlers = None, 1, ()
        self.properties: dict[str, Any] = {}
        self.canvas_before = self.canvas_root = self.canvas_after = None
        self.children = [layout]
        self.ids = tuple(_ids(layout))

    def create_missing(self, widget: Any) -> None:
        """Kivy's first step with a rule: what stands on the page may name all that its screen has."""
        self._named = Builder.rulectx[self]["ids"]
        self._named.update(widget.proxy_ref.ids)

    def build(self, root: Any, take: Callable[[Any], None]) -> dict[str, Any]:
        """What has an id on this page, built.  root: the widget whose layout it is part of; take: is given the page."""
        below: list[Any] = []
        Builder._apply_rule(_InPlace(root, take), self, self, rule_children=below)
        named = {name: self._named[name] for name in self.ids}
        del self._named
        for widget in below:
            widget.dispatch("on_kv_post", root)
        return named


class _InPlace:
    """What Kivy is given to build a page into: it speaks of the screen and hands the page to its deck."""

    def __init__(self, root: Any, take: Callable[[Any], None]) -> None:
        self.proxy_ref = root
        self.add_widget = take


def _ids(layout: Any) -> Iterator[str]:
    if layout.id:
        yield layout.id.split("#", 1)[0].strip()
    for child in layout.children:
        yield from _ids(child)


def _spoken(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield from _spoken(inner)


def _names(layout: Any, but: Any) -> Iterator[str]:
    """What the lines of a layout speak of, but for those of one part of it."""
    if layout is but:
        return
    for line in (*layout.properties.values(), *layout.handlers):
        if isinstance(line.co_value, CodeType):
            yield from _spoken(line.co_value)
    canvases = (layout.canvas_before, layout.canvas_root, layout.canvas_after)
    for child in (*layout.children, *(canvas for canvas in canvases if canvas)):
        yield from _names(child, but)


def _keep_pages(rule: Any, whole: Any) -> None:
    """Give the decks of a rule their pages as a property, innermost first, instead of as children.

    A page of which something is spoken elsewhere in the layout stays a child and is built with the screen.
    """
    for child in rule.children:
        _keep_pages(child, whole)
    if rule is whole or rule.name != "Deck":
        return
    pages, stay = {}, []
    for child in rule.children:
        if set(_ids(child)) & set(_names(whole, child)):
            stay.append(child)
        else:
            pages[child.properties["called"].co_value] = Page(child)
    given = ParserRuleProperty(rule.ctx, rule.line, "pages", "{}")
    given.co_value = pages
    rule.properties = {"pages": given, **rule.properties}
    rule.children = stay


def load_beside(module_file: str) -> None:
    """Read `x.kv` for the module file `x.py`; a second call changes nothing."""
    path = str(Path(module_file).with_suffix(".kv"))
    if path not in Builder.files:
        Builder.load_file(path, encoding="utf-8")
        for _, rule in Builder.rules:
            if rule.ctx.filename == path:
                _keep_pages(rule, rule)
