"""The heat counter without book and model: the boards, and what a reading of a held holder ends, writes and says."""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import pytest

from kiosk.desk.heat import ReadingFault
from kiosk.desk.session import NotThere
from kiosk.rules import lines as L
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cards import Heat
from kiosk.rules.cooling.assessment import Advice, Room, Zone
from kiosk.rules.hold import Verdict
from kiosk.rules.hold_facts import HoldRules, Reading, Stay, pair
from kiosk.rules.hold_proof import NOTHING_OWED
from kiosk.rules.say import say
from kiosk.rules.skin_slices import unknown_skin
from tests.desk.no_book import AGREES, BEGUN_S, FACTS, HELD, HOLDER, SEEN, Fake, card, counter

# the boards


def test_the_board_begins_with_the_hottest_and_of_equals_with_the_longest() -> None:
    views = {
        "cool": replace(HELD, hottest_c=60.0, remaining_s=9000.0), "hot": replace(HELD, hottest_c=200.0),
        "long": replace(HELD, remaining_s=1800.0), "short": replace(HELD, remaining_s=60.0),
        "endless": replace(HELD, remaining_s=None), "over": replace(HELD, remaining_s=0.0),
        "asked": replace(HELD, hottest_c=40.0, remaining_s=0.0, needs_reading=True),
    }  # fmt: skip
    fake = Fake(*(card(key, view) for key, view in views.items()), card("warm", None, Heat.COOL))
    fake.holds.view = lambda facts, moment: views.get(facts.holder.key, HELD)
    found = counter(fake)
    assert [each.holder.key for each in found.board()] == ["hot", "endless", "long", "short", "cool", "asked"]
    assert [each.holder.key for each in found.over()] == ["over"]


def test_what_is_safe_and_not_yet_fit_to_measure_is_shown_the_soonest_first() -> None:
    times = {"a": 600.0, "b": 60.0, "c": 0.0, "d": None, "held": 5.0}
    views = {key: replace(HELD, measure_in_s=in_s, high_c=70.0 + len(key)) for key, in_s in times.items()}
    views["e"] = replace(HELD, measure_in_s=300.0, remaining_s=0.0)
    fake = Fake(*(card(key, None if key in "abcd" else HELD, Heat.COOL) for key in views))
    fake.holds.view = lambda facts, moment: views[facts.holder.key]
    found = counter(fake)
    assert [each.holder.key for each in found.warm()] == ["b", "e", "a"]
    first = found.warm()[0]
    assert (first.hold, first.measure_in_s, first.body_c) == (None, 60.0, 71.0)


def test_between_lines_only_times_move_and_after_one_the_book_is_read_again() -> None:
    fake = Fake()
    found = counter(fake)
    assert found.board()[0].hold == HELD and fake.reads == 1
    fake.seen = replace(HELD, remaining_s=900.0)
    assert found.board()[0].hold == fake.seen and fake.reads == 1
    fake.book.changed = (fake.book.changed[0], fake.book.changed[1] + 1)
    assert found.board() and fake.reads == 2
    fake.shown.clear()
    assert found.board(), "nothing was written"
    fake.book.changed = (fake.book.changed[0], fake.book.changed[1] + 1)
    assert found.board() == ()


def test_a_plot_and_a_drawing_are_of_the_heating_that_was_last() -> None:
    fake = Fake()
    assert counter(fake).curve("k1") == (FACTS, fake.now())
    with patch("kiosk.desk.heat.draw_holder", side_effect=lambda *given: given):
        held = counter(fake).drawing("k1")
        fake.facts.clear()
        lost = counter(fake).drawing("k1")
        fake.shown["k1"] = card(heat=Heat.COOL)
        assert counter(fake).drawing("k1") == (HOLDER, None, unknown_skin(43.0, "nose")), "held is hot"
        drawn = {}
        for heat in (Heat.UNKNOWN, Heat.COOL):
            fake.shown["k1"] = card(hold=None, heat=heat)
            drawn[heat] = counter(fake).drawing("k1")
        fake.facts["k1"] = FACTS
        fake.shown["k1"] = card(hold=None, heat=Heat.COOL)
        assert counter(fake).drawing("k1")[2] is None  # type: ignore[index]
    assert counter(Fake()).curve("k2") is None
    hot = unknown_skin(43.0, "nose")
    shown = [each[2] for each in (held, lost, drawn[Heat.UNKNOWN], drawn[Heat.COOL])]  # type: ignore[index]
    assert shown == [("skin", fake.now()), hot, hot, None]


