"""What was done with hot steel, or steel of which nobody knows that it is cool, wears the sign of heat and no tick."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.desk.build import BuildRefused
from kiosk.desk.setting_up import Entered
from kiosk.labels.command import Made
from kiosk.rules.shop_things.forms import Thing
from kiosk.screens.bench.balance import BalanceScreen
from kiosk.screens.bench.build import BuildScreen
from kiosk.screens.bench.teardown import TearDownScreen
from kiosk.screens.find.holder import HolderScreen
from kiosk.screens.hot.reading import ReadingScreen
from kiosk.screens.labels.labels import LabelsScreen
from kiosk.screens.parts.card import Badge
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.hotrow import HotLine, HotRow
from kiosk.screens.parts.states import EmptyState
from kiosk.screens.parts.text import Icon, Words
from kiosk.screens.scan.adopt import AdoptScreen
from kiosk.screens.scan.scan import ScanScreen
from kiosk.screens.shop.correct import CorrectScreen
from kiosk.screens.shop.register import RegisterScreen
from kiosk.screens.shop.things import ThingsScreen
from kiosk.screens.sounds import Sound
from kiosk.screens.theme import HEAT, look
from kiosk.words import t
from tests.conftest import Shop
from tests.screens.test_clerk import Office

MONTHS_S = 70 * 86_400.0
UNKNOWN_LABEL = "HV4T8BRJ3V"


class NoPress:
    """Makes nothing of what it is asked for."""

    def run(self, *_: Any) -> None:
        """Nothing comes of it by itself."""


@pytest.fixture
def office(shop: Shop) -> Office:
    """A shop that has stood long enough for everything to be cool."""
    shop.clock.forward(MONTHS_S)
    return Office(shop)


def shown(office: Office, screen: Any) -> Any:
    office.clerk.take(screen)
    return screen


def sign(screen: Any) -> tuple[str, str]:
    """Shape and word of a screen's badge; its colour must be that of the shape."""
    (badge,) = (part for part in screen.walk(restrict=True) if isinstance(part, Badge))
    (icon,) = (part.name for part in badge.walk(restrict=True) if isinstance(part, Icon))
    (words,) = (part for part in badge.walk(restrict=True) if isinstance(part, Words))
    ink = {"hot": look.heat_ink, "done": look.done_ink, "stop": look.stop_ink}.get(icon, look.text)
    assert words.color == ink
    return icon, words.text


def heat(shop: Shop, key: str) -> None:
    for text in (shop.holder(key), shop.place("Shrink station")):
        shop.desk.scan(text)


HOT = ("hot", "HOT")


def test_a_heating_and_every_later_step_wears_the_sign_of_heat_until_the_holder_is_cool(
    office: Office, shop: Shop
) -> None:
    screen = shown(office, ScanScreen())
    for text in (shop.holder("T001"), shop.place("Bench 2")):
        office.clerk.scanned(text)
    assert sign(screen) == ("done", "Moved")
    for goal, said in (("Shrink station", "Heating at"), ("Sleeve 1", "Moved"), ("Sleeve 1", "already at")):
        for text in (shop.holder("T001"), shop.place(goal)):
            office.clerk.scanned(text)
        assert sign(screen) == HOT, goal
        assert said in screen.why
    office.clerk.scanned(shop.holder("T002"))
    office.clerk.scanned(shop.place("Bench 1"))
    assert sign(screen) == ("done", "Moved")


def test_what_comes_next_and_the_way_back_are_offered_below_the_sign_of_heat(office: Office, shop: Shop) -> None:
    screen = shown(office, ScanScreen())
    heat(shop, "T001")
    for text in (shop.holder("T001"), shop.place("Sleeve 1")):
        office.clerk.scanned(text)
    screen.tick()
    assert sign(screen) == HOT and screen.next and screen.undo_s > 0
    assert "Sleeve 1" in screen.goal


def test_a_tear_down_by_heat_wears_the_sign_of_heat_and_says_what_was_done(office: Office, shop: Shop) -> None:
    heat(shop, "T001")
    screen = shown(office, TearDownScreen())
    screen.shown(key="T001")
    screen.say("good")
    screen.take_out()
    assert shop.desk.session.holder("T001").assembly is None
    assert sign(screen) == HOT
    assert any(part.text.startswith("Torn down. ") for part in screen.walk(restrict=True) if isinstance(part, Words))


def test_a_tear_down_of_something_cool_is_a_tick(office: Office, shop: Shop) -> None:
    key = next(
        card.holder.key for card in shop.desk.shop.holders() if card.assembly and card.holder.clamping.value == "collet"
    )
    for text in (shop.holder(key), shop.place("Bench 1")):
        shop.desk.scan(text)
    screen = shown(office, TearDownScreen())
    screen.shown(key=key)
    screen.say("good")
    screen.take_out()
    assert sign(screen) == ("done", "Torn down")


