"""A telephone is a hand of its own at the same desk: its owner's, for a shift, with every rule of the window's."""

from __future__ import annotations

from dataclasses import fields

import pytest

from kiosk.desk.hand import Hand
from kiosk.desk.phones import PhoneOver
from kiosk.desk.session import ActRefused
from kiosk.handheld import said
from kiosk.ledger.lineform import PHONE, phone_of
from kiosk.rules import lines as L
from kiosk.rules.cards import Command, Until
from kiosk.rules.codes import CodeKind, make
from kiosk.rules.outcomes import Done, Reason, Refused, Step, Wait
from kiosk.words import t
from tests.conftest import Shop

JO = "BSXD5X3637"


@pytest.fixture
def worked(shop: Shop) -> Shop:
    """A shop in its third month, its kiosk signed in."""
    shop.clock.forward(65 * 86400.0)
    shop.desk.scan(JO)
    return shop


def lent(shop: Shop, name: str = "7F3A") -> Hand:
    owner = shop.desk.phones.owner()
    return shop.desk.phones.pair(name, owner.key if owner else None)


def by(shop: Shop, hand: Hand, text: str):
    with shop.desk.phones.asking(hand):
        return shop.desk.scan(text)


def test_no_kind_of_line_has_a_field_of_the_name_under_which_a_telephone_is_kept() -> None:
    assert not [kind for kind in L.KINDS.values() if PHONE in {each.name for each in fields(kind)}]


def test_what_a_telephone_does_says_so_with_its_owner_and_the_kiosk_and_is_checked(worked: Shop) -> None:
    hand = lent(worked)
    by(worked, hand, worked.holder("T002"))
    done = by(worked, hand, worked.place("Bench 1"))
    assert isinstance(done.outcome, Done) and done.outcome.step is Step.MOVED
    line = worked.desk.session.book.line(done.lines[0].id)
    assert (line.phone, line.operator, line.kiosk) == ("7F3A", "jo", worked.desk.session.book.kiosk)
    assert line == done.lines[0]
    assert worked.desk.session.book.check() == []
    assert worked.desk.scan(worked.holder("T002")).lines == ()
    assert worked.desk.scan(worked.place("Sleeve 1")).lines[0].phone == ""


def test_the_telephone_a_line_came_by_is_part_of_what_its_hash_covers(worked: Shop) -> None:
    book = worked.desk.session.book
    written = book.append([L.SignedIn("jo")], "jo", "7F3A")[0]
    book.state.cursor.execute("UPDATE line SET payload = replace(payload, '7F3A', '7F3B') WHERE id = ?", (written.id,))
    assert any(f"line {written.id}" == wrong.where for wrong in book.check())


def test_a_label_that_says_phone_is_no_telephone() -> None:
    assert phone_of('{"text":"\\"phone\\": \\"X\\""}') == "" == phone_of('{"phone":3}')


def test_two_hands_never_answer_each_others_half_of_a_pair(worked: Shop) -> None:
    one, other = lent(worked, "A"), lent(worked, "B")
    assert isinstance(by(worked, one, worked.holder("T002")).outcome, Wait)
    assert isinstance(by(worked, other, worked.holder("T003")).outcome, Wait)
    assert isinstance(worked.desk.scan(worked.place("Bench 1")).outcome, Wait)
    by(worked, one, worked.place("Bench 1"))
    assert worked.desk.session.holder("T002").at.name == "Bench 1"
    assert worked.desk.session.holder("T003").at.name != "Bench 1"


def test_a_step_of_another_hand_is_not_this_ones_to_take_back(worked: Shop) -> None:
    """The page offers it on the card of its own step; what another did meanwhile stays where it is."""
    one, other = lent(worked, "A"), lent(worked, "B")
    by(worked, one, worked.holder("T002"))
    by(worked, one, worked.place("Bench 1"))
    by(worked, other, worked.holder("T003"))
    by(worked, other, worked.place("Bench 2"))
    refused = worked.desk.undo().outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.NOTHING_TO_UNDO
    with worked.desk.phones.asking(one):
        assert worked.desk.undo().outcome.step is Step.UNDONE
    assert worked.desk.session.holder("T002").at.name != "Bench 1"
    assert worked.desk.session.holder("T003").at.name == "Bench 2"


def test_a_hot_holder_is_refused_by_a_telephone_as_by_the_window(worked: Shop) -> None:
    hand = lent(worked)
    by(worked, hand, worked.holder("T001"))
    assert by(worked, hand, worked.place("Shrink station")).outcome.step is Step.HEATING
    by(worked, hand, worked.holder("T001"))
    refused = by(worked, hand, worked.place("Cabinet A · 1-05"))
    assert isinstance(refused.outcome, Refused) and refused.outcome.reason is Reason.HOT
    assert refused.lines[0].phone == "7F3A"


