"""A telephone in a real browser: signing in, a scan, a refusal while hot, a drawer, a machine, a lost link, the end."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest

from kiosk import words
from kiosk.desk import Desk
from kiosk.rules.lines import Moved, PhonePaired
from tests.handheld.browser import Browser, Page, until
from tests.handheld.hands import PICTURES, SHIFT, hold_up, signed_in, typed
from tests.handheld.served import JO, Served


@pytest.fixture
def page(kiosk: Served, browser: Browser) -> Iterator[Page]:
    """A telephone that has just been signed in."""
    browser.camera.show(None)
    page = signed_in(kiosk, browser)
    yield page
    page.close()


def test_a_code_signs_one_telephone_in_once_and_leaves_no_secret_behind(kiosk: Served, browser: Browser) -> None:
    token = kiosk.token()
    page, other = browser.page(), browser.page()
    page.open(f"{kiosk.address}#{token}")
    page.comes("#strip-who", "Jo Reed")
    assert page.js("location.href") == kiosk.address
    assert page.js("document.cookie") == "" and page.js("localStorage.length") == 0
    assert token not in page.js("JSON.stringify(sessionStorage)")
    history = page.call("Page.getNavigationHistory")["entries"]
    assert not [entry for entry in history if token in entry["url"]]
    other.open(f"{kiosk.address}#{token}")
    other.comes("#gate", "used up")
    lines = kiosk.desk.do(lambda desk: list(desk.session.book.lines()))
    assert [line.operator for line in lines if isinstance(line.entry, PhonePaired)][-1] == "jo"
    page.open(kiosk.address)  # as after a reload
    page.comes("#strip-who", "Jo Reed")
    page.close()
    other.close()


def test_two_labels_before_its_camera_move_a_holder_in_the_kiosks_own_words(
    kiosk: Served, browser: Browser, page: Page
) -> None:
    hold_up(page, browser, "014-holder.jpg")
    page.comes("#card", words.t("card.word.where_to"))
    page.picture(PICTURES / "phone-scan-360x640.png")
    hold_up(page, browser, "015-slot.jpg")
    page.tap("#machine button", words.t("phone.later"))  # it came out of a machine: how is its cutter?
    said = page.comes("#card", words.t("card.word.moved"))
    assert "Cabinet B · 1-05" in said
    page.comes("#card button", words.t("card.undo"))
    line = kiosk.desk.do(lambda desk: list(desk.session.book.lines(newest=1)))[0]
    assert isinstance(line.entry, Moved) and line.phone and line.operator == "jo"
    page.tap("#card button", words.t("card.undo"))
    page.comes("#card", words.t("card.word.undone"))


def test_something_hot_fills_the_page_and_the_kiosk_and_takes_no_scan_until_it_was_seen(
    kiosk: Served, browser: Browser, page: Page
) -> None:
    typed(page, kiosk.holder("T001"))
    page.comes("#card", words.t("card.word.where_to"))
    typed(page, kiosk.place("Shrink station"))
    page.comes("#card", words.t("card.word.heating"))
    typed(page, kiosk.holder("T001"))
    page.comes("#card", words.t("card.word.where_to"))
    before = len(kiosk.alarms)
    hold_up(page, browser, "005-slot.jpg")
    said = page.comes("#alarm", words.t("heat.word"))
    assert "Cabinet A · 1-05" in said and "Sleeve 1" in said
    assert page.js("document.activeElement.id") == "understood"
    covers = page.js("(b => b.width >= innerWidth && b.height >= innerHeight)($alarm.getBoundingClientRect())".replace(
        "$alarm", "document.querySelector('#alarm')"))  # fmt: skip
    assert covers
    assert [alarm.scanned.outcome.holder.holder.key for alarm in kiosk.alarms[before:]] == ["T001"]
    page.picture(PICTURES / "phone-hot-360x640.png")
    page.resize(800, 1280)
    page.picture(PICTURES / "phone-hot-800x1280.png")
    page.resize(360, 640)
    lines = kiosk.desk.do(lambda desk: desk.session.book.last_id)
    browser.camera.show(SHIFT / "002-holder.jpg")
    time.sleep(0.6)
    assert kiosk.desk.do(lambda desk: desk.session.book.last_id) == lines
    page.tap("#understood")
    browser.camera.show(None)
    page.tap("#rail button", "Find")
    page.tap("#rail button", "Scan")
    typed(page, kiosk.holder("T001"))
    page.comes("#card", words.t("card.word.where_to"))
    typed(page, kiosk.place("Rack 1"))
    page.comes("#card", words.t("card.word.moved"))
    page.tap("#rail button", "Hot")
    row = page.comes("#hot-rows .row.heat", "Rack 1")
    assert "Roughing mill 12 R1" in row
    until(lambda: page.text("#hot-rows .row.heat") != row, 8)  # it cools before one's eyes
    page.picture(PICTURES / "phone-board-360x640.png")


def test_a_drawer_is_photographed_with_twelve_megapixels_and_its_marks_are_drawn(
    kiosk: Served, browser: Browser, page: Page
) -> None:
    page.tap("#rail button", "Audit")
    page.tap("#audit .row", "Cabinet A")
    page.comes("#audit .count", "/")
    other = signed_in(kiosk, browser)
    other.tap("#rail button", "Audit")
    other.tap("#audit .row", "Cabinet A")
    before = other.comes("#audit .count", "0 /")
    page.picture(PICTURES / "phone-audit-360x640.png")
    page.take("#drawer", SHIFT / "031-drawer.jpg")
    said = page.comes("#audit .said", words.t("term.state.seen"), 20)
    assert "3 ×" in said or "2 ×" in said
    assert page.js("document.querySelector('#photo').width") > 800
    if page.sees("#alarm"):
        page.tap("#understood")
    page.picture(PICTURES / "phone-drawer-360x640.png")
    page.resize(800, 1280)
    page.picture(PICTURES / "phone-drawer-800x1280.png")
    until(lambda: other.text("#audit .count") != before, 8)  # the same audit, on another telephone
    kiosk.desk.do(lambda desk: desk.audits.open(str(desk.session.cards.find_place("Cabinet A"))))
    assert kiosk.desk.do(lambda desk: desk.audits.status().counts.seen) >= 2  # and at the kiosk
    other.tap("#audit button", words.t("phone.differences"))
    other.tap("#audit button", words.t("auditing.do.carried_over"))
    other.tap("#audit button", words.t("auditing.reason.next_shift"))
    other.comes("#audit .said", words.t("term.action.carried_over"))
    settled = kiosk.desk.do(lambda desk: desk.audits.status().settled)
    assert [each.reason for each in settled] == [words.t("auditing.reason.next_shift")]
    kiosk.desk.do(lambda desk: desk.audits.pause())
    other.close()


def test_a_pocket_is_chosen_and_what_to_type_is_said(kiosk: Served, page: Page) -> None:
    typed(page, kiosk.holder("T006"))
    page.comes("#card", words.t("card.word.where_to"))
    page.tap("#card button", words.t("scan.pocket"))
    page.tap("#machine .row", "Mill 1")
    page.comes("#machine .said button", words.t("machine.put"))
    page.picture(PICTURES / "phone-machine-360x640.png")
    page.tap("#machine .said button", words.t("machine.put"))
    page.comes("#machine .figures", words.t("card_to_type.length"))
    page.picture(PICTURES / "phone-type-360x640.png")
    at = kiosk.desk.do(lambda desk: desk.session.holder("T006").at.name)
    assert at.startswith("Mill 1")
    page.tap("#rail button", "Scan")
    typed(page, kiosk.holder("T006"))
    page.comes("#card", words.t("card.word.where_to"))
    typed(page, kiosk.place("Bench 1"))
    page.comes("#machine", words.t("phone.came_back"))
    page.tap("#machine button", words.t("condition.worn"))
    page.comes("#card", words.t("condition.worn"))
    assert kiosk.desk.do(lambda desk: desk.session.holder("T006").assembly.condition.value) == "worn"


def test_what_is_sought_is_found_and_the_way_there_is_said(page: Page) -> None:
    page.tap("#rail button", "Find")
    page.comes("#sought")
    page.type("#sought", "12 R0.5")
    page.comes("#found .row", "Cabinet B")
    page.picture(PICTURES / "phone-find-360x640.png")
    page.tap("#found .row", "Cabinet B")
    assert page.comes("#found .station") == "Cabinet B"
    page.picture(PICTURES / "phone-way-360x640.png")


def test_a_label_nobody_reads_is_said_and_a_picture_from_the_telephone_is_scanned(kiosk: Served, page: Page) -> None:
    page.take("#picture", SHIFT / "007-wait.txt")
    page.comes("#card", words.t("phone.no_picture"))
    page.take("#picture", SHIFT / "010-holder.jpg")
    page.comes("#card", words.t("card.word.where_to"))


def test_a_telephone_that_is_ended_at_the_kiosk_says_so_at_once(kiosk: Served, browser: Browser) -> None:
    page = signed_in(kiosk, browser)
    name = kiosk.seen().paired[-1].name
    kiosk.desk.do(kiosk.phones.end(name))
    page.comes("#gate", words.t("phone.over"), 2)
    page.open(kiosk.address)
    page.comes("#gate", words.t("phone.gate"))
    page.close()


def test_signing_out_on_a_telephone_ends_it(kiosk: Served, browser: Browser, page: Page) -> None:
    hold_up(page, browser, "045-sign-out.jpg")
    page.comes("#gate", words.t("phone.over"))
    assert kiosk.desk.do(lambda desk: desk.session.operator.key) == "jo"


@pytest.mark.parametrize("width", [360, 800])
@pytest.mark.parametrize("language", ["en", "de"])
def test_every_view_fits_its_glass_and_all_there_is_to_touch_has_a_name_and_room(
    kiosk: Served, browser: Browser, language: str, width: int
) -> None:
    browser.camera.show(None)
    words.speak(language)
    kiosk.desk.do(lambda _: kiosk.phones._speak())
    height, light = (640, False) if width == 360 else (1280, True)
    page = browser.page(width, height, light)
    try:
        page.open(f"{kiosk.address}#{kiosk.token()}")
        page.comes("#card", words.t("scan.idle"))
        for view in ("scan", "hot", "find", "audit", "machine"):
            page.tap(f"#rail [data-go={view}]")
            page.comes(f"#view-{view}")
            page.comes(f"#view-{view} :is(.row, .word, .title)")
            assert page.js(OUTSIDE) == [], (view, language)
            assert page.js(NAMELESS) == [], (view, language)
            assert page.js(SMALL) == [], (view, language)
            page.picture(PICTURES / f"phone-{view}-{language}-{width}x{height}.png")
    finally:
        words.speak("en")
        kiosk.desk.do(lambda _: kiosk.phones._speak())
        page.close()


OUTSIDE = """[...document.querySelectorAll("body *")].filter((e) => e.checkVisibility() && e.getClientRects().length
  && (e.getBoundingClientRect().right > innerWidth + 1 || e.getBoundingClientRect().left < -1
      || (!e.childElementCount && e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 && e.tagName !== "INPUT")))
  .map((e) => e.outerHTML.slice(0, 120))"""
NAMELESS = """[...document.querySelectorAll("button, input, select, img, video")].filter((e) => e.checkVisibility()
  && !(e.innerText || e.getAttribute("aria-label") || e.alt || e.labels?.[0]?.innerText || "").trim())
  .map((e) => e.outerHTML.slice(0, 120))"""
SMALL = """[...document.querySelectorAll("button, .key, input:not([type=file])")].filter((e) => e.checkVisibility()
  && e.getClientRects().length && (e.getBoundingClientRect().height < 48 || e.getBoundingClientRect().width < 48))
  .map((e) => e.outerHTML.slice(0, 120))"""


def test_a_badge_of_somebody_else_signs_nobody_in(kiosk: Served, page: Page) -> None:
    mia = kiosk.desk.do(_with_mia)
    typed(page, mia)
    page.comes("#card", "Mia")
    assert page.text("#strip-who") == "Jo Reed"
    typed(page, JO)
    page.comes("#card", words.t("card.word.signed_in"))


def _with_mia(desk: Desk) -> str:
    from kiosk.rules.codes import CodeKind, make

    badge = make(CodeKind.BADGE, 78).text
    if desk.session.cards.operator("mia") is None:
        desk.people.add("mia", "Mia", "setter", badge)
    return badge
