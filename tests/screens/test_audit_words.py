"""A difference of an audit says where the thing was found and where it goes back to, as the keys below it do."""

from __future__ import annotations

import pytest

from kiosk.handheld import said
from kiosk.rules import audit as A
from kiosk.screens.audit import differences
from kiosk.screens.questions.audit import DifferenceCard

BOOKED, FOUND = "Cabinet A · 3-07", "Cabinet A · 10-12"


def card(what: A.Difference, booked: str | None, found: str | None) -> DifferenceCard:
    return DifferenceCard(
        f"H1/{what.value}", what, "Roughing mill 12", "H1", "H1", booked, booked, found, found, A.ACTIONS[what]
    )


@pytest.mark.parametrize("what", [A.Difference.MISPLACED, A.Difference.UNEXPECTED, A.Difference.HOT])
def test_put_back_leads_from_where_it_was_found_to_where_it_belongs(what: A.Difference) -> None:
    astray = card(what, BOOKED, FOUND)
    sentence = f"found at {FOUND}, belongs to {BOOKED}"
    assert differences._line(astray).note.endswith(f" · {sentence}")
    assert said._difference(astray)["places"] == sentence


def test_a_label_on_two_pieces_belongs_to_neither_place() -> None:
    twice = card(A.Difference.DUPLICATE_LABEL, BOOKED, FOUND)
    assert differences._line(twice).note == f"label twice · seen at {BOOKED} and at {FOUND}"
    assert said._difference(twice)["places"] == f"seen at {BOOKED} and at {FOUND}"


@pytest.mark.parametrize(
    ("booked", "found", "place"), [(BOOKED, BOOKED, BOOKED), (None, FOUND, FOUND), (None, None, "")]
)
def test_what_stands_where_it_belongs_or_belongs_nowhere_says_its_one_place(
    booked: str | None, found: str | None, place: str
) -> None:
    one = card(A.Difference.UNEXPECTED, booked, found)
    assert differences._places(one) == said._difference(one)["places"] == place


def test_what_was_not_seen_names_the_place_it_should_be_at() -> None:
    missing = card(A.Difference.MISSING, BOOKED, None)
    assert differences._line(missing).note == f"not seen yet · {BOOKED}"
    assert said._difference(missing)["places"] == BOOKED
