"""What a telephone lets hear, feel and see of a scan: sounds, vibration, the corners of a label and a hint."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from kiosk import words
from kiosk.reader.decode import read
from tests.handheld.browser import Browser, Page, until
from tests.handheld.hands import SHIFT, hold_up, typed
from tests.handheld.served import Served

SENSED = """
    window.sensed = [];
    Object.defineProperty(navigator, "vibrate", { value: (how) => window.sensed.push(["felt", [how].flat()]) });
    HTMLAudioElement.prototype.play = async function () {
        if (!this.muted) window.sensed.push(["heard", new URL(this.src).pathname]);
    };
"""
"""Notes what the page asks of the telephone; the sound that is made ready unheard is muted, and not noted."""


@pytest.fixture
def page(kiosk: Served, browser: Browser) -> Iterator[Page]:
    browser.camera.show(None)
    page = browser.page()
    page.call("Page.addScriptToEvaluateOnNewDocument", source=SENSED)
    page.open(f"{kiosk.address}#{kiosk.token()}")
    page.comes("#card", words.t("scan.idle"))
    yield page
    page.close()


def _sensed(page: Page) -> Any:
    found = page.js("window.sensed")
    page.js("window.sensed.length = 0")
    return found


def test_each_outcome_is_heard_and_felt_in_its_own_way_and_heat_is_the_longest(kiosk: Served, page: Page) -> None:
    typed(page, kiosk.holder("T002"))
    page.comes("#card", words.t("card.word.where_to"))
    assert _sensed(page) == []  # half a step is no outcome
    typed(page, kiosk.place("Bench 1"))
    page.comes("#card", words.t("card.word.moved"))
    assert _sensed(page) == [["heard", "/done.wav"], ["felt", [60]]]
    typed(page, "V5VVVVVVVV")
    until(lambda: page.js("window.sensed.length") >= 2, 5)
    assert _sensed(page) == [["heard", "/refused.wav"], ["felt", [90, 70, 90]]]
    typed(page, kiosk.holder("T001"))
    page.comes("#card", words.t("card.word.where_to"))
    typed(page, kiosk.place("Shrink station"))
    page.comes("#card", words.t("card.word.heating"))
    _sensed(page)
    typed(page, kiosk.holder("T001"))
    page.comes("#card", words.t("card.word.where_to"))
    typed(page, kiosk.place("Cabinet A · 1-05"))
    page.comes("#alarm", words.t("heat.word"))
    heard, (how, felt) = _sensed(page)
    assert heard == ["heard", "/hot.wav"] and how == "felt" and sum(felt[::2]) > 1500
    assert page.js("fetch('/hot.wav').then((a) => a.headers.get('content-type'))").startswith("audio/")


def test_before_the_first_touch_the_page_says_that_an_alarm_could_not_be_heard(page: Page) -> None:
    page.comes("#hint", words.t("phone.sound"))
    until(lambda: page.js("document.querySelector('#live').videoWidth") > 0, 10)
    page.comes("#hint", words.t("phone.sound"))  # also while it looks and sees nothing
    page.tap("#card")
    until(lambda: page.text("#hint") == "", 3)


DRAWN = """(() => { const c = document.getElementById("aim");
  const d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
  let [left, top, right, bottom, green] = [1e9, 1e9, -1, -1, 0];
  for (let i = 0; i < d.length; i += 4) if (d[i + 3] > 128) {
    const x = i / 4 % c.width, y = Math.floor(i / 4 / c.width);
    left = Math.min(left, x); right = Math.max(right, x); top = Math.min(top, y); bottom = Math.max(bottom, y);
    green += d[i + 1] > d[i] ? 1 : -1;
  }
  return { box: [left, top, right, bottom], green: green > 0, at: [c.width, c.height] }; })()"""


def _label() -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """A photograph of the shift (H, W, 3), and the four corners of its label in it (4, 2)."""
    picture = cv2.imread(str(SHIFT / "014-holder.jpg"))
    assert picture is not None
    shot = np.asarray(picture, np.uint8)
    return shot, np.array(read(shot).symbols[0].corners)


def test_the_corners_lie_where_the_label_is_in_the_picture(browser: Browser, page: Page) -> None:
    picture, corners = _label()
    hold_up(page, browser, "014-holder.jpg")
    page.comes("#card", words.t("card.word.where_to"))
    until(lambda: page.js(DRAWN)["box"][2] >= 0, 5)
    drawn = page.js(DRAWN)
    (wide, high), (height, width) = drawn["at"], picture.shape[:2]
    scale = max(wide / width, high / height)
    there = (corners - (width / 2, height / 2)) * scale + (wide / 2, high / 2)
    low, most = np.clip(there.min(axis=0), 0, None), np.minimum(there.max(axis=0), (wide, high))
    assert drawn["green"]
    assert np.abs(np.array(drawn["box"]) - (*low, *most)).max() < 9, (drawn, there)


def _held_up(page: Page, browser: Browser, picture: Path) -> None:
    page.tap("#rail button", "Hot")
    browser.camera.show(picture)
    page.tap("#rail button", "Scan")


def test_a_label_that_is_cut_off_says_what_to_do(browser: Browser, page: Page, tmp_path: Path) -> None:
    picture, corners = _label()
    cut = int(corners[:, 0].mean())
    half = np.full_like(picture, 110)
    half[:, picture.shape[1] - cut :] = picture[:, :cut]
    cv2.imwrite(str(tmp_path / "half.png"), half)
    _held_up(page, browser, tmp_path / "half.png")
    page.comes("#hint", words.t("hint.into_picture"))


def test_a_label_that_is_seen_and_not_read_is_drawn_in_another_colour(
    browser: Browser, page: Page, tmp_path: Path
) -> None:
    picture, corners = _label()
    low, most = corners.min(axis=0), corners.max(axis=0)
    across, down = (low + (most - low) * 0.36).astype(int), (low + (most - low) * 0.98).astype(int)
    picture[across[1] : down[1], across[0] : down[0]] = cv2.blur(
        picture[across[1] : down[1], across[0] : down[0]], (41, 41)
    )
    cv2.imwrite(str(tmp_path / "worn.png"), picture)
    _held_up(page, browser, tmp_path / "worn.png")
    until(lambda: page.js(DRAWN)["box"][2] >= 0, 8)
    assert not page.js(DRAWN)["green"]
    assert page.text("#card") == words.t("scan.idle")
