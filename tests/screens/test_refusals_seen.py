"""What is refused is seen to be refused: a sign beside the words, the hot surface where heat is why."""

from __future__ import annotations

from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.desk.session import Locked, StillHot
from kiosk.screens.parts.pads import NumberEntry
from kiosk.screens.parts.states import NoteWords, Refusal, StepHeader
from kiosk.screens.parts.text import Icon, Words
from kiosk.screens.parts.touch import in_sight
from kiosk.screens.shop.apart import ApartScreen
from kiosk.screens.shop.enter import EnterScreen
from kiosk.screens.shop.kiosks import KiosksScreen
from kiosk.screens.shop.things import ThingsScreen
from kiosk.screens.theme import look
from kiosk.settings import Settings
from kiosk.words import t


class Clerk:
    """Answers nothing and plays nothing."""

    untold = None  # of joining nothing is still to be said
    settings = Settings()
    begin_own = None
    operator = None
    leave = None

    def busied(self) -> None:
        """Somebody is there."""

    def ask(self, *_: Any) -> None:
        """Nobody answers."""

    def go(self, *_: Any, **__: Any) -> None:
        """Nowhere to go."""

    def play(self, _: object) -> None:
        """Nothing is heard."""


def signs(part: Any) -> list[str]:
    """The names of the icons that are to be seen in it, those on keys left out; red where they mean heat."""
    found = []
    for icon in part.walk(restrict=True):
        if not isinstance(icon, Icon) or icon.name not in ("hot", "stop") or not in_sight(icon):
            continue
        if any("Button" in type(above).__name__ for above in _above(icon)):
            continue
        assert icon.color == (look.heat if icon.name == "hot" else look.stop)
        found.append(icon.name)
    return found


def _above(part: Any) -> Any:
    while part is not None and part is not part.parent:
        yield part
        part = part.parent


def said(part: Any) -> list[str]:
    return [words.text for words in _shown(part)]


def test_a_headers_trouble_has_a_sign_and_takes_no_part_of_the_window_while_there_is_none() -> None:
    header = StepHeader(title="Correct")
    before = len(list(header.walk(restrict=True)))
    assert signs(header) == [] and "Correct" in said(header)
    header.trouble = "The book is in use"
    assert signs(header) == ["stop"] and "The book is in use" in said(header) and "Correct" not in said(header)
    header.hot = True
    assert signs(header) == ["hot"]
    header.trouble = ""
    assert len(list(header.walk(restrict=True))) == before and "Correct" in said(header)


@pytest.mark.parametrize("kind, page", [(ThingsScreen, "one"), (EnterScreen, "all")])
def test_what_heat_forbids_is_said_in_the_header_with_the_hot_surface(kind: type, page: str) -> None:
    screen = kind(clerk=Clerk())
    screen.page = page
    headers = [part for part in screen.walk(restrict=True) if isinstance(part, StepHeader)]
    screen._failed(Locked())
    assert ["stop"] in [signs(header) for header in headers]
    screen._failed(StillHot("Ø12"))
    assert ["hot"] in [signs(header) for header in headers]


def test_what_was_settled_or_is_on_its_way_is_no_refusal() -> None:
    from kiosk.screens.parts.choice import Choice

    screen = ApartScreen(clerk=Clerk())
    screen._settled((), Choice("k", "Bench 1"))
    assert screen.settled and signs(screen) == [] and screen.settled in said(screen)
    kiosks = KiosksScreen(clerk=Clerk())
    kiosks.page = "name"
    kiosks.take_name("Bench")
    assert kiosks.joining and not kiosks.trouble
    (goes_on,) = [words for words in _shown(kiosks) if words.text == kiosks.joining]
    assert goes_on.color == look.quiet and signs(kiosks) == []
    kiosks.take_name("")
    assert signs(kiosks) == ["stop"] and kiosks.trouble in said(kiosks) and kiosks.joining not in said(kiosks)


