"""The link breaks, the kiosk closes or dies: a page says so in time, and nothing is done twice or shown for another."""

from __future__ import annotations

import os
import signal
import time

from kiosk import words
from tests.handheld.browser import Browser, until
from tests.handheld.hands import PICTURES, signed_in, typed
from tests.handheld.served import Served

WITHIN_S = 2.0  # a page says so long after its link broke that it did, at the latest


def test_a_link_that_breaks_is_said_in_time_and_comes_back_where_it_was(alone: Served, browser: Browser) -> None:
    page = signed_in(alone, browser)
    typed(page, alone.holder("T008"))
    page.comes("#card", words.t("card.word.where_to"))
    typed(page, alone.place("Bench 2"))
    page.comes("#card", words.t("card.word.moved"))
    page.tap("#rail button", "Find")
    server = alone.phones._link._process.pid
    os.kill(server, signal.SIGSTOP)
    try:
        began = time.monotonic()
        page.comes("#link", words.t("phone.no_link"))
        assert time.monotonic() - began < WITHIN_S + 0.5  # and what it takes to look
        page.picture(PICTURES / "phone-lost-360x640.png")
        assert words.t("card.word.moved") not in page.text("#card")  # an old outcome is nowhere to be taken for a new
    finally:
        os.kill(server, signal.SIGCONT)
    until(lambda: not page.sees("#link"), 10)
    assert page.sees("#view-find")
    page.close()


def test_what_was_done_while_the_link_broke_is_shown_when_it_is_back(alone: Served, browser: Browser) -> None:
    page = signed_in(alone, browser)
    typed(page, alone.holder("T012"))
    page.comes("#card", words.t("card.word.where_to"))
    lines = alone.desk.do(lambda desk: desk.session.book.last_id)
    page.tap("#type-key")
    page.type("#typed", alone.place("Bench 2"))
    server = alone.phones._link._process.pid
    os.kill(server, signal.SIGSTOP)
    page.tap("#type-form button")
    page.comes("#link", words.t("phone.unsure"))
    os.kill(server, signal.SIGCONT)
    page.comes("#card", words.t("card.word.moved"), 20)
    written = alone.desk.do(lambda desk: [line.kind for line in desk.session.book.lines(after=lines)])
    assert written.count("moved") == 1  # sent again, done once
    page.close()


def test_a_kiosk_that_closes_tells_its_telephones(alone: Served, browser: Browser) -> None:
    page = signed_in(alone, browser)
    alone.phones.stop()
    page.comes("#gate", words.t("phone.closed"), 3)
    page.picture(PICTURES / "phone-closed-360x640.png")
    page.close()


def test_a_kiosk_that_dies_is_a_lost_link(alone: Served, browser: Browser) -> None:
    page = signed_in(alone, browser)
    alone.phones._link._stopping.set()
    alone.phones._link._process.kill()
    page.comes("#link", words.t("phone.no_link"), 3)
    page.close()


def test_a_first_scan_that_the_kiosk_has_forgotten_is_waited_for_no_more(alone: Served, browser: Browser) -> None:
    page = signed_in(alone, browser)
    typed(page, alone.holder("T002"))
    page.comes("#card", words.t("card.word.where_to"))
    alone.clock.forward(alone.desk.do(lambda desk: desk.session.settings.kiosk.pair_s) - 4.0)
    page.open(alone.address)
    page.comes("#card", words.t("card.word.where_to"))
    page.comes("#card", words.t("scan.idle"))
    assert alone.desk.do(lambda desk: desk.session.hands[1].phone)
    page.close()