def test_a_build_up_by_heat_wears_the_sign_of_heat_and_is_drawn_as_warm_as_it_may_be(
    office: Office, shop: Shop
) -> None:
    heat(shop, "T001")
    shop.desk.build.tear_down("T001", "good")
    heat(shop, "T001")
    screen = shown(office, BuildScreen())
    screen._built(shop.desk.session.holder("T001"))
    assert sign(screen) == HOT
    assert screen.drawing == shop.desk.heat.drawing("T001") and screen.drawing.bands
    screen._built(shop.desk.session.holder("T002"))
    assert sign(screen) == ("done", "Built")
    assert screen.drawing is not None and not screen.drawing.bands


@pytest.mark.parametrize(
    "condition, seen", [("worn", ("stop", "Worn")), ("broken", ("stop", "Broken")), ("good", ("done", "Noted"))]
)
def test_a_cutter_that_is_said_to_be_worn_is_called_so_beside_the_cross(
    office: Office, shop: Shop, condition: str, seen: tuple[str, str]
) -> None:
    screen = shown(office, TearDownScreen())
    screen.shown(key="T001", only_say=True)
    screen.say(condition)
    assert sign(screen) == seen


@pytest.mark.parametrize("heated", [True, False])
def test_a_label_made_for_something_hot_wears_the_sign_of_heat(office: Office, shop: Shop, heated: bool) -> None:
    if heated:
        heat(shop, "T001")
    screen = shown(office, LabelsScreen())
    screen._press = NoPress()
    screen.shown(code=shop.holder("T001"))
    screen.go()
    screen._made(Made(1, files=(Path("T001.png"),)))
    assert sign(screen) == (HOT if heated else ("done", "Labels"))
    screen._failed(OSError(28, "No space left on device"))
    assert sign(screen) == ("stop", "Not printed")


def test_a_hot_tag_wears_the_sign_of_heat_and_the_next_label_of_something_cool_does_not(
    office: Office, shop: Shop
) -> None:
    heat(shop, "T001")
    screen = shown(office, LabelsScreen())
    screen._press = NoPress()
    for about, seen in (({"tag": "T001"}, HOT), ({"code": shop.place("Bench 1")}, ("done", "Labels"))):
        screen.shown(**about)
        screen.go()
        screen._made(Made(1, files=(Path("label.png"),)))
        assert sign(screen) == seen


def test_a_label_bound_to_hot_steel_wears_the_sign_of_heat(office: Office, shop: Shop) -> None:
    heat(shop, "T001")
    screen = shown(office, LabelsScreen())
    screen.shown(fresh="T001")
    assert screen.came(shop.desk.scan(screen._contents[0].code.text))
    assert sign(screen) == HOT


def test_what_is_set_right_of_something_hot_wears_the_sign_of_heat(office: Office, shop: Shop) -> None:
    screen = shown(office, CorrectScreen())
    screen.shown(key="T001")
    screen._begin("place")
    screen._stands(shop.desk.session.place(shop.place("Bench 1")))
    screen.take_reason(Choice("seen_there", "seen there"))
    assert sign(screen) == ("done", "Corrected")
    screen.shown(key="T001")
    screen._begin("place")
    screen.nowhere()
    screen.take_reason(Choice("not_there", "not there"))
    assert sign(screen) == HOT
    screen._begin("pocket")
    screen._kept(None, None)
    screen._card = shop.desk.session.holder("T001")
    screen._answered(None)
    assert sign(screen) == HOT


@pytest.mark.parametrize("heated", [True, False])
def test_a_new_label_is_not_to_be_stuck_on_steel_that_is_hot(office: Office, shop: Shop, heated: bool) -> None:
    if heated:
        heat(shop, "T001")
    screen = shown(office, LabelsScreen())
    screen._press = NoPress()
    screen.shown(fresh="T001")
    screen.go()
    screen._made(Made(1, files=(Path("T001.png"),)))
    assert screen.answer_more == t("labels.scan_new_hot" if heated else "labels.scan_new")
    if heated:  # a tag is made for what is hot
        screen.shown(tag="T001")
        screen.go()
        screen._made(Made(1, files=(Path("tag.png"),)))
        assert screen.answer_more == ""


@pytest.mark.parametrize("heated", [True, False])
def test_a_new_holder_that_may_have_been_heated_wears_the_sign_of_heat(
    office: Office, shop: Shop, heated: bool
) -> None:
    screen = shown(office, RegisterScreen())
    screen.shown()
    screen.coupling(Choice("HSK63", ""))
    screen.clamping(Choice("shrink_fit", ""))
    for figure in (12.0, 24.0, 90.0):
        screen.take(figure)
    screen._stands(shop.desk.session.place(shop.place("Bench 1")))
    screen.heated(heated)
    assert sign(screen) == (HOT if heated else ("done", "Added"))


