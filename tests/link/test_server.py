"""The book on its server: what it takes, what it refuses, and that nothing else is allowed."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

import pytest

from kiosk.link import calls
from kiosk.link import server as administration
from kiosk.link.connection import Connection
from kiosk.link.faults import Cause, LinkFault
from kiosk.rules.chain import next_book
from tests.link.shop import LINE_FORM, Ledger, Shop, changed, linked


def refused(cause: Cause) -> pytest.RaisesExc[LinkFault]:
    return pytest.RaisesExc(LinkFault, check=lambda fault: fault.cause is cause)


def test_lines_get_gapless_numbers_and_a_book_hash_that_binds_their_order(on_server: Shop) -> None:
    member = on_server.member()
    ledger = Ledger(member.kiosk)
    kiosk = linked(member)
    given = calls.push(kiosk, ledger.write("a", "b", "c"), LINE_FORM)
    assert [each.n for each in given] == [1, 2, 3]
    pulled = calls.pull(kiosk, 0, 10)
    assert [each.line for each in pulled] == ledger.own
    book = ""
    for each in pulled:
        book = next_book(book, each.line.digest)
        assert each.book == book
    assert on_server.examine() == []


def test_what_is_sent_again_is_skipped_and_keeps_its_number(on_server: Shop) -> None:
    member = on_server.member()
    ledger = Ledger(member.kiosk)
    kiosk = linked(member)
    first = calls.push(kiosk, ledger.write("a", "b"), LINE_FORM)
    again = calls.push(kiosk, [*ledger.own, *ledger.write("c")], LINE_FORM)
    assert again[:2] == first and again[2].n == 3
    assert len(calls.pull(kiosk, 0, 10)) == 3


def test_other_bytes_under_a_number_are_a_fork_and_nothing_of_the_batch_is_taken(on_server: Shop) -> None:
    member = on_server.member()
    ledger = Ledger(member.kiosk)
    kiosk = linked(member)
    calls.push(kiosk, ledger.write("a", "b"), LINE_FORM)
    other = changed(ledger.own[1], "other")
    with refused(Cause.FORKED):
        calls.push(kiosk, [other], LINE_FORM)
    ledger.own[1] = other
    with refused(Cause.FORKED):
        calls.push(kiosk, ledger.write("c"), LINE_FORM)
    assert len(calls.pull(kiosk, 0, 10)) == 2


def test_a_line_that_is_not_what_its_digest_says_is_refused(on_server: Shop) -> None:
    member = on_server.member()
    (line,) = Ledger(member.kiosk).write("a")
    kiosk = linked(member)
    with refused(Cause.EDITED):
        calls.push(kiosk, [type(line)(line.kiosk, 1, "", line.digest, 0, "", line.body + " ")], LINE_FORM)


def test_a_gap_in_a_chain_is_refused(on_server: Shop) -> None:
    member = on_server.member()
    ledger = Ledger(member.kiosk)
    ledger.write("a", "b")
    with refused(Cause.WENT_BACK):
        calls.push(linked(member), ledger.own[1:], LINE_FORM)


def test_a_line_that_saw_what_the_book_does_not_have_is_refused(on_server: Shop) -> None:
    member = on_server.member()
    kiosk = linked(member)
    ledger = Ledger(member.kiosk)
    calls.push(kiosk, ledger.write("a"), LINE_FORM)
    ledger.apply(calls.pull(kiosk, 0, 10))
    (line,) = ledger.write("b")
    for seen, book in ((7, line.seen_book), (1, "0" * 64)):
        with refused(Cause.WENT_BACK):
            calls.push(kiosk, [type(line)(line.kiosk, 2, line.previous, line.digest, seen, book, line.body)], LINE_FORM)
    assert calls.push(kiosk, [line], LINE_FORM)[0].n == 2


def test_a_kiosk_writes_its_own_chain_only_whatever_it_says_it_is(on_server: Shop) -> None:
    mine, other = on_server.member(), on_server.member()
    foreign = Ledger(other.kiosk)
    calls.push(linked(mine), foreign.write("as another"), LINE_FORM)
    assert on_server.sql("SELECT kiosk FROM book.entry") == [(mine.kiosk,)]


@pytest.mark.parametrize(
    "sentence",
    [
        "SELECT * FROM book.entry",
        "DELETE FROM book.entry",
        "INSERT INTO book.entry SELECT * FROM book.entry",
        "UPDATE book.head SET n = 0",
        "UPDATE book.member SET retired_n = NULL",
        "TRUNCATE book.tip",
        "DROP TABLE book.entry",
        "CREATE TABLE book.mine (x int)",
        "CREATE TABLE public.mine (x int)",
        "SELECT book.open_door('SCRAM-SHA-256$', 60)",
        "SELECT book.join_shop('0123456789abcdef', 'x', 'SCRAM-SHA-256$', '1', 1, false)",
        "SELECT book.locked_head()",
        "SELECT pg_read_file('/etc/passwd')",
        "COPY (SELECT 1) TO PROGRAM 'true'",
        "SET ROLE boss",
    ],
)
def test_a_kiosk_may_ask_the_functions_and_nothing_else(on_server: Shop, sentence: str) -> None:
    with refused(Cause.NOT_ALLOWED):
        linked(on_server.member()).ask(sentence)


def test_functions_use_the_books_tables_whatever_a_session_puts_before_them(on_server: Shop) -> None:
    member = on_server.member()
    kiosk = linked(member)
    ledger = Ledger(member.kiosk)
    kiosk.ask("SET search_path = pg_temp, book")
    calls.push(kiosk, ledger.write("a"), LINE_FORM)
    assert on_server.examine() == []


def test_a_locked_out_kiosk_is_thrown_out_at_once_and_for_good(on_server: Shop) -> None:
    mine, stolen = on_server.member(), on_server.member()
    there, ledger = linked(stolen), Ledger(stolen.kiosk)
    calls.push(there, ledger.write("a"), LINE_FORM)
    assert calls.lock_out(linked(mine), stolen.kiosk) == 1
    with pytest.raises(LinkFault):
        calls.push(there, ledger.write("b"), LINE_FORM)
    with refused(Cause.LOCKED_OUT):
        linked(stolen)
    with refused(Cause.LOCKED_OUT):
        on_server.member(kiosk=stolen.kiosk)
    assert len(calls.pull(linked(mine), 0, 10)) == 1


def test_of_two_kiosks_that_lock_each_other_out_at_once_one_stays(on_server: Shop) -> None:
    members = on_server.member("one"), on_server.member("two")

    def locks(mine: Connection, other: str) -> None:
        with suppress(LinkFault):
            calls.lock_out(mine, other)

    asks = [threading.Thread(target=locks, args=(linked(members[at]), members[1 - at].kiosk)) for at in (0, 1)]
    for each in asks:
        each.start()
    for each in asks:
        each.join()
    assert on_server.sql("SELECT COUNT(*) FROM book.member WHERE retired_n IS NULL") == [(1,)]


def test_a_server_whose_clock_is_set_back_by_years_takes_no_kiosk_for_its_copy_and_still_ends_its_wait(
    on_server: Shop,
) -> None:
    mine = on_server.member("one")
    kiosk = linked(mine)
    calls.beat(kiosk, calls.Said("killed", 1, 0, 0, 0.0, "", "9", LINE_FORM))
    with refused(Cause.TWICE):
        calls.beat(kiosk, calls.Said("again", 2, 0, 0, 0.0, "", "9", LINE_FORM))
    on_server.sql("UPDATE book.member SET beat_at = beat_at + interval '3 years'")  # as if it was three years ago now
    on_server.sql("UPDATE book.head SET standing = '', put_back = clock_timestamp() + interval '3 years'")
    answer = calls.beat(kiosk, calls.Said("again", 3, 0, 0, 0.0, "", "9", LINE_FORM))
    assert not answer.put_back, "the only kiosk was heard"


def test_lines_of_a_newer_form_wait_until_every_kiosk_can_read_them(on_server: Shop) -> None:
    old, new = on_server.member("old one"), on_server.member("new one")
    told = {"applied": 0, "waiting": 0, "utc_s": 0.0, "body": "", "version": "9"}
    calls.beat(linked(old), calls.Said(run="a", beat=1, reads=LINE_FORM, **told))
    calls.beat(linked(new), calls.Said(run="b", beat=1, reads=LINE_FORM + 1, **told))
    ledger = Ledger(new.kiosk)
    with refused(Cause.BEHIND):
        calls.push(linked(new), ledger.write("newer"), LINE_FORM + 1)
    with pytest.raises(LinkFault, match="old one") as raised:
        calls.raise_form(linked(new), LINE_FORM + 1)
    assert raised.value.cause is Cause.NOT_ALL_READ
    calls.beat(linked(old), calls.Said(run="a", beat=2, reads=LINE_FORM + 1, **told))
    calls.raise_form(linked(new), LINE_FORM + 1)
    assert calls.push(linked(new), ledger.own, LINE_FORM + 1)[0].n == 1


def test_eight_writers_at_once_leave_no_gap_that_a_reader_could_see(on_server: Shop) -> None:
    members = [on_server.member() for _ in range(8)]
    reader = linked(on_server.member())
    seen: list[int] = []

    def write(number: int) -> None:
        ledger, kiosk = Ledger(members[number].kiosk), linked(members[number])
        for each in range(30):
            calls.push(kiosk, ledger.write(str(each)), LINE_FORM)
        kiosk.close()

    with ThreadPoolExecutor(8) as pool:
        writing = [pool.submit(write, number) for number in range(8)]
        while len(seen) < 240:
            seen += [each.n for each in calls.pull(reader, len(seen), 50)]
        for each in writing:
            each.result()
    assert seen == list(range(1, 241))
    assert on_server.examine() == []


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only root can be somebody else")
def test_who_asks_the_server_as_its_own_user_has_read_all_there_is_to_read_before(tmp_path: Path) -> None:
    said = "from kiosk.link.server import _become as b; import sys\nwith b('nobody'): print('psycopg' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=False)
    assert done.stdout == "True\n", done.stderr


def test_init_of_a_newer_version_puts_its_functions_in_place_of_older_ones_while_kiosks_are_linked(
    on_server: Shop,
) -> None:
    member = on_server.member()
    ledger = Ledger(member.kiosk)
    kiosk = linked(member)
    calls.push(kiosk, ledger.write("a"), LINE_FORM)
    on_server.sql("ALTER FUNCTION book.push OWNER TO CURRENT_USER")
    on_server.sql(
        "CREATE FUNCTION book.peek() RETURNS text LANGUAGE sql SECURITY DEFINER AS 'SELECT body FROM book.entry'"
    )
    on_server.sql("CREATE OR REPLACE FUNCTION book.rest(my_run text) RETURNS void LANGUAGE sql AS 'SELECT'")
    assert on_server.examine() == ["0: functions are not those of this version, run server init: peek, push, rest"]
    on_server.sql("UPDATE book.head SET form = 0")
    with refused(Cause.OLDER_SERVER):
        calls.speaks_our_form(kiosk)
    boss = on_server.server.boss()
    assert administration.prepare(boss, on_server.address) is administration.Prepared.RENEWED
    assert administration.prepare(boss, on_server.address) is administration.Prepared.THERE
    calls.speaks_our_form(kiosk)
    calls.push(kiosk, ledger.write("b"), LINE_FORM)
    assert [each.line for each in calls.pull(linked(member), 0, 10)] == ledger.own, "no line was lost"
    assert on_server.examine() == []
    with refused(Cause.NOT_ALLOWED):
        kiosk.ask("SELECT * FROM book.entry")
    with pytest.raises(LinkFault):
        kiosk.ask("SELECT book.open_door('SCRAM-SHA-256$x', 60)")  # is nobody's but the owner's, as before


def test_a_function_that_a_hand_changed_is_named_by_check(on_server: Shop) -> None:
    on_server.sql(
        "CREATE OR REPLACE FUNCTION book.is_digest(said text, body text) RETURNS boolean LANGUAGE sql AS 'SELECT true'"
    )
    assert on_server.examine() == ["0: functions are not those of this version, run server init: is_digest"]


@pytest.mark.parametrize("hand", [
    "GRANT EXECUTE ON FUNCTION book.open_door TO PUBLIC", "GRANT EXECUTE ON FUNCTION book.open_door TO {join}",
    "REVOKE EXECUTE ON FUNCTION book.open_door FROM {owner}; REVOKE EXECUTE ON FUNCTION book.push FROM {kiosks}",
])  # fmt: skip
def test_a_function_that_others_may_ask_than_ours_is_named_by_check_and_put_right_by_init(
    on_server: Shop, hand: str
) -> None:
    on_server.sql(hand.format(**administration.roles(on_server.address.database)))
    (found,) = on_server.examine()
    assert found.endswith("push" if "push" in hand else "open_door")
    assert administration.prepare(on_server.server.boss(), on_server.address) is administration.Prepared.RENEWED
    assert on_server.examine() == []


def test_init_of_an_older_version_leaves_a_newer_server_alone(on_server: Shop) -> None:
    on_server.sql("UPDATE book.head SET form = %s", calls.FORM + 1)
    on_server.sql("CREATE FUNCTION book.newer() RETURNS text LANGUAGE sql AS 'SELECT NULL::text'")
    with refused(Cause.NEWER_SERVER):
        administration.prepare(on_server.server.boss(), on_server.address)
    assert on_server.sql("SELECT count(*) FROM pg_proc WHERE proname = 'newer'") == [(1,)]
