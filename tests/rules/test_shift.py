"""A shift in figures: only what was done in it counts."""

from __future__ import annotations

from kiosk.rules import lines as L
from kiosk.rules.places import Kind
from kiosk.rules.shift import Told, counts

KINDS = {"B": Kind.BENCH, "C": Kind.SLOT, "M": Kind.POCKET}


def told(*entries: L.Entry) -> list[Told]:
    return [Told(number, "jo", entry) for number, entry in enumerate(entries, 1)]


def built(number: int) -> L.Built:
    return L.Built(f"A{number}", "End mill 6", f"H{number}", "C1")


def test_what_came_from_a_file_is_nobodys_work() -> None:
    found = counts(told(built(1), built(2), built(3), L.Imported("shop", 2), built(4)), KINDS)
    assert found.built == 2
    assert [(share.operator, share.steps) for share in found.people] == [("jo", 2)]


def test_what_was_taken_back_was_neither_issued_nor_returned() -> None:
    out = L.Moved("H1", "C", "M")
    back = L.Moved("H1", "M", "C")
    assert (counts(told(out, back), KINDS).issued, counts(told(out, back), KINDS).returned) == (1, 1)
    undone = counts(told(out, L.Moved("H1", "M", "C", undoes=1)), KINDS)
    assert (undone.issued, undone.returned, undone.undone) == (0, 0, 1)


def test_refusals_are_counted_by_reason_most_frequent_first() -> None:
    lines = told(*(L.TurnedAway("X", reason) for reason in ("hot", "place_full", "hot")))
    assert counts(lines, KINDS).refusals == (("hot", 2), ("place_full", 1))
