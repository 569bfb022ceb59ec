"""The first steps of a new kiosk count only what they ask, and go on where they were left with every answer."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import Mock

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.desk import Desk, first_steps
from kiosk.desk.session import Locked
from kiosk.rules.shop_things.forms import Thing
from kiosk.screens.parts.states import StepHeader
from kiosk.screens.questions import first as asks
from kiosk.screens.questions import shop
from kiosk.screens.shop.first import FirstScreen


class Clerk(SimpleNamespace):
    """Asks the desk at once, on this thread."""

    eye = begin_own = look_around = None
    settings = None
    went: tuple[str, dict[str, Any]] | None = None

    def ask(self, question: Any, then: Any = None, failed: object = None) -> None:
        try:
            answer = question(self.desk)
        except Exception as error:
            assert callable(failed), error
            failed(error)
            return
        if then is not None:
            then(answer)

    def go(self, name: str, **about: Any) -> None:
        self.went = name, about

    def play(self, sound: object) -> None:
        """Nothing is heard."""


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    desk = Desk.open(tmp_path / "data")
    yield desk
    desk.close()


def opened(desk: Desk) -> FirstScreen:
    screen = FirstScreen(clerk=Clerk(desk=desk))
    screen.shown()
    return screen


def names(desk: Desk) -> list[tuple[str, bool]]:
    return [(card.name, desk.people.has_pin(card.key)) for card in desk.people.operators()]


def count(screen: FirstScreen) -> tuple[int, int]:
    """What the page in sight says: its number, and how many there are."""
    headers = [each for each in screen.walk() if isinstance(each, StepHeader)]
    (said,) = {(int(each.step), int(each.steps)) for each in headers}
    return said


@pytest.mark.parametrize("there", [(), ("cabinet", "machine")])
def test_where_no_place_is_there_yet_the_pages_are_counted_without_asking_where_the_kiosk_stands(
    desk: Desk, there: tuple[str, ...]
) -> None:
    screen = opened(desk)
    counted = [(screen.page, *count(screen))]
    screen.skip()
    for kind in there:
        screen.stands(kind)
    counted.append((screen.page, *count(screen)))
    for _ in range(2):
        screen.skip()
        counted.append((screen.page, *count(screen)))
    assert counted == [("language", 1, 5), ("stands", 2, 5), ("panel", 3, 5), ("camera", 4, 5)]
    assert (opened(desk).page, *count(opened(desk))) == ("camera", 4, 5)
    for page, at in (("panel", 3), ("stands", 2), ("language", 1)):
        screen.back()
        assert (screen.page, *count(screen)) == (page, at, 5)


def test_where_a_station_stands_it_is_asked_for_and_counted_whoever_comes_back(desk: Desk) -> None:
    screen = opened(desk)
    screen.skip()
    screen.stands("bench")
    assert count(screen) == (2, 6)
    for page, at in (("at", 3), ("panel", 4), ("camera", 5)):
        screen.skip()
        assert (screen.page, *count(screen)) == (page, at, 6)
    again = opened(desk)
    assert (again.page, *count(again)) == ("camera", 5, 6)
    for page, at in (("panel", 4), ("at", 3), ("stands", 2)):
        again.back()
        assert (again.page, *count(again)) == (page, at, 6)


def test_an_answer_that_was_given_is_in_force_though_the_power_went_before_the_next_page_was_reached(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    screen = opened(desk)
    screen.skip()
    screen.skip()
    with monkeypatch.context() as full:
        full.setattr(first_steps, "_write", Mock(side_effect=OSError(28, "No space left on device")))
        screen.clerk.ask(asks.setting("kiosk", "px_per_mm", "5.2", "camera"), None, screen._failed)
        screen.skip()
        assert screen.page == "panel" and screen.trouble  # what could not be written down is not gone on from
    assert desk.session.settings.kiosk.px_per_mm == 5.2 and opened(desk).page == "panel"


def test_a_supervisor_is_one_with_a_pin_or_is_nobody(desk: Desk) -> None:
    screen = opened(desk)
    screen._go("supervisor")
    screen.named("Kim")
    assert screen.clerk.went == ("pin", {"goal": "first", "newcomer": "Kim", "step": "end"})
    assert names(desk) == [] and opened(desk).page == "supervisor"
    assert opened(desk).ids.name.text == "Kim"  # not asked for again
    shop.add_supervisor("Kim", "4711")(desk)
    assert names(desk) == [("Kim", True)] and desk.session.unlocked_by() is not None
    assert opened(desk).page == "end"  # though nobody wrote down that it was reached
    screen.named("kim")
    assert screen.trouble and names(desk) == [("Kim", True)]
    desk.people.lock()
    with pytest.raises(Locked):
        shop.add_supervisor("Sam", "0815")(desk)
    assert names(desk) == [("Kim", True)]


def test_what_stands_here_and_has_a_form_of_its_own_is_asked_for_after_the_first_steps_whoever_comes_back(
    desk: Desk,
) -> None:
    screen = opened(desk)
    screen.skip()
    for kind in ("machine", "cabinet", "bench", "machine"):
        screen.stands(kind)
    again = opened(desk)
    assert again._there == {"bench", "cabinet", "machine"} and again.any_there
    again.begin()
    assert again.clerk.went == ("things", {"what": "machine"})
    desk.shop.setting_up.add(Thing.MACHINE, {"name": "Mill", "kind": "shelf", "pockets": 4, "pitch_mm": 90.0,
                                             "couplings": "HSK63"})  # fmt: skip
    assert opened(desk)._next_things == "cabinet"


@pytest.mark.parametrize("kept", ["camera", "camera\n", "camera\nstands: \nnonsense\n"])
def test_what_an_older_kiosk_wrote_down_is_gone_on_from(desk: Desk, kept: str) -> None:
    (desk.session.book.path.parent / first_steps.NAME).write_text(kept, "utf-8")
    assert opened(desk).page == "camera"


@pytest.mark.parametrize("kept", ["", "\n\n", "\0", "camera" * 400_000])
def test_a_file_that_is_spoilt_begins_the_first_steps_anew(desk: Desk, kept: str) -> None:
    (desk.session.book.path.parent / first_steps.NAME).write_text(kept, "utf-8")
    assert opened(desk).page == "language"
