"""An audit at the desk: scans, cards, photographs, pauses, and every difference closed by what happened."""

from __future__ import annotations

import pytest

from kiosk.desk.audits import AuditStatus
from kiosk.desk.session import ActRefused, NotThere
from kiosk.reader.symbols import Symbol
from kiosk.rules import codes
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.audit import Action, Difference, Shows
from kiosk.rules.cards import Command, Heat
from kiosk.rules.outcomes import Done, Reason, Refused, Wait
from tests.conftest import Shop

CABINET = "Cabinet A"
JO, SAM = "BSXD5X3637", "B6J6BXCR66"


def say(shop: Shop, text: str) -> str:
    """Scans and gives the message id of what the kiosk said."""
    outcome = shop.desk.scan(text).outcome
    shop.clock.forward(6.0)
    return outcome.why.key if isinstance(outcome, Refused) else outcome.say.key


def walk(shop: Shop, but: tuple[str, ...] = ()) -> None:
    """Scans every missing holder in its slot, in walking order, but some."""
    for item in shop.desk.audits.status().missing:
        if item.key not in but and item.place:
            say(shop, item.place)
            assert say(shop, item.code) == "audit.seen"


def kinds(status: AuditStatus) -> dict[str, Difference]:
    return {each.text: each.difference for each in status.differences}


def key(shop: Shop, difference: Difference) -> str:
    return next(each.key for each in shop.desk.audits.status().differences if each.difference is difference)


def fresh(shop: Shop) -> str:
    return shop.desk.session.fresh_code(codes.CodeKind.HOLDER).text


def test_a_tidy_cabinet_is_audited_and_closed_with_cards_alone(shop: Shop) -> None:
    shop.desk.command(Command.START_AUDIT)
    assert say(shop, shop.place(CABINET)) == "audit.opened"
    walk(shop)
    counts = shop.desk.audits.status().counts
    assert counts.expected == counts.seen == 10 and counts.right_share == 1.0
    closed = shop.desk.command(Command.CLOSE_AUDIT).outcome
    assert isinstance(closed, Done) and closed.say.key == "audit.closed"
    assert shop.desk.session.audit is None
    assert shop.desk.session.book.check() == []


def test_the_card_opens_the_cabinet_the_kiosk_stands_at(shop: Shop) -> None:
    shop.desk.session.here = shop.place(CABINET)
    opened = shop.desk.command(Command.START_AUDIT).outcome
    assert isinstance(opened, Done) and opened.say.key == "audit.opened"
    assert shop.desk.audits.status().row.place == shop.place(CABINET)


def test_the_card_is_forgotten_when_no_place_follows(shop: Shop) -> None:
    shop.desk.command(Command.START_AUDIT)
    shop.clock.forward(30.0)
    assert isinstance(shop.desk.scan(shop.place(CABINET)).outcome, Wait)
    assert shop.desk.session.audit is None


@pytest.mark.parametrize(("label", "audited"), [("Cabinet A · 1-05", CABINET), ("Mill 1 · pocket 07", "Mill 1")])
def test_the_label_of_a_slot_or_pocket_stands_for_the_whole(shop: Shop, label: str, audited: str) -> None:
    assert shop.desk.audits.open(shop.place(label)).row.place == shop.place(audited)


