"""What a scan and a photograph mean in an audit, and what each way to close a difference writes, from values alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kiosk.rules import audit_scan, audit_settling
from kiosk.rules.assembly import Assembly, Clamping, Condition, Cutter
from kiosk.rules.audit import HOT as EVERYTHING_HOT
from kiosk.rules.audit import Action, Counts, Difference, Findings, Open, Settled, Shows, Sighting
from kiosk.rules.audit_scan import InPicture, begin, doubted, photograph, scan, shows, stands_empty, stray_label
from kiosk.rules.audit_settling import Settling, close, cooled, known_since, put_back, settle
from kiosk.rules.cards import Command, DamagedCode, FreshLabel, Heat, HolderCard, PlaceCard, RetiredCode, UnknownCode
from kiosk.rules.lines import AuditClosed, AuditOpened, ConditionSaid, DifferenceSettled, Moved, Seen, TornDown
from kiosk.rules.outcomes import Done, Reason, Refused, Step, Wait
from kiosk.rules.view import AuditToOpen, AuditView, Doubt, Glimpse, Limits, Stray, View
from tests.rules.test_decision import BENCH, HOT, JO, NOW, OTHER, RACK, SCOPE, SLEEVE, SLOT, auditing, holder, hot

LIMITS = Limits()


def view(at: PlaceCard | None = SLOT, **more: Any) -> tuple[View, AuditView]:
    found = auditing(at, **more)
    assert found.audit is not None
    return found, found.audit


def scanned(subject: HolderCard | PlaceCard, at: PlaceCard | None = SLOT, **more: Any) -> Done:
    done = scan(*view(at, **more), subject, NOW)
    assert isinstance(done, Done), done
    return done


# opening


def test_an_audit_is_opened_or_gone_on_with_and_a_retired_place_has_none() -> None:
    wanted = AuditToOpen("Slot", "slot 4", "audit NEW")
    new, old = begin(wanted, Command.START_AUDIT), begin(replace(wanted, running="audit OLD"))
    assert isinstance(new, Done) and isinstance(old, Done)
    assert (new.lines, new.audit, new.step) == ((AuditOpened("audit NEW", "Slot"),), "audit NEW", Step.AUDIT_OPENED)
    assert (old.lines, old.audit, old.step, old.say.key) == ((), "audit OLD", Step.AUDIT_OPENED, "audit.resumed")
    gone = begin(replace(wanted, retired=True, running="audit OLD"))
    assert isinstance(gone, Refused) and gone.reason is Reason.NOT_AUDITED


# one holder


@pytest.mark.parametrize(
    ("at", "before", "ago_s", "step", "twin"),
    [
        (SLOT, "Slot", 500.0, Step.AUDIT_AGAIN, None),
        (BENCH, "Bench", 500.0, Step.AUDIT_AGAIN, None),
        (None, "Slot", 1.0, Step.AUDIT_AGAIN, None),
        (None, None, 1.0, Step.AUDIT_AGAIN, None),
        (SLOT, "Other", LIMITS.travel_s - 0.25, Step.AUDIT_TWIN, "Other"),
        (SLOT, "Other", LIMITS.travel_s, Step.AUDIT_SEEN, None),
        (SLOT, "Other", None, Step.AUDIT_SEEN, None),
        (SLOT, "Cabinet", 1.0, Step.AUDIT_SEEN, None),
    ],
)
def test_seen_again_is_seen_once_and_too_soon_elsewhere_is_another_piece_of_steel(
    at: PlaceCard | None, before: str | None, ago_s: float | None, step: Step, twin: str | None
) -> None:
    inside = {**SCOPE.inside, "Cabinet": frozenset(("Cabinet", "Slot", "Other")), "Slot": frozenset(("Slot",))}
    card = holder(at=SLOT)
    glimpse = Glimpse(before, None if ago_s is None else NOW.watched_s - ago_s)
    seen = auditing(at, seen={card.code: glimpse})
    assert seen.audit is not None
    done = scan(seen, replace(seen.audit, scope=replace(SCOPE, inside=inside)), card, NOW)
    assert isinstance(done, Done) and done.step is step
    line = Seen("audit A", card.code, "H1", at.place.code if at else None, twin=twin)
    assert done.lines == (() if step is Step.AUDIT_AGAIN else (line,))
    within = scan(seen, replace(seen.audit, at=replace(SLOT, place=replace(SLOT.place, code="Cabinet")),
                                scope=replace(SCOPE, inside=inside)), card, NOW)  # fmt: skip
    assert isinstance(within, Done)
    assert (within.step is Step.AUDIT_AGAIN) is (before in ("Slot", "Other", "Cabinet"))


def test_what_is_seen_is_said_with_where_the_book_has_it() -> None:
    for card, step, booked in (
        (holder(at=SLOT), Step.AUDIT_SEEN, "Slot"), (holder(at=OTHER), Step.AUDIT_MISPLACED, "Other"),
        (holder(at=None), Step.AUDIT_MISPLACED, None),
    ):  # fmt: skip
        done = scanned(card)
        assert (done.step, done.say["place"], done.holder, done.goal) == (step, booked, card, SLOT)
        assert done.lines == (Seen("audit A", card.code, "H1", "Slot"),) and not done.alarm
    assert scanned(holder(at=SLOT), None).lines == (Seen("audit A", "code H1", "H1", None),)


def test_hot_where_it_must_not_be_is_an_alarm_whatever_else_is_wrong_with_it() -> None:
    for card in (hot(), replace(hot(), hold=None, heat=Heat.UNKNOWN)):
        again = {card.code: Glimpse("Slot", NOW.watched_s - 1.0)}
        for more in ({}, {"seen": again}):
            done = scanned(card, SLOT, **more)
            assert done.alarm and done.step is Step.AUDIT_HOT and done.say["place"] == "Slot"
    assert not scanned(hot(), RACK).alarm, "there it belongs"
    assert scanned(hot(), None).alarm, "somewhere in what is audited, where hot ones must not be"
    seen = auditing(None)
    assert seen.audit is not None
    everywhere = replace(seen.audit, scope=replace(SCOPE, place=EVERYTHING_HOT))
    done = scan(seen, everywhere, hot(), NOW)
    assert isinstance(done, Done) and not done.alarm, "the audit of everything hot looks for just that"


def test_a_place_goes_on_with_the_walk() -> None:
    found = scan(*view(), OTHER, NOW)
    assert isinstance(found, Wait) and found.step is Step.AUDIT_AT and found.goal == OTHER
    assert found.pending is not None and found.pending.card == OTHER


def test_a_label_that_answers_to_nothing_is_taken_down() -> None:
    _, audit = view()
    for subject, step in ((RetiredCode("X", None), Step.AUDIT_RETIRED), (UnknownCode("X", False), Step.AUDIT_UNKNOWN)):
        done = stray_label(audit, subject)
        assert (done.step, done.lines) == (step, (Seen("audit A", "X", None, "Slot"),))
    assert stray_label(replace(audit, at=None), UnknownCode("X", False)).lines == (Seen("audit A", "X", None, None),)


def test_what_is_wrong_with_a_holder_is_the_first_that_is_no_note_and_is_its_own() -> None:
    mine, note = Open("H1", Difference.MISPLACED, "H1"), Open("H1", Difference.PAST_LIFE, "H1")
    other = Open("H2", Difference.HOT, "H2")
    assert doubted(Findings(Counts(), (other, note, mine)), "H1") == mine
    assert doubted(Findings(Counts(), (other, note)), "H1") is None


def test_an_eye_says_whether_it_is_empty_where_it_was_seen_or_where_the_walk_is() -> None:
    _, audit = view()
    before = Sighting("mark 7", "H1", "Other", 9, twin="Bench")
    for empty in (True, False):
        assert stands_empty(audit, holder(), None, empty) == Seen("audit A", "code H1", "H1", "Slot", empty=empty)
        said = stands_empty(audit, holder(), before, empty)
        assert said == Seen("audit A", "mark 7", "H1", "Other", twin="Bench", empty=empty)


# the place scanned after a stray


def doubt(what: Difference, found: str | None, ago_s: float = 1.0, inside: tuple[str, ...] = ()) -> dict[str, Doubt]:
    card = holder(at=OTHER) if what is not Difference.HOT else hot()
    difference = Open("H1", what, "H1", "Other", found)
    return {"doubt": Doubt(card, difference, NOW.watched_s - ago_s, frozenset(inside))}


@pytest.mark.parametrize(
    ("what", "found", "inside", "at", "place", "action"),
    [
        (Difference.MISPLACED, "Slot", (), SLOT, SLOT, Action.BOOK_MOVED),
        (Difference.MISPLACED, "Cabinet", ("Cabinet", "Slot"), OTHER, SLOT, Action.BOOK_MOVED),
        (Difference.MISPLACED, "Cabinet", ("Cabinet", "Slot"), None, SLOT, Action.BOOK_MOVED),
        (Difference.MISPLACED, "Slot", ("Slot", "Bench"), SLOT, BENCH, None),
        (Difference.MISPLACED, "Slot", (), OTHER, BENCH, None),
        (Difference.MISPLACED, None, (), OTHER, SLOT, Action.BOOK_MOVED),
        (Difference.EMPTY_HOLDER, "Slot", (), SLOT, SLOT, None),
        (Difference.HOT, "Slot", (), SLOT, SLEEVE, Action.TO_COOLING),
        (Difference.HOT, "Slot", (), SLOT, SLOT, None),
        (Difference.NOT_PROVEN_COOL, "Slot", (), SLOT, RACK, Action.TO_COOLING),
    ],
)
def test_the_place_scanned_after_a_stray_says_what_to_do_with_it(
    what: Difference, found: str | None, inside: tuple[str, ...], at: PlaceCard | None, place: PlaceCard,
    action: Action | None,
) -> None:  # fmt: skip
    outcome = scan(*view(at, **doubt(what, found, inside=inside)), place, NOW)
    if action is None:
        assert isinstance(outcome, Wait) and outcome.step is Step.AUDIT_AT
    else:
        assert isinstance(outcome, Done) and outcome.step is Step.AUDIT_SETTLED
        closed = outcome.lines[-1]
        assert isinstance(closed, DifferenceSettled)
        assert (closed.action, closed.found, closed.text) == (action.value, place.place.code, "H1")


def test_a_stray_is_asked_about_for_as_long_as_a_pair() -> None:
    for ago_s, asked in ((LIMITS.pair_s, True), (LIMITS.pair_s + 0.25, False)):
        outcome = scan(*view(SLOT, **doubt(Difference.MISPLACED, "Slot", ago_s)), SLOT, NOW)
        assert isinstance(outcome, Done) is asked, ago_s


# photographs


def test_in_a_picture_each_label_counts_where_it_was_seen_and_twice_is_two_pieces_of_steel() -> None:
    card, other = holder(at=SLOT), holder("H2", at=OTHER)
    labels = [InPicture(card.code, card, SLOT), InPicture(other.code, other, OTHER), InPicture(card.code, card, OTHER)]
    found = photograph(auditing(), labels, NOW)
    assert [each.step for each in found] == [Step.AUDIT_SEEN, Step.AUDIT_SEEN, Step.AUDIT_TWIN]
    twin = found[2]
    assert isinstance(twin, Done)
    assert twin.lines == (Seen("audit A", card.code, "H1", "Other", by_photo=True, twin="Slot"),)
    (retired,) = photograph(auditing(), [InPicture("X", RetiredCode("X", None), SLOT)], NOW)
    assert isinstance(retired, Done) and retired.step is Step.AUDIT_RETIRED
    here = photograph(auditing(), labels[:1] * 2, NOW)
    assert [each.step for each in here] == [Step.AUDIT_SEEN, Step.AUDIT_TWIN], "in one picture nothing is seen again"
    again = photograph(auditing(), [labels[0], InPicture("X", UnknownCode("X", False), SLOT)] * 2, NOW)
    assert [each.step for each in again][:2] == [Step.AUDIT_SEEN, Step.AUDIT_UNKNOWN]


def test_what_takes_a_hand_does_nothing_in_a_picture() -> None:
    fresh = FreshLabel("H9", holder("H9"))
    labels = [InPicture(f"label {at}", each, SLOT) for at, each in enumerate((fresh, JO, BENCH))]
    found = photograph(auditing(), labels, NOW)
    names = []
    for each in found:
        assert isinstance(each, Done) and each.lines == () and each.step is Step.AUDIT_BY_HAND
        names.append(each.say["name"])
    assert names == ["H9", "label 1", "label 2"]
    for near, said in (((), None), (("A1", "A2"), "A1, A2")):
        (damaged,) = photograph(auditing(), [InPicture("X", DamagedCode("X", near), SLOT)], NOW)
        assert isinstance(damaged, Refused) and damaged.reason is Reason.DAMAGED_CODE and damaged.why["near"] == said


def test_a_label_in_a_picture_is_drawn_as_what_came_of_it() -> None:
    for outcome, drawn in (
        (scanned(holder(at=SLOT)), Shows.SEEN), (scanned(holder(at=OTHER)), Shows.MISPLACED),
        (scanned(hot()), Shows.HOT), (replace(scanned(holder(at=SLOT)), step=Step.AUDIT_TWIN), Shows.MISPLACED),
    ):  # fmt: skip
        assert shows(holder(), outcome) is drawn
        assert shows(UnknownCode("X", False), outcome) is Shows.UNKNOWN
    (refused,) = photograph(View("K"), [InPicture("X", holder(), SLOT)], NOW)
    assert shows(holder(), refused) is Shows.UNKNOWN


# closing differences


CUTTER = Cutter("C1", "Mill", 12.0, 12.0, 83.0)


def built(clamping: Clamping = Clamping.SHRINK_FIT, at: PlaceCard | None = SLOT) -> HolderCard:
    card = holder(at=at)
    steel = replace(card.holder, clamping=clamping)
    return replace(card, holder=steel, assembly=Assembly("A1", "Mill", steel, CUTTER, 30.0))


def closed(what: Difference, action: Action, **more: Any) -> Any:
    difference = Open("H1", what, "H1", "Other", "Slot")
    return settle(auditing(), Settling(difference, action, **more), NOW)


def told(action: Action, what: Difference, found: str | None = "Slot", reason: str = "") -> DifferenceSettled:
    return DifferenceSettled("audit A", "H1", what.value, action.value, reason, "Other", found, "H1")


@pytest.mark.parametrize(
    ("what", "action", "more", "lines"),
    [
        (Difference.MISSING, Action.NOWHERE, {"card": holder()}, [Moved("H1", "Other", None, reason="audit")]),
        (Difference.MISSING, Action.CARRIED_OVER, {"reason": " lent "}, []),
        (Difference.MISPLACED, Action.PUT_BACK, {"card": holder(at=OTHER)},
         [Seen("audit A", "code H1", "H1", "Other")]),
        (Difference.MISPLACED, Action.PUT_BACK, {"card": holder(at=BENCH)}, []),
        (Difference.EMPTY_HOLDER, Action.TORN_DOWN, {"card": built(Clamping.COLLET)}, [TornDown("H1", "A1")]),
        (Difference.EMPTY_HOLDER, Action.TORN_DOWN, {"card": built()},
         [TornDown("H1", "A1"), Moved("H1", "Slot", None, reason="audit")]),
        (Difference.EMPTY_HOLDER, Action.TORN_DOWN, {"card": built(at=None)},
         [TornDown("H1", "A1"), Moved("H1", None, None, reason="audit")]),
        (Difference.EMPTY_HOLDER, Action.TORN_DOWN, {"card": holder()}, []),
        (Difference.PAST_LIFE, Action.SAID_WORN, {"card": holder()}, []),
        (Difference.PAST_LIFE, Action.SAID_WORN, {}, []),
        (Difference.PAST_LIFE, Action.SAID_WORN, {"card": built()}, [ConditionSaid("H1", "A1", Condition.WORN)]),
        (Difference.UNKNOWN_CODE, Action.REGISTERED, {"answers": holder("H5")},
         [Seen("audit A", "H1", "H5", "Slot")]),
        (Difference.UNKNOWN_CODE, Action.REGISTERED, {"answers": BENCH}, []),
    ],
)  # fmt: skip
def test_each_way_to_close_a_difference_writes_its_lines_and_that_it_is_closed(
    what: Difference, action: Action, more: dict[str, Any], lines: list[Any]
) -> None:
    done = closed(what, action, **more)
    assert isinstance(done, Done) and done.step is Step.AUDIT_SETTLED
    assert done.lines == (*lines, told(action, what, reason=str(more.get("reason", "")).strip()))


def test_what_cannot_be_closed_so_is_refused() -> None:
    for refused, reason in (
        (closed(Difference.HOT, Action.CARRIED_OVER, reason="later"), Reason.NOT_SETTLED_SO),
        (closed(Difference.MISSING, Action.CARRIED_OVER, reason="  "), Reason.NEEDS_REASON),
        (closed(Difference.MISPLACED, Action.PUT_BACK, card=holder(at=None)), Reason.NOT_SETTLED_SO),
        (closed(Difference.MISPLACED, Action.BOOK_MOVED, card=holder(at=OTHER)), Reason.NOWHERE_KNOWN),
        (closed(Difference.UNKNOWN_CODE, Action.REGISTERED), Reason.UNKNOWN_CODE),
        (settle(View("K"), Settling(Open("H1", Difference.HOT, "H1"), Action.TO_COOLING), NOW), Reason.NO_AUDIT),
    ):
        assert isinstance(refused, Refused) and refused.reason is reason


def test_what_is_hot_goes_to_the_cooling_place_that_is_free() -> None:
    done = closed(Difference.HOT, Action.TO_COOLING, card=hot())
    assert isinstance(done, Done) and done.lines[0] == Moved("H1", "Rack", "Sleeve")
    assert done.lines[-1] == told(Action.TO_COOLING, Difference.HOT, "Sleeve")
    nowhere = settle(
        replace(auditing(), cooling_place=None),
        Settling(Open("H1", Difference.HOT, "H1"), Action.TO_COOLING, card=hot()),
        NOW,
    )
    assert isinstance(nowhere, Refused) and nowhere.reason is Reason.PLACE_FULL and nowhere.why["capacity"] == 0


def test_the_book_follows_no_further_than_one_that_stands_in_the_way_and_was_seen_elsewhere() -> None:
    card = holder("H1", at=OTHER)
    for occupants, capacity, seen, follows in (
        (("H2",), 1, BENCH, True), (("H2",), 1, SLOT, False), (("H2", "H3"), 2, BENCH, False),
        (("H9",), 1, BENCH, False),
    ):  # fmt: skip
        goal = replace(SLOT, place=replace(SLOT.place, capacity=capacity), occupants=occupants)
        stray = Stray(holder("H2", at=goal), goal if seen is SLOT else seen)
        astray = Open("H1", Difference.MISPLACED, "H1", "Other", "Slot")
        asked = Settling(astray, Action.BOOK_MOVED, card=card, found=goal)
        done = settle(auditing(strays={"H2": stray}), asked, NOW)
        if follows:
            assert isinstance(done, Done)
            assert [line.holder for line in done.lines if isinstance(line, Moved)] == ["H1", "H2"]
        else:
            assert isinstance(done, Refused) and done.reason is Reason.PLACE_FULL, occupants


def test_a_stray_seen_at_its_own_place_was_put_back() -> None:
    astray = Open("H1", Difference.MISPLACED, "H1", "Slot", "Other")
    findings = Findings(Counts(), (astray, replace(astray, text="H2"), Open("H1", Difference.PAST_LIFE, "H1")))
    _, audit = view(findings=findings)
    card, seen = holder(at=SLOT), Seen("audit A", "code H1", "H1", "Slot")
    (line,) = put_back(audit, card, seen)
    what, how = Difference.MISPLACED.value, Action.PUT_BACK.value
    assert line == DifferenceSettled("audit A", "H1", what, how, "", "Slot", "Other", "H1")
    for other_card, other_seen in (
        (holder(at=None), seen), (card, replace(seen, place=None)), (card, replace(seen, twin="Other")),
        (card, replace(seen, place="Other")), (holder("H9", at=SLOT), seen),
    ):  # fmt: skip
        assert put_back(audit, other_card, other_seen) == ()


def settled(text: str, what: Difference) -> Settled:
    return Settled(text, what, Action.CARRIED_OVER, "", None, None, 9)


def test_what_was_seen_hot_and_is_cool_by_now_was_still_found_hot_once() -> None:
    was = Open("H1", Difference.HOT, "H1", "Other", "Slot")
    line = cooled("audit A", was, holder(heat=Heat.COOL), [settled("H2", Difference.HOT)])
    assert line == told(Action.COOLED, Difference.HOT)
    assert cooled("audit A", was, holder(heat=Heat.UNKNOWN), []) is None
    assert cooled("audit A", was, holder(heat=Heat.COOL, hold=HOT), []) is None
    before = [settled("H1", Difference.NOT_PROVEN_COOL)]
    assert cooled("audit A", was, holder(heat=Heat.COOL), before) is None
    assert cooled("audit A", was, holder(heat=Heat.COOL), [settled("H2", Difference.HOT), *before]) is None
    other = [settled("H1", Difference.MISPLACED)]
    assert cooled("audit A", was, holder(heat=Heat.COOL), other) is not None


def test_a_label_bound_since_it_was_seen_is_known_by_now() -> None:
    seen = Sighting("X", None, "Slot", 9, bound=True)
    assert known_since([seen], "X") == Open("X", Difference.UNKNOWN_CODE, "X", None, "Slot")
    for other in (replace(seen, bound=False), replace(seen, holder="H1"), replace(seen, text="Y")):
        assert known_since([other], "X") is None
        assert known_since([other, seen], "X") is not None


def test_an_audit_closes_once_nothing_waits_and_notes_are_noted() -> None:
    note = Open("H1", Difference.PAST_LIFE, "H1", "Other", "Slot")
    counts = Counts(9, 8, 1, 2, 3, 4, 5)
    worked = (("K", 0.0), ("K", 60.0))
    done = close(auditing(findings=Findings(counts, (note,)), worked_at_s=worked))
    assert isinstance(done, Done) and done.step is Step.AUDIT_CLOSED
    assert done.lines == (told(Action.NOTED, Difference.PAST_LIFE), AuditClosed("audit A", 9, 8, 1, 2, 3, 4, 5, 60.0))
    waits = Open("H2", Difference.MISSING, "H2")
    more = replace(waits, text="H3", name="H3")
    for open_now, count in (((note, waits), 1), ((waits, more), 2)):
        still = close(auditing(findings=Findings(counts, open_now)))
        assert isinstance(still, Refused) and still.reason is Reason.AUDIT_OPEN
        assert (still.why["count"], still.why["name"]) == (count, "H2")
    strict = Limits(badge_required=True)
    nobody = close(auditing(limits=strict))
    assert isinstance(nobody, Refused) and nobody.reason is Reason.BADGE_FIRST
    without = close(View("K"))
    assert isinstance(without, Refused) and without.reason is Reason.NO_AUDIT
    assert {Difference.MISPLACED, Difference.UNEXPECTED} == audit_settling.ASTRAY and audit_scan.HOT == EVERYTHING_HOT