def test_the_hot_board_of_a_telephone_counts_to_the_moment_of_the_probe_too(worked: Shop) -> None:
    """Words that end in "in" are never without a time."""
    worked.desk.scan(worked.holder("T001"))
    worked.desk.scan(worked.place("Shrink station"))
    (card,) = worked.desk.heat.board()
    assert card.hold is not None and card.hold.until is Until.PROBE_IN and card.hold.safe_in_s is None
    (row,) = said.board([card], [])["rows"]
    assert row["says"] == t("heat.probe_in") and row["left_s"] == card.hold.counts_s > 0


def test_nobody_else_signs_in_on_a_telephone(worked: Shop) -> None:
    worked.desk.people.add("mia", "Mia", "setter", code := make(CodeKind.BADGE, 77).text)
    hand = lent(worked)
    refused = by(worked, hand, code)
    assert isinstance(refused.outcome, Refused) and refused.outcome.reason is Reason.NOT_THEIR_PHONE
    assert hand.operator.key == "jo"
    assert isinstance(by(worked, hand, JO).outcome, Done)


def test_a_telephone_is_over_after_a_shift_and_not_before(worked: Shop) -> None:
    hand = lent(worked)
    worked.clock.forward(8 * 3600.0 - 2.0)
    worked.desk.tick()
    by(worked, hand, worked.holder("T002"))
    worked.clock.forward(4.0)
    before = worked.desk.session.book.last_id
    with pytest.raises(PhoneOver):
        by(worked, hand, worked.place("Bench 1"))
    told = list(worked.desk.session.book.lines(after=before))
    assert [line.entry for line in told] == [L.PhoneEnded("7F3A", "jo", "time")]
    with pytest.raises(PhoneOver):
        by(worked, hand, worked.place("Bench 1"))


def test_the_kiosk_signs_its_own_operator_out_and_leaves_the_telephone_its_owner(worked: Shop) -> None:
    hand = lent(worked)
    worked.clock.forward(1000.0)
    worked.desk.tick()
    assert worked.desk.session.operator is None and hand.operator.key == "jo"


def test_a_badge_that_is_retired_ends_its_telephone(worked: Shop) -> None:
    worked.desk.people.add("mia", "Mia", "setter", code := make(CodeKind.BADGE, 77).text)
    worked.desk.scan(code)
    hand = lent(worked)
    worked.desk.people.retire("mia", "has left")
    worked.desk.tick()
    with pytest.raises(PhoneOver):
        by(worked, hand, worked.holder("T002"))


def test_signing_out_on_a_telephone_ends_it(worked: Shop) -> None:
    hand = lent(worked)
    with worked.desk.phones.asking(hand):
        worked.desk.command(Command.SIGN_OUT)
    with pytest.raises(PhoneOver):
        by(worked, hand, worked.holder("T002"))
    assert worked.desk.session.operator.key == "jo"


def test_a_telephone_that_was_ended_writes_nothing_more(worked: Shop) -> None:
    hand = lent(worked)
    worked.desk.phones.end(hand)
    worked.desk.phones.end(hand)
    with pytest.raises(PhoneOver):
        by(worked, hand, worked.holder("T002"))
    ends = [line for line in worked.desk.session.book.lines() if isinstance(line.entry, L.PhoneEnded)]
    assert len(ends) == 1


def test_where_people_have_badges_a_telephone_needs_one(worked: Shop) -> None:
    worked.desk.people.sign_out()
    with pytest.raises(ActRefused) as refused:
        worked.desk.phones.owner()
    assert refused.value.reason is Reason.BADGE_FIRST


def test_the_supervisors_pin_opens_nothing_on_a_telephone(worked: Shop) -> None:
    hand = lent(worked)
    worked.desk.session.supervisor = worked.desk.session.operator
    worked.desk.session.supervised_at_s = worked.desk.now().watched_s
    with worked.desk.phones.asking(hand):
        assert worked.desk.session.unlocked_by() is None
    assert worked.desk.session.unlocked_by() == "jo"


def test_an_audit_goes_on_for_all_hands_and_is_over_for_all(worked: Shop) -> None:
    one, other = lent(worked, "A"), lent(worked, "B")
    cabinet = worked.place("Cabinet A")
    key = worked.desk.audits.open(cabinet).row.key
    for hand in (one, other):
        with worked.desk.phones.asking(hand):
            assert worked.desk.audits.open(cabinet).row.key == key
    with worked.desk.phones.asking(one):
        worked.desk.audits.pause()
    assert worked.desk.audits.running()[0].paused is False  # two others are at it
    worked.desk.phones.end(other)
    assert worked.desk.session.audit == key
    worked.desk.audits.pause()
    assert worked.desk.audits.running()[0].paused is True


def test_a_telephone_that_ends_last_lets_its_audit_wait(worked: Shop) -> None:
    hand = lent(worked)
    with worked.desk.phones.asking(hand):
        worked.desk.audits.open(worked.place("Cabinet A"))
    worked.desk.close()
    worked.reopen()
    assert worked.desk.audits.running()[0].paused is True
    assert [e.entry.by for e in worked.desk.session.book.lines() if isinstance(e.entry, L.PhoneEnded)] == ["closing"]
