"""An alarm stays until somebody has seen it, and no old outcome stands for a new scan, whatever breaks meanwhile."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator

import pytest

from kiosk import words
from tests.handheld.browser import Browser, Page, until
from tests.handheld.hands import PICTURES, SHIFT, signed_in, typed
from tests.handheld.served import Served

IN_SIGHT = """(id => { const b = document.getElementById(id).getBoundingClientRect();
  return document.getElementById(id).contains(document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2)); })"""


@pytest.fixture(scope="module")
def hot(kiosk: Served) -> str:
    """The code of something that has just been heated."""
    kiosk.desk.do(lambda desk: [desk.scan(desk.session.holder("T001").code),
                                desk.scan(str(desk.session.cards.find_place("Shrink station")))])  # fmt: skip
    return kiosk.holder("T001")


@pytest.fixture
def alarmed(kiosk: Served, browser: Browser, hot: str) -> Iterator[Page]:
    """A telephone whose page an alarm fills."""
    browser.camera.show(None)
    page = signed_in(kiosk, browser)
    typed(page, hot)
    page.comes("#card", words.t("card.word.where_to"))
    typed(page, kiosk.place("Cabinet A · 1-05"))
    page.comes("#alarm", words.t("heat.word"))
    yield page
    page.close()


def test_an_alarm_outlives_the_end_of_its_telephone(kiosk: Served, alarmed: Page) -> None:
    name = kiosk.seen().paired[-1].name
    kiosk.desk.do(kiosk.phones.end(name))
    alarmed.comes("#gate", words.t("phone.over"), 3)
    assert alarmed.sees("#alarm") and alarmed.js(f"{IN_SIGHT}('understood')")
    alarmed.tap("#understood")
    assert not alarmed.sees("#alarm") and alarmed.sees("#gate")


def test_an_alarm_stays_on_top_while_the_link_is_lost_and_says_so(kiosk: Served, alarmed: Page) -> None:
    server = kiosk.phones._link._process.pid
    os.kill(server, signal.SIGSTOP)
    try:
        alarmed.comes("#alarm-link", words.t("phone.no_link"), 3)
        assert alarmed.js(f"{IN_SIGHT}('alarm-title')") and alarmed.js(f"{IN_SIGHT}('understood')")
        alarmed.tap("#understood")
        assert alarmed.sees("#link")
    finally:
        os.kill(server, signal.SIGCONT)
    until(lambda: not alarmed.sees("#link"), 10)


def test_an_alarm_that_nobody_has_seen_is_there_again_after_the_page_was_thrown_away(
    kiosk: Served, alarmed: Page
) -> None:
    alarmed.call("Page.reload")
    alarmed.comes("#alarm", words.t("heat.word"))
    assert "Cabinet A · 1-05" in alarmed.text("#alarm")
    alarmed.tap("#understood")
    alarmed.call("Page.reload")
    alarmed.comes("#card", words.t("card.word.where_to"))  # it is still in the hand
    assert not alarmed.sees("#alarm")


def test_nothing_behind_an_alarm_is_touched_or_reached_by_the_next_key(alarmed: Page) -> None:
    behind = "['strip', 'main', 'rail', 'gate', 'link'].map((id) => document.getElementById(id).inert)"
    until(lambda: alarmed.js(behind) == [True] * 5, 10)
    reached = set()
    for _ in range(4):
        for kind in ("keyDown", "keyUp"):
            alarmed.call("Input.dispatchKeyEvent", type=kind, key="Tab", code="Tab", windowsVirtualKeyCode=9)
        reached.add(alarmed.js("document.activeElement.id"))
    assert reached <= {"understood", ""}
    alarmed.tap("#understood")
    until(lambda: alarmed.js(behind) == [False] * 5, 10)


def test_on_its_side_a_telephone_shows_an_alarm_and_its_key_at_once(alarmed: Page) -> None:
    alarmed.resize(640, 360)
    for name in ("word", "title", "place", "left", "remedy"):
        assert alarmed.js(f"{IN_SIGHT}('alarm-{name}')"), name
    assert alarmed.js(f"{IN_SIGHT}('understood')")
    alarmed.picture(PICTURES / "phone-hot-640x360.png")


def test_a_new_code_that_is_opened_in_the_same_page_signs_it_in_and_leaves_no_secret_behind(
    kiosk: Served, browser: Browser
) -> None:
    browser.camera.show(None)
    page = browser.page()
    page.open(kiosk.address)
    page.comes("#gate", words.t("phone.gate"))
    token = kiosk.token()
    page.open(f"{kiosk.address}#{token}")
    page.comes("#strip-who", "Jo Reed")
    assert page.js("location.href") == kiosk.address
    page.close()


COVERED = """(() => { const card = document.getElementById("card"), box = card.getBoundingClientRect();
  const keys = document.querySelector("#view-scan > .keys").getBoundingClientRect();
  return keys.top < box.bottom || [...card.querySelectorAll("*")].some((e) =>
    e.getBoundingClientRect().bottom > box.bottom + 1 || e.getBoundingClientRect().right > box.right + 1); })()"""


@pytest.mark.parametrize(("width", "height", "place"), [(360, 640, "Bench 1"), (640, 360, "Bench 2")])
def test_an_outcome_and_its_keys_are_covered_by_nothing(
    kiosk: Served, browser: Browser, width: int, height: int, place: str
) -> None:
    browser.camera.show(None)
    page = signed_in(kiosk, browser, width=width, height=height)
    typed(page, kiosk.holder("T002"))
    page.comes("#card", words.t("card.word.where_to"))
    assert not page.js(COVERED)
    typed(page, kiosk.place(place))
    page.comes("#card button", words.t("card.undo"))
    assert not page.js(COVERED)
    page.picture(PICTURES / f"phone-done-{width}x{height}.png")
    page.close()


@pytest.mark.parametrize(
    ("lost", "moved"), [("answered('504')", "T008"), ("Promise.reject(new TypeError('lost'))", "T012")]
)
def test_an_old_outcome_goes_when_a_frames_answer_is_lost_and_the_new_one_comes(
    kiosk: Served, browser: Browser, lost: str, moved: str
) -> None:
    browser.camera.show(None)
    page = signed_in(kiosk, browser)
    typed(page, kiosk.holder(moved))
    page.comes("#card", words.t("card.word.where_to"))
    typed(page, kiosk.place("Bench 2"))
    page.comes("#card", words.t("card.word.moved"))
    page.js(f"""(() => {{
        const real = window.fetch;
        const answered = (status) => new Response('{{}}', {{ status: Number(status) }});
        window.cards = [];
        new MutationObserver(() => window.cards.push(document.getElementById("card").innerText))
            .observe(document.getElementById("card"), {{ childList: true }});
        window.fetch = async (path, what) => {{
            const answer = await real(path, what);
            if (path !== "/frame" || !(await answer.clone().json()).came) return answer;
            return {lost};
        }};
    }})()""")
    page.tap("#rail button", "Hot")
    browser.camera.show(SHIFT / "014-holder.jpg")
    page.tap("#rail button", "Scan")
    page.comes("#card", words.t("card.word.where_to"))
    shown = page.js("window.cards")
    assert words.t("scan.idle") in shown[0] and words.t("card.word.where_to") in shown[1]
    page.close()


def test_a_light_is_offered_where_the_camera_has_one_and_goes_on_and_off(kiosk: Served, browser: Browser) -> None:
    browser.camera.show(None)
    page = browser.page()
    page.call("Page.addScriptToEvaluateOnNewDocument", source="""
        window.asked = [];
        MediaStreamTrack.prototype.getCapabilities = () => ({ torch: true });
        MediaStreamTrack.prototype.applyConstraints = async (what) => { window.asked.push(what.advanced[0].torch); };
    """)  # fmt: skip
    page.open(f"{kiosk.address}#{kiosk.token()}")
    page.comes("#torch-key", words.t("phone.torch"))
    for pressed in ("true", "false", "true"):
        page.tap("#torch-key")
        until(lambda wanted=pressed: page.js("document.querySelector('#torch-key').ariaPressed") == wanted, 3)
    assert page.js("window.asked") == [True, False, True]
    page.tap("#rail button", "Hot")
    page.tap("#rail button", "Scan")  # the camera is opened anew, and its light is off
    page.comes("#torch-key")
    assert page.js("document.querySelector('#torch-key').ariaPressed") == "false"
    page.close()


def test_a_camera_without_a_light_offers_none(kiosk: Served, browser: Browser) -> None:
    page = signed_in(kiosk, browser)
    until(lambda: page.js("document.querySelector('#live').videoWidth") > 0, 10)
    assert not page.sees("#torch-key")
    page.close()
