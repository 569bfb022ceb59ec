"""The clerk between screens and desk: what is heard, which screen comes, and the way back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from kiosk.rules.assembly import Condition
from kiosk.rules.cards import Command
from kiosk.rules.codes import CodeKind, make
from kiosk.rules.outcomes import Done, Refused, Wait
from kiosk.screens.clerk import Clerk, fault_words, pulse
from kiosk.screens.pulse import LinkSeen
from kiosk.screens.sounds import Sound
from kiosk.screens.view import View
from kiosk.screens.way import _Wish
from tests.conftest import Shop


class AtOnce:
    """Asks the desk at once, on this thread."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop

    def ask(
        self, question: Callable[[Any], Any], then: Callable[[Any], Any] | None = None, failed: object = None,
        *, patient: bool = False,
    ) -> None:  # fmt: skip
        answer = question(self._shop.desk)
        if then is not None:
            then(answer)


class Heard:
    """Sounds that are written down instead of played."""

    volume, muted = 1.0, False

    def __init__(self) -> None:
        self.sounds: list[Sound] = []

    def play(self, sound: Sound) -> None:
        self.sounds.append(sound)


class Page(View):
    """A screen that remembers what it was told."""

    def __init__(self, name: str, rail: str) -> None:
        super().__init__()
        self.name, self.rail = name, rail
        self.about: list[dict[str, Any]] = []
        self.returns = 0

    def shown(self, **about: Any) -> None:
        self.about.append(about)

    def returned(self) -> None:
        self.returns += 1


class Office:
    """A clerk with pages for every screen the tests need."""

    def __init__(self, shop: Shop) -> None:
        self.heard = Heard()
        self.seen: list[str] = []
        self.clerk = Clerk(AtOnce(shop), self.heard, lambda view: self.seen.append(view.name))  # type: ignore[arg-type]
        pages = [("scan", "scan"), ("heat", "scan"), ("hot", "hot"), ("machine", "scan"), ("card", "scan")]
        self.pages = {name: Page(name, rail) for name, rail in pages}
        for page in self.pages.values():
            self.clerk.take(page)
        self.clerk.go("scan")


@pytest.fixture
def office(shop: Shop) -> Office:
    return Office(shop)


def test_a_hot_holder_at_the_cabinet_fills_the_screen_and_sounds_like_heat(office: Office, shop: Shop) -> None:
    holder = shop.holder("T001")
    for text in (holder, shop.place("Shrink station"), holder, shop.place("Cabinet A · 1-05")):
        office.clerk.scanned(text)
    assert office.heard.sounds[-1] is Sound.HOT
    assert office.seen[-1] == "heat"
    assert [card.holder.key for card in office.clerk.hot] == ["T001"]
    office.clerk.back()
    assert office.seen[-1] == "scan"


def test_hot_steel_found_in_an_audit_comes_before_whatever_screen_is_in_sight_or_asked_for(
    office: Office, shop: Shop
) -> None:
    shop.clock.forward(40 * 86_400.0)
    for name, rail in (("audit", "audit"), ("labels", "labels")):
        office.pages[name] = Page(name, rail)
        office.clerk.take(office.pages[name])
    hot = shop.holder("T001")
    office.clerk.scanned(hot)
    office.clerk.scanned(shop.place("Shrink station"))
    shop.clock.forward(300.0)
    shop.desk.audits.open(shop.place("Cabinet A"))
    for screen in ("scan", "labels", "hot"):
        office.clerk.go(screen)
        office.clerk.scanned(hot)
        assert office.seen[-1] == "audit", screen
        assert office.heard.sounds[-1] is Sound.HOT
        assert office.pages["audit"].about[-1]["scanned"].outcome.alarm
    office.clerk.go("scan")
    office.clerk.offer(["shift"], lambda _: Page("shift", "shop"), lambda _: lambda desk: None)
    office.clerk._want(_Wish("shift", {}))  # touched just before, and still being loaded
    office.clerk.answer(shop.desk.scan(hot))
    assert office.seen[-1] == "audit" and office.clerk.wanted == ""


