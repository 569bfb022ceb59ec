"""The whole shop goes out by a supervisor's hand, whole or not at all, and "Cancel" ends it."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk import where, words
from kiosk.desk.inbox import fill
from kiosk.desk.session import GivenUp, Locked
from kiosk.exchange.shop import read_shop
from kiosk.screens.parts.marked import Marked
from kiosk.screens.questions import put_out as asks
from kiosk.screens.shop.put_out import OFFSETS, SHOP, Page, PutOutScreen
from tests.conftest import Shop
from tests.screens.test_clerk import Office

DAYS_S = 12 * 86_400.0


@pytest.fixture
def locked(shop: Shop) -> Shop:
    shop.clock.forward(DAYS_S)
    shop.desk.people.first_pin("kim", "4711", by_owner=True)
    return shop


def test_everybodys_badge_goes_out_by_a_supervisor_alone(locked: Shop, tmp_path: Path) -> None:
    office = Office(locked)
    screen = PutOutScreen()
    office.clerk.take(screen)
    went: list[tuple[str, dict[str, Any]]] = []
    office.clerk.go("put_out")
    office.clerk.go = lambda name, **about: went.append((name, about))
    screen._press.run = lambda job, done, *_: done(job())
    screen.choose(SHOP)
    assert went == [("pin", {"goal": "put_out", "act": SHOP})] and screen.page == Page.WHAT
    with pytest.raises(Locked):  # whatever screen asks
        asks.shop()(locked.desk)
    locked.desk.people.unlock("kim", "4711")
    screen.shown(act=SHOP, supervisor="kim")
    assert screen.page == Page.GOALS


def test_where_nobody_has_a_pin_the_shop_is_taken_along_by_anybody(shop: Shop, tmp_path: Path) -> None:
    assert not asks.needs_pin()(shop.desk)
    asks.keep_shop(tmp_path / "stick", asks.shop()(shop.desk), lambda: False)
    assert read_shop(tmp_path / "stick")
    assert not (tmp_path / "stick" / asks.MAKING).exists()


def test_a_badge_that_would_choose_the_first_pin_goes_out_with_nobody(shop: Shop, tmp_path: Path) -> None:
    """Whoever prints a supervisor's badge from a file is the supervisor where none has a PIN."""
    kim = shop.desk.shop.code_of("kim")
    shop.desk.scan(kim)
    for at_work in (True, False):
        goal = tmp_path / f"stick-{at_work}"
        asks.keep_shop(goal, asks.shop()(shop.desk), lambda: False)
        assert not _that_say(goal, kim) and not _that_say(goal, shop.desk.shop.code_of("jo")), at_work
        shop.desk.people.sign_out()
    shop.clock.forward(DAYS_S)
    shop.desk.people.first_pin("kim", "4711", by_owner=True)
    shop.desk.people.unlock("kim", "4711")
    asks.keep_shop(tmp_path / "own", asks.shop()(shop.desk), lambda: False)
    assert _that_say(tmp_path / "own", kim) == ["operators.csv"]


def test_the_window_says_that_badges_stay_and_why(shop: Shop, tmp_path: Path) -> None:
    office = Office(shop)
    screen = PutOutScreen()
    office.clerk.take(screen)
    office.clerk.go("put_out")
    screen._press.run = lambda job, done, *_: done(job(None, lambda: False))
    screen._what = SHOP
    screen.put(Marked(str(tmp_path / "holder-kiosk"), "Stick", "holder-kiosk"))
    assert screen.page == Page.ANSWER and "Badges stay here until a supervisor has a PIN" in screen.answer


def _that_say(folder: Path, text: str) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if text in path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("looks", range(8))
def test_a_shop_that_is_cancelled_while_it_is_saved_leaves_the_one_saved_before_as_it_was(
    shop: Shop, tmp_path: Path, looks: int
) -> None:
    stick, whole = tmp_path / "stick", asks.shop()(shop.desk)
    stick.mkdir()
    (stick / "holders.csv").write_text("the one before")
    (stick / "photo.jpg").write_text("somebody's own")
    asked = iter(range(100))
    with pytest.raises(GivenUp):
        asks.keep_shop(stick, whole, lambda: next(asked) >= looks)
    assert {path.name: path.read_text() for path in stick.iterdir()} == {
        "holders.csv": "the one before", "photo.jpg": "somebody's own",
    }  # fmt: skip


def test_cancel_tells_the_saving_to_end(shop: Shop) -> None:
    office = Office(shop)
    screen = PutOutScreen()
    office.clerk.take(screen)
    office.clerk.go("put_out")
    jobs: list[Any] = []
    screen._press.run = lambda job, *_: jobs.append(job)
    screen._what = SHOP
    screen._busy("saving")
    told: list[bool] = []
    screen._press.cancel = lambda: told.append(True)
    screen.back()
    assert told == [True] and screen.page == Page.WHAT


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_templates_that_came_along_have_plain_names_and_the_shops_own_their_files(
    shop: Shop, language: str, request: pytest.FixtureRequest
) -> None:
    """A file of the shop's that is called as one of ours, and says something else, is the shop's own."""
    request.addfinalizer(partial(words.speak, words.language()))
    words.speak(language)
    folder = shop.desk.session.book.path.parent / "templates"
    fill(folder.parent, where.demo_tags())
    (folder / "mill_2_nightly.txt").write_text("[each]\n{POCKET}\n[end]\n")
    (folder / "tool_table.txt").write_text("[each]\n{LF}\n[end]\n")
    office = Office(shop)
    screen = PutOutScreen()
    office.clerk.take(screen)
    office.clerk.go("put_out")
    screen.choose(OFFSETS)
    screen.take(screen.options[0])
    named = {Path(row.key).name: (row.text, row.note) for row in screen.options}
    assert named["mill_2_nightly.txt"] == ("mill_2_nightly", "")
    assert named["tool_table.txt"] == ("tool_table", "")
    ours = {name for name, (text, note) in named.items() if note == name and "_" not in text}
    assert ours == {"inch_card.txt", "offset_program.txt"}
    assert named["inch_card.txt"][0] == words.t("put_out.template_of.inch_card")
    assert {path.stem for path in (where.demo_tags() / "templates").iterdir()} == set(asks.CAME_ALONG)
