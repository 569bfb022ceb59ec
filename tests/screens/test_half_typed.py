"""What somebody began to type is there when they come back: a pause does not take the screen from under it."""

from __future__ import annotations

from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.exchange.presetter import Reading
from kiosk.labels.command import Made
from kiosk.rules.assembly import Measured
from kiosk.rules.say import say
from kiosk.rules.shop_things.forms import Thing
from kiosk.screens.hot.reading import ReadingScreen
from kiosk.screens.job.presetter import Page as Lists
from kiosk.screens.job.presetter import PresetterScreen
from kiosk.screens.labels.labels import LabelsScreen
from kiosk.screens.labels.labels import Page as Labels
from kiosk.screens.parts.choice import Choice
from kiosk.screens.pulse import pulse
from kiosk.screens.questions.job import Fault, Read
from kiosk.screens.scan.typed import TypedScreen
from kiosk.screens.shop.correct import NUMBER, CorrectScreen
from kiosk.screens.shop.correct import Page as Correct
from kiosk.screens.shop.things import MORE, ThingsScreen
from kiosk.screens.shop.things import Page as Things
from kiosk.screens.view import View
from tests.conftest import Shop
from tests.screens.test_clerk import Office

WEEKS_S = 33 * 86_400.0


@pytest.fixture
def office(shop: Shop) -> Office:
    shop.clock.forward(WEEKS_S)
    return Office(shop)


def walk_away(office: Office, shop: Shop, minutes: int = 5) -> None:
    office.clerk.busied()
    for _ in range(minutes * 4):
        office.clerk.beat(pulse(shop.desk))
        shop.clock.forward(15.0)


def put(office: Office, view: View, **about: Any) -> None:
    office.clerk.take(view)
    office.clerk.go(view.name, **about)


def test_a_tool_number_half_typed_is_there_after_the_pause_and_was_not_used(office: Office, shop: Shop) -> None:
    screen = CorrectScreen()
    put(office, screen, key="T001", what=NUMBER)
    before = shop.desk.build.number_of("T001")
    screen.ids.entry.text = "4"
    walk_away(office, shop)
    assert office.clerk.view is screen and screen.page == Correct.FIGURE and screen.ids.entry.text == "4"
    assert shop.desk.build.number_of("T001") == before
    screen.ids.entry.text = ""
    walk_away(office, shop)
    assert office.seen[-1] == "scan", "with nothing typed the window goes back"
    office.clerk.go("correct", key="T001")
    assert screen.page == Correct.WHAT


def test_a_figure_that_waits_for_its_reason_waits_through_the_pause(office: Office, shop: Shop) -> None:
    screen = CorrectScreen()
    put(office, screen, key="T001", what="nose_mm")
    before = shop.desk.session.holder("T001").holder.nose_mm
    screen.take(41.0)
    walk_away(office, shop)
    assert office.clerk.view is screen and screen.page == Correct.REASON and "41" in screen.told
    assert shop.desk.session.holder("T001").holder.nose_mm == before


def test_a_count_half_typed_and_a_count_that_waits_for_cold_or_not_are_there(office: Office, shop: Shop) -> None:
    screen = ThingsScreen()
    put(office, screen, what="holders")
    screen.choose(Choice("T001", "T001"))
    screen.do(MORE)
    holders = len(shop.desk.shop.holders())
    screen.ids.count.text = "1"
    walk_away(office, shop)
    assert office.clerk.view is screen and screen.page == Things.COUNT and screen.ids.count.text == "1"
    screen.copies(2)
    walk_away(office, shop)
    assert office.clerk.view is screen and screen.page == Things.COLD
    assert len(shop.desk.shop.holders()) == holders


def test_one_of_two_figures_of_a_reground_cutter_is_kept_for_the_second(office: Office, shop: Shop) -> None:
    screen = ThingsScreen()
    put(office, screen, what="cutters")
    cutter = next(key for key, each in screen._found.items() if each.thing is Thing.CUTTER)
    screen.choose(Choice(cutter, cutter))
    screen.do("grind")
    screen.ground(None)
    walk_away(office, shop)
    assert office.clerk.view is screen and screen.page == Things.GRIND and screen._ground == {"dc_mm": None}


def test_what_is_left_half_answered_of_a_presetters_list_is_never_taken_later(office: Office, shop: Shop) -> None:
    screen = PresetterScreen()
    put(office, screen)
    asked: list[Any] = []
    good = (Reading(2, "T001", Measured(100.0, 6.0)),)
    screen.check(Read(good, (Fault("list.csv", 3, "length", say("pad.take")),)))
    assert screen.page == Lists.FAULTS
    walk_away(office, shop)
    assert office.seen[-1] == "scan"
    office.clerk.go("presetter")
    office.clerk.ask = lambda *question: asked.append(question)
    assert screen.page == Lists.LISTS
    screen.take()
    assert asked == []


def test_half_a_code_stays_and_half_a_temperature_is_read_anew(office: Office, shop: Shop) -> None:
    typed = TypedScreen()
    put(office, typed)
    typed.pad.press("A")
    walk_away(office, shop)
    assert office.clerk.view is typed and typed.pad.text == "A"
    office.clerk.go("scan")
    for text in (shop.holder("T001"), shop.place("Shrink station")):
        office.clerk.scanned(text)
    reading = ReadingScreen()
    put(office, reading, key="T001")
    reading.at("nose")
    reading.ids.entry.text = "4"
    walk_away(office, shop)
    assert office.seen[-1] == "scan"
    office.clerk.go("reading", key="T001")
    reading.at("nose")
    assert reading.ids.entry.text == ""


def test_labels_left_alone_are_chosen_anew_and_an_unknown_label_offers_no_other_label_again(
    office: Office, shop: Shop
) -> None:
    screen = LabelsScreen()
    put(office, screen, code=shop.holder("T001"))
    assert screen.page == Labels.PREVIEW
    walk_away(office, shop)
    office.clerk.go("labels")
    assert screen.page == Labels.CHOOSE and screen._contents == ()
    screen._ask_for(shop.holder("T001"))
    screen.clerk.ask = lambda question, then=None, failed=None: failed(LookupError("nobody")) if failed else None
    screen.scanned("nobody's")
    assert screen.page == Labels.ANSWER and not screen.again, "what failed was the look, and it is not the label before"


def test_while_labels_are_made_nothing_else_is_taken_for_them(office: Office, shop: Shop) -> None:
    screen = LabelsScreen()
    put(office, screen, code=shop.holder("T001"))
    first = screen._contents
    jobs: list[Any] = []
    screen._press.run = lambda *job: jobs.append(job)
    screen.go()
    assert screen.page == Labels.BUSY
    office.clerk.scanned(shop.holder("T002"))
    assert screen.page == Labels.BUSY and screen.trouble
    office.clerk.go("hot")
    office.clerk.go("labels")
    assert screen.page == Labels.BUSY, "it is still at work"
    office.clerk.go("labels", code=shop.holder("T002"))  # from that holder's card
    noted: list[Any] = []
    screen.clerk.ask = lambda question, *_: noted.append(question)
    jobs[0][1](Made(1))
    assert screen._contents == first and screen.page == Labels.ANSWER and screen.count == 1