def test_a_refusal_that_is_not_heat_sounds_low_and_stays_on_the_card(office: Office) -> None:
    office.clerk.scanned(make(CodeKind.HOLDER, 3).text)
    assert office.heard.sounds == [Sound.REFUSED]
    assert office.seen[-1] == "scan"
    assert "scanned" in office.pages["scan"].about[-1]


def test_a_machine_label_leads_to_its_pockets_for_the_holder_that_waits(office: Office, shop: Shop) -> None:
    office.clerk.scanned(shop.holder("T001"))
    office.clerk.scanned(shop.place("Mill 1"))
    assert office.seen[-1] == "machine"
    assert office.pages["machine"].about[-1] == {"code": shop.place("Mill 1"), "key": "T001"}


def test_a_holder_handed_over_leads_to_the_card_to_type(office: Office, shop: Shop) -> None:
    office.clerk.scanned(shop.holder("T001"))
    office.clerk.scanned(shop.place("Mill 1 · pocket 01"))
    assert office.heard.sounds == [Sound.DONE]
    assert office.seen[-1] == "card"
    assert office.pages["card"].about[-1]["card"].at.name == "Mill 1 · pocket 01"


def test_taking_out_of_the_sleeve_is_sounded_once_when_it_is_due(office: Office, shop: Shop) -> None:
    for text in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place("Sleeve 1")):
        office.clerk.scanned(text)
    office.heard.sounds.clear()
    for _ in range(60):
        shop.clock.forward(10.0)
        office.clerk.beat(pulse(shop.desk))
    assert office.heard.sounds == [Sound.TAKE_OUT]


def test_a_command_card_leads_to_its_screen(office: Office) -> None:
    office.clerk.scanned(make(CodeKind.COMMAND, Command.SHOW_HOT.value).text)
    assert office.seen[-1] == "hot"


def test_the_way_back_goes_through_the_screens_that_were_seen(office: Office) -> None:
    office.clerk.go("hot")
    office.clerk.go("machine", code="P1")
    office.clerk.back()
    assert office.seen[-1] == "hot" and office.pages["hot"].returns == 1
    office.clerk.back()
    assert office.seen[-1] == "scan"


def test_a_fault_of_ours_keeps_its_words_and_a_stranger_is_said_to_be_one(shop: Shop) -> None:
    with pytest.raises(LookupError) as missing:
        shop.desk.session.holder("nobody")
    assert "nobody" in fault_words(missing.value)
    assert fault_words(ZeroDivisionError("division by zero")) == "Something went wrong; the log says what. Try again."


def test_a_past_that_is_not_whole_is_told_until_somebody_is_there(office: Office, shop: Shop) -> None:
    for cause in ("lost", "clocks"):
        office.clerk.begins_without(cause)
        told = office.clerk.trouble
        office.clerk.fault(ZeroDivisionError())
        for _ in range(40):
            office.clerk.beat(pulse(shop.desk))
        assert told and office.clerk.trouble == told, "another trouble goes by, this one stays"
        office.clerk.busied()
        for _ in range(20):
            office.clerk.beat(pulse(shop.desk))
        assert office.clerk.trouble == ""
    office.clerk.begins_without(None)
    assert office.clerk.trouble == ""


def test_a_trouble_fades_after_a_while_without_another(office: Office, shop: Shop) -> None:
    office.clerk.fault(ZeroDivisionError())
    assert office.clerk.trouble
    for _ in range(20):
        office.clerk.beat(pulse(shop.desk))
    assert office.clerk.trouble == ""


