"""May this holder go there now?  From values alone, at a kiosk that has watched for months."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.rules.assembly import Assembly, Clamping, Condition, Coupling, Cutter, Holder
from kiosk.rules.cards import (
    Command,
    CommandCard,
    Heat,
    HolderCard,
    HoldView,
    LastStep,
    Moment,
    Pending,
    PlaceCard,
)
from kiosk.rules.checkin import arrival, heating, may_go, warmth
from kiosk.rules.decision import decide
from kiosk.rules.fitting.magazine import Loaded, Magazine, MagazineKind
from kiosk.rules.lines import Heated, HoldEnded, Moved
from kiosk.rules.outcomes import Done, Expects, Outcome, Reason, Refused, Step, Wait
from kiosk.rules.places import Kind, Place
from kiosk.rules.view import View

NOW = Moment(1.8e9, 90 * 86400.0)
RUNS = HoldView(180.0, 150.0, 210.0, "nose", 900.0, None, heating=41)
OVER = replace(RUNS, remaining_s=0.0)
WAITS = replace(RUNS, remaining_s=0.0, needs_reading=True)
STEEL = Holder("H1", "Shrink 12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0)
COLLET = replace(STEEL, clamping=Clamping.COLLET)
BUILT = Assembly("A1", "Mill 12", STEEL, Cutter("C1", "Mill 12", 12.0, 12.0, 80.0), 36.0)


def place(name: str, kind: Kind, **more: object) -> PlaceCard:
    inside = {key: more.pop(key) for key in ("way", "number", "capacity", "parent") if key in more}
    return PlaceCard(Place(name, name, kind, **inside), (name,), **more)  # type: ignore[arg-type]


BENCH, SLOT, OUT = place("Bench", Kind.BENCH), place("Slot", Kind.SLOT), place("Out", Kind.OUT)
STATION, OTHER_STATION = place("Station", Kind.SHRINK), place("Station 2", Kind.SHRINK)
RACK, SLEEVE = place("Rack", Kind.COOLING, way="free_air"), place("Sleeve", Kind.COOLING, way="sleeve")
CHAIN = Magazine(MagazineKind.CHAIN, 8, 120.0)
POCKET = place("Pocket 3", Kind.POCKET, number=3, magazine=CHAIN)
SPINDLE = place("Spindle", Kind.SPINDLE, magazine=CHAIN)
GOALS = [place(kind.value, kind, number=3, magazine=CHAIN) for kind in Kind]


def card(at: PlaceCard | None = BENCH, **more: object) -> HolderCard:
    return HolderCard(STEEL, "code H1", **{"at": at, "assembly": BUILT, **more})  # type: ignore[arg-type]


def hot(at: PlaceCard | None = RACK, hold: HoldView = RUNS, **more: object) -> HolderCard:
    return card(at, heat=Heat.HELD, hold=hold, **more)


def why(outcome: Outcome | None) -> Reason | None:
    return outcome.reason if isinstance(outcome, Refused) else None


# how warm


@pytest.mark.parametrize(
    ("hold", "heat", "counts"),
    [
        *((hold, heat, Heat.HELD) for hold in (RUNS, WAITS) for heat in Heat),
        (OVER, Heat.HELD, Heat.COOL),
        (OVER, Heat.COOL, Heat.COOL),
        (OVER, Heat.UNKNOWN, Heat.UNKNOWN),
        (None, Heat.COOL, Heat.COOL),
        (None, Heat.HELD, Heat.UNKNOWN),
        (None, Heat.UNKNOWN, Heat.UNKNOWN),
    ],
)
def test_a_holder_is_cool_only_where_that_is_known(hold: HoldView | None, heat: Heat, counts: Heat) -> None:
    assert warmth(card(hold=hold, heat=heat)) is counts


@pytest.mark.parametrize("goal", GOALS, ids=[kind.value for kind in Kind])
@pytest.mark.parametrize("origin", [None, *GOALS], ids=lambda at: at.name if at else "nowhere")
def test_what_is_hot_goes_to_the_station_and_to_cooling_and_nowhere_else(
    origin: PlaceCard | None, goal: PlaceCard
) -> None:
    hands_stay_off = goal.place.kind in (Kind.SHRINK, Kind.COOLING)
    for hold in (RUNS, WAITS):
        for more in ({}, {"retired": True}):
            said = why(may_go(hot(origin, hold, **more), goal))
            assert (said is Reason.HOT) is not hands_stay_off
    unknown = why(may_go(card(origin, heat=Heat.UNKNOWN), goal))
    assert unknown is not None or hands_stay_off
    if origin is None and goal.place.kind is not Kind.MACHINE:
        expected = None if goal.place.kind is Kind.COOLING else Reason.NOWHERE_KNOWN
        assert unknown is expected


def test_what_is_hot_is_sent_to_where_it_cools_already_or_to_a_cooling_place() -> None:
    def sent(at: PlaceCard | None, cooling: PlaceCard | None) -> object:
        refused = may_go(hot(at), SLOT, cooling)
        assert refused is not None
        return refused.remedy["place"]

    assert [sent(RACK, SLEEVE), sent(BENCH, SLEEVE), sent(None, SLEEVE)] == ["Rack", "Sleeve", "Sleeve"]
    assert [sent(RACK, None), sent(BENCH, None), sent(None, None)] == ["Rack", None, None]


# what else a step needs


def test_a_step_that_is_not_in_the_table_is_none_even_where_it_is_cool() -> None:
    assert why(may_go(card(OUT), POCKET)) is why(may_go(card(None), POCKET)) is Reason.NOT_A_STEP
    assert why(may_go(card(OUT, heat=Heat.UNKNOWN), POCKET)) is Reason.NOT_A_STEP
    assert why(may_go(card(None), STATION)) is Reason.NOT_A_STEP


def test_only_a_shrink_fit_goes_to_the_station_and_the_others_go_everywhere_else() -> None:
    assert why(may_go(replace(card(), holder=COLLET), STATION)) is Reason.NOT_SHRINK
    assert may_go(card(), STATION) is may_go(replace(card(), holder=COLLET), SLOT) is None
    assert may_go(card(heat=Heat.UNKNOWN), STATION) is None, "it is about to be heated"


def test_a_presetter_and_a_machine_take_what_is_built_and_other_places_what_is_not() -> None:
    empty = card(assembly=None)
    for goal in (place("Presetter", Kind.PRESETTER), POCKET, SPINDLE):
        assert why(may_go(empty, goal)) is Reason.NO_ASSEMBLY
        assert may_go(card(), goal) is None
        assert why(may_go(card(heat=Heat.UNKNOWN), goal)) is Reason.NOWHERE_KNOWN
    assert may_go(empty, SLOT) is may_go(empty, RACK) is None


def test_what_is_out_of_use_goes_nowhere_and_takes_nothing_whoever_asks() -> None:
    assert why(may_go(card(retired=True), SLOT)) is why(may_go(hot(retired=True), RACK)) is Reason.RETIRED_HOLDER
    assert why(may_go(card(), replace(SLOT, retired=True))) is Reason.RETIRED_PLACE
    assert why(may_go(hot(), replace(SLEEVE, retired=True))) is Reason.RETIRED_PLACE
    assert why(may_go(card(), place("Mill", Kind.MACHINE))) is Reason.HOLDS_NOTHING


def test_a_hold_whose_time_is_over_says_nothing_of_a_holder_nobody_knows_the_heat_of() -> None:
    assert why(may_go(card(heat=Heat.UNKNOWN, hold=OVER), SLOT)) is Reason.NOWHERE_KNOWN


def test_a_broken_cutter_is_kept_out_of_machines_only() -> None:
    broken = card(assembly=replace(BUILT, condition=Condition.BROKEN))
    assert why(may_go(broken, POCKET)) is why(may_go(broken, SPINDLE)) is Reason.BROKEN_CUTTER
    assert may_go(broken, BENCH) is may_go(broken, place("Presetter", Kind.PRESETTER)) is None


def test_a_pocket_that_is_taken_takes_no_other_and_is_no_obstacle_to_what_stands_in_it() -> None:
    other = replace(BUILT, key="A9", holder=replace(STEEL, key="H9"))
    assert why(may_go(card(), replace(POCKET, loaded=(Loaded(3, other),)))) is Reason.POCKET_BLOCKED
    assert may_go(card(), replace(POCKET, loaded=(Loaded(3, BUILT),))) is None
    assert may_go(card(), replace(POCKET, loaded=(Loaded(5, other),))) is None


def test_a_full_place_takes_no_other_and_leaves_what_stands_there() -> None:
    full = replace(place("Slot", Kind.SLOT, capacity=1), occupants=("H9",))
    assert why(may_go(card(), full)) is Reason.PLACE_FULL
    assert may_go(card(), replace(full, occupants=("H1",))) is None
    assert why(may_go(card(), replace(full, occupants=("H1", "H9")))) is Reason.PLACE_FULL
    assert may_go(card(), replace(SLOT, occupants=("H8", "H9"))) is None, "no limit"


def test_a_pocket_is_taken_only_where_the_magazine_is_known_and_has_it() -> None:
    nameless = replace(POCKET.place, number=None)
    assert why(may_go(card(), replace(POCKET, place=nameless))) is Reason.POCKET_UNKNOWN
    assert why(may_go(card(), place("Pocket 9", Kind.POCKET, number=9, magazine=CHAIN))) is Reason.POCKET_UNKNOWN
    assert why(may_go(card(), replace(POCKET, magazine=None))) is Reason.POCKET_UNKNOWN
    assert why(may_go(card(), replace(SPINDLE, magazine=None))) is Reason.POCKET_UNKNOWN
    assert may_go(card(), SPINDLE) is None, "a spindle has no number"


def test_a_pocket_that_is_closed_sends_to_the_next_and_a_machine_that_takes_no_such_holder_says_so() -> None:
    closed = may_go(card(), replace(POCKET, magazine=replace(CHAIN, closed=frozenset({3}))))
    assert why(closed) is Reason.POCKET_BLOCKED and closed is not None
    assert closed.remedy.key == "remedy.use_pocket" and closed.remedy["use_pocket"] == 1
    assert closed.why["to_pocket"] == 3 and closed.why["name"] == "Mill 12"
    other = replace(CHAIN, couplings=frozenset({Coupling.parse("HSK100")}))
    for goal in (replace(POCKET, magazine=other), replace(SPINDLE, magazine=other)):
        refused = may_go(card(), goal)
        assert why(refused) is Reason.POCKET_BLOCKED and refused is not None
        assert refused.remedy.key == f"remedy.{refused.why.key}" and refused.remedy["use_pocket"] is None
        assert refused.why["actual"] == str(STEEL.coupling)
    both = may_go(card(), replace(POCKET, magazine=replace(other, mass_max_kg=0.001)))
    assert both is not None and both.why.key == "magazine.coupling", "the first that speaks against it is named"


# pairs of scans


def paired(first: HolderCard | PlaceCard, ago_s: float = 5.0, **more: object) -> View:
    return View("K", Pending(first, NOW.watched_s - ago_s), cooling_place=SLEEVE, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("ago_s", [0.0, 19.5, 20.0, 20.5, 86400.0])
def test_a_pair_is_two_scans_within_its_time_in_either_order(ago_s: float) -> None:
    for first, second in ((card(), SLOT), (SLOT, card())):
        outcome = decide(paired(first, ago_s), second, NOW)
        assert isinstance(outcome, Done if ago_s <= 20.0 else Wait)
        if isinstance(outcome, Wait):
            assert outcome.expects is (Expects.HOLDER if second is SLOT else Expects.PLACE)
            assert outcome.pending == Pending(second, NOW.watched_s)  # type: ignore[arg-type]


def test_two_holders_or_two_places_are_no_pair() -> None:
    other = replace(card(), holder=replace(STEEL, key="H2"))
    for first, second in ((other, card()), (RACK, SLOT)):
        outcome = decide(paired(first), second, NOW)
        assert isinstance(outcome, Wait) and outcome.pending.card == second


def test_a_first_scan_says_where_it_stands_and_a_machine_as_a_whole_is_none() -> None:
    for at, name in ((BENCH, "Bench"), (None, None)):
        waiting = decide(View("K"), card(at), NOW)
        assert isinstance(waiting, Wait) and waiting.say["place"] == name
    assert why(decide(View("K"), place("Mill", Kind.MACHINE), NOW)) is Reason.HOLDS_NOTHING


def test_what_is_out_of_use_is_said_at_the_first_scan_and_heat_still_before_it() -> None:
    for holder in (card(retired=True), hot(retired=True), card(retired=True, heat=Heat.UNKNOWN)):
        assert why(decide(View("K"), holder, NOW)) is Reason.RETIRED_HOLDER
    at_once = decide(paired(SLOT), card(retired=True), NOW)
    assert why(at_once) is Reason.RETIRED_HOLDER and isinstance(at_once, Refused) and at_once.pending is None
    assert why(decide(paired(SLOT), hot(retired=True), NOW)) is Reason.HOT
    gone = replace(SLOT, retired=True)
    assert why(decide(paired(hot()), gone, NOW)) is Reason.HOT
    only_heat = Pending(gone, NOW.watched_s, heat_only=True)
    for before, kept in ((View("K"), only_heat), (paired(card()), None), (paired(RACK), only_heat)):
        refused = decide(before, gone, NOW)
        assert why(refused) is Reason.RETIRED_PLACE and isinstance(refused, Refused) and refused.pending == kept


def test_a_label_at_two_kiosks_too_soon_comes_before_what_is_wrong_with_the_place_but_not_before_heat() -> None:
    def twin(ago_s: float, **more: object) -> HolderCard:
        return card(**{"last_kiosk": "other", "since_watched_s": NOW.watched_s - ago_s, **more})

    full = replace(place("Slot", Kind.SLOT, capacity=0), occupants=("H9",))
    for goal in (SLOT, full):
        assert why(decide(paired(twin(0.0)), goal, NOW)) is Reason.TWIN_CODE
        assert why(decide(paired(twin(4.9)), goal, NOW)) is Reason.TWIN_CODE
        for walked in (twin(5.0), twin(-1.0), twin(1.0, last_kiosk="K"), twin(1.0, last_kiosk=None)):
            assert why(decide(paired(walked), goal, NOW)) is not Reason.TWIN_CODE
    assert why(decide(paired(twin(1.0)), BENCH, NOW)) is None, "it is where it was"
    assert why(decide(paired(twin(1.0, at=None)), SLOT, NOW)) is None
    assert why(decide(paired(twin(1.0, since_watched_s=None)), SLOT, NOW)) is None
    assert why(decide(paired(twin(1.0, heat=Heat.UNKNOWN)), SLOT, NOW)) is Reason.NOWHERE_KNOWN


# at the station


def heated(ago_s: float | None, at: PlaceCard = STATION) -> HolderCard:
    return hot(at, heated_at_s=None if ago_s is None else NOW.watched_s - ago_s, body_c=80.0)


@pytest.mark.parametrize("ago_s", [0.0, 29.9, 30.0])
def test_a_second_scan_at_the_station_is_the_same_heating_for_half_a_minute(ago_s: float) -> None:
    done = decide(View("K", here=STATION), heated(ago_s), NOW)
    assert isinstance(done, Done) and done.step is Step.ALREADY_THERE
    assert done.lines == (Heated("H1", "Station", heats=0, again=True),)


@pytest.mark.parametrize(
    "before",
    [
        heated(30.1), heated(None), heated(-0.1), heated(5.0, OTHER_STATION), card(STATION),
        card(STATION, heated_at_s=NOW.watched_s),
    ],
)  # fmt: skip
def test_any_other_scan_at_the_station_is_a_heating_of_its_own(before: HolderCard) -> None:
    done = decide(View("K", here=STATION), before, NOW)
    assert isinstance(done, Done) and done.step is Step.HEATING
    line = done.lines[-1]
    assert isinstance(line, Heated) and line.heats == 1 and not line.again and line.body_c == before.body_c
    assert [type(line) for line in done.lines[:-1]] == ([] if before.at == STATION else [Moved])


def test_what_stands_where_it_is_scanned_is_told_so_and_nothing_is_written() -> None:
    done = decide(paired(card(SLOT)), SLOT, NOW)
    assert isinstance(done, Done) and done.step is Step.ALREADY_THERE and done.lines == ()
    done = decide(paired(hot(RACK, heated_at_s=NOW.watched_s)), RACK, NOW)
    assert isinstance(done, Done) and done.lines == (), "only at the station is it heated again"


def test_a_heating_adds_one_cycle_on_whatever_warmth_was_left() -> None:
    for unknown in (False, True):
        line = heating(card(body_c=120.0, body_unknown=unknown), STATION)
        assert line == Heated("H1", "Station", heats=1, body_c=120.0, body_unknown=unknown)


# arriving


def test_what_comes_to_a_cooling_place_and_nobody_knows_how_warm_is_held_until_it_is_read() -> None:
    unknown = card(heat=Heat.UNKNOWN)
    held = Heated("H1", "Rack", heats=0, reading_only=True, body_unknown=True)
    assert arrival(unknown, RACK) == (Moved("H1", "Bench", "Rack"), held)
    assert arrival(replace(unknown, at=RACK), RACK) == (held,)
    assert arrival(unknown, SLOT) == (Moved("H1", "Bench", "Slot"),)
    assert arrival(card(), RACK) == (Moved("H1", "Bench", "Rack"),), "what is cool stays cool"
    assert arrival(hot(STATION), RACK) == (Moved("H1", "Station", "Rack"),), "its hold runs on"


def test_a_hold_whose_time_is_over_is_ended_by_name_with_the_step_that_shows_it() -> None:
    lines = arrival(hot(RACK, OVER), SLOT, "found there")
    assert lines == (HoldEnded("H1", "time", 41), Moved("H1", "Rack", "Slot", reason="found there"))
    assert arrival(hot(RACK, WAITS), SLEEVE) == (Moved("H1", "Rack", "Sleeve"),)
    ended = arrival(hot(STATION, OVER), STATION)
    assert [type(line) for line in ended] == [HoldEnded, Heated]
    assert [type(line) for line in arrival(card(heat=Heat.UNKNOWN, hold=OVER), RACK)] == [HoldEnded, Moved]


# taking a step back


@pytest.mark.parametrize(("ago_s", "said"), [(0.0, None), (60.0, None), (60.1, Reason.UNDO_TOO_LATE)])
def test_a_step_is_taken_back_for_a_minute(ago_s: float, said: Reason | None) -> None:
    step = LastStep(7, NOW.watched_s - ago_s, card(SLOT), BENCH, "Slot")
    back = decide(View(last_step=step), CommandCard(Command.UNDO), NOW)
    assert why(back) is said
    if isinstance(back, Done):
        assert back.lines == (Moved("H1", "Slot", "Bench", undoes=7),)


def test_a_step_from_nowhere_known_is_taken_back_to_nowhere_and_none_is_taken_back_into_a_hand_while_hot() -> None:
    undo = CommandCard(Command.UNDO)
    back = decide(View(last_step=LastStep(7, NOW.watched_s, card(SLOT), None, "Slot")), undo, NOW)
    assert isinstance(back, Done) and back.lines == (Moved("H1", "Slot", None, undoes=7),)
    for warm in (hot(RACK), card(RACK, heat=Heat.UNKNOWN)):
        step = LastStep(7, NOW.watched_s, warm, BENCH, "Rack")
        refused = decide(View(last_step=step, cooling_place=SLEEVE), undo, NOW)
        assert why(refused) in (Reason.HOT, Reason.NOWHERE_KNOWN)


def test_hot_steel_that_no_time_cools_because_the_air_is_too_warm_is_refused_with_that_and_with_what_to_do() -> None:
    endless = replace(RUNS, remaining_s=None, needs_reading=True)
    for hold, key in ((replace(endless, air_too_warm=True), "air_too_warm"), (endless, "hot"), (RUNS, "hot")):
        refused = decide(paired(SLOT), hot(hold=hold), NOW)
        assert isinstance(refused, Refused) and refused.reason is Reason.HOT
        assert (refused.why.key, refused.remedy.key) == (f"refused.{key}", f"remedy.{key}")
