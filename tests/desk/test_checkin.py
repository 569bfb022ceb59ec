"""Scans at a desk with the demo shop: every refusal once, and what two scans do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from kiosk.desk.session import ActRefused
from kiosk.rules import codes
from kiosk.rules.apart import Apart
from kiosk.rules.assembly import Condition, Measured
from kiosk.rules.cards import Command, Heat
from kiosk.rules.lines import HolderRegistered, TurnedAway
from kiosk.rules.outcomes import Done, Reason, Refused, Wait
from tests.conftest import Shop


def shrink(shop: Shop, key: str = "T001") -> None:
    shop.desk.scan(shop.holder(key))
    done = shop.desk.scan(shop.place("Shrink station"))
    assert [line.kind for line in done.lines] == ["moved", "heated"]


def reason(scanned: object) -> Reason:
    outcome = scanned.outcome  # type: ignore[attr-defined]
    assert isinstance(outcome, Refused), outcome
    assert outcome.why.key and outcome.remedy.key
    return outcome.reason


@pytest.mark.parametrize("order", [("holder", "place"), ("place", "holder")])
def test_two_scans_in_either_order_move_a_holder(shop: Shop, order: tuple[str, str]) -> None:
    codes_ = {"holder": shop.holder("T002"), "place": shop.place("Bench 2")}
    first = shop.desk.scan(codes_[order[0]])
    assert isinstance(first.outcome, Wait) and first.outcome.expects.value == order[1]
    second = shop.desk.scan(codes_[order[1]])
    assert isinstance(second.outcome, Done)
    assert second.holder is not None and second.holder.at is not None
    assert second.holder.at.name == "Bench 2"


def test_the_first_scan_is_forgotten_after_a_while(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T002"))
    shop.clock.forward(21)
    assert isinstance(shop.desk.scan(shop.place("Bench 2")).outcome, Wait)


def test_a_kiosk_that_stands_at_a_place_needs_one_scan(shop: Shop) -> None:
    desk = shop.reopen(at="Bench 2")
    scanned = desk.scan(shop.holder("T002"))
    assert isinstance(scanned.outcome, Done)
    assert scanned.holder and scanned.holder.at and scanned.holder.at.name == "Bench 2"


@pytest.mark.parametrize("place", ["Cabinet A · 1-05", "Presetter", "Bench 1", "Mill 1 · pocket 07", "Regrind"])
def test_a_hot_holder_is_refused_wherever_a_hand_would_touch_it(shop: Shop, place: str) -> None:
    shrink(shop)
    shop.desk.scan(shop.holder("T001"))
    assert reason(shop.desk.scan(shop.place(place))) is Reason.HOT


def test_after_a_refusal_a_better_place_is_one_scan_away(shop: Shop) -> None:
    shrink(shop)
    shop.desk.scan(shop.holder("T001"))
    assert reason(shop.desk.scan(shop.place("Cabinet A · 1-05"))) is Reason.HOT
    assert isinstance(shop.desk.scan(shop.place("Rack 1")).outcome, Done)


def test_unknown_retired_damaged_and_foreign_labels_are_refused_each_in_its_own_way(shop: Shop) -> None:
    desk = shop.desk
    new = desk.shop.fresh_code(codes.CodeKind.HOLDER).text
    assert reason(desk.scan(new)) is Reason.UNKNOWN_CODE
    assert reason(desk.scan("https://example.org/1234")) is Reason.FOREIGN_CODE
    good = shop.holder("T002")
    damaged = desk.scan(good[:-1] + ("2" if good[-1] != "2" else "3"))
    assert reason(damaged) is Reason.DAMAGED_CODE
    assert good in str(damaged.outcome.why["near"])  # type: ignore[union-attr]
    desk.shop.replace_label("T002", new)
    assert reason(desk.scan(good)) is Reason.RETIRED_CODE
    assert isinstance(desk.scan(new).outcome, Wait)


def test_a_full_place_is_refused(shop: Shop) -> None:
    for key in ("T002", "T003"):
        shop.desk.scan(shop.holder(key))
        last = shop.desk.scan(shop.place("Presetter"))
    assert reason(last) is Reason.PLACE_FULL


def test_a_collet_holder_is_not_taken_at_the_shrink_station(shop: Shop) -> None:
    key = next(card.holder.key for card in shop.desk.shop.holders(0, 99) if card.holder.clamping.value == "collet")
    shop.desk.scan(shop.holder(key))
    assert reason(shop.desk.scan(shop.place("Shrink station"))) is Reason.NOT_SHRINK


def test_a_machine_is_no_place_but_its_pockets_are(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T002"))
    assert reason(shop.desk.scan(shop.place("Mill 1"))) is Reason.HOLDS_NOTHING


def test_a_bare_holder_is_not_loaded(shop: Shop) -> None:
    bare = next(card for card in shop.desk.shop.holders(0, 99) if card.assembly is None)
    shop.desk.scan(bare.code)
    assert reason(shop.desk.scan(shop.place("Mill 1 · pocket 30"))) is Reason.NO_ASSEMBLY


def test_an_occupied_pocket_is_refused_and_another_is_named(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T002"))
    refused = shop.desk.scan(shop.place("Mill 1 · pocket 07"))
    assert reason(refused) is Reason.POCKET_BLOCKED
    assert refused.outcome.why["use_pocket"] is not None  # type: ignore[union-attr]


def test_a_holder_nobody_saw_come_counts_as_hot(shop: Shop) -> None:
    holder = shop.desk.session.holder("T002").holder
    from dataclasses import replace

    code = shop.desk.shop.fresh_code(codes.CodeKind.HOLDER).text
    shop.desk.shop.register(replace(holder, key="NEW"), code, None, stood_cold=False)
    shop.desk.scan(code)
    assert reason(shop.desk.scan(shop.place("Cabinet A · 1-05"))) is Reason.NOWHERE_KNOWN
    assert isinstance(shop.desk.scan(shop.place("Rack 1")).outcome, Done)
    card = shop.desk.session.holder("NEW")
    assert card.heat is Heat.HELD and card.hold is not None and card.heat_cycles == 0


def test_a_cold_reading_lets_a_holder_of_unknown_heat_go(shop: Shop) -> None:
    from dataclasses import replace

    holder = replace(shop.desk.session.holder("T002").holder, key="NEW")
    code = shop.desk.shop.fresh_code(codes.CodeKind.HOLDER).text
    shop.desk.shop.register(holder, code, None, stood_cold=False)
    for where in ("nose", "flange", "shank"):
        assert not shop.desk.heat.read("NEW", where, 24.0).ended
    shop.clock.forward(300)
    assert shop.desk.heat.read("NEW", "nose", 24.0).ended
    shop.desk.scan(code)
    assert isinstance(shop.desk.scan(shop.place("Bench 1")).outcome, Done)


def test_undo_is_a_line_of_its_own_and_only_for_a_minute(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Bench 2"))
    undone = shop.desk.undo()
    assert isinstance(undone.outcome, Done) and undone.lines[0].entry.undoes == undone.lines[0].id - 1
    assert undone.holder and undone.holder.at and undone.holder.at.name.startswith("Cabinet A")
    assert reason(shop.desk.undo()) is Reason.NOTHING_TO_UNDO
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Bench 2"))
    shop.clock.forward(61)
    assert reason(shop.desk.undo()) is Reason.UNDO_TOO_LATE


def test_heating_is_never_undone(shop: Shop) -> None:
    shrink(shop)
    assert reason(shop.desk.undo()) is Reason.UNDO_HEAT
    assert shop.desk.session.holder("T001").hold is not None


def test_somebody_elses_step_is_not_undone(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Bench 2"))
    badge = codes.parse("BSXD5X3637").text
    shop.desk.scan(badge)
    assert reason(shop.desk.undo()) is Reason.NOTHING_TO_UNDO


def test_a_command_card_does_what_the_button_does(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Bench 2"))
    card = codes.make(codes.CodeKind.COMMAND, Command.UNDO.value).text
    assert isinstance(shop.desk.scan(card).outcome, Done)


def test_a_hold_ends_by_itself_only_when_its_time_was_watched(shop: Shop) -> None:
    shrink(shop)
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Rack 1"))
    shop.clock.forward(600)
    shop.desk.tick()
    shop.desk.close()
    shop.clock.forward(100_000)  # the kiosk is off
    shop.reopen()
    card = shop.desk.session.holder("T001")
    assert card.hold is not None and not card.hold.ended and card.hold.gap


def test_every_refusal_is_in_the_book_with_its_reason(shop: Shop) -> None:
    shop.desk.scan("nonsense")
    last = shop.desk.session.book.line(shop.desk.session.book.last_id)
    assert last is not None and isinstance(last.entry, TurnedAway) and last.entry.reason == "foreign_code"


def test_a_label_seen_at_two_kiosks_at_once_is_called_two_labels(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Bench 2"))
    shop.desk.close()
    (shop.folder / "settings.toml").write_text('[kiosk]\nname = "second"\n')
    shop.reopen()
    shop.clock.forward(1)
    shop.desk.scan(shop.holder("T002"))
    assert reason(shop.desk.scan(shop.place("Bench 1"))) is Reason.TWIN_CODE


def test_a_badge_is_asked_for_where_the_shop_wants_it(shop: Shop) -> None:
    shop.desk.close()
    (shop.folder / "settings.toml").write_text("[kiosk]\nbadge_required = true\n")
    shop.reopen()
    assert reason(shop.desk.scan(shop.holder("T002"))) is Reason.BADGE_FIRST
    shop.desk.scan("BSXD5X3637")
    assert isinstance(shop.desk.scan(shop.holder("T002")).outcome, Wait)


def test_work_by_touch_asks_for_a_badge_as_a_scan_does(shop: Shop) -> None:
    bench, key = shop.place("Bench 1"), "T002"
    for code in (shop.holder(key), bench):
        shop.desk.scan(code)
    new = replace(shop.desk.session.holder(key).holder, key="N001", name="Shrink 6 new")
    shop.desk.close()
    (shop.folder / "settings.toml").write_text("[kiosk]\nbadge_required = true\n")
    shop.reopen()
    last = shop.desk.session.book.last_id
    measured = Measured(length_mm=120.0, diameter_mm=5.99)
    by_touch: list[Callable[[], object]] = [
        lambda: shop.desk.heat.read(key, "nose", 22.0),
        lambda: shop.desk.build.measure(key, measured),
        lambda: shop.desk.build.say_condition(key, Condition.WORN),
        lambda: shop.desk.build.tear_down(key, Condition.WORN),
        lambda: shop.desk.build.build(key, shop.desk.build.free_cutters()[0].key),
        lambda: shop.desk.shop.register(new, None, bench, stood_cold=True),
    ]
    for act in by_touch:
        with pytest.raises(ActRefused) as refused:
            act()
        assert refused.value.reason is Reason.BADGE_FIRST
    assert shop.desk.session.book.last_id == last, "nothing was written"
    shop.desk.build.measure(key, measured, by_hand=False)  # a presetter has no badge
    shop.desk.scan("BSXD5X3637")
    assert shop.desk.build.measure(key, measured).values.length_mm == measured.length_mm
    assert shop.desk.shop.register(new, None, bench, stood_cold=True).holder.key == "N001"


def test_a_correction_keeps_what_is_known_about_the_holder(shop: Shop) -> None:
    before = shop.desk.session.holder("T002")
    shop.desk.shop.load([HolderRegistered(replace(before.holder, name="Shrink 6 x 80 slim"), "typing error")])
    after = shop.desk.session.holder("T002")
    assert after.holder.name == "Shrink 6 x 80 slim" and after.at == before.at and after.code == before.code


def test_only_a_mark_adopted_as_it_is_read_counts_as_bound(shop: Shop) -> None:
    """A scanner's text that looks like ours from a wrong keyboard is looked up so before the keyboard is blamed."""
    cards = shop.desk.session.cards
    assert not cards.is_bound("LASER 7731")
    shop.desk.shop.adopt_mark("T003", "LASER 7731")
    assert cards.is_bound("LASER 7731") and not cards.is_bound("LASER 7732")


