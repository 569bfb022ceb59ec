"""What lines claim, which claims cannot both be, and what closes a difference: in any order of arrival."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Condition, Coupling, Cutter, Family, Holder, Measured
from kiosk.rules.merge import (
    CLOSED,
    NOTHING,
    OPEN,
    RETIRED,
    USED,
    Claim,
    Made,
    Matter,
    claims,
    clashing,
    closes,
    has_seen,
    with_claim,
)
from kiosk.rules.places import Kind, Place

N = 4_000_000  # where in the order a book of years stands
STEEL = Holder("T1", "Shrink 12", Coupling(Family.HOLLOW_TAPER, 63), Clamping.SHRINK_FIT, 12.0)
MILL = Cutter("C1", "Mill", 12.0, 12.0, 80.0)
LENGTH = Measured(120.004, 12.003)
SLOT = Place("D", "Slot", Kind.SLOT)

kiosks = st.sampled_from("abcde")
values = st.sampled_from(["D", "E", NOTHING])
made = st.builds(Made, st.integers(N, N + 30), kiosks, values)


def facts(entry: L.Entry, operator: str | None = None) -> set[tuple[str, str, str, bool]]:
    return {(each.matter.value, each.subject, each.value, each.settles) for each in claims(entry, operator)}


CLAIMED: list[tuple[L.Entry, set[tuple[str, str, str, bool]]]] = [
    (L.Moved("T1", "D", "E"), {("place", "T1", "E", True), ("pocket", "D", NOTHING, True), ("pocket", "E", "T1", True),
                               ("use", "E", USED, False), ("use", "T1", USED, False)}),
    (L.Moved("T1", None, None), {("place", "T1", NOTHING, True), ("use", "T1", USED, False)}),
    (L.Heated("T1", "S"), {("place", "T1", "S", True), ("use", "T1", USED, False)}),
    (L.Built("A1", "a", "T1", "C1"), {("cutter", "C1", "T1", True), ("holder", "T1", "C1", True),
                                      ("use", "T1", USED, False), ("use", "C1", USED, False)}),
    (L.TornDown("T1", "A1"), {("holder", "T1", NOTHING, True), ("use", "T1", USED, False)}),
    (L.TornDown("T1", "A1", undoes=9), {("holder", "T1", "A1", True), ("use", "T1", USED, False)}),
    (L.ToolNumbered("T1", "A1", 7), {("number", "7", "A1", True), ("number", "A1", "7", True)}),
    (L.ToolNumbered("T1", "A1", None), {("number", "A1", NOTHING, True)}),
    (L.MeasuredLine("T1", "A1", LENGTH), {("setting", "A1", str(LENGTH), True)}),
    (L.ConditionSaid("T1", "A1", Condition.WORN), {("condition", "A1", "worn", True)}),
    (L.ConditionSaid("T1", "A1", Condition.UNKNOWN), {("condition", "A1", "unknown", False)}),
    (L.ConditionSaid("T1", "A1", Condition.GOOD, undoes=9), {("condition", "A1", "good", False)}),
    (L.CodeBound("X", "T1", "holder"), {("label", "X", "T1", True)}),
    (L.CodeRetired("X", "worn"), {("label", "X", NOTHING, True)}),
    (L.HolderRetired("T1"), {("use", "T1", RETIRED, True)}),
    (L.CutterRetired("C1"), {("use", "C1", RETIRED, True)}),
    (L.PlaceRetired("D"), {("use", "D", RETIRED, True)}),
    (L.HolderRegistered(STEEL), {("setting", "T1", str(STEEL), True), ("use", "T1", USED, True)}),
    (L.CutterAdded(MILL), {("setting", "C1", str(MILL), True), ("use", "C1", USED, True)}),
    (L.PocketAssigned("D", "T1"), {("setting", "D", "T1", True), ("use", "D", USED, False)}),
    (L.PocketAssigned("D", None), {("setting", "D", NOTHING, True), ("use", "D", USED, False)}),
    (L.SettingChanged("heat.limit_c", "43"), {("setting", "heat.limit_c", "43", True)}),
    (L.OperatorAdded("jo", "Jo", "supervisor", "a digest"),
     {("badge", "jo", str(L.OperatorAdded("jo", "Jo", "supervisor")), True), ("pin", "jo", "a digest", True)}),
    (L.OperatorRetired("jo"), {("badge", "jo", RETIRED, True)}),
    (L.ClaimSettled("place", "T1", "D"), {("place", "T1", "D", True)}),
]  # fmt: skip


@pytest.mark.parametrize(("entry", "claimed"), CLAIMED, ids=lambda each: getattr(each, "kind", ""))
def test_each_kind_of_line_claims_what_a_hand_did(entry: L.Entry, claimed: set[tuple[str, str, str, bool]]) -> None:
    assert facts(entry) == claimed


def test_facts_set_anew_claim_all_of_themselves_so_that_two_that_differ_clash() -> None:
    for one, other in (
        (L.CutterReground("C1", 11.0), L.CutterReground("C1", 11.5)),
        (L.PlaceAdded(SLOT), L.PlaceAdded(replace(SLOT, capacity=2))),
        (L.OperatorAdded("jo", "Jo", "setter"), L.OperatorAdded("jo", "Jo", "supervisor")),
    ):
        (mine, *_), (theirs, *_) = claims(one), claims(other)
        assert (mine.matter, mine.subject) == (theirs.matter, theirs.subject) and mine.value != theirs.value


def test_a_sighting_opens_and_a_closing_closes_the_same_audit() -> None:
    assert facts(L.AuditClosed("U1", 9, 8, 1, 0, 0, 0, 0)) == {("audit", "U1", CLOSED, True)}
    assert facts(L.Seen("U1", "X")) == {("audit", "U1", OPEN, False)}


def test_whose_work_it_is_claims_that_the_badge_is_good_and_only_of_lines_that_claim_anything() -> None:
    assert ("badge", "jo", USED, False) in facts(L.Moved("T1", "D", "E"), "jo")
    assert facts(L.SignedOut("jo"), "jo") == set()


@given(kiosks, st.integers(0, N + 40), made)
def test_a_kiosk_has_always_seen_its_own_and_of_others_what_stood_before(kiosk: str, seen: int, claim: Made) -> None:
    assert has_seen(kiosk, seen, claim) == (claim.kiosk == kiosk or claim.line <= seen)


@given(st.lists(made, max_size=6), values, kiosks, st.integers(N, N + 30), st.integers(0, 9))
def test_whoever_had_seen_more_clashes_with_no_more(
    known: list[Made], value: str, kiosk: str, seen: int, more: int
) -> None:
    claim = Claim(Matter.PLACE, "T1", value)
    before, after = clashing(claim, kiosk, seen, known), clashing(claim, kiosk, seen + more, known)
    assert set(after) <= set(before)
    assert all(each.value != value and each.kiosk != kiosk and each.line > seen for each in before)


@given(made, made)
def test_of_two_that_did_not_know_of_each_other_both_clash_or_neither(one: Made, other: Made) -> None:
    claim = Claim(Matter.PLACE, "T1", one.value), Claim(Matter.PLACE, "T1", other.value)
    assert bool(clashing(claim[0], one.kiosk, N - 1, [other])) == bool(clashing(claim[1], other.kiosk, N - 1, [one]))


@given(st.lists(made, max_size=8))
def test_of_each_kiosk_only_its_latest_claim_counts_and_told_twice_it_counts_once(told: list[Made]) -> None:
    kept: tuple[Made, ...] = ()
    for each in told:
        kept = with_claim(Matter.PLACE, kept, each)
        assert with_claim(Matter.PLACE, kept, each) == kept
    assert {each.kiosk: each for each in kept} == {each.kiosk: each for each in told}
    assert len(kept) == len({each.kiosk for each in told})


@given(st.lists(made, min_size=1, max_size=4, unique_by=lambda each: each.kiosk))
def test_claims_of_several_kiosks_are_the_same_in_whatever_order_they_come(told: list[Made]) -> None:
    ways = set()
    for order in permutations(told):
        kept: tuple[Made, ...] = ()
        for each in order:
            kept = with_claim(Matter.PLACE, kept, each)
        ways.add(frozenset(kept))
    assert ways == {frozenset(told)}


@given(st.lists(made, min_size=2, max_size=5), values, kiosks, st.integers(N, N + 31), st.booleans())
def test_a_difference_is_closed_only_by_a_hand_that_knew_every_claim(
    told: list[Made], value: str, kiosk: str, seen: int, settles: bool
) -> None:
    closed = closes(Claim(Matter.PLACE, "T1", value, settles), kiosk, seen, told)
    assert closed == (settles and all(each.kiosk == kiosk or each.line <= seen for each in told))
    if closed:
        assert not clashing(Claim(Matter.PLACE, "T1", value), kiosk, seen, told), "what it closes it does not open"


def test_every_matter_has_lines_that_claim_it() -> None:
    found = {matter for _, claimed in CLAIMED for matter, *_ in claimed} | {"audit"}
    assert found == {matter.value for matter in Matter}


def test_that_somebody_worked_takes_nothing_back_of_what_was_said_of_them_and_is_no_other_claim() -> None:
    anew, work = Made(N, "a", "OperatorAdded('jo')"), Made(N + 1, "a", USED)
    assert with_claim(Matter.BADGE, (anew,), work) == (anew, work)
    assert with_claim(Matter.BADGE, (anew, work), Made(N + 2, "a", RETIRED)) == (work, Made(N + 2, "a", RETIRED))
    assert with_claim(Matter.USE, (Made(N, "a", RETIRED),), work) == (work,), "a thing used again is no more retired"
    worked, gone = Claim(Matter.BADGE, "jo", USED, settles=False), Claim(Matter.BADGE, "jo", RETIRED)
    assert clashing(worked, "b", N - 1, [anew]) == () and clashing(worked, "b", N - 1, [Made(N, "a", RETIRED)])
    assert clashing(gone, "b", N - 1, [anew, work]) == (anew, work)
    assert clashing(Claim(Matter.BADGE, "jo", anew.value), "b", N - 1, [work]) == ()
