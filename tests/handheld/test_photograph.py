"""A drawer's photograph as a telephone's camera leaves it: 48 megapixels, lying on its side, with a note to turn it."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import pytest
from PIL import Image

from kiosk import words
from tests.handheld.browser import Browser
from tests.handheld.hands import SHIFT, signed_in
from tests.handheld.served import Served, Telephone

TURNED = 6  # EXIF: to be shown turned right by a quarter
PIXELS = 48_000_000


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shift's drawer, large, stored turned left by a quarter, with the note that says so."""
    image = cv2.imread(str(SHIFT / "031-drawer.jpg"))
    scale = (PIXELS / (image.shape[0] * image.shape[1])) ** 0.5
    large = cv2.rotate(cv2.resize(image, None, fx=scale, fy=scale), cv2.ROTATE_90_COUNTERCLOCKWISE)
    note = Image.Exif()
    note[0x0112] = TURNED
    file = tmp_path_factory.mktemp("camera") / "drawer.jpg"
    Image.fromarray(cv2.cvtColor(large, cv2.COLOR_BGR2RGB)).save(file, quality=80, exif=note)
    return file


def test_a_turned_picture_of_48_megapixels_is_made_smaller_turned_upright_and_read(
    kiosk: Served, browser: Browser, stored: Path
) -> None:
    browser.camera.show(None)
    page = signed_in(kiosk, browser)
    page.tap("#rail button", "Audit")
    page.tap("#audit .row", "Cabinet A")
    page.comes("#audit .count", "/")
    page.take("#drawer", stored)
    said = page.comes("#audit .said", words.t("term.state.seen"), 40)
    assert "2 ×" in said and f"1 × ↔ {words.t('term.state.misplaced')}" in said  # all three
    assert page.js("(p => p.width > p.height)(document.querySelector('#photo'))")  # as it was held
    page.close()


def test_what_the_page_would_have_made_smaller_is_refused_at_the_door_unread(kiosk: Served, stored: Path) -> None:
    telephone: Telephone = kiosk.telephone()
    status, body = telephone.post("/drawer?place=x", stored.read_bytes(), kind="image/jpeg")
    assert status == 422 and body["kind"] == "no_picture"
    bomb = io.BytesIO()  # small to send, large to unpack: 128 megapixels of nothing
    Image.new("L", (16_000, 8_000)).save(bomb, "jpeg")
    assert len(bomb.getvalue()) < 2_000_000
    assert telephone.post("/picture", bomb.getvalue(), kind="image/jpeg")[0] == 422