@pytest.mark.parametrize("cold", [True, False])
def test_holders_entered_anew_wear_the_sign_of_heat_unless_they_stood_cold(
    office: Office, shop: Shop, cold: bool
) -> None:
    screen = shown(office, ThingsScreen())
    screen._thing, screen._key, screen._count = Thing.HOLDER, "T001", 1
    screen.cold(cold)
    assert sign(screen) == (("done", "Done") if cold else HOT)
    screen._entered(Entered("T001", "Ø12", 1, "Ø12 of the same type"), True)
    assert sign(screen) == HOT and screen.trouble
    screen._thing = Thing.BENCH
    screen._entered(Entered(shop.place("Bench 1"), "Bench 1", 1), True)
    assert sign(screen) == ("done", "Done")


def test_a_label_found_to_be_on_hot_steel_wears_the_sign_of_heat(office: Office, shop: Shop) -> None:
    screen = shown(office, AdoptScreen())
    screen._given(shop.desk.session.holder("T001"))
    assert sign(screen) == ("done", "Done")
    heat(shop, "T001")
    screen._given(shop.desk.session.holder("T001"))
    assert sign(screen) == HOT
    assert "not to be touched" in screen.said
    assert screen.drawing == shop.desk.heat.drawing("T001") and screen.drawing.bands


def test_the_card_of_a_hot_holder_has_the_hot_surface_beside_the_word(office: Office, shop: Shop) -> None:
    screen = shown(office, HolderScreen())
    heat(shop, "T001")
    for key, seen in (("T001", ["hot"]), ("T002", [])):
        screen.shown(key=key)
        icons = [part.name for part in screen.walk(restrict=True) if isinstance(part, Icon)]
        assert [name for name in icons if name == "hot"] == seen


def test_a_row_of_the_hot_board_has_the_hot_surface_until_a_hand_may_touch_it() -> None:
    for touch_s, hot in ((None, True), (1060.0, True), (0.0, False)):
        row = HotRow(value=HotLine("T001", "Shrink 63", "Sleeve 1", 184.0, touch_s, 1500.0))
        assert _draws_heat(row) is hot


def test_a_reading_that_ends_nothing_wears_the_sign_of_heat(office: Office, shop: Shop) -> None:
    heat(shop, "T001")
    screen = shown(office, ReadingScreen())
    screen.shown(key="T001")
    screen.at("nose")
    screen.take(180.0)
    assert sign(screen) == ("hot", t("reading.still_hot"))
    screen._turned_down(OSError(28, "No space left on device"))
    assert sign(screen) == ("stop", t("reading.not_taken"))


def test_hot_steel_has_a_sign_that_nothing_else_has_on_find_and_in_an_audit() -> None:
    from kiosk.rules.finding import Usable
    from kiosk.screens.find.find import SIGNS as FOUND
    from kiosk.screens.parts.lines import Sign
    from kiosk.screens.parts.slots import SIGNS as SLOTS
    from kiosk.screens.parts.slots import Slot, SlotKey, SlotState

    hot = {Usable.COOLING, Usable.UNPROVEN}
    assert {usable for usable, (sign_, _) in FOUND.items() if sign_ == HEAT} == hot
    assert [state for state, sign_ in SLOTS.items() if sign_ == HEAT] == [SlotState.HOT]
    for part, cool in (
        (Sign(sign=HEAT, tone="heat"), Sign(sign="!", tone="plain")),
        (SlotKey(value=Slot("k", "3", SlotState.HOT)), SlotKey(value=Slot("k", "3", SlotState.SEEN))),
    ):
        assert _draws_heat(part) and not _draws_heat(cool)
        assert HEAT not in [words.text for words in part.walk(restrict=True) if isinstance(words, Words)]


def _draws_heat(part: Any) -> bool:
    """Whether the hot surface is drawn on it, in a colour that is seen."""
    from kivy.graphics import Color, Rectangle

    colour, seen = None, False
    for each in part.canvas.before.children:
        colour = each if isinstance(each, Color) else colour
        if isinstance(each, Rectangle) and (each.source or "").endswith("hot.png"):
            seen = colour is not None and colour.a > 0
    return seen


@pytest.mark.parametrize("kind", [BalanceScreen, BuildScreen])
def test_what_is_not_done_because_of_heat_is_refused_beside_the_hot_surface(
    office: Office, shop: Shop, kind: type[Any]
) -> None:
    heat(shop, "T001")
    if kind is BuildScreen:
        shop.desk.build.tear_down("T001", "good")
    for text in (shop.holder("T001"), shop.place("Sleeve 1")):
        shop.desk.scan(text)
    screen = shown(office, kind())
    try:
        screen.shown(key="T001")
    except BuildRefused as error:  # this office has nobody to tell of what failed
        screen._failed(error)
    refused = next(part for part in screen.walk(restrict=True) if isinstance(part, EmptyState))
    assert refused.refused and "hot" in refused.remedy
    assert next(part.name for part in refused.walk(restrict=True) if isinstance(part, Icon)) == "hot"
    assert office.heard.sounds[-1] is Sound.HOT
