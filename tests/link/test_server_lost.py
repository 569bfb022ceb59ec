"""The server is emptied, replaced, put back from yesterday or edited by a hand: the kiosks hold everything."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from kiosk.link import calls
from kiosk.link import server as administration
from kiosk.link.faults import Cause
from kiosk.rules.link_state import LinkState
from tests.link.kiosk import until
from tests.link.making import Make, equal, level
from tests.link.shop import LINE_FORM, Ledger, Shop, linked
from tests.link.test_server import refused


def test_a_copy_of_yesterday_gets_todays_lines_back_before_any_new_one(make: Make, on_server: Shop) -> None:
    a, b, c = make("A"), make("B"), make("C")
    a.write("a1", "a2")
    until(level(a, b, c))
    copy = on_server.server.dump(on_server.database)
    b.write(*(f"b{each}" for each in range(700)))
    until(level(a, b, c))
    for kiosk in (a, b, c):
        kiosk.close()
    on_server.server.put_back(on_server.database, copy)
    assert on_server.sql("SELECT n FROM book.head") == [(2,)]
    c.ledger.write("written in the evening, without a server")
    before = list(b.ledger.shared)
    c.ledger.shared = c.ledger.shared[:2]  # C was replaced by its own copy of yesterday, so it knows no better
    c.open()
    until(lambda: c.state is LinkState.WENT_BACK)
    assert c.standing().fault.cause is Cause.PUT_BACK
    assert on_server.sql("SELECT n FROM book.head") == [(2,)], "a new line took the place of a lost one"
    b.open()
    until(lambda: len(c.ledger.shared) == len(before))
    assert c.state is LinkState.WENT_BACK, "A may know more still"
    a.open()
    until(level(a, b, c))
    equal(a, b, c)
    assert a.ledger.shared[: len(before)] == before
    assert on_server.examine() == []


def test_tables_that_were_put_back_take_nothing_new_whoever_asks_before_all_were_heard(on_server: Shop) -> None:
    first, second = on_server.member(), on_server.member()
    ledger, kiosk = Ledger(first.kiosk), linked(first)
    calls.push(kiosk, ledger.write("one"), LINE_FORM)
    kiosk.close()
    on_server.server.put_back(on_server.database, on_server.server.dump(on_server.database))
    kiosk = linked(first)
    with refused(Cause.PUT_BACK):
        calls.push(kiosk, ledger.write("two"), LINE_FORM)
    told = {"applied": 1, "waiting": 0, "utc_s": 0.0, "body": "", "version": "9", "reads": LINE_FORM}
    assert calls.beat(kiosk, calls.Said(run="a", beat=1, **told)).put_back
    assert not calls.beat(linked(second), calls.Said(run="b", beat=1, **told)).put_back
    assert calls.push(kiosk, ledger.own[1:], LINE_FORM)[0].n == 2


def test_an_emptied_server_is_refilled_verbatim_by_whoever_has_most(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    a.write(*(f"a{each}" for each in range(600)))
    b.write("b")
    until(level(a, b))
    b.close()
    a.write("only A has this")
    until(lambda: len(a.ledger.shared) == 602)
    before = list(a.ledger.shared)
    administration.empty(on_server.server.boss(), on_server.address)
    b.ledger.write("B while the server was away")
    b.open()
    until(level(a, b))
    equal(a, b)
    assert a.ledger.shared[:602] == before
    assert on_server.examine() == []


def test_a_new_server_in_place_of_a_lost_one_waits_for_every_kiosk_there_was(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    a.write("a1", "a2")
    b.write("b1")
    until(level(a, b))
    before = list(a.ledger.shared)
    a.close()
    b.close()
    anew = Shop(on_server.server)
    a.member = anew.member("A", kiosk=a.member.kiosk)
    a.ledger.write("a3")
    a.open()
    until(lambda: a.state is LinkState.WENT_BACK and a.standing().head == 3)
    b.member = anew.member("B", kiosk=b.member.kiosk)
    b.open()
    until(level(a, b))
    equal(a, b)
    assert a.ledger.shared[:3] == before
    assert anew.examine() == []


def test_a_kiosk_that_never_comes_back_is_locked_out_and_the_others_go_on(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    a.write("a1")
    until(level(a, b))
    b.close()
    administration.empty(on_server.server.boss(), on_server.address)
    a.write("a2")
    until(lambda: a.state is LinkState.WENT_BACK)
    calls.lock_out(linked(a.member), b.member.kiosk)
    until(level(a))
    assert a.ledger.texts == ["a1", "a2"]


def test_a_server_that_went_on_otherwise_is_a_full_stop_and_no_book_is_mixed(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    a.write("a1", "a2")
    until(level(a, b))
    a.close()
    b.close()
    # As after an old image of the whole machine, which nothing inside it can tell.
    on_server.sql("DELETE FROM book.entry WHERE n = 2")
    on_server.sql("UPDATE book.tip SET number = 1, digest = (SELECT digest FROM book.entry)")
    on_server.sql("UPDATE book.head SET n = 1, book = (SELECT book FROM book.entry)")
    newcomer = make("C")
    newcomer.write("c1")
    until(lambda: newcomer.standing().head == 2)
    a.open()
    until(lambda: a.state is LinkState.WENT_BACK)
    assert a.standing().fault.cause is Cause.WENT_BACK
    assert a.ledger.texts == ["a1", "a2"]


@pytest.mark.parametrize(
    ("by_hand", "said"),
    [
        ("UPDATE book.entry SET body = body || ' ' WHERE n = 2", "changed"),
        ("DELETE FROM book.entry WHERE n = 2", "missing"),
        ("DELETE FROM book.entry WHERE n = 3", "ends elsewhere"),
        ("UPDATE book.entry SET n = -n WHERE n > 1; UPDATE book.entry SET n = 5 + n WHERE n < 0", "place in the order"),
        ("UPDATE book.entry SET book = repeat('0', 64) WHERE n = 2", "book hash"),
        ("UPDATE book.entry SET seen_book = repeat('0', 64) WHERE n = 3", "written after another line"),
        ("UPDATE book.head SET n = 2", "ends elsewhere"),
        ("UPDATE book.tip SET number = 9", "table of ends"),
        ("DELETE FROM book.tip", "table of ends"),
        ("UPDATE book.entry SET kiosk = '0123456789abcdef' WHERE n = 2", "no member"),
        ("TRUNCATE book.entry", "ends elsewhere"),
    ],
)
def test_what_a_hand_changed_in_the_tables_is_found(on_server: Shop, by_hand: str, said: str) -> None:
    member = on_server.member()
    ledger, kiosk = Ledger(member.kiosk), linked(member)
    for text in ("one", "two", "three"):
        calls.push(kiosk, ledger.write(text), LINE_FORM)
        ledger.apply(calls.pull(kiosk, len(ledger.shared), 9))
    kiosk.close()
    assert on_server.examine() == []
    on_server.sql(by_hand)
    found = on_server.examine()
    assert any(said in each for each in found), found


@pytest.mark.parametrize(
    "by_hand",
    [
        "UPDATE book.entry SET body = body || ' ' WHERE n = 2",
        "UPDATE book.entry SET book = repeat('0', 64) WHERE n = 2",
        "DELETE FROM book.entry WHERE n = 2",
        "DELETE FROM book.head",
        "DROP TABLE book.entry",
        "ALTER TABLE book.member DROP COLUMN said",
        "ALTER TABLE book.entry ADD COLUMN more text",
        "DROP FUNCTION book.pull",
        "DROP SCHEMA book CASCADE",
    ],
)
def test_a_kiosk_takes_nothing_from_tables_a_hand_changed_and_says_so(
    make: Make, on_server: Shop, by_hand: str
) -> None:
    a = make("A")
    a.write("one", "two", "three")
    until(level(a))
    on_server.sql(by_hand)
    a.close()
    whole = list(a.ledger.shared)
    a.ledger.shared = []
    a.open()
    until(lambda: a.standing().fault is not None and a.standing().fault.cause is not Cause.AGAIN)
    fault = a.standing().fault
    assert fault.cause in (Cause.EDITED, Cause.WENT_BACK, Cause.PUT_BACK, Cause.OLDER_SERVER, Cause.NO_BOOK), fault
    assert fault.why and fault.remedy
    assert a.ledger.shared == whole[: len(a.ledger.shared)]


def test_a_full_disk_of_the_server_takes_nothing_by_halves_and_all_of_it_later(
    make: Make, on_server: Shop, tmp_path: Path
) -> None:
    small = on_server.server.small_disk(tmp_path / "small", mb=2)
    try:
        on_server.sql(f"CREATE TABLESPACE small LOCATION '{small}'")
        on_server.sql("ALTER TABLE book.entry SET TABLESPACE small")
        a, b = make("A"), make("B")
        until(level(a, b))
        filler = small / "filler"
        subprocess.run(["dd", "if=/dev/zero", f"of={filler}"], check=False, capture_output=True)
        for each in range(5):
            a.write(*(f"{each}.{part} " + "x" * 2000 for part in range(20)))
        until(lambda: a.standing().fault is not None)
        assert a.standing().fault.cause is Cause.FULL
        assert "all lines are kept here" in a.standing().fault.remedy
        filler.unlink()
        until(level(a, b))
        equal(a, b)
    finally:
        on_server.sql("DROP SCHEMA book CASCADE")
        on_server.sql("DROP TABLESPACE IF EXISTS small")
        subprocess.run(["umount", "--lazy", str(tmp_path / "small")], check=True)