def test_advice_is_told_for_what_is_held_and_for_the_one_that_is_free_first() -> None:
    fake = Fake(card("a"), card("b"), card("k1"))
    fake.advised = Advice(Zone.FLANGE, fake.now_s + 300.0, 60.0, fake.now_s + 600.0, fake.now_s + 1200.0, 400.0)
    told = counter(fake).advice("k1")
    assert told is not None and (told.where, told.in_s, told.free_s, told.else_s) == ("flange", 300.0, 600.0, 1200.0)
    board = [
        card("a", replace(HELD, remaining_s=900.0)), card("b", replace(HELD, remaining_s=600.0)),
        card("c", replace(HELD, remaining_s=None)), card("d", replace(HELD, remaining_s=0.0)), card("e", None),
    ]  # fmt: skip
    first = counter(fake).advice_next(board)
    assert first is not None and first[0].holder.key == "b" and first[1] == told
    assert counter(fake).advice_next(board[2:]) is None and counter(fake).advice_next([]) is None
    fake.advised = None
    assert counter(fake).advice("k1") is None and counter(fake).advice_next(board) is None
    fake.advised = Advice(Zone.FLANGE, fake.now_s, 60.0, fake.now_s, fake.now_s + 9.0, 400.0)
    fake.shown["k1"] = card(hold=None)
    assert counter(fake).advice("k1") is None
    fake.shown["k1"] = card()
    fake.facts.clear()
    assert counter(fake).advice("k1") is None


def test_a_hold_that_several_kiosks_count_is_read_and_advised_by_its_own_clock() -> None:
    fake = Fake()
    fake.ahead_s, fake.judged = 5e5, None
    first_s = fake.now_s + 5e5 - 300.0
    spots = [Reading(first_s, where, 30.0, "probe", "agrees", 30) for where in ("nose", "flange")]
    fake.facts["k1"] = replace(FACTS, readings=tuple(spots), clock="all")
    assert counter(fake).read("k1", "shank", 30.0).ended, "the soak counts by that clock too"
    fake = Fake()
    fake.ahead_s = 5e5
    its_s = fake.now_s + 5e5
    fake.advised = Advice(Zone.FLANGE, its_s + 300.0, 60.0, its_s + 600.0, its_s + 900.0, 9.0)
    told = counter(fake).advice("k1")
    assert told is not None and (told.in_s, told.free_s, told.else_s) == (300.0, 600.0, 900.0)
    with patch("kiosk.desk.heat.owed", return_value=NOTHING_OWED) as asked:
        counter(fake).owed("k1")
    assert asked.call_args[0][3] == fake.now_s + 5e5


# what is no reading


@pytest.mark.parametrize(
    ("where", "value_c", "instrument", "field"),
    [
        ("elbow", 30.0, "probe", "where"), ("nose", 30.0, "finger", "instrument"), ("nose", -30.5, "probe", "value"),
        ("nose", 500.5, "probe", "value"), ("nose", float("nan"), "probe", "value"),
    ],
)  # fmt: skip
def test_what_no_thermometer_can_say_is_not_written(where: str, value_c: float, instrument: str, field: str) -> None:
    fake = Fake()
    with pytest.raises(ReadingFault) as fault:
        counter(fake).read("k1", where, value_c, instrument)
    assert fault.value.field == field and fake.written == [] and fake.calls == ["signed in"]
    assert str(fault.value) == f"{field}: {fault.value.why}"


@pytest.mark.parametrize(("value_c", "instrument"), [(-30.0, "probe"), (500.0, "infrared")])
def test_what_a_thermometer_can_say_is_written(value_c: float, instrument: str) -> None:
    fake = Fake()
    taken = counter(fake).read("k1", "shank", value_c, instrument)
    assert (fake.written[0].where, fake.written[0].value_c, taken.line) == ("shank", value_c, 51)


def test_what_is_cool_is_not_read_and_who_must_sign_in_first_writes_nothing() -> None:
    fake = Fake(card(hold=None, heat=Heat.COOL))
    with pytest.raises(NotThere, match="hold on"):
        counter(fake).read("k1", "nose", 30.0)

    def refuse() -> None:
        raise PermissionError

    fake = Fake()
    fake.signed_in = refuse  # type: ignore[method-assign]
    for act in (lambda: counter(fake).read("k1", "nose", 30.0), lambda: counter(fake).withdraw("k1", 40)):
        with pytest.raises(PermissionError):
            act()
    assert fake.written == []