def test_what_waits_for_its_second_scan_is_told_as_long_as_the_desk_takes_one_and_no_longer(shop: Shop) -> None:
    kiosk = replace(shop.desk.session.settings.kiosk, pair_s=120.0)
    shop.desk.session.take_settings(replace(shop.desk.session.settings, kiosk=kiosk))
    shop.clock.forward(40 * 86400.0)
    shop.desk.scan(shop.holder("T001"))
    home = shop.desk.session.holder("T001").at
    shop.clock.forward(119.0)
    waiting = pulse(shop.desk).waiting
    assert waiting is not None and waiting.card.name == shop.desk.session.holder("T001").name
    shop.clock.forward(2.0)
    assert pulse(shop.desk).waiting is None
    assert isinstance(shop.desk.scan(shop.place("Rack 1")).outcome, Wait)
    assert shop.desk.session.holder("T001").at == home


def test_a_screen_is_built_when_it_is_first_wanted_and_only_once(shop: Shop) -> None:
    built: list[str] = []

    def build(name: str) -> Page:
        built.append(name)
        return Page(name, "scan")

    office = Office(shop)
    office.clerk.offer(("scan", "audit", "report"), build)
    assert office.clerk.knows("audit") and not built
    assert office.clerk.unbuilt(("scan", "audit")) == ("audit",)
    office.clerk.go("audit")
    office.clerk.back()
    office.clerk.go("audit")
    assert built == ["audit"]
    office.clerk.start_over()
    office.clerk.go("audit")
    assert built == ["audit", "audit"]


def test_undo_is_offered_exactly_as_long_as_the_desk_takes_a_step_back_whatever_screen_is_in_sight(
    office: Office, shop: Shop
) -> None:
    shop.clock.forward(40 * 86400.0)
    for text in (shop.holder("T001"), shop.place("Rack 1")):
        office.clerk.scanned(text)
    allowed_s = float(shop.desk.session.settings.kiosk.undo_s)
    assert office.clerk.undo_s == allowed_s
    office.clerk.go("hot")
    shop.clock.forward(allowed_s - 15.0)
    office.clerk.beat(pulse(shop.desk))
    assert office.clerk.undo_s == pytest.approx(15.0)
    shop.clock.forward(16.0)
    office.clerk.beat(pulse(shop.desk))
    assert office.clerk.undo_s == 0.0
    assert isinstance(shop.desk.undo().outcome, Refused)


def test_undo_is_offered_for_what_the_desk_would_take_back_and_for_nothing_else(office: Office, shop: Shop) -> None:
    shop.clock.forward(40 * 86400.0)
    clerk, desk = office.clerk, shop.desk
    for text in (shop.holder("T015"), shop.place("Bench 1"), shop.holder("T002")):
        clerk.scanned(text)
    assert clerk.undo_s > 50.0 and clerk.undo_name == desk.session.holder("T015").name
    bare = desk.build.tear_down("T015", Condition.GOOD)
    clerk.beat(pulse(desk))
    assert clerk.undo_name == bare.name, "the last step is another now"
    assert isinstance(desk.undo().outcome, Done)
    clerk.beat(pulse(desk))
    assert clerk.undo_s == 0.0 and isinstance(desk.undo().outcome, Refused), "the one before is not offered again"
    for text in (shop.holder("T002"), shop.place("Rack 1")):
        clerk.scanned(text)
    assert clerk.undo_s > 50.0
    clerk.scanned(desk.shop.code_of("jo"))
    assert clerk.undo_s == 0.0 and isinstance(desk.undo().outcome, Refused), "it was somebody else's"


def test_an_empty_board_means_nothing_until_the_desk_has_said_what_is_hot(office: Office, shop: Shop) -> None:
    assert not office.clerk.heat_known and office.clerk.hot == ()
    office.clerk.beat(pulse(shop.desk))
    assert office.clerk.heat_known and office.clerk.hot == ()


