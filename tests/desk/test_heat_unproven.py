"""The heat counter without book and model: holders nobody knows the warmth of, what is owed, and slips."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import pytest

from kiosk.desk.heat import ReadingFault
from kiosk.desk.session import NotThere
from kiosk.rules import lines as L
from kiosk.rules.apart import Apart
from kiosk.rules.cards import Heat, PlaceCard
from kiosk.rules.cooling.assessment import Room
from kiosk.rules.hold_facts import HoldRules
from kiosk.rules.hold_proof import NOTHING_OWED, Owed
from kiosk.rules.places import Kind, Place
from kiosk.rules.say import say
from tests.desk.no_book import BEGUN_S, FACTS, HELD, HOLDER, Fake, card, counter

# of a holder nobody knows the warmth of


def line(at_s: float, entry: L.Entry, number: int, kiosk: str = "mill") -> Any:
    return SimpleNamespace(watched_s=at_s, entry=entry, id=number, kiosk=kiosk)


def read(where: str, value_c: float = 30.0, heating: int | None = None, instrument: str = "probe") -> L.TemperatureRead:
    return L.TemperatureRead("k1", where, value_c, instrument, "agrees", heating=heating)


def unknown(*told: Any) -> Fake:
    """Nobody knows how warm it is; told: lines about it, the newest first."""
    fake = Fake(card(hold=None, heat=Heat.UNKNOWN))
    fake.facts.clear()
    fake.book.told = list(told)
    return fake


def test_it_is_cool_by_readings_all_over_since_its_last_step_and_a_soak() -> None:
    now_s = BEGUN_S + 900.0
    nose, flange = line(now_s - 300.0, read("nose"), 40), line(now_s - 200.0, read("flange"), 41)
    cut = [
        L.Moved("k1", "P1", "P2"), L.Heated("k1", "P3"), L.HoldEnded("k1", "reading"), L.Restored("b", ("k1",)),
        L.Built("a", "x", "k1", "c"), L.TornDown("k1", "a"), L.HolderRegistered(HOLDER),
    ]  # fmt: skip
    for told, said in (
        ([flange, nose], "ended"),
        ([flange, line(now_s - 250.0, L.LabelPrinted("H1", "k1", "holder"), 45), nose], "ended"),
        ([flange, line(now_s - 299.0, read("nose"), 40)], "again"),
        ([flange], "everywhere"),
        ([flange, line(now_s - 300.0, read("nose", heating=7), 40)], "everywhere"),
        ([flange, line(now_s - 300.0, read("nose", instrument="infrared"), 40)], "everywhere"),
        ([flange, line(now_s - 300.0, read("nose"), 40, "lathe")], "everywhere"),
        ([line(now_s - 100.0, L.ReadingWithdrawn("k1", 40, "nose", 30.0), 42), flange, nose], "everywhere"),
        ([line(now_s - 100.0, L.ReadingWithdrawn("k1", 39, "nose", 30.0), 42), flange, nose], "ended"),
        *(([flange, line(now_s - 250.0, entry, 45), nose], "everywhere") for entry in cut),
    ):
        fake = unknown(*told)
        taken = counter(fake).read("k1", "shank", 30.0)
        assert taken.say.key == f"reading.{said}", told
        assert taken.ended is (said == "ended") and taken.line == 51 and taken.verdict == "agrees"
        ending = [L.HoldEnded("k1", "reading")] if taken.ended else []
        assert fake.written == [replace(read("shank"), tolerance_k=1.25), *ending], "by the shop's own probe"


@pytest.mark.parametrize(
    ("value_c", "instrument", "said"),
    [(43.0, "probe", "everywhere"), (43.1, "probe", "agrees"), (43.1, "infrared", "infrared")],
)
def test_a_reading_that_proves_nothing_says_why(value_c: float, instrument: str, said: str) -> None:
    taken = counter(unknown()).read("k1", "nose", value_c, instrument)
    assert taken.say.key == f"reading.{said}" and not taken.ended
    assert taken.say["where"] is None and taken.say["rises_k"] is None and taken.say["expected_c"] is None


def test_what_is_owed_is_asked_of_the_hold_or_of_all_that_was_read_since_its_last_step() -> None:
    fake = Fake()
    fake.rules = HoldRules(Room(23.0, 41.0), 330.0)
    with patch("kiosk.desk.heat.owed", return_value=Owed(("nose",))) as asked:
        assert counter(fake).owed("k1") == Owed(("nose",))
    assert asked.call_args[0] == (FACTS, HELD, 41.0, fake.now_s)
    assert counter(Fake(card(hold=None, heat=Heat.COOL))).owed("k1") == NOTHING_OWED
    lost = Fake()
    lost.facts.clear()
    assert counter(lost).owed("k1") == NOTHING_OWED
    seen = unknown(line(BEGUN_S + 890.0, read("nose"), 40))
    assert counter(seen).owed("k1") == Owed(("flange", "shank"), 0.0, ("nose",))
    seen.settings.heat = replace(seen.settings.heat, limit_c=29.0)
    assert counter(seen).owed("k1") == Owed(("nose", "flange", "shank"))


# slips


def past(*told: tuple[int, L.Entry]) -> Any:
    """Lines of the past in place of the book's, the newest first."""
    return patch("kiosk.desk.heat.past.lines", return_value=[line(0.0, entry, number) for number, entry in told])


