"""Ways round a hold: steps taken back, heatings nobody scanned, clocks, names and settings changed meanwhile.

Each begins at a watched time of hours, days or months: an error of sign hides where a clock begins at zero.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from kiosk.desk.session import StillHot
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping
from kiosk.rules.audit import Action, Difference
from kiosk.rules.cards import Heat, HolderCard, HoldView
from kiosk.rules.hold_proof import SOAK_S
from kiosk.rules.outcomes import Done, Reason, Refused
from tests.conftest import Shop

HOUR_S = 3600.0
STATION, BENCH, RACK, SLEEVE, SLOT = "Shrink station", "Bench 1", "Rack 1", "Sleeve 1", "Cabinet A · 1-05"


@pytest.fixture(params=[7 * HOUR_S, 9 * 24 * HOUR_S, 200 * 24 * HOUR_S], ids=["hours", "days", "months"])
def shop(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Shop]:
    """A shop whose kiosk has watched for a while."""
    shop = Shop(tmp_path / "data")
    shop.clock.forward(request.param)
    yield shop
    assert shop.desk.session.book.check() == []
    shop.desk.close()


def put(shop: Shop, place: str, key: str = "T001") -> list[str]:
    """Scans holder and place; the kinds of line that were written."""
    shop.desk.scan(shop.holder(key))
    return [line.kind for line in shop.desk.scan(shop.place(place)).lines]


def heat(shop: Shop, key: str = "T001") -> None:
    assert "heated" in put(shop, STATION, key)


def card(shop: Shop, key: str = "T001") -> HolderCard:
    return shop.desk.session.holder(key)


def hold(shop: Shop, key: str = "T001") -> HoldView:
    found = card(shop, key).hold
    assert found is not None and not found.ended
    return found


def left_s(shop: Shop, key: str = "T001") -> float:
    left = hold(shop, key).remaining_s
    assert left is not None
    return left


def is_let_go(shop: Shop, key: str = "T001", place: str = BENCH) -> bool:
    """Whether a place where hands would touch it accepts it."""
    shop.desk.tick()
    shop.desk.scan(shop.holder(key))
    return isinstance(shop.desk.scan(shop.place(place)).outcome, Done)


def trust(shop: Shop, place: str = RACK, key: str = "T001", every_s: float = 400.0) -> None:
    """Three readings at a place, so that time alone may end its holds; then the holder cools out there."""
    heat(shop, key)
    put(shop, place, key)
    for _ in range(3):
        shop.clock.forward(every_s)
        now = hold(shop, key)
        shop.desk.heat.read(key, now.where, now.hottest_c)
    cool_out(shop, key)


def cool_out(shop: Shop, key: str = "T001") -> None:
    """Waits until time has ended the hold and nothing of its warmth is left."""
    if card(shop, key).hold is not None:
        shop.clock.forward(left_s(shop, key) + 1.0)
        shop.desk.tick()
    assert card(shop, key).heat is Heat.COOL
    shop.clock.forward(24 * HOUR_S)


def read_all_over(shop: Shop, key: str = "T001") -> bool:
    """Reads it cool all over and once more after the soak; whether that, or less, ended its hold."""
    for where in ("nose", "flange", "shank"):
        if shop.desk.heat.read(key, where, 22.0).ended:
            return True
    shop.clock.forward(SOAK_S)
    return shop.desk.heat.read(key, "nose", 22.0).ended


def test_a_hold_ends_after_its_time_and_not_a_second_before(shop: Shop) -> None:
    trust(shop)
    heat(shop)
    put(shop, RACK)
    whole_s = left_s(shop)
    assert whole_s > 600.0
    shop.clock.forward(whole_s - 2.0)
    assert not is_let_go(shop)
    shop.clock.forward(3.0)
    assert is_let_go(shop)


def test_a_hold_counts_from_the_latest_moment_the_coil_can_have_let_it_go(shop: Shop) -> None:
    trust(shop)
    heat(shop)
    heating_s = shop.desk.session.settings.heat.heating_s
    at_first_s = left_s(shop)
    shop.clock.forward(heating_s)
    assert left_s(shop) == pytest.approx(at_first_s - heating_s, abs=1.0), "still in the coil, as far as is known"
    facts = shop.desk.session.cards.hold_facts("T001")
    assert facts is not None
    before_s = left_s(shop)
    shop.clock.forward(100.0)
    assert left_s(shop) == pytest.approx(before_s - 100.0, abs=1.0)


# settings, names, clocks


def edited(shop: Shop, text: str) -> None:
    shop.desk.close()
    (shop.folder / "settings.toml").write_text(text)
    shop.reopen()


@pytest.mark.parametrize(
    "values",
    ["temp_c = 150.0", "ambient_c = 10.0", "limit_c = 48.0", "heating_s = 5.0", "temp_c = 150.0\nlimit_c = 48.0"],
)
def test_settings_changed_outside_shorten_no_hold_and_are_written_down(shop: Shop, values: str) -> None:
    trust(shop)
    heat(shop)
    put(shop, RACK)
    before_s = left_s(shop)
    edited(shop, f"[heat]\n{values}\n")
    assert left_s(shop) >= before_s - 1.0
    changed = shop.desk.changed_outside
    assert {f"{line.name.split('.')[1]} = {line.value}" for line in changed} == set(values.split("\n"))
    assert all(line.reason == L.OUTSIDE for line in changed)
    assert list(changed) == [line.entry for line in shop.desk.session.book.lines() if line.kind == "setting changed"]
    shop.reopen()
    assert shop.desk.changed_outside == (), "it is told once"
    heat(shop)
    put(shop, RACK)
    again = shop.desk.session.cards.hold_facts("T001")
    assert again is not None
    (began,) = again.began
    assert began.temp_c == shop.desk.session.settings.heat.temp_c, "the next heating begins with what is set"


def test_stricter_settings_hold_longer_at_once(shop: Shop) -> None:
    trust(shop)
    heat(shop)
    put(shop, RACK)
    before_s = left_s(shop)
    edited(shop, "[heat]\ntemp_c = 390.0\n")
    assert left_s(shop) > before_s + 60.0


def test_after_more_values_than_can_be_worked_out_only_a_reading_ends_a_hold(shop: Shop) -> None:
    trust(shop)
    heat(shop)
    put(shop, RACK)
    for step in range(8):
        facts = shop.desk.session.cards.hold_facts("T001")
        assert facts is not None and len(facts.began) == step + 1 and not facts.reading_only
        edited(shop, f"[heat]\ntemp_c = {331 + step}.0\n")
    facts, card = shop.desk.session.cards.hold_facts("T001"), shop.desk.session.holder("T001")
    assert facts is not None and len(facts.began) == 1 and facts.began[0].temp_c == 338.0
    assert card.hold is not None and card.hold.needs_reading
    shop.clock.forward(12 * HOUR_S)
    shop.desk.tick()
    assert not is_let_go(shop)


def test_a_restored_hold_keeps_the_values_of_its_day_too(shop: Shop) -> None:
    shop.desk.session.write(L.Restored("ledger.db", ("T001",)))
    facts = shop.desk.session.cards.hold_facts("T001")
    assert facts is not None and [each.limit_c for each in facts.began] == [43.0]


def test_what_another_name_watched_shortens_no_hold(shop: Shop) -> None:
    trust(shop)
    edited(shop, '[kiosk]\nname = "second"\n')
    shop.clock.forward(30 * 24 * HOUR_S)  # the other name's clock is far ahead, or far behind
    edited(shop, '[kiosk]\nname = "kiosk"\n')
    heat(shop)
    put(shop, RACK)
    whole_s = left_s(shop)
    shop.clock.forward(300.0)
    for name in ("second", "kiosk", "second"):
        edited(shop, f'[kiosk]\nname = "{name}"\n')
        assert left_s(shop) >= whole_s - 1.0, name
        assert not is_let_go(shop)
        shop.clock.forward(200.0)
    assert left_s(shop) == pytest.approx(whole_s - 200.0, abs=70.0), "its own clock counts from then on"


def test_a_reader_under_another_name_shows_no_hold_as_over(shop: Shop) -> None:
    from kiosk.desk import Desk

    trust(shop)
    heat(shop)
    put(shop, RACK)
    shop.desk.close()
    (shop.folder / "settings.toml").write_text('[kiosk]\nname = "second"\n')
    with Desk.open(shop.folder, read_only=True, counter=shop.clock.counter, wall=shop.clock.wall) as reader:
        found = reader.session.holder("T001").hold
        assert found is not None and found.needs_reading and not found.ended
    shop.reopen()


@pytest.mark.parametrize("back_h", [-2.5, -300.0, 300.0])
def test_a_second_heating_is_written_whatever_the_wall_clock_says(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, back_h: float
) -> None:
    trust(shop)
    heat(shop)
    cool = left_s(shop)
    shop.clock.forward(cool + 1.0)
    shop.desk.tick()
    wall_s = shop.clock.wall()
    monkeypatch.setattr(shop.desk.session.book.clock, "_wall", lambda: wall_s + back_h * HOUR_S)
    heat(shop)
    shop.clock.forward(5.0)
    assert not is_let_go(shop)


# scans at the station


def test_a_move_taken_back_and_a_scan_at_the_station_is_another_heating(shop: Shop) -> None:
    heat(shop)
    shop.clock.forward(3.0)
    put(shop, RACK)
    assert isinstance(shop.desk.undo().outcome, Done)
    shop.clock.forward(3.0)
    cycles = card(shop).heat_cycles
    assert put(shop, STATION) == ["heated"]
    assert card(shop).heat_cycles == cycles + 1


def test_one_heating_scanned_twice_counts_once_and_is_hot_from_the_later(shop: Shop) -> None:
    trust(shop)
    heat(shop)
    shop.clock.forward(2 * HOUR_S)
    heat(shop)  # again, after two hours at the station
    cycles, once_s = card(shop).heat_cycles, left_s(shop)
    for _ in range(3):
        shop.clock.forward(3.0)
        assert put(shop, STATION) == ["heated"]
        assert card(shop).heat_cycles == cycles
        assert left_s(shop) == pytest.approx(once_s, abs=2.0)
    shop.clock.forward(24.0)
    put(shop, STATION)
    assert card(shop).heat_cycles == cycles + 1, "no chain of scans makes one heating of an hour"


@pytest.mark.parametrize("every_s", [2.0, 31.0, 200.0])
def test_scans_at_the_station_never_break_the_kiosk(shop: Shop, every_s: float) -> None:
    shop.desk.close()
    shop.reopen(at=STATION)
    lefts = []
    for _ in range(60 if every_s > 10 else 130):  # until more heatings are in a row than are solved
        shop.desk.scan(shop.holder("T001"))
        shop.desk.tick()
        assert [card.holder.key for card in shop.desk.heat.board()] == ["T001"]
        now = hold(shop)
        assert now.high_c < 450.0
        lefts.append(now.remaining_s)
        shop.clock.forward(every_s)
    assert None not in lefts
    assert max(lefts[-20:]) == pytest.approx(min(lefts[-20:]), rel=0.005), "it does not grow for ever"
    shop.reopen(at=STATION)
    assert hold(shop).high_c < 450.0


def test_a_stay_that_was_taken_back_cooled_nothing(shop: Shop) -> None:
    trust(shop)
    trust(shop, SLEEVE, every_s=25.0)
    heat(shop)
    before_s = left_s(shop)
    put(shop, SLEEVE)
    shop.clock.forward(58.0)
    assert left_s(shop) < before_s / 2
    assert isinstance(shop.desk.undo().outcome, Done)
    assert left_s(shop) >= before_s - 60.0
    put(shop, RACK)
    rack_s = left_s(shop)
    put(shop, SLEEVE)
    shop.clock.forward(10.0)
    shop.desk.undo()
    assert left_s(shop) == pytest.approx(rack_s - 10.0, abs=2.0), "at the rack all along"


def test_a_step_to_the_station_is_never_taken_back(shop: Shop) -> None:
    heat(shop)
    refused = shop.desk.undo().outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.UNDO_HEAT
    put(shop, RACK)
    put(shop, STATION)
    put(shop, STATION)  # a line of another kind in between changes nothing
    shop.desk.scan("nonsense")
    refused = shop.desk.undo().outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.UNDO_HEAT


# heat that nobody scanned


def bare(shop: Shop) -> str:
    """A shrink-fit holder without a cutter, cool, on the bench, and a cutter that fits it is free."""
    found = next(
        card.holder.key
        for card in shop.desk.shop.holders(0, 200)
        if card.assembly is None and card.holder.clamping is Clamping.SHRINK_FIT and card.heat is Heat.COOL
        if any(offer.fit.ok for offer in shop.desk.build.offers(card.holder.key))
    )
    put(shop, BENCH, found)
    return found


def build(shop: Shop, key: str) -> None:
    cutter = next(offer.cutter.key for offer in shop.desk.build.offers(key) if offer.fit.ok)
    shop.desk.build.build(key, cutter)


def test_a_shrink_fit_built_at_the_bench_was_heated_unseen(shop: Shop) -> None:
    key = bare(shop)
    build(shop, key)
    assert not is_let_go(shop, key, SLOT)
    assert read_all_over(shop, key) and is_let_go(shop, key, SLOT)


def test_a_shrink_fit_built_at_the_station_without_a_scan_is_held(shop: Shop) -> None:
    key = bare(shop)
    shop.desk.session.write(L.Moved(key, shop.place(BENCH), shop.place(STATION)))
    build(shop, key)
    assert hold(shop, key).remaining_s and not is_let_go(shop, key, SLOT)


def test_a_shrink_fit_built_at_the_station_after_its_hold_has_ended_is_held_again(shop: Shop) -> None:
    key = bare(shop)
    heat(shop, key)
    shop.clock.forward(12 * HOUR_S)
    assert read_all_over(shop, key)
    build(shop, key)
    assert not is_let_go(shop, key, SLOT)


@pytest.mark.parametrize("written", ["by the desk", "by line"])
def test_a_cutter_goes_in_by_a_heating_of_just_now_however_long_its_hold_still_runs(shop: Shop, written: str) -> None:
    key = bare(shop)
    heat(shop, key)
    whole_s = left_s(shop, key)
    shop.clock.forward(0.8 * whole_s)
    cutter = next(offer.cutter.key for offer in shop.desk.build.offers(key) if offer.fit.ok)
    if written == "by the desk":
        shop.desk.build.build(key, cutter)
        assert left_s(shop, key) > 0.5 * whole_s
    else:
        shop.desk.session.write(L.Built("A1", "new", key, cutter, 30.0))
        facts = shop.desk.session.cards.hold_facts(key)
        assert facts is not None and facts.reading_only


def test_a_heating_of_another_day_is_not_the_one_a_cutter_went_in_by(shop: Shop) -> None:
    key = bare(shop)
    heat(shop, key)
    put(shop, RACK, key)
    shop.clock.forward(12 * HOUR_S)
    assert read_all_over(shop, key)
    assert is_let_go(shop, key, SLOT) and is_let_go(shop, key, BENCH)
    build(shop, key)
    assert not is_let_go(shop, key, SLOT)


@pytest.mark.parametrize("where", [STATION, BENCH])
def test_one_heating_builds_one_tool_and_holds_it_no_longer(shop: Shop, where: str) -> None:
    """The usual way: heated, built at the station or when it has cooled, and then free."""
    key = bare(shop)
    heat(shop, key)
    if where == STATION:
        before_s = left_s(shop, key)
        build(shop, key)
        assert left_s(shop, key) == pytest.approx(before_s, rel=0.5)
    put(shop, RACK, key)
    shop.clock.forward(12 * HOUR_S)
    assert read_all_over(shop, key)
    assert is_let_go(shop, key, BENCH)
    if where == BENCH:
        build(shop, key)
    assert card(shop, key).heat is Heat.COOL and is_let_go(shop, key, SLOT)


def test_a_cutter_torn_out_and_one_shrunk_in_by_the_same_heat(shop: Shop) -> None:
    heat(shop)
    shop.clock.forward(20.0)
    shop.desk.build.tear_down("T001")
    assert card(shop).heat_cycles == shop.desk.session.holder("T001").heat_cycles
    torn_s = left_s(shop)
    shop.clock.forward(20.0)
    build(shop, "T001")
    assert left_s(shop) >= torn_s - 1.0 and not is_let_go(shop)


@pytest.mark.parametrize("unseen", ["torn down", "at the station"])
def test_what_was_read_before_heat_that_nobody_saw_proves_nothing(shop: Shop, unseen: str) -> None:
    built = card(shop).assembly
    assert built is not None
    shop.desk.shop.correct_place("T001", None, "lost")
    put(shop, RACK)
    for where in ("nose", "flange", "shank"):
        shop.desk.heat.read("T001", where, 22.0)
    station = L.Moved("T001", shop.place(RACK), shop.place(STATION))
    shop.desk.session.write(L.TornDown("T001", built.key) if unseen == "torn down" else station)
    shop.clock.forward(SOAK_S)
    assert not shop.desk.heat.read("T001", "shank", 30.0).ended, "the nose may have been heated since it was read"


def test_a_tear_down_nobody_heated_for_leaves_it_hot(shop: Shop) -> None:
    built = card(shop).assembly
    assert built is not None and card(shop).heat is Heat.COOL
    shop.desk.session.write(L.TornDown("T001", built.key))
    assert not is_let_go(shop)


def test_what_an_audit_finds_at_the_station_was_heated_there(shop: Shop) -> None:
    put(shop, BENCH)
    shop.desk.audits.open(shop.place(STATION))
    shop.desk.scan(shop.holder("T001"))
    found = next(
        each
        for each in shop.desk.audits.status().differences
        if each.text == "T001" and each.difference in (Difference.UNEXPECTED, Difference.MISPLACED)
    )
    assert isinstance(shop.desk.audits.settle(found.key, Action.BOOK_MOVED), Done)
    shop.desk.audits.close()
    assert card(shop).at is not None and hold(shop) and not is_let_go(shop)


@pytest.mark.parametrize("door", ["corrected", "by line", "registered"])
def test_whatever_stands_at_the_station_was_heated(shop: Shop, door: str) -> None:
    put(shop, BENCH)
    key = "T001"
    if door == "corrected":
        shop.desk.session.supervised = lambda reason=None: None  # type: ignore[method-assign]  # the PIN was given
        assert isinstance(shop.desk.shop.correct_place(key, shop.place(STATION), "it stands there"), HolderCard)
    elif door == "by line":
        shop.desk.session.write(L.Moved(key, shop.place(BENCH), shop.place(STATION)))
    else:
        from dataclasses import replace

        new = replace(card(shop).holder, key="NEW")
        key = shop.desk.shop.register(new, None, shop.place(STATION), stood_cold=True).holder.key
    assert card(shop, key).heat is not Heat.COOL
    assert not is_let_go(shop, key) and not is_let_go(shop, key, SLOT)


def test_a_holder_of_unknown_heat_heated_once_more_is_warm_all_over(shop: Shop) -> None:
    trust(shop)
    heat(shop)
    cold_s = left_s(shop)
    put(shop, RACK)
    cool_out(shop)
    shop.desk.session.write(L.Restored("b", (), ("T001",)))
    heat(shop)
    assert left_s(shop) > 1.5 * cold_s


def test_a_twin_of_a_hot_holder_registered_as_cold_is_warned_about(shop: Shop) -> None:
    from dataclasses import replace

    like = replace(card(shop).holder, key="NEW")
    other = replace(like, key="OTHER", bore_mm=like.bore_mm + 2.0)
    assert shop.desk.shop.alike_and_hot(like) is None
    heat(shop)
    found = shop.desk.shop.alike_and_hot(like)
    assert found is not None and found.holder.key == "T001"
    assert shop.desk.shop.alike_and_hot(other) is None and shop.desk.shop.alike_and_hot(card(shop).holder) is None
    put(shop, RACK)
    shop.clock.forward(0.5 * HOUR_S)
    if card(shop).hold is not None:
        read_all_over(shop)
    assert shop.desk.shop.alike_and_hot(like) is not None, "it was hot within the hour"
    shop.clock.forward(7 * HOUR_S)
    read_all_over(shop) if card(shop).hold is not None else None
    assert shop.desk.shop.alike_and_hot(like) is None


# readings


def test_nowhere_known_is_ended_by_a_reading_alone(shop: Shop) -> None:
    trust(shop)
    heat(shop)
    put(shop, RACK)
    shop.desk.session.write(L.Moved("T001", shop.place(RACK), None, reason="audit"))
    for _ in range(4):
        shop.clock.forward(HOUR_S)
        now = hold(shop)
        shop.desk.heat.read("T001", now.where, now.hottest_c)
        if card(shop).hold is None:
            pytest.fail("one reading at the model's hottest point is no proof for what nobody saw")
    shop.clock.forward(100 * HOUR_S)
    assert shop.desk.tick() == () and hold(shop).needs_reading
    put(shop, RACK)
    assert hold(shop).needs_reading, "found again, and still nobody knows where it was"
    assert read_all_over(shop)


def test_readings_from_before_a_heating_prove_nothing_about_it(shop: Shop) -> None:
    shop.desk.session.write(L.Restored("b", (), ("T001",)))
    for where in ("nose", "flange", "shank"):
        shop.desk.heat.read("T001", where, 22.0)
    shop.clock.forward(SOAK_S)
    put(shop, BENCH)
    heat(shop)
    assert not shop.desk.heat.read("T001", "nose", 22.0).ended
    assert hold(shop)


def test_a_line_about_one_heating_touches_no_other(shop: Shop) -> None:
    heat(shop)
    first = hold(shop).heating
    shop.clock.forward(HOUR_S)
    heat(shop)
    second = hold(shop).heating
    assert first is not None and second is not None and first != second
    shop.desk.session.write(
        L.TemperatureRead("T001", "nose", 22.0, "probe", "agrees", heating=first),
        L.HoldEnded("T001", "reading", heating=first),
    )
    facts = shop.desk.session.cards.hold_facts("T001")
    assert facts is not None and facts.readings == () and hold(shop).heating == second
    shop.desk.heat.read("T001", "flange", 30.0)
    written = shop.desk.session.book.line(shop.desk.session.book.last_id)
    assert written is not None and isinstance(written.entry, L.TemperatureRead) and written.entry.heating == second


# what cannot be worked out


def test_a_hold_that_cannot_be_worked_out_needs_a_reading_and_stops_nothing(shop: Shop) -> None:
    trust(shop)
    heat(shop)
    put(shop, RACK)
    put(shop, BENCH, "T003")
    heat(shop, "T003")
    shop.desk.session.write(L.Heated("T003", shop.place(STATION), temp_c=5000.0))
    shop.desk.scan("BSXD5X3637")
    assert {each.holder.key for each in shop.desk.heat.board()} == {"T001", "T003"}
    assert hold(shop, "T003").needs_reading and hold(shop, "T003").remaining_s is None
    assert shop.desk.heat.curve("T003") is None
    assert not is_let_go(shop, "T003")
    shop.clock.forward(left_s(shop) + 1.0)
    assert [line.kind for line in shop.desk.tick()] == ["hold ended", "signed out"], "all the others go on"
    assert shop.desk.session.operator is None
    assert hold(shop, "T003").needs_reading
    put(shop, RACK, "T003")
    assert read_all_over(shop, "T003"), "readings all over are the way out"


def test_where_a_holder_stood_only_between_two_heatings_stays_as_it_was_while_its_hold_runs(shop: Shop) -> None:
    """The hold counts what the earlier heating left there: as a sleeve the rack would have left less."""
    heat(shop)
    shop.clock.forward(20.0)
    put(shop, RACK)
    shop.clock.forward(600.0)
    heat(shop)
    shop.clock.forward(60.0)
    put(shop, SLEEVE)
    before = left_s(shop)
    rack = shop.desk.session.place(shop.place(RACK)).place
    with pytest.raises(StillHot):
        shop.desk.session.unheld(L.PlaceAdded(replace(rack, way="sleeve", wet_length_mm=60.0)))
    shop.desk.session.write(L.PlaceAdded(replace(rack, way="sleeve", wet_length_mm=60.0)))  # by whoever does not ask
    assert left_s(shop) == before
