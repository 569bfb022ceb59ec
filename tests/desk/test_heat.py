"""Readings at the desk: what ends a hold, what only questions it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kiosk.desk.holds import Holds
from kiosk.rules import codes, hold
from kiosk.rules.cards import Heat
from kiosk.rules.lines import Restored, TemperatureRead
from tests.conftest import Shop


def on_the_rack(shop: Shop) -> None:
    for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place("Rack 1")):
        shop.desk.scan(code)


def test_a_reading_the_model_expects_ends_the_hold_at_the_hottest_point(shop: Shop) -> None:
    on_the_rack(shop)
    shop.clock.forward(2 * 3600)
    hold = shop.desk.session.holder("T001").hold
    assert hold is not None and not hold.ended, "no reading yet for this pair: time alone does not end it"
    elsewhere = "flange" if hold.where != "flange" else "nose"
    assert not shop.desk.heat.read("T001", elsewhere, hold.hottest_c).ended
    assert shop.desk.heat.read("T001", hold.where, hold.hottest_c).ended


def test_what_was_worked_out_of_a_hold_is_forgotten_once_the_holder_is_cold(shop: Shop) -> None:
    """Else a kiosk that runs for years keeps it of every holder it has."""
    on_the_rack(shop)
    shop.desk.heat.advice_next(shop.desk.heat.board())
    shop.desk.heat.drawing("T001")
    holds = shop.desk.session.holds
    assert all("T001" in kept for kept in (holds._kept, holds._advised, holds._skins))
    shop.clock.forward(2 * 3600)
    hold = shop.desk.session.holder("T001").hold
    assert hold is not None and shop.desk.heat.read("T001", hold.where, hold.hottest_c).ended
    shop.clock.forward(86400)
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Shrink station"))
    assert [card.holder.key for card in shop.desk.heat.board()] == ["T002"]
    assert not any("T001" in kept for kept in (holds._kept, holds._advised, holds._skins))


def test_a_cold_skin_nobody_can_explain_ends_nothing_however_often_it_is_read(shop: Shop) -> None:
    on_the_rack(shop)
    shop.clock.forward(60)
    words = []
    for _ in range(4):  # a dip nobody scanned: the skin is cold, the steel behind it is not
        shop.clock.forward(10)
        taken = shop.desk.heat.read("T001", "nose", 28.0)
        words.append(taken.say.key)
        assert not taken.ended
    assert words[0] == "reading.questioned" and words[1] == "reading.everywhere"
    for where in ("flange", "shank"):
        assert not shop.desk.heat.read("T001", where, 27.0).ended
    shop.clock.forward(300)
    assert not shop.desk.heat.read("T001", "nose", 61.0).ended, "it came back from inside"
    assert shop.desk.session.holder("T001").hold is not None


def test_one_that_was_never_heated_is_free_after_readings_all_over_and_a_soak(shop: Shop) -> None:
    on_the_rack(shop)
    for where in ("nose", "flange", "shank"):
        shop.clock.forward(20)
        assert not shop.desk.heat.read("T001", where, 23.0).ended
    shop.clock.forward(300)
    assert shop.desk.heat.read("T001", "nose", 23.0).ended


def test_infrared_alone_never_ends_a_hold(shop: Shop) -> None:
    on_the_rack(shop)
    shop.clock.forward(3 * 3600)
    hold = shop.desk.session.holder("T001").hold
    assert hold is not None
    assert not shop.desk.heat.read("T001", hold.where, hold.hottest_c, "infrared").ended


def test_after_three_readings_of_a_pair_time_alone_ends_its_hold(shop: Shop) -> None:
    on_the_rack(shop)
    for minutes in (20, 10, 10):
        shop.clock.forward(60 * minutes)
        hold = shop.desk.session.holder("T001").hold
        assert hold is not None and hold.needs_reading
        shop.desk.heat.read("T001", hold.where, hold.hottest_c)
    hold = shop.desk.session.holder("T001").hold
    assert hold is not None and not hold.needs_reading and hold.remaining_s is not None
    shop.clock.forward(hold.remaining_s + 1)
    lines = shop.desk.tick()
    assert [line.kind for line in lines] == ["hold ended"]
    assert shop.desk.session.holder("T001").measure_in_s, "safe to touch, still too warm to measure"


def test_a_holder_nobody_saw_heated_teaches_nothing(shop: Shop) -> None:
    card = shop.desk.session.holder("T002")
    label = shop.desk.session.fresh_code(codes.CodeKind.HOLDER).text
    shop.desk.shop.register(replace(card.holder, key="NEW"), label, None, stood_cold=False)
    shop.desk.scan(label)
    shop.desk.scan(shop.place("Rack 1"))
    assert shop.desk.session.holder("NEW").hold is not None
    shop.desk.heat.read("NEW", "nose", 23.0)
    entries = [line.entry for line in shop.desk.session.book.lines(subject="NEW")]
    assert [entry.pair for entry in entries if isinstance(entry, TemperatureRead)] == [""]


def test_a_probe_on_a_hot_holder_shortens_its_hold_and_a_kiosk_started_anew_says_the_same(shop: Shop) -> None:
    shop.clock.forward(45 * 86400)
    on_the_rack(shop)
    shop.clock.forward(15 * 60)
    before = shop.desk.session.holder("T001").hold
    assert before is not None and before.remaining_s is not None
    assert not shop.desk.heat.read("T001", before.where, before.hottest_c - 3.0).ended
    after = shop.desk.session.holder("T001").hold
    assert after is not None and after.remaining_s is not None
    assert after.remaining_s < 0.85 * before.remaining_s
    assert after.high_c - after.low_c < 0.7 * (before.high_c - before.low_c)
    session = shop.desk.session
    anew = Holds(session.settings.heat, session.cards.lessons)
    facts = session.cards.hold_facts("T001")
    assert facts is not None
    assert anew.view(facts, session.now()) == after


def test_what_the_probe_was_good_for_stays_with_its_reading(shop: Shop) -> None:
    shop.clock.forward(40 * 86400.0)
    shop.desk.people.change_setting("heat", "probe_tolerance_k", "1.5", "class 1")
    on_the_rack(shop)
    shop.clock.forward(1500.0)
    before = shop.desk.session.holder("T001").hold
    assert before is not None
    shop.desk.heat.read("T001", "nose", round(before.hottest_c, 1))
    read = shop.desk.session.holder("T001").hold
    shop.desk.people.change_setting("heat", "probe_tolerance_k", "5", "another one was bought")
    assert read is not None and shop.desk.session.holder("T001").hold == read
    facts = shop.desk.session.cards.hold_facts("T001")
    assert facts is not None and [each.tolerance_k for each in facts.readings] == [1.5]
    by_another = replace(facts, readings=tuple(replace(each, tolerance_k=2.5) for each in facts.readings))
    longer = shop.desk.session.holds.view(by_another, shop.desk.now())
    assert longer.remaining_s is not None and read.remaining_s is not None
    assert read.remaining_s < 0.98 * longer.remaining_s
    shop.clock.forward(10.0)
    shop.desk.heat.read("T001", "nose", round(before.hottest_c, 1))
    shop.desk.heat.withdraw("T001", shop.desk.session.book.last_id)
    facts = shop.desk.session.cards.hold_facts("T001")
    assert facts is not None and [each.tolerance_k for each in (*facts.readings, *facts.withdrawn)] == [1.5, 5.0]


def test_a_doubted_reading_leaves_the_wait_as_it_is(shop: Shop) -> None:
    on_the_rack(shop)
    shop.clock.forward(15 * 60)
    before = shop.desk.session.holder("T001").hold
    assert shop.desk.heat.read("T001", "nose", 25.0).verdict == "questioned"
    after = shop.desk.session.holder("T001").hold
    assert before is not None and after is not None
    assert after.remaining_s == before.remaining_s


def test_a_reading_just_under_the_limit_says_how_long_is_left(shop: Shop) -> None:
    on_the_rack(shop)
    shop.clock.forward(38 * 60)
    hold = shop.desk.session.holder("T001").hold
    assert hold is not None
    taken = shop.desk.heat.read("T001", hold.where, shop.desk.session.settings.heat.limit_c - 0.3)
    assert not taken.ended and taken.say.key == "reading.close"
    assert taken.say["remaining_s"]


def test_the_desk_says_where_and_when_to_probe_next_and_nothing_of_a_cold_holder(shop: Shop) -> None:
    assert shop.desk.heat.advice("T001") is None
    on_the_rack(shop)
    for _ in range(12):
        shop.clock.forward(10 * 60)
        hold = shop.desk.session.holder("T001").hold
        found = shop.desk.heat.advice("T001")
        assert hold is not None and hold.remaining_s is not None
        assert found is None or 0.0 <= found.in_s <= found.free_s <= found.else_s <= hold.remaining_s + 1.0
        assert found is None or found.say.key == ("advice.later_again" if found.in_s else "advice.now_again")
    assert found is None, "where nothing is left to wait for nothing is to be gained"


def test_the_strip_speaks_of_the_one_that_is_free_first(shop: Shop) -> None:
    on_the_rack(shop)
    shop.clock.forward(600)
    for code in (shop.holder("T002"), shop.place("Shrink station"), shop.holder("T002"), shop.place("Rack 1")):
        shop.desk.scan(code)
    shop.clock.forward(60)
    board = shop.desk.heat.board()
    told = shop.desk.heat.advice_next(board)
    assert told is not None and len(board) == 2
    first, found = told
    assert first.hold is not None and first.hold.remaining_s == min(
        card.hold.remaining_s or 0.0 for card in board if card.hold
    )
    assert found == shop.desk.heat.advice(first.holder.key)


def test_advice_is_worked_out_once_until_something_changes(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    on_the_rack(shop)
    shop.clock.forward(600)
    asked: list[float] = []
    worked_out = hold.advice

    def counted(*given: Any) -> Any:
        asked.append(given[-1])
        return worked_out(*given)

    monkeypatch.setattr(hold, "advice", counted)
    for _ in range(60):
        shop.clock.forward(1)
        shop.desk.heat.advice("T001")
    assert len(asked) == 1
    found = shop.desk.heat.advice("T001")
    assert found is not None
    shop.desk.heat.read("T001", found.where, found.under_c)
    shop.desk.heat.advice("T001")
    assert len(asked) == 2



@pytest.mark.parametrize("ran_s", [7 * 3600.0, 40 * 86400.0])
@pytest.mark.parametrize("by_file", [False, True])
def test_a_better_probe_found_in_the_settings_counts_from_the_next_heating_on(
    shop: Shop, ran_s: float, by_file: bool
) -> None:
    """A hold keeps the worst a probe was good for since it began, or a figure edited would end it sooner."""

    def probe_is_good_for(tolerance_k: float) -> None:
        if by_file:
            shop.desk.close()
            (shop.folder / "settings.toml").write_text(f"[heat]\nprobe_tolerance_k = {tolerance_k}\n")
            shop.reopen()
        else:
            shop.desk.people.change_setting("heat", "probe_tolerance_k", f"{tolerance_k}", "another certificate")

    def read() -> float:
        hold = shop.desk.session.holder("T001").hold
        assert hold is not None
        shop.desk.heat.read("T001", "nose", round(hold.hottest_c, 1))
        facts = shop.desk.session.cards.hold_facts("T001")
        assert facts is not None
        return facts.readings[-1].tolerance_k

    shop.clock.forward(ran_s)
    probe_is_good_for(5.0)
    on_the_rack(shop)
    shop.clock.forward(900.0)
    probe_is_good_for(1.0)
    assert read() == 5.0
    probe_is_good_for(2.5)
    assert read() == 5.0, "there and back is no better"
    assert shop.desk.session.book.check() == []
    shop.clock.forward(40_000.0)
    on_the_rack(shop)
    shop.clock.forward(900.0)
    assert read() == 2.5


@pytest.mark.parametrize("tolerance_k", [1.0, 2.5, 5.0])
def test_a_reading_of_steel_nobody_saw_heated_says_what_the_shops_probe_is_good_for(
    shop: Shop, tolerance_k: float
) -> None:
    shop.clock.forward(9 * 86400.0)
    shop.desk.people.change_setting("heat", "probe_tolerance_k", f"{tolerance_k}", "by its certificate")
    shop.desk.session.write(Restored("ledger.db", (), ("T001",)))
    assert shop.desk.session.holder("T001").heat is Heat.UNKNOWN
    taken = shop.desk.heat.read("T001", "nose", 30.0)
    line = shop.desk.session.book.line(taken.line)
    assert line is not None and isinstance(line.entry, TemperatureRead) and line.entry.tolerance_k == tolerance_k


def test_a_warmer_reading_that_was_doubted_is_read_again_wherever_its_holder_goes(shop: Shop) -> None:
    """That others of its type are known at a place says nothing about one of which nobody knows why it is so warm."""
    shop.clock.forward(9 * 86400.0)
    on_the_rack(shop)
    for _ in range(3):
        shop.clock.forward(20 * 60)
        held = shop.desk.session.holder("T001").hold
        assert held is not None
        shop.desk.heat.read("T001", held.where, round(held.hottest_c, 1))
    shop.clock.forward(86400.0)
    assert shop.desk.session.holder("T001").heat is Heat.COOL, "here time alone ends a hold"
    for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place("Sleeve 1")):
        shop.desk.scan(code)
    shop.clock.forward(120.0)
    assert shop.desk.heat.read("T001", "nose", 290.0).verdict == "questioned"
    for code in (shop.holder("T001"), shop.place("Rack 1")):
        shop.desk.scan(code)
    shop.clock.forward(86400.0)
    after = shop.desk.session.holder("T001")
    assert after.heat is not Heat.COOL and after.hold is not None and after.hold.needs_reading
