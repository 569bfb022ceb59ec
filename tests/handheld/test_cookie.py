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


def test_a_browser_that_is_shown_another_code_is_one_telephone_and_not_two(kiosk: Served) -> None:
    telephone, other = kiosk.telephone(), kiosk.telephone()
    before = telephone.cookie
    names = {each.name for each in kiosk.seen().paired}
    assert telephone.post("/pair", {"token": kiosk.token()})[0] == 200
    assert telephone.cookie != before and telephone.ask("me")["person"] == "Jo Reed"
    assert Telephone(kiosk.address, before).post("/ask", {"ask": "me"})[0] == 401
    assert other.ask("me")["person"] == "Jo Reed"
    assert len(kiosk.seen().paired) == len(names) and {each.name for each in kiosk.seen().paired} != names
    telephone.post("/pair", {"token": "wrong"})
    assert telephone.ask("me")["person"] == "Jo Reed", "a wrong code ends nothing"


def test_what_lasts_a_while_lasts_so_much_less_for_a_page_that_hears_of_it_late(alone: Served) -> None:
    telephone = alone.telephone()
    first = telephone.ask("scan", texts=[alone.holder("T007")])
    pair_s = alone.desk.do(lambda desk: desk.session.settings.kiosk.pair_s)
    assert pair_s - 2.0 < first["wait_s"] <= pair_s
    alone.clock.forward(pair_s / 2)
    me = telephone.ask("me")
    assert me["waits"]["wait_s"] <= pair_s / 2 and me["last"]["wait_s"] <= pair_s / 2
    alone.clock.forward(pair_s)
    me = telephone.ask("me")
    assert me["waits"] == {} and me["last"]["wait_s"] == 0.0
    telephone.ask("scan", texts=[alone.holder("T007")])
    moved = telephone.ask("scan", texts=[alone.place("Rack 1")])
    assert moved["state"] == "done" and moved["undo_s"] > 40.0 and moved["wait_s"] is None
    alone.clock.forward(40.0)
    assert telephone.ask("me")["last"]["undo_s"] <= moved["undo_s"] - 40.0


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
