"""What happened to a thing, where it was, and a shift in figures."""

from __future__ import annotations

import pytest

from kiosk import words
from kiosk.desk.records import Filter
from kiosk.desk.session import NotThere
from kiosk.ledger import history
from kiosk.rules import lines as L
from kiosk.rules.audit import Action
from kiosk.rules.cards import Command
from kiosk.rules.lines import KINDS
from kiosk.words import catalogue
from tests.conftest import Shop


def move(shop: Shop, key: str, place: str, wait_s: float = 60.0) -> None:
    shop.desk.scan(shop.holder(key))
    shop.desk.scan(shop.place(place))
    shop.clock.forward(wait_s)


def test_a_holders_history_is_newest_first_with_who_and_where(shop: Shop) -> None:
    shop.desk.scan("BSXD5X3637")
    move(shop, "T002", "Bench 2")
    row = shop.desk.records.history("T002")[0]
    assert (row.kind, row.operator, row.place, row.holder) == ("moved", "Jo Reed", "Bench 2", "End mill 6 R0.5")
    assert dict(row.say.values)["origin"] == "Cabinet A · 1-01"


def test_history_of_a_place_an_operator_and_a_label(shop: Shop) -> None:
    shop.desk.scan("BSXD5X3637")
    move(shop, "T002", "Bench 2")
    records = shop.desk.records
    assert records.subject("Bench 2") == shop.place("Bench 2")
    there = records.history(shop.place("Bench 2"), Filter(kinds=frozenset({"moved"})))
    assert (there[0].holder, there[0].operator) == ("End mill 6 R0.5", "Jo Reed")
    assert records.subject("jo reed") == records.subject("BSXD5X3637") == "jo"
    assert {row.kind for row in records.history("jo")} >= {"signed in", "moved"}
    assert records.subject(shop.holder("T002")) == "T002"
    with pytest.raises(NotThere):
        records.subject("nobody has heard of it")


def test_filters_and_pages_give_what_was_asked(shop: Shop) -> None:
    for place in ("Bench 2", "Bench 1", "Presetter", "Bench 2"):
        move(shop, "T002", place)
    everything = shop.desk.records.history("T002")
    moves = shop.desk.records.history("T002", Filter(kinds=frozenset({"moved"})))
    assert [row.line for row in moves] == [row.line for row in everything if row.kind == "moved"]
    first = shop.desk.records.history("T002", Filter(newest=3))
    rest = shop.desk.records.history("T002", Filter(before=first[-1].line))
    assert [row.line for row in (*first, *rest)] == [row.line for row in everything]
    since = moves[1].utc_s
    late = shop.desk.records.history("T002", Filter(since_utc_s=since))
    assert all(row.utc_s >= since for row in late) and len(late) >= 2
    assert shop.desk.records.history("T002", Filter(until_utc_s=since - 1.0))[0].utc_s < since
    assert shop.desk.records.history("T002", Filter(operator="sam")) == ()


def test_an_assemblys_history_ends_when_it_is_torn_down(shop: Shop) -> None:
    move(shop, "T002", "Bench 1")
    shop.desk.session.write(L.TornDown("T002", "A002"))
    move(shop, "T002", "Bench 2")
    rows = shop.desk.records.history("A002")
    assert rows[0].kind == "torn down" and rows[-1].kind == "built"
    assert "Bench 2" not in [row.place for row in rows]


def test_where_it_was_on_tuesday(shop: Shop) -> None:
    start = shop.clock.wall()
    shop.clock.forward(3600.0)
    move(shop, "T002", "Bench 2", 3600.0)
    move(shop, "T002", "Cabinet A · 1-09", 3600.0)
    records = shop.desk.records
    assert records.where_at("T002", start + 60.0).place_name == "Cabinet A · 1-01"
    assert records.where_at("T002", start + 5400.0).place_name == "Bench 2"
    assert records.where_at("T002", shop.clock.wall()).place_name == "Cabinet A · 1-09"
    before = records.where_at("T002", start - 86400.0)
    assert before.place is None and before.since_utc_s is None


def test_where_it_was_says_whether_it_was_hot(shop: Shop) -> None:
    start = shop.clock.wall()
    move(shop, "T001", "Shrink station")
    was = shop.desk.records.where_at("T001", shop.clock.wall())
    assert was.place_name == "Shrink station" and was.hot
    assert not shop.desk.records.where_at("T001", start - 1.0).hot