def test_only_the_last_reading_that_was_not_withdrawn_is_a_slip() -> None:
    second, first = (45, read("nose", heating=7)), (41, read("flange", heating=7))
    gone = L.ReadingWithdrawn("k1", 45, "nose", 30.0, 7)
    for told, found in (
        ((second, first), 45),
        (((46, gone), second, first), 41),
        (((46, gone), second), None),
        ((), None),
    ):
        with past(*told) as asked:
            slip = counter(Fake()).slip("k1")
        assert (slip.id if slip else None) == found
        (question,) = asked.call_args[0]
        assert (question.subject, question.newest) == ("k1", 40)
        assert question.kinds == {L.TemperatureRead.kind, L.ReadingWithdrawn.kind}


def test_a_reading_that_is_not_the_last_stays() -> None:
    for told, asked in (([(45, read("nose"))], 41), ([], 45)):
        fake = Fake()
        with past(*told), pytest.raises(ReadingFault) as fault:
            counter(fake).withdraw("k1", asked)
        assert fault.value.field == "reading" and fake.written == [] and fake.calls == ["signed in"]


@pytest.mark.parametrize(
    ("before", "after", "hot"),
    [
        (card(hold=None, heat=Heat.COOL), card(), True),
        (card(hold=None, heat=Heat.COOL), card(hold=None, heat=Heat.UNKNOWN), True),
        (card(hold=None, heat=Heat.COOL), card(hold=None, heat=Heat.COOL), False),
        (card(), card(), False),
    ],
)
def test_who_withdraws_a_slip_is_told_what_it_had_let_go(before: Any, after: Any, hot: bool) -> None:
    fake = Fake(before)
    fake.after = after
    with (
        past((45, read("shank", 31.0, heating=7))),
        patch("kiosk.desk.heat.HeatCounter.owed", return_value=Owed(("shank",))),
    ):
        done = counter(fake).withdraw("k1", 45)
    assert fake.written == [L.ReadingWithdrawn("k1", 45, "shank", 31.0, 7)] and fake.calls == ["signed in", "unlearnt"]
    key = "reading.held_where_it_cools" if hot else "reading.withdrawn"
    assert done.say == say(key, name="12", value_c=31.0, where="term.shank", place="Rack")
    assert (done.hot, done.holder, done.owed) == (hot, after, Owed(("shank",)))


def test_what_counts_as_hot_again_and_does_not_cool_where_it_stands_is_to_be_taken_there() -> None:
    fake = Fake(card(hold=None, heat=Heat.COOL))
    fake.after = replace(card(), at=PlaceCard(Place("P3", "Bench", Kind.BENCH), ("Bench",)))
    with past((45, read("shank", 31.0))):
        done = counter(fake).withdraw("k1", 45)
    assert done.say == say("reading.held_again", name="12", value_c=31.0, where="term.shank", place="Bench")


def test_of_what_stands_nowhere_known_no_place_is_said() -> None:
    fake = Fake()
    fake.after = replace(card(), at=None)
    with past((45, read("nose"))):
        assert counter(fake).withdraw("k1", 45).say["place"] is None


def test_what_another_kiosk_brought_here_and_the_station_is_not_heard_of_is_read_like_what_nobody_knows() -> None:
    apart = Apart("mill", stations_heard=False, all_heard=False, caught_up=False)
    fake = Fake(card(hold=None, heat=Heat.COOL, last_kiosk="lathe", apart=apart))
    fake.facts.clear()
    now_s = BEGUN_S + 900.0
    fake.book.told = [line(now_s - 200.0, read("flange"), 41), line(now_s - 300.0, read("nose"), 40)]
    assert counter(fake).owed("k1") != NOTHING_OWED
    taken = counter(fake).read("k1", "shank", 30.0)
    assert taken.ended and fake.written[-1] == L.HoldEnded("k1", "reading")
    heard = Fake(card(hold=None, heat=Heat.COOL, last_kiosk="lathe", apart=replace(apart, stations_heard=True)))
    heard.facts.clear()
    with pytest.raises(NotThere):
        counter(heard).read("k1", "shank", 30.0)
