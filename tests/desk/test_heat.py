"""Readings at the desk: what ends a hold, what only questions it."""

from __future__ import annotations

from dataclasses import replace

from kiosk.desk.holds import Holds
from kiosk.rules import codes
from kiosk.rules.lines import TemperatureRead
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
    shop.clock.forward(10 * 60)
    found = shop.desk.heat.advice("T001")
    now_s = shop.desk.session.now().watched_s
    assert found is not None and found.at_s >= now_s and found.free_s <= found.else_s
    shop.clock.forward(3600)
    later = shop.desk.heat.advice("T001")
    assert later is None or later.at_s >= shop.desk.session.now().watched_s, "never in the past"