@pytest.mark.parametrize("window", [(800, 480), (360, 640), (640, 360)])
def test_a_figure_that_is_refused_is_refused_with_a_sign_in_letters_of_a_body_text(window: tuple[int, int]) -> None:
    from kivy.clock import Clock

    from kiosk.rules.bounds import READING

    look.fit(*window)
    try:
        entry = NumberEntry(title="At the nose", bound=READING, size=(window[0], window[1] * 0.88))
        for _ in range(14):
            Clock.tick()
        assert signs(entry) == []
        for symbol in "9999":
            entry.ids.pad.press(symbol)
        for _ in range(14):
            Clock.tick()
        (refused,) = [words for words in _shown(entry) if words.text == entry.out_of_bounds(9999.0, *READING[:2])]
        assert signs(entry) == ["stop"]
        assert refused.font_size >= look.body * 0.8 and refused.color == look.text
        assert refused.texture_size[0] <= refused.width + 1 and refused.height > 0
        entry.ids.pad.clear()
        assert signs(entry) == []
        entry.trouble = "It is still held as hot"
        entry.hot = True
        assert signs(entry) == ["hot"] and "It is still held as hot" in said(entry)
    finally:
        look.fit(800, 480)


def test_a_pads_hint_gives_way_to_what_is_refused() -> None:
    entry = NumberEntry(title="Bore", note="Step 3 of 8")
    assert "Step 3 of 8" in said(entry) and signs(entry) == []
    entry.trouble = "No such holder"
    assert "Step 3 of 8" not in said(entry) and signs(entry) == ["stop"]


def test_what_one_more_touch_of_a_telephone_does_is_no_refusal_and_one_that_is_not_ended_is() -> None:
    for state in ("sure", "ended"):
        screen = filled("phones", state)
        (head,) = [part for part in screen.walk(restrict=True) if isinstance(part, StepHeader)]
        assert screen.told in said(head) and signs(head) == []
    screen._failed(Locked())
    (refusal,) = [part for part in screen.walk(restrict=True) if isinstance(part, Refusal) and part.text]
    assert signs(refusal) == ["stop"] and refusal.text == screen.trouble and screen.told not in said(screen)


def test_a_wrong_code_is_refused_with_its_sign_whether_or_not_it_is_like_another() -> None:
    screen = filled("typed", "wrong")
    assert screen.pad.offers and t("pad.meant") in said(screen) and signs(screen) == ["stop"]
    screen.pad.offers = []
    assert t("pad.wrong") in said(screen) and signs(screen) == ["stop"]


def _shown(part: Any) -> list[Words]:
    return [words for words in part.walk(restrict=True) if isinstance(words, Words) and words.text and in_sight(words)]


def filled(name: str, state: str) -> Any:
    """A screen as its sample fills it."""
    from kiosk.screens.pages import build
    from tests.journeys.samples import SAMPLES as FLOOR
    from tests.journeys.samples_cable import SAMPLES as CABLE
    from tests.journeys.samples_kiosks import SAMPLES as KIOSKS
    from tests.journeys.samples_records import SAMPLES as RECORDS
    from tests.journeys.samples_set_up import SAMPLES as SET_UP
    from tests.journeys.samples_shop import SAMPLES as SHOP

    samples = (*FLOOR, *CABLE, *KIOSKS, *RECORDS, *SET_UP, *SHOP)
    (fill,) = [fill for on, what, fill in samples if (on, what) == (name, state)]
    screen = build(name)
    screen.clerk = Clerk()
    fill(screen)
    return screen


@pytest.mark.parametrize(
    "name, state, sign, words",
    [
        ("correct", "hot", "hot", "still held as hot"),
        ("correct", "refused", "hot", "Not to Cabinet A"),
        ("correct", "bore-refused", "hot", "still held as hot"),
        ("setup", "round-hot", "hot", "is hot: leave it"),
        ("setup", "round-strange", "stop", "not on this list"),
        ("apart", "hot", "hot", "It is hot"),
        ("shift", "damaged", "stop", "damaged"),
        ("kiosks", "refused", "stop", ""),
        ("tear_down", "stopped", "stop", "no cutter built in"),
        ("tear_down", "refused", "stop", "shrink station"),
        ("build", "scan", "stop", ""),
        ("measure", "scan", "stop", ""),
        ("pin", "wrong", "stop", "not the PIN"),
        ("pin", "wait", "stop", "0:55"),
        ("card", "never", "stop", "measure"),
        ("cable", "gone", "stop", "not heard"),
        ("cable", "taken", "stop", ""),
        ("cable", "no_ports", "stop", "port"),
        ("cable", "port_gone", "stop", ""),
        ("cable", "port_taken", "stop", ""),
        ("cable", "noise", "stop", ""),
        ("cable", "unread", "stop", ""),
        ("cable", "unknown", "stop", ""),
        ("cable", "failed", "stop", ""),
        ("sheets", "name_taken", "stop", ""),
    ],
)
def test_every_refusal_stands_beside_its_sign(name: str, state: str, sign: str, words: str) -> None:
    screen = filled(name, state)
    assert sign in signs(screen), said(screen)
    assert any(words.casefold() in each.casefold() for each in said(screen)), said(screen)