# of a hold


def wrote(fake: Fake, where: str = "nose", value_c: float = 40.0, instrument: str = "probe") -> tuple[bool, str]:
    """Whether a reading ended the hold, and what was said."""
    taken = counter(fake).read("k1", where, value_c, instrument)
    ended = L.HoldEnded("k1", "reading", 7) in fake.written
    assert taken.ended is ended and len(fake.written) == 1 + ended and fake.calls == ["signed in", "learnt"]
    assert taken.line == 51 and taken.say.key.startswith("reading.")
    assert taken.owed == NOTHING_OWED or not ended
    return ended, taken.say.key.removeprefix("reading.")


def test_a_reading_is_written_with_all_that_was_expected_of_it() -> None:
    fake = Fake()
    wrote(fake, "flange", 88.0, "infrared")
    assert fake.written == [
        L.TemperatureRead(
            "k1", "flange", 88.0, "infrared", "agrees", 90.0, pair(HOLDER, "P2"), "free_air", 22.0, 61.0, -31.0, 2.5,
            7, 7.0, 93.0, 0.07, SEEN.films, 1.5,
        )
    ]  # fmt: skip
    fake = Fake()
    fake.facts["k1"] = replace(FACTS, reading_only=True)
    wrote(fake)
    assert fake.written[0].pair == "", "what nobody saw heated teaches nothing"
    fake = Fake()
    fake.facts["k1"] = replace(FACTS, stays=(*FACTS.stays, Stay("P5", BEGUN_S + 60.0, "mist")))
    wrote(fake)
    assert (fake.written[0].pair, fake.written[0].way) == (pair(HOLDER, "P5"), "mist"), "where it stands last"
    fake = Fake()
    fake.judged = None
    wrote(fake)
    assert fake.written == [L.TemperatureRead("k1", "nose", 40.0, "probe", "agrees", heating=7, tolerance_k=1.5)]


def test_a_reading_ends_a_hold_if_the_rules_say_so_and_every_misread_spot_was_read_again() -> None:
    misread = [Reading(BEGUN_S + 60.0, where, 90.0, "probe", "withdrawn", 30) for where in ("nose", "shank")]
    for withdrawn, where, ends in (
        ((), "nose", True), (misread[:1], "nose", True), (misread[1:], "nose", False), (misread, "nose", False),
        (misread[1:], "shank", True),
    ):  # fmt: skip
        fake = Fake()
        fake.judged = replace(AGREES, ends=True)
        fake.facts["k1"] = replace(FACTS, withdrawn=tuple(withdrawn))
        assert wrote(fake, where)[0] is ends, (withdrawn, where)
    fake = Fake()
    assert wrote(fake) == (False, "close"), "and not if they do not"
    for facts, judged in ((replace(FACTS, reading_only=True), replace(AGREES, ends=True)), (FACTS, None)):
        fake = Fake()
        fake.facts["k1"], fake.judged = facts, judged
        assert wrote(fake) == (False, "everywhere"), "where no model speaks for it only readings all over end it"


@pytest.mark.parametrize("alone", ["reading_only", "not computable", "strange"])
@pytest.mark.parametrize(("soaked_s", "ends"), [(299.0, False), (300.0, True)])
def test_where_no_model_speaks_for_it_cool_readings_all_over_and_a_soak_end_it(
    alone: str, soaked_s: float, ends: bool
) -> None:
    fake = Fake()
    first_s = fake.now_s - soaked_s
    spots = [
        Reading(first_s + at, where, 30.0, "probe", "agrees", 30 + at) for at, where in enumerate(("nose", "flange"))
    ]
    fake.facts["k1"] = replace(FACTS, readings=tuple(spots), reading_only=alone == "reading_only")
    if alone != "reading_only":
        fake.judged = replace(AGREES, word=Word.CONFIRMED, strange=True) if alone == "strange" else None
    assert wrote(fake, "shank") == ((True, "ended") if ends else (False, "again"))
    hot = Fake()
    hot.facts["k1"], hot.judged = replace(fake.facts["k1"], readings=tuple(spots)), fake.judged
    hot.rules = HoldRules(Room(23.0, 35.0), 330.0)
    assert wrote(hot, "shank", 36.0)[0] is False, "by the limit the hold began under"
    now = replace(spots[0], at_s=fake.now_s, where="shank", verdict="withdrawn", line=50)
    just = Fake()
    just.facts["k1"], just.judged = replace(fake.facts["k1"], withdrawn=(now,)), fake.judged
    assert wrote(just, "shank")[0] is ends, "what is read now comes after all that was written"
    misread = replace(spots[0], verdict="withdrawn", line=33)
    hot = Fake()
    hot.facts["k1"], hot.judged = replace(fake.facts["k1"], withdrawn=(misread,)), fake.judged
    assert wrote(hot, "shank")[0] is False


