"""Lines as they travel: what binds their order, and which were written without knowing of each other."""

from __future__ import annotations

import hashlib

from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.chain import EMPTY_BOOK, ChainLine, SharedLine, concurrent, next_book


def shared(kiosk: str, n: int, seen: int) -> SharedLine:
    return SharedLine(n, ChainLine(kiosk, 1, "", f"{n:064x}", seen, "", "{}"), "")


def test_the_book_hash_binds_every_line_before_it() -> None:
    first, second = "a" * 64, "b" * 64
    assert next_book(EMPTY_BOOK, first) == hashlib.sha256(first.encode()).hexdigest()
    there, back = next_book(next_book(EMPTY_BOOK, first), second), next_book(next_book(EMPTY_BOOK, second), first)
    assert there != back


def test_two_kiosks_that_had_not_heard_of_each_other_wrote_at_the_same_time() -> None:
    assert concurrent(shared("a", 5, seen=4), shared("b", 6, seen=4))
    assert not concurrent(shared("a", 5, seen=4), shared("b", 6, seen=5))


def test_a_kiosk_has_always_seen_its_own_lines() -> None:
    assert not concurrent(shared("a", 5, seen=0), shared("a", 6, seen=0))


@given(st.integers(1, 50), st.integers(1, 50), st.integers(0, 50), st.integers(0, 50))
def test_being_written_at_the_same_time_holds_both_ways(a_n: int, b_n: int, a_seen: int, b_seen: int) -> None:
    a, b = shared("a", a_n, min(a_seen, a_n - 1)), shared("b", b_n, min(b_seen, b_n - 1))
    assert concurrent(a, b) == concurrent(b, a)
