"""What a telephone's camera sees of worn labels reaches the book, and never by a page's own words."""

from __future__ import annotations

import cv2
import msgspec
import pytest

from kiosk.bench.scenes import draw
from kiosk.handheld import messages as M
from kiosk.handheld.asks import Phone, answer
from kiosk.handheld.serving.pictures import _Live
from kiosk.rules.label_wear import READS, asks_for_new
from tests.conftest import Shop
from tests.reader.test_damage import scene


def test_live_frames_say_how_damaged_a_label_is_and_the_desk_keeps_it(shop: Shop) -> None:
    code = shop.holder("T001")
    ok, data = cv2.imencode(".jpg", draw(scene(77, code), 1))
    glance = _Live().look(data.tobytes())
    assert ok and glance.texts == (code,) and glance.spent == {code: 0.0}
    phone = Phone("a phone", "", shop.desk.session.hand)
    for _ in range(READS):
        answer(shop.desk, phone, M.LookedAt({code: 0.75}), lambda _: None)
    assert asks_for_new(shop.desk.session.holder("T001").label_spent)


def test_a_page_cannot_say_that_labels_are_worn() -> None:
    said = msgspec.json.encode(M.LookedAt({"H1": 1.0}))
    with pytest.raises(msgspec.ValidationError):
        M.page_ask.decode(said)
