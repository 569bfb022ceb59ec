"""The lines of a layout share their names a widget, and no widget sees another's."""

from __future__ import annotations

import gc
from typing import Any


def _maps(widget: Any) -> list[dict[str, Any]]:
    """Maps of names that Kivy keeps for lines of that widget's layout."""
    return [
        each
        for each in gc.get_objects()
        if issubclass(type(each), dict) and "app" in each and "self" in each and each["self"] is widget.proxy_ref
    ]


def test_lines_of_one_widget_hold_their_names_once_and_follow_their_own_widget() -> None:
    from kivy.factory import Factory
    from kivy.lang import Builder

    from kiosk.screens import kv  # noqa: F401 - it has Kivy share

    Builder.load_string("""
<OfThreeLines@Widget>:
    size_hint: None, None
    width: self.height * 2
    x: self.y + self.height
    opacity: 0.5 if self.disabled else 1
    Widget:
        width: root.width + 1
        height: self.width * 3
""")
    one, other = Factory.OfThreeLines(), Factory.OfThreeLines()
    for widget in (one, one.children[0]):
        assert len(_maps(widget)) == 1
    one.height, other.height, one.y = 50, 7, 3
    assert (one.width, other.width, one.x, other.x) == (100, 14, 53, 7)
    assert (one.children[0].height, other.children[0].height) == (303, 45)
    one.disabled = True
    assert (one.opacity, other.opacity) == (0.5, 1)