@pytest.mark.parametrize(("state", "known"), [
    ("joining", False), ("catching_up", False), ("caught_up", True), ("cut_off", True), ("locked_out", True),
])  # fmt: skip
def test_a_kiosk_that_has_half_of_the_shops_book_does_not_say_that_nothing_is_hot(
    office: Office, shop: Shop, state: str, known: bool
) -> None:
    office.clerk.beat(replace(pulse(shop.desk), link=LinkSeen(state, 0, None)))
    assert office.clerk.heat_known is known
    hot = shop.desk.session.holder("T002")
    office.clerk.beat(replace(pulse(shop.desk), hot=(hot,), link=LinkSeen(state, 0, None)))
    assert office.clerk.heat_known, "what it knows to be hot it says"


class Later:
    """A desk that is not open yet: answers in order, when it is let."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self.asked: list[tuple[Callable[[Any], Any], Callable[[Any], Any] | None, Callable[[Any], Any] | None]] = []

    def ask(
        self,
        question: Callable[[Any], Any],
        then: Callable[[Any], Any] | None = None,
        failed: Callable[[Any], Any] | None = None,
        *,
        patient: bool = False,
    ) -> None:
        self.asked.append((question, then, failed))

    def answer(self) -> None:
        while self.asked:
            question, then, failed = self.asked.pop(0)
            try:
                answer = question(self._shop.desk)
            except OSError as error:
                assert failed is not None
                failed(error)
            else:
                if then is not None:
                    then(answer)


class Unloaded:
    """A clerk whose screens, but the scan screen, are loaded by the desk."""

    def __init__(self, shop: Shop) -> None:
        self.desk = Later(shop)
        self.heard = Heard()
        self.seen: list[str] = []
        self.built: dict[str, Page] = {}
        self.there = {"scan"}
        self.clerk = Clerk(self.desk, self.heard, lambda view: self.seen.append(view.name))  # type: ignore[arg-type]
        self.clerk.offer(("scan", "heat", "hot", "find", "audit"), self._build, self._loading)
        self.clerk.go("scan")

    def _build(self, name: str) -> Page:
        assert name in self.there
        return self.built.setdefault(name, Page(name, "scan"))

    def _loading(self, name: str) -> Callable[[Any], Any] | None:
        return None if name in self.there else lambda desk: self._load(name)

    def _load(self, name: str) -> None:
        if name == "audit":
            raise OSError(5, "its file cannot be read")
        self.there.add(name)


@pytest.fixture
def unloaded(shop: Shop) -> Unloaded:
    return Unloaded(shop)


def test_a_screen_touched_before_it_is_loaded_is_marked_at_once_and_comes_with_what_it_was_asked_for(
    unloaded: Unloaded,
) -> None:
    unloaded.clerk.go("find", key="T001")
    assert unloaded.seen == ["scan"] and unloaded.clerk.wanted == "find"
    unloaded.desk.answer()
    assert unloaded.seen == ["scan", "find"] and unloaded.clerk.wanted == ""
    assert unloaded.built["find"].about == [{"key": "T001"}]


def test_of_two_screens_touched_before_they_are_loaded_the_later_one_comes_alone(unloaded: Unloaded) -> None:
    for name in ("find", "hot", "find", "hot"):
        unloaded.clerk.go(name)
    assert unloaded.clerk.wanted == "hot" and len(unloaded.desk.asked) == 2
    unloaded.desk.answer()
    assert unloaded.seen == ["scan", "hot"]


def test_whoever_goes_back_before_a_screen_is_loaded_stays_there(unloaded: Unloaded) -> None:
    unloaded.there.add("hot")
    unloaded.clerk.go("hot")
    unloaded.clerk.go("find")
    unloaded.clerk.back()
    assert unloaded.clerk.wanted == ""
    unloaded.desk.answer()
    assert unloaded.seen[-1] == "scan"


def test_a_scan_made_before_a_touch_is_answered_before_it_and_neither_is_lost(unloaded: Unloaded, shop: Shop) -> None:
    shop.clock.forward(40 * 86400.0)
    unloaded.clerk.scanned(shop.holder("T001"))
    unloaded.clerk.go("find")
    unloaded.clerk.scanned(shop.place("Rack 1"))
    unloaded.desk.answer()
    assert [about["scanned"].text for about in unloaded.built["scan"].about[1:]] == [
        shop.holder("T001"),
        shop.place("Rack 1"),
    ]
    assert unloaded.built["find"].about == [{}] and unloaded.heard.sounds[-1] is Sound.DONE
    at = shop.desk.session.holder("T001").at
    assert at is not None and at.place.name == "Rack 1"


def test_a_screen_that_is_still_being_loaded_never_comes_over_heat(unloaded: Unloaded, shop: Shop) -> None:
    shop.clock.forward(40 * 86400.0)
    unloaded.clerk.fetch("heat")  # as the window asks before anybody can touch anything
    holder = shop.holder("T001")
    for text in (holder, shop.place("Shrink station"), holder, shop.place("Cabinet A · 1-05")):
        unloaded.clerk.scanned(text)
    unloaded.clerk.go("find")
    unloaded.desk.answer()
    assert unloaded.heard.sounds[-1] is Sound.HOT and unloaded.seen[-1] == "heat"
    assert unloaded.clerk.wanted == ""


def test_a_screen_that_cannot_be_loaded_is_said_and_can_be_asked_for_again(unloaded: Unloaded) -> None:
    for _ in range(2):
        unloaded.clerk.go("audit")
        assert unloaded.clerk.wanted == "audit"
        unloaded.desk.answer()
        assert unloaded.clerk.wanted == "" and unloaded.clerk.trouble and unloaded.seen == ["scan"]
        unloaded.clerk.trouble = ""


def test_what_the_camera_saw_of_a_label_nobody_knows_is_kept_and_of_hot_steel_it_is_not(
    office: Office, shop: Shop
) -> None:
    told: list[str] = []

    class Eye:
        def refused(self, text: str) -> None:
            told.append(text)

    office.clerk.eye = Eye()
    unknown = make(CodeKind.HOLDER, 3).text
    office.clerk.scanned(unknown)
    holder = shop.holder("T001")
    for text in (holder, shop.place("Shrink station"), holder, shop.place("Cabinet A · 1-05")):
        office.clerk.scanned(text)
    assert office.heard.sounds[-1] is Sound.HOT
    assert told == [unknown]


def test_what_is_scanned_after_a_touch_is_for_the_screen_touched_though_it_is_still_being_loaded(
    unloaded: Unloaded, shop: Shop
) -> None:
    taken: list[str] = []
    unloaded.clerk.go("find")
    unloaded.clerk.scanned(shop.holder("T001"))
    unloaded.there.add("find")
    unloaded.built["find"] = Page("find", "find")
    unloaded.built["find"].scanned = lambda text: bool(taken.append(text)) or True  # type: ignore[method-assign]
    unloaded.desk.answer()
    assert taken == [shop.holder("T001")] and unloaded.seen[-1] == "find"


def test_nothing_comes_over_a_screen_that_holds_the_window_and_what_was_asked_for_comes_after_it(
    office: Office, shop: Shop
) -> None:
    shop.clock.forward(40 * 86400.0)
    clerk, heat = office.clerk, office.pages["heat"]
    clerk.go("hot")
    clerk.go("heat")
    heat.holds = True
    for text in (shop.holder("T002"), shop.place("Bench 1")):
        clerk.scanned(text)
    clerk.back()
    clerk.go("machine")
    assert office.seen[-1] == "heat" and clerk.view is heat
    clerk.open_from(heat, "card")
    assert office.seen[-1] == "card"
    clerk.go("hot", key="T001")
    assert office.seen[-1] == "heat" and heat.returns == 1
    clerk.let_go(heat)
    assert office.seen[-1] == "hot" and office.pages["hot"].about[-1] == {"key": "T001"}
    clerk.back()
    assert office.seen[-1] == "scan", "the way back does not lead to an alarm that was understood"