@pytest.mark.parametrize("text", ["\ud800", "H\udcff12", "\0", "\n", "", "x" * 1_000_000])
def test_no_text_a_scanner_can_type_stops_the_kiosk(shop: Shop, text: str) -> None:
    shop.clock.forward(6 * 3600.0)
    outcome = shop.desk.scan(text).outcome
    assert isinstance(outcome, Refused) and outcome.reason is Reason.FOREIGN_CODE
    assert shop.desk.watch(text) is None
    line = shop.desk.session.book.line(shop.desk.session.book.last_id)
    assert line is not None and isinstance(line.entry, TurnedAway) and len(line.entry.text) < 10_000
    assert shop.desk.session.book.check() == []


def test_a_pocket_that_a_hand_looked_at_takes_the_holder_at_the_second_scan(shop: Shop) -> None:
    """The server is not heard, so nobody knows what stands in another machine's pocket; the look is remembered."""
    shop.clock.forward(30 * 86_400.0)
    shop.desk.session.cards.apart = Apart("kiosk", stations_heard=True, all_heard=True, caught_up=False)
    free = next(
        pocket.code
        for pocket in shop.desk.handover.machine(shop.place("Mill 1"), "T001").pockets
        if pocket.holder is None and (pocket.refused is None or pocket.refused.reason is Reason.LOOK_FIRST)
    )
    shop.desk.scan(shop.holder("T001"))
    first = shop.desk.scan(free).outcome
    assert isinstance(first, Refused) and first.reason is Reason.LOOK_FIRST
    assert isinstance(shop.desk.scan(free).outcome, Done)