@pytest.mark.parametrize(
    "name, state",
    [("correct", "what"), ("correct", "place"), ("setup", "round-taken"), ("apart", "moved"), ("apart", "list"),
     ("shift", "saved"), ("shift", "busy"), ("kiosks", "alone"), ("tear_down", "condition"), ("pin", "twice"),
     ("card", "measured"), ("card", "worn"), ("cable", "home"), ("cable", "fields"), ("cable", "try"),
     ("cable", "would"), ("settings", "backed-up"), ("settings", "list"),
     ("audit_differences", "list"), ("compare", "same")],
)  # fmt: skip
def test_what_is_no_refusal_has_no_such_sign(name: str, state: str) -> None:
    assert signs(filled(name, state)) == []


def test_a_cutter_that_fits_has_a_tick_and_one_that_is_stopped_has_a_cross() -> None:
    from kiosk.screens.parts.choice import ReasonRow

    screen = filled("build", "cutters")
    rows = {(offer.note == "fits", offer.sign) for offer in screen.offers}
    assert rows == {(True, "done"), (False, "stop")}
    for offer in screen.offers[:2]:
        row = ReasonRow(value=offer)
        (icon,) = [part for part in row.walk(restrict=True) if isinstance(part, Icon)]
        assert (icon.name, icon.color) == ((offer.sign, look.done if offer.sign == "done" else look.stop))
        assert icon.width > 1
    findings = filled("build", "blocked").findings
    assert all((finding.sign == "stop") == (finding.text == "stops it") for finding in findings)


def test_a_row_without_a_sign_gives_it_no_room() -> None:
    from kiosk.screens.parts.choice import Choice, ReasonRow

    row = ReasonRow(value=Choice("k", "Bench 1", "said by nobody"))
    (icon,) = [part for part in row.walk(restrict=True) if isinstance(part, Icon)]
    assert icon.width == 0 and not icon.opacity


NOTHING_CAME = "Nothing came of it"


def _with_trouble() -> list[str]:
    from kiosk.screens.pages import SCREENS, screen_class

    return [name for name in sorted(SCREENS) if hasattr(screen_class(name), "trouble")]


@pytest.mark.parametrize("name", _with_trouble())
def test_on_no_page_of_a_screen_a_refusal_stands_without_its_sign(name: str) -> None:
    from kiosk.screens.pages import build

    screen = build(name)
    screen.clerk = Clerk()
    pages = type(screen).page.options if hasattr(type(screen), "page") else [""]
    bare = {}
    for page in pages:
        if page:
            screen.page = page
        screen.trouble = NOTHING_CAME
        for words in _shown(screen):
            if NOTHING_CAME in words.text and not (signs(words) or signs(words.parent) or signs(words.parent.parent)):
                bare[page] = words.text
        screen.trouble = ""
    assert bare == {}


def test_where_nothing_is_refused_its_row_leaves_the_others_all_the_room() -> None:
    from kivy.uix.boxlayout import BoxLayout
    from kivy.uix.widget import Widget

    look.fit(800, 480)
    box = BoxLayout(orientation="vertical", spacing=10, size=(600, 400))
    below, refusal = Widget(), Refusal()
    for part in (Widget(size_hint_y=None, height=100), refusal, below):
        box.add_widget(part)
    box.do_layout()
    assert (below.top, below.height) == (290, 290), "one space between two parts"
    box.spacing = 20
    box.do_layout()
    assert (below.top, below.height) == (280, 280)
    refusal.text = "Not here"
    box.do_layout()
    assert refusal.height > look.body and below.height == pytest.approx(400 - 100 - refusal.height - 40)
    refusal.text = ""
    box.do_layout()
    assert below.height == 280


def test_a_note_that_is_not_quiet_is_not_so_after_a_refusal_either() -> None:
    told, quiet = NoteWords(note="It listens", plain=True), NoteWords(note="Which port?")
    for each in (told, quiet):
        each.trouble = "The cable is not heard"
        assert each.color == look.text
        each.trouble = ""
    assert told.color == look.text and quiet.color == look.quiet
