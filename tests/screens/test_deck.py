"""A page of a deck is built when it is shown or spoken to, names what its screen has, and is never built twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

LAYOUT = """
#:import deck kiosk.screens.parts.deck

<Leaf@Widget>:
    said: ''

<{name}>:
    Leaf:
        id: head
        said: 'head of ' + root.page
    Leaf:
        said: 'knows ' + named.said
    Deck:
        id: pages
        shown: root.page
        Leaf:
            called: 'first'
            said: 'first'
        BoxLayout:
            called: 'second'
            Leaf:
                id: inner
                said: head.said + ', seen from the second'
            Deck:
                shown: root.inner_page
                Leaf:
                    called: 'deep'
                    id: deep
                    said: inner.said + ', deep'
                Leaf:
                    called: 'deeper'
                    said: 'deeper'
        BoxLayout:
            called: 'third'
            Leaf:
                id: named
                said: 'spoken of outside'
        Leaf:
            called: 'fourth'
            id: fourth
            said: 'fourth'
            on_touch_up: root.touched.append(head.said)
"""


@pytest.fixture
def screen(tmp_path: Path, request: pytest.FixtureRequest) -> Any:
    from kivy.factory import Factory
    from kivy.properties import ListProperty, StringProperty
    from kivy.uix.boxlayout import BoxLayout

    from kiosk.screens.kv import load_beside

    name = f"Decked{abs(hash(request.node.name))}"
    layout = tmp_path / f"{name}.kv"
    layout.write_text(LAYOUT.format(name=name), "utf-8")
    load_beside(str(layout.with_suffix(".py")))
    kind = type(
        name,
        (BoxLayout,),
        {"page": StringProperty("first"), "inner_page": StringProperty("deep"), "touched": ListProperty()},
    )
    Factory.register(name, cls=kind)
    return kind()


def _said(screen: Any) -> list[str]:
    return [part.said for part in screen.walk() if hasattr(part, "said")]


def _built(deck: Any) -> list[str]:
    return sorted(name for name in ("first", "second", "third", "fourth") if name in deck._built)


def test_only_the_page_shown_is_built_and_one_of_which_the_layout_speaks_elsewhere(screen: Any) -> None:
    assert _built(screen.ids.pages) == ["first", "third"]
    assert _said(screen) == ["head of first", "knows spoken of outside", "first"]


def test_a_page_follows_its_screen_and_is_the_same_when_it_comes_again(screen: Any) -> None:
    screen.page = "second"
    assert _said(screen)[2:] == ["head of second, seen from the second", "head of second, seen from the second, deep"]
    page = screen.ids.pages.children[0]
    screen.page = "first"
    assert screen.ids.inner.said == "head of first, seen from the second"  # it follows out of sight too
    screen.inner_page, screen.page = "deeper", "second"
    assert screen.ids.pages.children[0] is page and _said(screen)[3:] == ["deeper"]
    assert screen.ids.deep.said.endswith(", deep")


@pytest.mark.parametrize("way", ["read", "written"])
def test_whoever_speaks_to_what_stands_on_a_page_has_it_built_once(screen: Any, way: str) -> None:
    kept = screen.ids.fourth
    if way == "read":
        assert screen.ids.fourth.said == "fourth"
    else:
        screen.ids.fourth.said = "other words"
    assert "fourth" in _built(screen.ids.pages) and screen.ids.pages.children[0].said == "first"
    page = screen.ids.pages.page("fourth")
    assert page.said == screen.ids.fourth.said == kept.said
    screen.page = "fourth"
    assert screen.ids.pages.children[0] is page
    page.dispatch("on_touch_up", None)
    assert screen.touched == ["head of fourth"]


def test_a_page_built_while_another_waits_leaves_both_in_reach(screen: Any) -> None:
    for name in ("fourth", "inner", "deep"):
        assert getattr(screen.ids, name).said
    screen.page = "second"
    assert screen.ids.fourth.said == "fourth" and screen.ids.deep.said.startswith("head of second")


def test_a_page_that_no_deck_has_is_told(screen: Any) -> None:
    with pytest.raises(KeyError, match="fifth"):
        screen.page = "fifth"


def test_two_screens_have_pages_of_their_own(screen: Any) -> None:
    other = type(screen)()
    screen.page = other.page = "second"
    screen.ids.inner.said = "mine"
    assert other.ids.inner.said == "head of second, seen from the second"