def test_in_an_audit_scans_move_nothing(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    before = shop.desk.session.holder("T001").at
    say(shop, shop.place("Cabinet A · 1-07"))
    assert say(shop, shop.holder("T001")) == "audit.misplaced"
    after = shop.desk.session.holder("T001").at
    assert before is not None and after is not None and before.place.code == after.place.code


def test_nothing_closes_while_a_difference_waits(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop, ("T002",))
    refused = shop.desk.audits.close()
    assert isinstance(refused, Refused) and refused.reason is Reason.AUDIT_OPEN
    assert dict(refused.why.values)["count"] == 1


def test_a_missing_holder_is_booked_as_nowhere_known_and_its_heat_is_doubted(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop, ("T002",))
    assert isinstance(shop.desk.audits.settle("T002/missing", Action.NOWHERE), Done)
    card = shop.desk.session.holder("T002")
    assert card.at is None and card.heat is Heat.UNKNOWN
    counts = shop.desk.audits.status().counts
    assert (counts.expected, counts.seen, counts.missing) == (10, 9, 1)
    assert isinstance(shop.desk.audits.close(), Done)


def test_a_difference_is_carried_over_only_with_a_reason(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop, ("T002",))
    refused = shop.desk.audits.settle("T002/missing", Action.CARRIED_OVER, "  ")
    assert isinstance(refused, Refused) and refused.reason is Reason.NEEDS_REASON
    assert isinstance(shop.desk.audits.settle("T002/missing", Action.CARRIED_OVER, "at the presetter, says Sam"), Done)
    report = shop.desk.audits.report(closed(shop))
    assert [(row.difference, row.action, row.reason) for row in report.rows] == [
        (Difference.MISSING, Action.CARRIED_OVER, "at the presetter, says Sam")
    ]


def closed(shop: Shop) -> str:
    audit = shop.desk.session.audit
    assert audit is not None
    outcome = shop.desk.audits.close()
    assert isinstance(outcome, Done), outcome
    return audit


def test_the_same_slot_again_moves_the_book_here(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    slot = shop.place("Cabinet A · 1-07")
    say(shop, slot)
    assert say(shop, shop.holder("T002")) == "audit.misplaced"
    assert say(shop, slot) == "audit.settled.book_moved"
    place = shop.desk.session.holder("T002").at
    assert place is not None and place.place.code == slot
    counts = shop.desk.audits.status().counts
    assert (counts.misplaced, counts.expected, counts.seen) == (1, 10, 1)


def test_seen_again_in_its_own_slot_it_was_put_back_and_the_report_says_so(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    own = shop.desk.session.holder("T002").at
    assert own is not None
    say(shop, shop.place("Cabinet A · 1-07"))
    assert say(shop, shop.holder("T002")) == "audit.misplaced"
    assert say(shop, own.place.code) == "audit.at", "going on with the walk settles nothing"
    assert kinds(shop.desk.audits.status())["T002"] is Difference.MISPLACED
    assert say(shop, shop.holder("T002")) == "audit.seen"
    status = shop.desk.audits.status()
    assert "T002" not in kinds(status)
    assert [(each.text, each.action) for each in status.settled] == [("T002", Action.PUT_BACK)]
    assert status.counts.misplaced == 1
    states = {spot.holder: spot.state for group in status.groups for spot in group.spots}
    assert states["T002"] is Shows.SEEN


def test_a_touch_says_that_it_was_put_back(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    say(shop, shop.place("Cabinet A · 1-07"))
    say(shop, shop.holder("T002"))
    assert isinstance(shop.desk.audits.settle("T002/misplaced", Action.PUT_BACK), Done)
    assert shop.desk.audits.status().counts.seen == 1
    assert "T002" not in kinds(shop.desk.audits.status())


def test_another_slot_next_goes_on_with_the_walk(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    say(shop, shop.place("Cabinet A · 1-07"))
    say(shop, shop.holder("T002"))
    assert say(shop, shop.place("Cabinet A · 2-01")) == "audit.at"
    assert kinds(shop.desk.audits.status())["T002"] is Difference.MISPLACED


def test_two_holders_that_changed_places_are_set_right_by_one_scan(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    one, two = (shop.desk.session.holder(name).at for name in ("T002", "T003"))
    assert one is not None and two is not None
    for slot, name in ((two, "T002"), (one, "T003")):
        say(shop, slot.place.code)
        say(shop, shop.holder(name))
    assert say(shop, one.place.code) == "audit.settled.book_moved"
    for name, slot in (("T002", two), ("T003", one)):
        stands = shop.desk.session.holder(name).at
        assert stands is not None and stands.place.code == slot.place.code
    assert {"T002", "T003"}.isdisjoint(kinds(shop.desk.audits.status()))
    assert shop.desk.session.book.check() == []


def test_a_hot_holder_in_the_cabinet_is_an_alarm_at_once_and_the_book_never_follows_it(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    shop.desk.audits.open(shop.place(CABINET))
    say(shop, shop.place("Cabinet A · 1-07"))
    scanned = shop.desk.scan(shop.holder("T001")).outcome
    assert isinstance(scanned, Done) and scanned.alarm and scanned.say.key == "audit.hot"
    assert kinds(shop.desk.audits.status())["T001"] in (Difference.HOT, Difference.UNEXPECTED)
    moved = shop.desk.audits.settle("T001/unexpected", Action.BOOK_MOVED)
    assert isinstance(moved, Refused) and moved.reason is Reason.HOT
    unsettled = shop.desk.audits.settle("T001/hot", Action.CARRIED_OVER, "no time")
    assert isinstance(unsettled, Refused) and unsettled.reason is Reason.NOT_SETTLED_SO
    shop.clock.forward(3.0)
    assert say(shop, shop.place("Rack 1")) == "audit.settled.to_cooling"
    card = shop.desk.session.holder("T001")
    assert card.at is not None and card.at.name == "Rack 1" and card.hold is not None
    assert "T001" not in kinds(shop.desk.audits.status())


def test_what_was_found_hot_stays_in_the_report_when_it_has_cooled_where_it_stood(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    shop.desk.audits.open(shop.place("Mill 1"))
    walk(shop)
    say(shop, shop.place("Mill 1 · pocket 01"))
    assert say(shop, shop.holder("T001")) == "audit.hot"
    shop.clock.forward(60.0)
    shop.desk.tick()
    assert Difference.HOT in {each.difference for each in shop.desk.audits.status().differences}
    while shop.desk.session.holder("T001").hold is not None:
        shop.clock.forward(600.0)
        shop.desk.session.last_scan_s = shop.clock.counter()  # somebody is at it all the while
        shop.desk.heat.read("T001", "nose", 23.0)
        shop.desk.tick()
    status = shop.desk.audits.status()
    assert status.counts.hot == 1
    assert [(each.difference, each.action) for each in status.settled] == [(Difference.HOT, Action.COOLED)]
    assert kinds(status)["T001"] is Difference.UNEXPECTED
    shop.desk.audits.settle("T001/unexpected", Action.PUT_BACK)
    assert [row.action for row in shop.desk.audits.report(closed(shop)).rows] == [Action.COOLED, Action.PUT_BACK]


def test_a_holder_not_proven_cool_goes_to_cooling_as_if_it_were_the_hottest(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop, ("T002",))
    shop.desk.audits.settle("T002/missing", Action.NOWHERE)
    say(shop, shop.place("Cabinet A · 1-01"))
    found = shop.desk.scan(shop.holder("T002")).outcome
    assert isinstance(found, Done) and found.alarm
    assert isinstance(shop.desk.audits.settle("T002/not_proven_cool", Action.TO_COOLING), Done)
    card = shop.desk.session.holder("T002")
    assert card.hold is not None and card.at is not None and card.at.place.kind.may_be_hot


def test_a_cooling_place_is_audited_without_alarms(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    shop.clock.forward(5.0)
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Rack 1"))
    status = shop.desk.audits.open(shop.place("Rack 1"))
    assert [item.key for item in status.missing] == ["T001"]
    scanned = shop.desk.scan(shop.holder("T001")).outcome
    assert isinstance(scanned, Done) and not scanned.alarm and scanned.say.key == "audit.seen"
    assert isinstance(shop.desk.audits.close(), Done)


def test_everything_hot_is_audited_wherever_it_stands(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    status = shop.desk.audits.open("hot")
    assert [item.key for item in status.missing] == ["T001"]
    assert status.row.name == "term.everything_hot"
    say(shop, shop.holder("T001"))
    status = shop.desk.audits.status()
    assert (status.counts.seen, status.counts.missing, status.differences) == (1, 0, ())


def test_labels_nobody_knows_and_replaced_ones_are_closed_each_in_its_way(shop: Shop) -> None:
    old = shop.holder("T002")
    new = fresh(shop)
    shop.desk.shop.replace_label("T002", new)
    strange = fresh(shop)
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop)
    assert say(shop, old) == "audit.retired"
    assert say(shop, strange) == "audit.unknown"
    assert say(shop, "AN OLD STICKER") == "audit.unknown"
    found = kinds(shop.desk.audits.status())
    assert found == {
        old: Difference.RETIRED_LABEL, strange: Difference.UNKNOWN_CODE, "AN OLD STICKER": Difference.UNKNOWN_CODE,
    }  # fmt: skip
    refused = shop.desk.audits.settle(f"{strange}/unknown_code", Action.REGISTERED)
    assert isinstance(refused, Refused) and refused.reason is Reason.UNKNOWN_CODE
    shop.desk.shop.adopt_mark("T003", "AN OLD STICKER")
    assert "AN OLD STICKER" not in kinds(shop.desk.audits.status()), "registered since, so no longer unknown"
    shop.desk.audits.settle(f"{strange}/unknown_code", Action.LABEL_OFF)
    shop.desk.audits.settle(f"{old}/retired_label", Action.LABEL_OFF)
    assert isinstance(shop.desk.audits.close(), Done)


def test_one_label_in_two_slots_at_once_is_told(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    shop.desk.scan(shop.place("Cabinet A · 1-01"))
    shop.desk.scan(shop.holder("T002"))
    shop.clock.forward(2.0)
    shop.desk.scan(shop.place("Cabinet A · 3-01"))
    assert shop.desk.scan(shop.holder("T002")).outcome.say.key == "audit.twin"  # type: ignore[union-attr]
    twin = next(d for d in shop.desk.audits.status().differences if d.difference is Difference.DUPLICATE_LABEL)
    assert (twin.booked_name, twin.found_name) == ("Cabinet A · 1-01", "Cabinet A · 3-01")


def test_an_eye_that_finds_a_shrink_holder_empty_leaves_its_heat_in_doubt(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop)
    difference = shop.desk.audits.empty("T002")
    assert difference is not None and difference.difference is Difference.EMPTY_HOLDER
    assert isinstance(shop.desk.audits.settle(difference.key, Action.TORN_DOWN), Done)
    card = shop.desk.session.holder("T002")
    assert card.assembly is None and card.at is None and card.heat is Heat.UNKNOWN


def test_an_audit_pauses_outlasts_a_restart_and_goes_on_with_another_person(shop: Shop) -> None:
    shop.desk.scan("BSXD5X3637")  # Jo
    audit = shop.desk.audits.open(shop.place(CABINET)).row.key
    items = shop.desk.audits.status().missing
    for item in items[:4]:
        say(shop, item.code)
    shop.desk.audits.pause()
    assert isinstance(shop.desk.scan(items[5].code).outcome, Wait), "scans move holders again"
    shop.reopen()
    (row,) = shop.desk.audits.running()
    assert row.key == audit and row.paused
    shop.clock.forward(8 * 3600.0)
    shop.desk.scan("B6J6BXCR66")  # Sam, the next shift
    status = shop.desk.audits.open(shop.place(CABINET))
    assert (status.counts.seen, status.counts.missing) == (4, 6)
    walk(shop)
    report = shop.desk.audits.report(closed(shop))
    assert report.people == ("Jo Reed", "Sam Bell")
    assert report.active_s < 3600.0, "the night between is nobody's time"


def test_an_audit_nobody_works_on_pauses_by_itself(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    shop.clock.forward(shop.desk.session.settings.kiosk.sign_out_s + 1.0)
    shop.desk.tick()
    assert shop.desk.session.audit is None
    assert shop.desk.audits.running()[0].paused


def test_an_audit_opened_by_touch_after_a_quiet_hour_is_not_paused_at_once(shop: Shop) -> None:
    shop.clock.forward(3600.0)
    audit = shop.desk.audits.open(shop.place(CABINET)).row.key
    shop.clock.forward(1.0)
    shop.desk.tick()
    assert shop.desk.session.audit == audit
    shop.clock.forward(shop.desk.session.settings.kiosk.sign_out_s + 1.0)
    shop.desk.tick()
    assert shop.desk.session.audit is None
    shop.desk.audits.open(shop.place(CABINET))
    shop.desk.tick()
    assert shop.desk.session.audit == audit


def test_opening_what_is_open_already_goes_on_with_it(shop: Shop) -> None:
    first = shop.desk.audits.open(shop.place(CABINET)).row.key
    shop.desk.audits.pause()
    assert shop.desk.audits.open(shop.place(CABINET)).row.key == first
    assert len(shop.desk.audits.running()) == 1


def test_a_machines_audit_covers_pockets_and_spindle(shop: Shop) -> None:
    status = shop.desk.audits.open(shop.place("Mill 1"))
    spots = [spot.spot.name for group in status.groups for spot in group.spots]
    assert "pocket 01" in spots and "spindle" in spots and "Mill 1" not in spots
    assert status.counts.expected > 0


def test_the_report_proves_itself_against_the_book(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop, ("T002",))
    shop.desk.audits.settle("T002/missing", Action.NOWHERE)
    report = shop.desk.audits.report(closed(shop))
    line = shop.desk.session.book.line(report.line)
    assert line is not None and isinstance(line.entry, L.AuditClosed) and line.hash == report.hash
    held = shop.desk.records.line_check
    assert held(report.line, report.hash[:16]).genuine and held(report.line, report.hash).genuine
    wrong = "0" * 16 if not report.hash.startswith("0" * 16) else "1" * 16
    assert not held(report.line, wrong).genuine
    assert not held(report.line, report.hash[:5]).genuine, "too little to prove anything"
    assert not held(1, report.hash).genuine and held(shop.desk.session.book.last_id + 1, report.hash).line is None
    (mark,) = shop.desk.audits.trend()
    assert mark.counts == report.counts and mark.counts.right_share == 0.9


def test_a_report_says_the_same_after_the_holders_went_elsewhere(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop, ("T002",))
    shop.desk.audits.settle("T002/missing", Action.NOWHERE)
    audit = closed(shop)
    report = shop.desk.audits.report(audit)
    shop.desk.scan(shop.holder("T003"))
    shop.desk.scan(shop.place("Bench 1"))
    assert shop.desk.audits.report(audit) == report


def test_a_missing_holder_is_looked_for_where_it_came_from_with_its_neighbours_named(shop: Shop) -> None:
    shop.desk.scan("BSXD5X3637")
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Bench 2"))
    shop.clock.forward(10.0)
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Cabinet A · 1-08"))
    shop.clock.forward(60.0)
    looked = shop.desk.audits.look_for("T002")
    assert looked.place == "Cabinet A · 1-08" and looked.by == "Jo Reed"
    assert looked.places[0][1] == "Bench 2"
    assert shop.desk.session.holder("T003").name in looked.neighbours


def test_where_a_given_up_holder_turned_up_is_learnt(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop, ("T002",))
    shop.desk.audits.settle("T002/missing", Action.NOWHERE)
    closed(shop)
    for where in ("nose", "flange", "shank"):
        shop.desk.heat.read("T002", where, 24.0)
    shop.clock.forward(300.0)
    assert shop.desk.heat.read("T002", "nose", 24.0).ended
    shop.desk.scan(shop.holder("T002"))
    assert isinstance(shop.desk.scan(shop.place("Cabinet B · 1-06")).outcome, Done)
    shop.clock.forward(60.0)
    shop.desk.scan(shop.holder("T002"))
    assert isinstance(shop.desk.scan(shop.place("Cabinet A · 1-01")).outcome, Done)
    likely = shop.desk.audits.look_for("T002").places
    again = next(each for each, name in likely if name == "Cabinet B · 1-06")
    assert again.times == 1


def symbol(text: str, x: float, y: float) -> Symbol:
    return Symbol(text, "QRCode", ((x - 20, y - 20), (x + 20, y - 20), (x + 20, y + 20), (x - 20, y + 20)))


def test_a_photograph_ticks_a_drawer_off_and_says_what_to_draw(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    slots = {name: shop.place(f"Cabinet A · 1-0{name}") for name in (1, 2, 3)}
    symbols = [symbol(code, 200.0 * name, 300.0) for name, code in slots.items()]
    symbols += [
        symbol(shop.holder("T002"), 200.0, 230.0),
        symbol(shop.holder("T003"), 610.0, 225.0),  # belongs into 1-02
        symbol("AN OLD STICKER", 400.0, 235.0),
    ]
    taken = shop.desk.audits.photo(symbols, shop.place("Cabinet A · Drawer 1"))
    assert [mark.state for mark in taken.marks] == [Shows.SEEN, Shows.MISPLACED, Shows.UNKNOWN]
    assert all(isinstance(line.entry, L.Seen) and line.entry.by_photo for line in taken.lines)
    assert not taken.alarm
    found = {each.text: each for each in shop.desk.audits.status().differences}
    assert found["T003"].found == slots[3]
    assert found["AN OLD STICKER"].found == slots[2]
    again = shop.desk.audits.photo(symbols, shop.place("Cabinet A · Drawer 1"))
    assert [line.entry for line in again.lines if getattr(line.entry, "holder", None)] == []


def test_a_photograph_of_something_hot_is_an_alarm(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    shop.desk.audits.open(shop.place(CABINET))
    taken = shop.desk.audits.photo([symbol(shop.holder("T001"), 100.0, 100.0)], shop.place("Cabinet A · Drawer 1"))
    assert taken.alarm and taken.marks[0].state is Shows.HOT


def test_a_photograph_needs_an_audit(shop: Shop) -> None:
    with pytest.raises(NotThere):
        shop.desk.audits.photo([], shop.place(CABINET))


def test_without_a_badge_where_badges_are_asked_no_audit_opens(shop: Shop) -> None:
    shop.desk.people.change_setting("kiosk", "badge_required", "yes", "the shop's rule")
    refused = shop.desk.command(Command.START_AUDIT).outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.BADGE_FIRST
    with pytest.raises(ActRefused) as touched:
        shop.desk.audits.open(shop.place(CABINET))
    assert touched.value.reason is Reason.BADGE_FIRST and touched.value.remedy.key == "remedy.badge_first"
    assert shop.desk.audits.running() == ()
    shop.desk.scan(JO)
    shop.desk.command(Command.START_AUDIT)
    assert say(shop, shop.place(CABINET)) == "audit.opened"


def test_whoever_signs_out_in_the_middle_of_an_audit_does_nothing_more_in_it(shop: Shop) -> None:
    shop.desk.people.change_setting("kiosk", "badge_required", "yes", "the shop's rule")
    shop.desk.scan(JO)
    shop.desk.audits.open(shop.place(CABINET))
    say(shop, shop.place("Cabinet A · 1-07"))
    say(shop, shop.holder("T003"))
    shop.desk.people.sign_out()
    before = shop.desk.session.book.last_id
    audits = shop.desk.audits
    for text in (shop.holder("T002"), fresh(shop), "AN OLD STICKER"):
        assert say(shop, text) == "refused.badge_first"
    drawer = shop.place("Cabinet A · Drawer 1")
    for act in (
        lambda: audits.photo([symbol(shop.holder("T002"), 100.0, 100.0)], drawer),
        lambda: audits.empty("T002"),
        lambda: audits.open(drawer),
    ):
        with pytest.raises(ActRefused):
            act()
    for outcome in (audits.settle("T003/misplaced", Action.PUT_BACK), audits.close()):
        assert isinstance(outcome, Refused) and outcome.reason is Reason.BADGE_FIRST
    written = shop.desk.session.book.lines(before)
    assert {line.entry.kind for line in written} == {L.TurnedAway.kind}
    shop.desk.scan(SAM)
    assert say(shop, shop.place("Cabinet A · 1-01")) == "audit.at"
    assert say(shop, shop.holder("T002")) == "audit.seen"


def test_an_audit_of_a_place_out_of_use_is_refused_with_what_to_scan_instead(shop: Shop) -> None:
    bench = shop.place("Bench 2")
    shop.desk.session.write(L.PlaceRetired(bench, "sold"))
    with pytest.raises(ActRefused) as refused:
        shop.desk.audits.open(bench)
    assert refused.value.reason is Reason.NOT_AUDITED
    shop.desk.command(Command.START_AUDIT)
    assert say(shop, bench) == "refused.not_audited"


def test_two_people_share_an_audit_at_one_kiosk_and_each_line_says_whose_it_is(shop: Shop) -> None:
    shop.desk.scan(JO)
    audit = shop.desk.audits.open(shop.place(CABINET)).row.key
    people = {"jo": JO, "sam": SAM}
    who = {}
    for at, item in enumerate(shop.desk.audits.status().missing):
        name = ("sam", "jo")[at % 2]
        assert say(shop, people[name]) == "signed_in"
        assert shop.desk.session.audit == audit, "a badge ends no audit"
        assert item.place is not None
        say(shop, item.place)
        assert say(shop, item.code) == "audit.seen"
        who[item.key] = name
    seen = [line for line in shop.desk.session.book.lines(0) if isinstance(line.entry, L.Seen)]
    assert {line.entry.holder: line.operator for line in seen if isinstance(line.entry, L.Seen)} == who
    report = shop.desk.audits.report(closed(shop))
    assert report.people == ("Jo Reed", "Sam Bell")
    assert (report.counts.seen, report.rows) == (10, ())


def test_what_one_settled_the_other_finds_settled(shop: Shop) -> None:
    shop.desk.scan(JO)
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop, ("T002", "T003"))
    shop.desk.audits.settle("T002/missing", Action.NOWHERE)
    shop.desk.scan(SAM)
    with pytest.raises(NotThere):
        shop.desk.audits.settle("T002/missing", Action.NOWHERE)
    shop.desk.audits.settle("T003/missing", Action.CARRIED_OVER, "Jo looks at the presetter")
    report = shop.desk.audits.report(closed(shop))
    assert [(row.text, row.operator) for row in report.rows] == [("T002", "Jo Reed"), ("T003", "Sam Bell")]


def test_a_kiosk_that_died_in_an_audit_goes_on_with_it_and_nothing_seen_is_lost(shop: Shop) -> None:
    shop.desk.scan(JO)
    audit = shop.desk.audits.open(shop.place(CABINET)).row.key
    for item in shop.desk.audits.status().missing[:3]:
        say(shop, item.code)
    shop.reopen()  # without a pause: the power went
    assert shop.desk.session.audit is None
    shop.desk.scan(SAM)
    status = shop.desk.audits.open(shop.place("Cabinet A · 1-01"))
    assert (status.row.key, status.counts.seen, status.people) == (audit, 3, ("Jo Reed",))
    walk(shop)
    assert shop.desk.audits.report(closed(shop)).people == ("Jo Reed", "Sam Bell")
    assert shop.desk.session.book.check() == []


def test_a_drawer_photographed_and_then_scanned_by_hand_is_no_label_twice(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    drawer, slot = shop.place("Cabinet A · Drawer 1"), shop.place("Cabinet A · 1-01")
    shop.desk.audits.photo([symbol(slot, 200, 300), symbol(shop.holder("T002"), 200, 240)], drawer)
    assert shop.desk.scan(shop.holder("T002")).outcome.say.key == "audit.again"  # type: ignore[union-attr]
    shop.desk.audits.photo([symbol(shop.holder("T003"), 200, 240)], drawer)
    shop.desk.scan(shop.place("Cabinet A · 1-02"))
    assert shop.desk.scan(shop.holder("T003")).outcome.say.key == "audit.seen"  # type: ignore[union-attr]
    assert {"T002", "T003"}.isdisjoint(kinds(shop.desk.audits.status()))


def test_one_label_in_two_places_of_one_photograph_is_told(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    twice = [symbol(shop.holder("T002"), 100, 100), symbol(shop.holder("T002"), 600, 100)]
    taken = shop.desk.audits.photo(twice, shop.place("Cabinet A · Drawer 1"))
    assert [mark.state for mark in taken.marks] == [Shows.SEEN, Shows.MISPLACED]
    assert taken.marks[1].say.key == "audit.twin"
    assert kinds(shop.desk.audits.status())[shop.holder("T002")] is Difference.DUPLICATE_LABEL


def test_a_photograph_that_finds_a_stray_in_its_own_slot_says_it_was_put_back(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    say(shop, shop.place("Cabinet A · 3-01"))
    assert say(shop, shop.holder("T002")) == "audit.misplaced"
    shop.desk.audits.photo([symbol(shop.holder("T002"), 100, 100)], shop.place("Cabinet A · Drawer 1"))
    status = shop.desk.audits.status()
    assert "T002" not in kinds(status)
    assert [(each.text, each.action) for each in status.settled] == [("T002", Action.PUT_BACK)]


def test_a_photograph_signs_nobody_in_and_binds_no_label(shop: Shop) -> None:
    label = shop.desk.labels.fresh_label("T003").code.text
    shop.desk.audits.open(shop.place(CABINET))
    symbols = [symbol(text, 100.0 * at, 100.0) for at, text in enumerate((JO, label), 1)]
    taken = shop.desk.audits.photo(symbols, shop.place("Cabinet A · Drawer 1"))
    assert [mark.say.key for mark in taken.marks] == ["audit.by_hand", "audit.by_hand"]
    assert taken.lines == () and shop.desk.session.operator is None
    assert shop.holder("T003") != label


def test_a_cutter_seen_after_all_closes_what_the_eye_said_before(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop)
    assert shop.desk.audits.empty("T002") is not None
    assert shop.desk.audits.empty("T002", is_empty=False) is None
    assert isinstance(shop.desk.audits.close(), Done)
    assert shop.desk.session.holder("T002").assembly is not None


def test_an_unknown_label_given_to_a_holder_counts_as_that_holder_seen(shop: Shop) -> None:
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop, ("T003",))
    say(shop, shop.place("Cabinet A · 1-02"))
    assert say(shop, "AN OLD STICKER") == "audit.unknown"
    assert kinds(shop.desk.audits.status()) == {
        "T003": Difference.MISSING, "AN OLD STICKER": Difference.UNKNOWN_CODE,
    }  # fmt: skip
    shop.desk.adopting.give("AN OLD STICKER", "T003")
    assert kinds(shop.desk.audits.status()) == {}
    report = shop.desk.audits.report(closed(shop))
    assert [(row.difference, row.action) for row in report.rows] == [(Difference.UNKNOWN_CODE, Action.REGISTERED)]
    assert (report.counts.seen, report.counts.unknown) == (10, 1)
    assert shop.desk.session.book.check() == []


def test_a_label_of_ours_nobody_knew_takes_the_place_of_the_one_before(shop: Shop) -> None:
    old, new = shop.holder("T003"), fresh(shop)
    shop.desk.adopting.give(new, "T003")
    assert shop.holder("T003") == new
    assert say(shop, old) == "refused.retired_code"
    shop.desk.adopting.give("LASER 7731", "T003")
    assert shop.holder("T003") == new, "a maker's mark answers beside our label"
    assert isinstance(shop.desk.scan("LASER 7731").outcome, Wait)
    with pytest.raises(NotThere):
        shop.desk.adopting.give(new, "T004")
    with pytest.raises(NotThere):
        shop.desk.adopting.give(shop.desk.session.fresh_code(codes.CodeKind.PLACE).text, "T004")


def test_a_new_holder_takes_the_unknown_label_that_was_seen_on_it(shop: Shop) -> None:
    text = fresh(shop)
    shop.desk.audits.open(shop.place(CABINET))
    walk(shop)
    slot = shop.place("Cabinet A · 1-07")
    say(shop, slot)
    assert say(shop, text) == "audit.unknown"
    holder = Holder("T900", "Collet 20 x 100", Coupling.parse("HSK63"), Clamping.COLLET, 20.0)
    shop.desk.adopting.register(holder, text, slot, stood_cold=True)
    assert kinds(shop.desk.audits.status()) == {}
    assert isinstance(shop.desk.audits.close(), Done)
    assert shop.desk.session.book.check() == []


def test_without_a_badge_where_badges_are_asked_no_label_changes_hands(shop: Shop) -> None:
    shop.desk.people.change_setting("kiosk", "badge_required", "yes", "the shop's rule")
    with pytest.raises(ActRefused):
        shop.desk.adopting.give("AN OLD STICKER", "T003")
    shop.desk.scan(JO)
    shop.desk.adopting.give("AN OLD STICKER", "T003")