def test_after_a_restore_a_hot_holder_is_not_said_to_stand_on_a_bench(shop: Shop) -> None:
    move(shop, "T002", "Bench 2")
    shop.desk.session.write(L.Restored("ledger.db", ("T002",)))
    shop.clock.forward(10.0)
    assert shop.desk.records.where_at("T002", shop.clock.wall()).place is None
    assert shop.desk.records.where_at("T002", shop.clock.wall() - 30.0).place_name == "Bench 2"


def test_a_heating_keeps_its_stays_and_readings(shop: Shop) -> None:
    move(shop, "T001", "Shrink station", 20.0)
    move(shop, "T001", "Rack 1", 20 * 3600.0)
    hold = shop.desk.session.holder("T001").hold
    assert hold is not None
    shop.desk.heat.read("T001", hold.where, 23.5)
    (record,) = shop.desk.records.heatings("T001")
    assert [name for name, _ in record.stays] == ["Shrink station", "Rack 1"]
    assert [at for _, at in record.stays] == [0.0, 20.0]
    assert (record.readings[0].value_c, record.readings[0].at_s) == (23.5, 20.0 + 20 * 3600.0)
    assert record.ended_by == "reading" and record.held_s == 20.0 + 20 * 3600.0
    curve = shop.desk.session.holds.curve(record.facts, shop.desk.now())
    assert curve is not None


def test_what_stood_beside_it_is_worked_out_backwards(shop: Shop) -> None:
    bench = shop.place("Bench 2")
    move(shop, "T002", "Bench 2")
    move(shop, "T003", "Bench 2")
    line = shop.desk.session.book.last_id
    move(shop, "T002", "Bench 1")
    move(shop, "T004", "Bench 2")
    assert history.stood_there([bench], line)[bench] >= {"T002", "T003"}
    assert "T004" not in history.stood_there([bench], line)[bench]


def test_a_shift_is_counted_and_what_was_undone_is_not(shop: Shop) -> None:
    shop.desk.scan("BSXD5X3637")
    start = shop.clock.wall()
    move(shop, "T001", "Shrink station")
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Cabinet A · 1-05"))  # refused: hot
    shop.clock.forward(60.0)
    move(shop, "T002", "Mill 1 · pocket 30", 5.0)
    shop.desk.command(Command.UNDO)
    shop.clock.forward(60.0)
    move(shop, "T002", "Mill 1 · pocket 30")
    move(shop, "T002", "Cabinet A · 1-01")
    report = shop.desk.records.shift(start)
    counts = report.counts
    assert (counts.heated, counts.issued, counts.returned, counts.shelved, counts.undone) == (1, 1, 1, 1, 1)
    assert counts.refusals == (("hot", 1),) and counts.refused == 1
    jo = next(share for share in counts.people if share.operator == "jo")
    assert jo.refusals == 1 and jo.steps >= 4
    assert report.line == shop.desk.session.book.last_id
    assert shop.desk.records.shift(start - 1e6, start - 9e5).counts.issued == 0


def test_every_kind_of_line_has_words_in_every_language(shop: Shop) -> None:
    for language in ("en", "de"):
        words = catalogue(language)
        for kind in KINDS:
            key = f"history.{kind.replace(' ', '_')}"
            assert any(name == key or name.startswith(f"{key}.") for name in words.words), (language, key)


def test_every_line_of_a_busy_day_can_be_said(shop: Shop) -> None:
    shop.desk.scan("BSXD5X3637")
    move(shop, "T001", "Shrink station")
    move(shop, "T001", "Rack 1")
    shop.desk.heat.read("T001", "nose", 90.0)
    shop.desk.audits.open(shop.place("Cabinet A"))
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan("STRANGE")
    shop.desk.audits.settle("STRANGE/unknown_code", Action.LABEL_OFF)
    shop.desk.audits.pause()
    shop.desk.people.change_setting("kiosk", "undo_s", "30", "as agreed")
    shop.desk.shop.retire("T005", "scrapped")
    shop.desk.session.write(L.Restored("ledger.db", ("T006",)), L.SignedOut("jo"))
    rows = shop.desk.records.everything(Filter(newest=2000))
    assert len({row.kind for row in rows}) >= 18
    for language in ("en", "de"):
        words = catalogue(language)
        for row in rows:
            said = words.say(row.say.key, **dict(row.say.values))
            assert said and "{" not in said, row