def test_cool_readings_all_over_end_nothing_the_model_can_speak_for() -> None:
    fake = Fake()
    spots = [Reading(fake.now_s - 400.0, where, 30.0, "probe", "agrees", 30) for where in ("nose", "flange")]
    fake.facts["k1"] = replace(FACTS, readings=tuple(spots))
    assert wrote(fake, "shank", 30.0)[0] is False


@pytest.mark.parametrize(
    ("judged", "where", "value_c", "instrument", "said"),
    [
        (AGREES, "nose", 90.0, "probe", "agrees"),
        (AGREES, "nose", 43.1, "probe", "agrees"),
        (AGREES, "nose", 43.0, "probe", "close"),
        (replace(AGREES, rises_k=0.5), "nose", 43.0, "probe", "resoak"),
        (replace(AGREES, rises_k=0.49), "nose", 43.0, "probe", "close"),
        (AGREES, "nose", 43.0, "infrared", "infrared"),
        (AGREES, "flange", 43.0, "probe", "elsewhere"),
        (replace(AGREES, word=Word.QUESTIONED), "nose", 30.0, "probe", "questioned"),
        (replace(AGREES, word=Word.QUESTIONED, strange=True), "nose", 30.0, "probe", "questioned"),
        (replace(AGREES, word=Word.CONFIRMED), "nose", 90.0, "probe", "confirmed"),
        (replace(AGREES, word=Word.CONFIRMED), "nose", 30.0, "probe", "close"),
        (replace(AGREES, word=Word.CONFIRMED, strange=True), "nose", 30.0, "probe", "everywhere"),
        (replace(AGREES, word=Word.CONFIRMED, strange=True), "nose", 90.0, "probe", "agrees"),
        (replace(AGREES, word=Word.CONFIRMED, strange=True), "nose", 30.0, "infrared", "infrared"),
        (None, "nose", 90.0, "probe", "agrees"),
        (None, "nose", 43.0, "probe", "everywhere"),
        (None, "nose", 43.0, "infrared", "infrared"),
    ],
)  # fmt: skip
def test_a_reading_that_ends_nothing_says_why(
    judged: Verdict | None, where: str, value_c: float, instrument: str, said: str
) -> None:
    fake = Fake()
    fake.judged = judged
    assert wrote(fake, where, value_c, instrument) == (False, said)


def test_a_wait_that_grew_by_more_than_half_a_minute_says_why() -> None:
    for left_s, grew in ((1530.0, False), (1530.5, True), (None, False), (900.0, False)):
        fake = Fake()
        fake.after = card(hold=replace(HELD, remaining_s=left_s))
        taken = counter(fake).read("k1", "nose", 98.0)
        told = say("reading.grew", was_s=1500.0, remaining_s=left_s, value_c=98.0, expected_c=90.0)
        assert taken.grew == (told if grew else None)
        assert dict(taken.say.values) == {
            "name": "12", "value_c": 98.0, "expected_c": 90.0, "limit_c": 43.0, "where": "term.nose", "rises_k": 0.2,
            "again_s": None, "remaining_s": left_s,
        }  # fmt: skip
    fake = Fake(card(hold=replace(HELD, remaining_s=None)))
    fake.after = card()
    assert counter(fake).read("k1", "nose", 98.0).grew is None
    fake = Fake()
    fake.after, fake.judged = card(hold=None, heat=Heat.COOL), replace(AGREES, ends=True)
    taken = counter(fake).read("k1", "nose", 40.0)
    assert taken.grew is None and taken.say["remaining_s"] is None
