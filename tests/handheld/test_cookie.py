"""Whose a telephone is: a code shown twice at once, a kiosk started again, a shift that ended while it slept."""

from __future__ import annotations

import threading
from pathlib import Path

from tests.handheld.served import Served, Telephone


def test_of_two_that_show_one_code_at_the_same_moment_one_comes_in(kiosk: Served) -> None:
    token = kiosk.token()
    both = threading.Barrier(2)
    said: list[int] = []

    def show() -> None:
        stranger = Telephone(kiosk.address)
        both.wait(10)
        said.append(stranger.post("/pair", {"token": token})[0])

    hands = [threading.Thread(target=show) for _ in range(2)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join(20)
    assert sorted(said) == [200, 403]


def test_a_cookie_of_before_is_worth_nothing_after_the_kiosk_was_started_again(tmp_path: Path) -> None:
    before = Served(tmp_path / "data")
    telephone = before.telephone()
    before.close()
    after = Served(tmp_path / "data")
    try:
        lines = after.desk.do(lambda desk: desk.session.book.last_id)
        again = Telephone(after.address, telephone.cookie)
        assert again.post("/ask", {"ask": "scan", "texts": [after.holder("T002")]})[0] == 401
        assert again.post("/ask", {"ask": "me"})[0] == 401
        assert after.desk.do(lambda desk: desk.session.book.last_id) == lines
    finally:
        after.close()


def test_a_telephone_that_slept_until_its_shift_was_over_is_nobodys_when_it_wakes(alone: Served) -> None:
    telephone = alone.telephone()
    alone.clock.forward(8 * 3600.0 + 60.0)
    lines = alone.desk.do(lambda desk: desk.session.book.last_id)
    status, _ = telephone.post("/ask", {"ask": "scan", "texts": [alone.holder("T002")]})
    assert status == 401
    written = alone.desk.do(lambda desk: [line.kind for line in desk.session.book.lines(after=lines)])
    assert "scanned" not in written and "moved" not in written
