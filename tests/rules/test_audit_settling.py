"""What closes a difference and what a photograph answers, from values alone: the book follows whole chains of steel."""

from __future__ import annotations

from dataclasses import replace

from kiosk.rules.audit import Action, Difference, Open
from kiosk.rules.audit_scan import InPicture, photograph
from kiosk.rules.audit_settling import Settling, settle
from kiosk.rules.cards import FreshLabel, Heat, HolderCard, Moment, PlaceCard, UnknownCode
from kiosk.rules.lines import DifferenceSettled, Entry, Moved, Seen
from kiosk.rules.outcomes import Done, Outcome, Reason, Refused, Step
from kiosk.rules.places import Kind, Place
from kiosk.rules.view import AuditView, Stray, View
from tests.rules.test_decision import HOT, NOW, SCOPE, SLOT, auditing, holder, hot


def slots(count: int) -> list[PlaceCard]:
    """Slots for one holder each, in which `H0`, `H1` ... are booked."""
    return [
        PlaceCard(Place(f"S{at}", f"S{at}", Kind.SLOT, capacity=1), ("Cabinet", f"S{at}"), (f"H{at}",))
        for at in range(count)
    ]


def moved_on(count: int, last: PlaceCard | None = None, **wrong: HolderCard) -> tuple[View, Settling]:
    """Every holder was seen one slot further, the last at `last` or where the first is booked; the first is asked."""
    places = slots(count)
    cards = [wrong.get(f"H{at}", holder(f"H{at}", place)) for at, place in enumerate(places)]
    seen = [*places[1:], last or places[0]]
    strays = {card.holder.key: Stray(card, where) for card, where in zip(cards, seen, strict=True)}
    view = View("K", audit=AuditView("audit A", SCOPE, strays=strays))
    difference = Open("H0", Difference.MISPLACED, "H0", "S0", seen[0].place.code)
    return view, Settling(difference, Action.BOOK_MOVED, card=cards[0], found=seen[0])


def moves(outcome: Outcome) -> list[tuple[str, str | None, str | None]]:
    assert isinstance(outcome, Done), outcome
    return [(line.holder, line.origin, line.goal) for line in outcome.lines if isinstance(line, Moved)]


def test_two_that_changed_places_are_booked_in_one_step() -> None:
    done = settle(*moved_on(2), NOW)
    assert moves(done) == [("H0", "S0", "S1"), ("H1", "S1", "S0")]
    closed = [line.text for line in done.lines if isinstance(line, DifferenceSettled)]  # type: ignore[union-attr]
    assert sorted(closed) == ["H0", "H1"]


def test_a_ring_and_a_chain_to_a_free_slot_are_followed_to_their_end() -> None:
    assert len(moves(settle(*moved_on(5), NOW))) == 5
    free = PlaceCard(Place("S9", "S9", Kind.SLOT, capacity=1), ("Cabinet", "S9"))
    assert moves(settle(*moved_on(3, last=free), NOW))[-1] == ("H2", "S2", "S9")


def test_nothing_of_a_chain_is_booked_where_one_of_it_is_hot_or_stands_before_a_full_slot() -> None:
    warm = holder("H1", slots(3)[1], heat=Heat.HELD, hold=HOT)
    refused = settle(*moved_on(3, H1=warm), NOW)
    assert isinstance(refused, Refused) and refused.reason is Reason.HOT
    full = PlaceCard(Place("S9", "S9", Kind.SLOT, capacity=1), ("Cabinet", "S9"), ("X",))
    refused = settle(*moved_on(3, last=full), NOW)
    assert isinstance(refused, Refused) and refused.reason is Reason.PLACE_FULL


def steps(outcomes: tuple[Outcome, ...]) -> list[Step | Reason]:
    return [each.reason if isinstance(each, Refused) else each.step for each in outcomes]


def pictured(*subjects: HolderCard | UnknownCode | FreshLabel, moment: Moment = NOW) -> tuple[Outcome, ...]:
    labels = [InPicture(getattr(each, "code", "X"), each, SLOT) for each in subjects]
    return photograph(auditing(), labels, moment)


def test_a_photograph_answers_each_label_as_a_scan_would_and_says_that_it_was_one() -> None:
    outcomes = pictured(holder(at=SLOT), hot(), UnknownCode("X", foreign=False))
    assert steps(outcomes) == [Step.AUDIT_SEEN, Step.AUDIT_HOT, Step.AUDIT_UNKNOWN]
    assert [isinstance(each, Done) and each.alarm for each in outcomes] == [False, True, False]
    lines: list[Entry] = [line for each in outcomes if isinstance(each, Done) for line in each.lines]
    assert lines and all(line.by_photo for line in lines if isinstance(line, Seen))


def test_one_label_twice_in_a_picture_is_on_two_pieces_of_steel() -> None:
    card = holder(at=SLOT)
    one, other = InPicture(card.code, card, SLOT), InPicture(card.code, card, replace(SLOT, place=slots(1)[0].place))
    assert steps(photograph(auditing(), [one, other], NOW)) == [Step.AUDIT_SEEN, Step.AUDIT_TWIN]


def test_without_an_audit_a_photograph_writes_nothing() -> None:
    (refused,) = photograph(View("K"), [InPicture("X", holder(at=SLOT), SLOT)], NOW)
    assert isinstance(refused, Refused) and refused.reason is Reason.NO_AUDIT