def test_a_heating_is_drawn_as_it_was_expected_with_what_was_read_then(shop: Shop) -> None:
    desk, clock = shop.desk, shop.clock
    move(shop, "T001", "Shrink station", 60.0)
    move(shop, "T001", "Sleeve 1", 3000.0)
    desk.heat.read("T001", "flange", 24.0)
    (first,) = desk.records.heatings("T001")
    assert (first.ended_by, len(first.readings)) == ("reading", 1)
    plot = desk.records.heat_plot(first)
    hottest = [point[1] for point in plot.curve.points]
    assert hottest[0] > 250.0 and hottest[-1] < 43.0
    assert plot.curve.readings[0][1] == 24.0
    assert plot.curve.points[-1][0] > plot.curve.readings[0][0]  # the reading lies on the drawn stretch
    assert plot.moves == (pytest.approx(0.0),)  # out of the coil when it went to the sleeve
    for _ in range(3):  # what later heatings teach does not change what was expected of this one
        clock.forward(5000.0)
        move(shop, "T001", "Shrink station", 60.0)
        move(shop, "T001", "Sleeve 1", 60.0)
        desk.heat.read("T001", "nose", 60.0)
        clock.forward(3000.0)
        desk.heat.read("T001", "flange", 24.0)
    again = desk.records.heatings("T001")[-1]
    assert desk.records.heat_plot(again) == plot


def test_a_past_heating_tells_what_its_readings_did_and_the_shift_what_they_saved(shop: Shop) -> None:
    desk, clock = shop.desk, shop.clock
    began_s = desk.now().utc_s
    move(shop, "T001", "Shrink station", 60.0)
    move(shop, "T001", "Rack 1", 1200.0)
    hold = desk.session.holder("T001").hold
    assert hold is not None
    desk.heat.read("T001", "nose", hold.hottest_c - 4.0)
    clock.forward(1500.0)
    for _ in range(60):
        hold = desk.session.holder("T001").hold
        if hold is None or desk.heat.read("T001", hold.where, min(hold.hottest_c, 36.0)).ended:
            break
        clock.forward(120.0)
    (record,) = desk.records.heatings("T001")
    assert record.ended_by == "reading" and record.held_s is not None
    told = desk.records.heat_plot(record).story
    assert [words.key for words in told[:1]] == ["heatings.read.sooner"]
    assert told[-1].key == "heatings.without.saved" and told[-1]["without_s"] > record.held_s
    counts = desk.records.shift(began_s - 1.0).counts
    assert counts.waited_min == round(record.held_s / 60.0)
    assert counts.saved_min == pytest.approx(float(told[-1]["saved_min"]), abs=1.0) and counts.saved_min > 5
    assert desk.records.shift(desk.now().utc_s + 1.0, desk.now().utc_s + 2.0).counts.waited_min == 0


def test_a_heating_belongs_to_the_cutter_that_was_in_the_holder_then(shop: Shop) -> None:
    desk = shop.desk
    move(shop, "T001", "Shrink station", 60.0)
    move(shop, "T001", "Sleeve 1", 3000.0)
    desk.heat.read("T001", "flange", 24.0)
    before = desk.records.heatings("T001")[0].facts.assembly
    move(shop, "T001", "Bench 1")
    card = desk.session.holder("T001")
    assert before is not None and card.assembly is not None and before.key == card.assembly.key
    desk.session.write(L.TornDown("T001", card.assembly.key))
    assert desk.records.heatings("T001")[0].facts.assembly == before


def test_the_hold_that_runs_is_drawn_as_on_the_hot_board(shop: Shop) -> None:
    move(shop, "T001", "Shrink station", 60.0)
    (running,) = shop.desk.records.heatings("T001")
    assert running.held_s is None
    assert shop.desk.records.heat_plot(running).curve == shop.desk.heat.curve("T001")


def test_what_somebody_did_is_found_in_everything(shop: Shop) -> None:
    shop.desk.scan("BSXD5X3637")
    move(shop, "T002", "Bench 2")
    mine = shop.desk.records.everything(Filter(operator="jo", newest=20))
    assert mine and {row.operator for row in mine} == {"Jo Reed"}
    assert shop.desk.records.everything(Filter(operator="jo", kinds=frozenset({"moved"})))[0].holder


def test_a_tool_number_taken_away_is_told_in_words(shop: Shop) -> None:
    shop.clock.forward(90 * 86400.0)
    shop.desk.build.number("T001", 12)
    shop.desk.build.number("T001", None)
    taken, given = [words.say(row.say) for row in shop.desk.records.history("T001")[:2]]
    assert "12" in given and "no tool number any more" in taken
