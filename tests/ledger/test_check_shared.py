"""The check of a ledger with several chains finds each thing a hand could forge at its end, one at a time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kiosk.ledger.shared_form import digest_of, is_whole, told
from kiosk.ledger.sharing import OutOfOrder
from kiosk.rules import lines as L
from kiosk.rules.chain import SharedLine, next_book
from tests.ledger.kiosks import FOUNDER, Kiosk, shop

A = "a" * 16


def book_of_two() -> Kiosk:
    """A founder and another have moved holders in turn, each knowing of the other; all of it is shared."""
    server, (founder, other) = shop(A)
    for at in range(3):
        for each in (founder, other):
            each.says(L.Moved("T1", "B", "R") if at % 2 == 0 else L.Moved("T2", "B", "R"), L.Moved("T1", "R", "B"))
            server.push(each.own_lines())
            founder.pulls(server)
            other.pulls(server)
    assert founder.wrong() == []
    return founder


def forge(kiosk: Kiosk, **by_hand: Any) -> None:
    """The last line says otherwise where it stands in its chain, and every hash that hangs on it agrees with that."""
    with kiosk, kiosk.database.atomic():
        last = kiosk.sharing.lines_after(0)[-1]
        before = kiosk.sharing.lines_after(0)[-2]
        said = replace(last.said, **by_hand)
        digest = digest_of(said.body)
        execute = kiosk.database.execute_sql
        told = (digest, said.kind, said.payload, last.line)
        execute('UPDATE "line" SET "hash" = ?, "kind" = ?, "payload" = ? WHERE "id" = ?', told)
        where = (said.number, said.previous, said.seen, said.seen_book, next_book(before.book or "", digest), last.line)
        execute(
            'UPDATE "chained" SET "number" = ?, "previous" = ?, "seen" = ?, "seen_book" = ?, "book" = ? '
            'WHERE "line" = ?', where,
        )  # fmt: skip


def found(kiosk: Kiosk) -> list[str]:
    return [f"{each.where} {each.what}" for each in kiosk.wrong()]


@pytest.mark.parametrize(
    ("by_hand", "what"),
    [
        ({"number": 99}, "does not follow line"),
        ({"previous": "0" * 64}, "does not follow line"),
        ({"seen": 0, "seen_book": ""}, "does not follow line"),
        ({"seen_book": "0" * 64}, "knew another order"),
        ({"kind": "nobody knows"}, "cannot be replayed"),
        ({"payload": '{"holder":"nobody","origin":null,"goal":"B"}'}, "cannot be replayed"),
    ],
    ids=lambda each: "-".join(each) if isinstance(each, dict) else "",
)
def test_a_last_line_whose_place_was_forged_with_all_its_hashes_is_found(by_hand: dict[str, Any], what: str) -> None:
    kiosk = book_of_two()
    forge(kiosk)
    assert found(kiosk) == [], "only hashes were made anew, and they are what they were"
    forge(kiosk, **by_hand)
    assert any(what in each for each in found(kiosk)), found(kiosk)


@pytest.mark.parametrize(
    ("sentence", "what"),
    [
        ('UPDATE "chained" SET "book" = ? WHERE "line" = :last', "is not shared line"),
        ('UPDATE "line" SET "hash" = ? WHERE "id" = :last', "does not match its hash"),
        ('INSERT INTO "image" ("what", "key", "before") VALUES (\'place\', ?, \'null\')', "does not hold the rows"),
        ('UPDATE "watch" SET "kiosk" = ?', "names another kiosk"),
        ('UPDATE "joined" SET "own" = ?', "names another kiosk"),
        ('DELETE FROM "chained" WHERE "line" = :last AND ? IS NOT NULL', "where the chains have"),
    ],
)
def test_what_a_hand_changed_beside_the_lines_is_found(sentence: str, what: str) -> None:
    kiosk = book_of_two()
    with kiosk:
        last = kiosk.sharing.lines_after(0)[-1].line
        kiosk.database.execute_sql(sentence.replace(":last", str(last)), ("0" * 64,))
    assert any(what in each for each in found(kiosk)), found(kiosk)


def test_a_gap_in_the_shared_numbers_is_found_though_the_hashes_of_the_order_agree() -> None:
    kiosk = book_of_two()
    with kiosk:
        last = kiosk.sharing.lines_after(0)[-1].line
        kiosk.database.execute_sql('PRAGMA foreign_keys = 0')
        kiosk.database.execute_sql('UPDATE "line" SET "id" = ? WHERE "id" = ?', (last + 1, last))
        kiosk.database.execute_sql('UPDATE "chained" SET "line" = ? WHERE "line" = ?', (last + 1, last))
    assert any(f"is not shared line {last}" in each for each in found(kiosk)), found(kiosk)


def test_a_waiting_line_of_another_kiosk_is_found() -> None:
    _, (founder, _) = shop(A)
    founder.says(L.Moved("T1", "B", "R"))
    with founder:
        founder.database.execute_sql(f'UPDATE "chained" SET "chain" = \'{A}\' WHERE "book" IS NULL')
    assert any("waits for its place" in each for each in found(founder)), found(founder)


@pytest.mark.parametrize("body", ["{}", "[]", "3", '"x"', "[1,2,3]", "null", "[", "[" + ",".join(["0"] * 12) + "]"])
def test_what_is_the_body_of_no_line_is_not_whole(body: str) -> None:
    server, _ = shop(A)
    line = server.lines[-1].line
    assert is_whole(line)
    assert not is_whole(replace(line, body=body, digest=digest_of(body)))


def test_a_line_that_saw_others_is_not_whole_under_another_kiosks_name() -> None:
    _, (_, other) = shop(A)
    other.says(L.Moved("T1", "B", "R"))
    (line,) = other.own_lines()
    assert is_whole(line) and not is_whole(replace(line, kiosk=FOUNDER))


def test_a_line_of_a_kiosk_that_knew_another_order_is_not_taken() -> None:
    server, (founder, other) = shop(A)
    other.says(L.Moved("T1", "B", "R"))
    (line,) = other.own_lines()
    body = line.body.replace(line.seen_book, "0" * 64)
    said = told(body)
    assert said.seen_book == "0" * 64
    forged = replace(line, body=body, digest=digest_of(body), seen_book=said.seen_book)
    last = server.lines[-1]
    with pytest.raises(OutOfOrder, match="another order"), founder, founder.database.atomic():
        founder.sharing.take([SharedLine(last.n + 1, forged, next_book(last.book, forged.digest))])
