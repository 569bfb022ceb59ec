"""The decision from values alone: heat first, badges, pairs, audits, and what a place scanned next means."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from re import search

import pytest

from kiosk.rules.acts import left_alone
from kiosk.rules.assembly import Assembly, Clamping, Condition, Coupling, Cutter, Family, Holder
from kiosk.rules.audit import Action, Counts, Difference, Findings, Group, Open, Scope, Spot
from kiosk.rules.cards import (
    Command,
    CommandCard,
    DamagedCode,
    FreshLabel,
    Heat,
    HolderCard,
    HoldView,
    LastStep,
    Moment,
    OperatorCard,
    Pending,
    PlaceCard,
    RetiredCode,
    UnknownCode,
)
from kiosk.rules.decision import decide
from kiosk.rules.lines import CodeBound, DifferenceSettled, Heated, Moved, Seen, SignedOut
from kiosk.rules.outcomes import Done, Outcome, Reason, Refused, Step, Wait
from kiosk.rules.places import Kind, Need, Place, needs_of
from kiosk.rules.sending import cooling_place
from kiosk.rules.view import AuditToOpen, AuditView, Doubt, Glimpse, Limits, View

NOW = Moment(1.8e9, 90 * 86400.0)  # a kiosk that has watched for months
HOT = HoldView(180.0, 150.0, 210.0, "nose", 900.0, None)
JO = OperatorCard("jo", "Jo", "setter")


def place(name: str, kind: Kind, **more: object) -> PlaceCard:
    return PlaceCard(Place(name, name, kind, **more), (name,))  # type: ignore[arg-type]


RACK, SLEEVE = place("Rack", Kind.COOLING, way="free_air"), place("Sleeve", Kind.COOLING, way="sleeve", capacity=1)
BENCH, SLOT, OTHER = place("Bench", Kind.BENCH), place("Slot", Kind.SLOT), place("Other", Kind.SLOT)
MACHINE, STATION = place("Mill", Kind.MACHINE), place("Station", Kind.SHRINK)


def holder(key: str = "H1", at: PlaceCard | None = BENCH, **more: object) -> HolderCard:
    steel = Holder(key, key, Coupling(Family.HOLLOW_TAPER, 63), Clamping.SHRINK_FIT, 12.0)
    return HolderCard(steel, f"code {key}", at=at, **more)  # type: ignore[arg-type]


def hot(**more: object) -> HolderCard:
    return holder(at=RACK, heat=Heat.HELD, hold=HOT, **more)


def paired(card: HolderCard, **more: object) -> View:
    return View("K", Pending(card, NOW.watched_s - 5.0), cooling_place=SLEEVE, **more)  # type: ignore[arg-type]


def reason(outcome: Outcome) -> Reason:
    assert isinstance(outcome, Refused), outcome
    return outcome.reason


@pytest.mark.parametrize("badge", [Limits(), Limits(badge_required=True)])
@pytest.mark.parametrize("goal", [SLOT, BENCH, MACHINE, replace(SLOT, retired=True)])
def test_heat_comes_before_the_badge_and_before_what_is_wrong_with_the_place(goal: PlaceCard, badge: Limits) -> None:
    refused = decide(paired(hot(), limits=badge), goal, NOW)
    assert reason(refused) is Reason.HOT


def test_heat_comes_before_a_retired_holder_and_before_a_label_at_two_kiosks() -> None:
    assert reason(decide(paired(hot(retired=True)), SLOT, NOW)) is Reason.HOT
    elsewhere = hot(last_kiosk="other", since_watched_s=NOW.watched_s - 1.0)
    assert reason(decide(paired(elsewhere), SLOT, NOW)) is Reason.HOT
    twin = holder(last_kiosk="other", since_watched_s=NOW.watched_s - 1.0)
    assert reason(decide(paired(twin), SLOT, NOW)) is Reason.TWIN_CODE


def test_a_heating_is_written_however_lately_the_label_was_seen_at_another_kiosk() -> None:
    for card in (holder(), hot()):
        twin = replace(card, last_kiosk="other", since_watched_s=NOW.watched_s - 1.0)
        outcome = decide(paired(twin), STATION, NOW)
        assert isinstance(outcome, Done) and isinstance(outcome.lines[-1], Heated)


def test_without_a_badge_both_scans_of_a_hot_pair_are_followed_in_either_order() -> None:
    asked = View("K", limits=Limits(badge_required=True), cooling_place=SLEEVE)
    for first, second in ((hot(), SLOT), (SLOT, hot())):
        refused = decide(asked, first, NOW)
        assert isinstance(refused, Refused) and refused.reason is Reason.BADGE_FIRST and refused.pending is not None
        assert reason(decide(replace(asked, pending=refused.pending), second, NOW)) is Reason.HOT


def test_without_a_badge_nothing_cold_moves_and_with_one_it_does() -> None:
    nobody = paired(holder(), limits=Limits(badge_required=True))
    assert reason(decide(nobody, SLOT, NOW)) is Reason.BADGE_FIRST
    done = decide(replace(nobody, operator=JO), SLOT, NOW)
    assert isinstance(done, Done) and done.step is Step.MOVED and isinstance(done.lines[0], Moved)


def test_without_a_badge_only_heat_says_more_than_that_it_is_missing() -> None:
    strict = Limits(badge_required=True)
    full = replace(SLOT, place=replace(SLOT.place, capacity=1), occupants=("H9",))
    for goal in (full, replace(SLOT, retired=True), MACHINE):
        refused = decide(paired(holder(), limits=strict), goal, NOW)
        assert reason(refused) is Reason.BADGE_FIRST and isinstance(refused, Refused) and refused.pending is None
    waiting = decide(View("K", limits=strict), holder(), NOW)
    assert isinstance(waiting, Refused) and waiting.pending == Pending(holder(), NOW.watched_s)
    in_audit = decide(auditing(limits=strict), SLOT, NOW)
    only_heat = Pending(SLOT, NOW.watched_s, heat_only=True)
    assert isinstance(in_audit, Refused) and in_audit.pending == only_heat, "an audit waits for no pair"
    assert reason(decide(auditing(limits=strict), holder(at=OTHER), NOW)) is Reason.BADGE_FIRST
    for text in (UnknownCode("X", foreign=False), RetiredCode("X", None), DamagedCode("X")):
        assert reason(decide(auditing(limits=strict), text, NOW)) is Reason.BADGE_FIRST


def test_without_a_badge_what_writes_nothing_and_who_comes_are_let_through() -> None:
    strict = View("K", limits=Limits(badge_required=True))
    assert step(decide(strict, CommandCard(Command.CANCEL), NOW)) is Step.CANCELLED
    assert step(decide(strict, CommandCard(Command.SHOW_HOT), NOW)) is Step.COMMAND
    assert step(decide(strict, JO, NOW)) is Step.SIGNED_IN
    out = decide(replace(strict, operator=JO), CommandCard(Command.SIGN_OUT), NOW)
    assert isinstance(out, Done) and out.lines == (SignedOut("jo"),)
    nobody = decide(strict, CommandCard(Command.SIGN_OUT), NOW)
    assert isinstance(nobody, Done) and nobody.lines == ()
    assert reason(decide(strict, replace(JO, retired=True), NOW)) is Reason.RETIRED_BADGE
    assert reason(decide(strict, FreshLabel("HNEW", holder()), NOW)) is Reason.BADGE_FIRST


def test_the_alarm_of_an_audit_names_where_it_was_seen_with_a_badge_and_without() -> None:
    for at, named in ((SLOT, "Slot"), (None, "Cabinet")):
        refused = decide(auditing(at, Limits(badge_required=True)), hot(), NOW)
        assert isinstance(refused, Refused) and refused.reason is Reason.HOT and refused.why["place"] == named
        assert refused.remedy["place"] == "Rack"


def test_a_label_that_answers_to_nothing_says_so_and_the_pair_waits_on() -> None:
    waiting = paired(holder())
    for near, told in ((("HAAA", "HBBB"), "HAAA, HBBB"), ((), None)):
        for subject, expected in (
            (DamagedCode("H1", near), Reason.DAMAGED_CODE),
            (UnknownCode("H1", False, near), Reason.UNKNOWN_CODE),
            (UnknownCode("H1", True, near), Reason.FOREIGN_CODE),
        ):
            refused = decide(waiting, subject, NOW)
            assert isinstance(refused, Refused) and refused.reason is expected
            assert (refused.pending, refused.why["code"], refused.why["near"]) == (waiting.pending, "H1", told)
    for card, name, at in ((holder(), "H1", "Bench"), (holder(at=None), "H1", None), (None, None, None)):
        refused = decide(waiting, RetiredCode("HOLD", card), NOW)
        assert isinstance(refused, Refused) and refused.reason is Reason.RETIRED_CODE
        assert (refused.why["name"], refused.why["place"], refused.pending) == (name, at, waiting.pending)
    assert reason(decide(auditing(), DamagedCode("H1"), NOW)) is Reason.DAMAGED_CODE


def test_a_fresh_label_retires_the_one_before_and_the_number_of_the_steel_is_no_label() -> None:
    for code, old in (("HOLD", "HOLD"), ("H1", None)):
        done = decide(View("K"), FreshLabel("HNEW", replace(holder(), code=code)), NOW)
        assert isinstance(done, Done) and done.lines == (CodeBound("HNEW", "H1", "holder", replaces=old),)


@pytest.mark.parametrize(("ago_s", "opens"), [(0.0, True), (20.0, True), (20.1, False), (None, False)])
def test_the_place_scanned_after_the_card_is_audited(ago_s: float | None, opens: bool) -> None:
    asked_s = None if ago_s is None else NOW.watched_s - ago_s
    view = View(to_open=AuditToOpen("Slot", "Slot", "audit NEW"), audit_asked_s=asked_s)
    assert isinstance(decide(view, SLOT, NOW), Done) is opens
    assert isinstance(decide(replace(view, to_open=None), SLOT, NOW), Wait)


def test_what_nobody_knows_the_heat_of_is_not_shelved_badge_or_not() -> None:
    lost = holder(at=None, heat=Heat.UNKNOWN)
    for limits in (Limits(), Limits(badge_required=True)):
        assert reason(decide(paired(lost, limits=limits), SLOT, NOW)) is Reason.NOWHERE_KNOWN
    assert reason(decide(paired(holder(heat=Heat.HELD)), SLOT, NOW)) is Reason.NOWHERE_KNOWN, "held, by no hold known"


def test_a_place_may_hold_heat_exactly_where_no_step_to_it_needs_it_cool() -> None:
    for kind in Kind:
        steps = [needs for origin in (None, *Kind) if (needs := needs_of(origin, kind)) is not None]
        assert kind.may_be_hot == (bool(steps) and all(Need.COOL not in needs for needs in steps)), kind


def test_heat_is_sent_to_a_sleeve_with_room_then_to_what_has_room() -> None:
    full = replace(SLEEVE, occupants=("H9",))
    assert cooling_place([RACK, SLEEVE, SLOT]) == SLEEVE
    assert cooling_place([RACK, full]) == RACK
    assert cooling_place([full]) == full
    assert cooling_place([replace(RACK, retired=True), SLOT]) is None


SCOPE = Scope(
    "Cabinet",
    "Cabinet",
    (Group("Cabinet", "Cabinet", (Spot("Slot", "Slot", Kind.SLOT), Spot("Other", "Other", Kind.SLOT))),),
    {"Cabinet": frozenset(("Cabinet", "Slot", "Other")), "Slot": frozenset(("Slot",)), "Other": frozenset(("Other",))},
    {"Cabinet": Kind.CABINET, "Slot": Kind.SLOT, "Other": Kind.SLOT},
)


def auditing(at: PlaceCard | None = SLOT, limits: Limits = Limits(), **more: object) -> View:  # noqa: B008
    return View("K", audit=AuditView("audit A", SCOPE, at, **more), cooling_place=SLEEVE, limits=limits)  # type: ignore[arg-type]


def step(outcome: Outcome) -> Step:
    assert isinstance(outcome, Done | Wait), outcome
    return outcome.step


def test_in_an_audit_a_holder_is_right_astray_or_seen_before_and_nothing_moves() -> None:
    assert step(decide(auditing(), holder(at=SLOT), NOW)) is Step.AUDIT_SEEN
    assert step(decide(auditing(), holder(at=OTHER), NOW)) is Step.AUDIT_MISPLACED
    assert step(decide(auditing(), holder(at=BENCH), NOW)) is Step.AUDIT_MISPLACED
    before = {"code H1": Glimpse("Slot", NOW.watched_s - 60.0)}
    assert step(decide(auditing(seen=before), holder(at=SLOT), NOW)) is Step.AUDIT_AGAIN
    assert step(decide(auditing(), UnknownCode("X", foreign=False), NOW)) is Step.AUDIT_UNKNOWN


def test_one_label_at_two_places_too_soon_is_on_two_pieces_of_steel() -> None:
    soon = {"code H1": Glimpse("Other", NOW.watched_s - 2.0)}
    late = {"code H1": Glimpse("Other", NOW.watched_s - 60.0)}
    assert step(decide(auditing(seen=soon), holder(at=SLOT), NOW)) is Step.AUDIT_TWIN
    assert step(decide(auditing(seen=late), holder(at=SLOT), NOW)) is Step.AUDIT_SEEN
    by_another_clock = {"code H1": Glimpse("Other", None)}
    assert step(decide(auditing(seen=by_another_clock), holder(at=SLOT), NOW)) is Step.AUDIT_SEEN


def test_hot_in_a_cabinet_is_an_alarm_with_a_badge_and_without() -> None:
    seen = decide(auditing(), hot(), NOW)
    assert isinstance(seen, Done) and seen.alarm and isinstance(seen.lines[0], Seen)
    assert reason(decide(auditing(limits=Limits(badge_required=True)), hot(), NOW)) is Reason.HOT
    unknown = holder(at=SLOT, heat=Heat.UNKNOWN)
    assert step(decide(auditing(), unknown, NOW)) is Step.AUDIT_HOT
    assert not getattr(decide(auditing(at=RACK), hot(), NOW), "alarm", True)


def stray(what: Difference, found: str = "Slot", since_s: float = 5.0) -> dict[str, object]:
    card = hot() if what is Difference.HOT else holder(at=OTHER)
    difference = Open("H1", what, "H1", card.at.place.code if card.at else None, found)
    doubt = Doubt(card, difference, NOW.watched_s - since_s, frozenset((found,)))
    return {"findings": Findings(open=(difference,)), "doubt": doubt}


def test_the_place_of_a_stray_holder_again_moves_the_book_and_another_goes_on_with_the_walk() -> None:
    done = decide(auditing(**stray(Difference.MISPLACED)), SLOT, NOW)
    assert step(done) is Step.AUDIT_SETTLED and isinstance(done, Done)
    assert [type(line) for line in done.lines] == [Moved, DifferenceSettled]
    assert step(decide(auditing(**stray(Difference.MISPLACED)), OTHER, NOW)) is Step.AUDIT_AT
    assert step(decide(auditing(**stray(Difference.MISPLACED, since_s=21.0)), SLOT, NOW)) is Step.AUDIT_AT
    assert step(decide(auditing(**stray(Difference.EMPTY_HOLDER)), SLOT, NOW)) is Step.AUDIT_AT


def test_a_hot_stray_goes_to_a_cooling_place_and_the_book_never_follows_it_into_the_cabinet() -> None:
    assert step(decide(auditing(**stray(Difference.HOT)), SLOT, NOW)) is Step.AUDIT_AT
    done = decide(auditing(**stray(Difference.HOT)), SLEEVE, NOW)
    assert isinstance(done, Done)
    assert any(isinstance(line, Moved) and line.goal == "Sleeve" for line in done.lines)
    assert [line.action for line in done.lines if isinstance(line, DifferenceSettled)] == [Action.TO_COOLING.value]


def test_a_stray_seen_at_home_again_was_put_back() -> None:
    more = {**stray(Difference.MISPLACED), "seen": {"code H1": Glimpse("Slot", NOW.watched_s - 60.0)}}
    done = decide(auditing(OTHER, **more), holder(at=OTHER), NOW)
    assert isinstance(done, Done)
    assert [line.action for line in done.lines if isinstance(line, DifferenceSettled)] == [Action.PUT_BACK.value]


def test_command_cards_open_and_close_audits() -> None:
    start, close = CommandCard(Command.START_AUDIT), CommandCard(Command.CLOSE_AUDIT)
    wanted = AuditToOpen("Cabinet", "Cabinet", "audit NEW")
    assert step(decide(View(), start, NOW)) is Step.COMMAND
    opened = decide(View(to_open=wanted, audit_asked_s=NOW.watched_s - 5.0), SLOT, NOW)
    assert isinstance(opened, Done) and opened.audit == "audit NEW"
    assert step(decide(auditing(), start, NOW)) is Step.AUDIT_OPENED, "it runs already"
    late = View(to_open=wanted, audit_asked_s=NOW.watched_s - 21.0)
    assert isinstance(decide(late, SLOT, NOW), Wait)
    gone_on = decide(View(to_open=replace(wanted, running="audit OLD")), start, NOW)
    assert isinstance(gone_on, Done) and gone_on.audit == "audit OLD" and gone_on.lines == ()
    assert reason(decide(View(to_open=replace(wanted, retired=True)), start, NOW)) is Reason.NOT_AUDITED
    assert reason(decide(View(), close, NOW)) is Reason.NO_AUDIT
    assert reason(decide(auditing(**stray(Difference.MISPLACED)), close, NOW)) is Reason.AUDIT_OPEN
    assert step(decide(auditing(findings=Findings(Counts())), close, NOW)) is Step.AUDIT_CLOSED
    for card in (start, close):
        assert reason(decide(View(limits=Limits(badge_required=True)), card, NOW)) is Reason.BADGE_FIRST


def assembled(condition: Condition = Condition.GOOD, at: PlaceCard | None = BENCH) -> HolderCard:
    card = holder(at=at)
    cutter = Cutter("C1", "Mill 12", 12.0, 12.0, 80.0)
    return replace(card, assembly=Assembly("A1", "Mill 12", card.holder, cutter, 36.0, condition=condition))


def test_what_is_out_of_use_goes_nowhere_and_takes_nothing() -> None:
    assert reason(decide(View(), holder(retired=True), NOW)) is Reason.RETIRED_HOLDER
    assert reason(decide(View(here=SLOT), holder(retired=True), NOW)) is Reason.RETIRED_HOLDER
    assert reason(decide(View(), replace(SLOT, retired=True), NOW)) is Reason.RETIRED_PLACE
    assert reason(decide(paired(holder()), replace(SLOT, retired=True), NOW)) is Reason.RETIRED_PLACE


def test_a_step_that_is_not_in_the_table_is_refused() -> None:
    out = assembled(at=place("Out", Kind.OUT))
    assert reason(decide(paired(out), place("Pocket 1", Kind.POCKET, number=1), NOW)) is Reason.NOT_A_STEP


def test_a_broken_cutter_and_a_pocket_nobody_knows_are_not_loaded() -> None:
    pocket = place("Pocket 1", Kind.POCKET, number=1)
    assert reason(decide(paired(assembled(Condition.BROKEN)), pocket, NOW)) is Reason.BROKEN_CUTTER
    assert reason(decide(paired(assembled()), pocket, NOW)) is Reason.POCKET_UNKNOWN


def test_a_step_is_undone_only_in_time_cold_and_while_nobody_moved_it_since() -> None:
    undo = CommandCard(Command.UNDO)
    last = LastStep(7, NOW.watched_s - 10.0, holder(at=SLOT), BENCH, "Slot")
    assert step(decide(View(last_step=last), undo, NOW)) is Step.UNDONE
    assert reason(decide(View(), undo, NOW)) is Reason.NOTHING_TO_UNDO
    assert reason(decide(View(last_step=replace(last, at_watched_s=NOW.watched_s - 61.0)), undo, NOW)) is (
        Reason.UNDO_TOO_LATE
    )
    assert reason(decide(View(last_step=replace(last, heated=True)), undo, NOW)) is Reason.UNDO_HEAT
    assert reason(decide(View(last_step=replace(last, still_there=False)), undo, NOW)) is Reason.UNDO_OVERTAKEN


def test_every_reason_to_refuse_is_brought_about_by_some_test() -> None:
    folder = Path(__file__).parent.parent
    written = "\n".join(path.read_text("utf-8") for path in folder.rglob("test_*.py"))
    assert [each.name for each in Reason if not search(rf"Reason\.{each.name}\b", written)] == []


def test_who_scans_nothing_for_longer_than_the_shop_allows_is_signed_out() -> None:
    sam = OperatorCard("sam", "Sam", "setter")
    assert left_alone(sam, 900.0, 900.0) is None
    assert left_alone(sam, 900.1, 900.0) == SignedOut("sam", "time")
