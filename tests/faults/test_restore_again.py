"""However often something is put back, and wherever: what any ledger knew as hot or unknown stays so."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from kiosk.desk import Desk
from kiosk.ledger import backup
from kiosk.ledger.backup import RestoreDone
from kiosk.ledger.book import NAME, Book
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Family, Holder
from kiosk.rules.cards import Heat
from kiosk.rules.outcomes import Done, Reason, Refused
from tests.conftest import Shop
from tests.faults.test_restore import copy, heat

DAY_S = 86400.0


@pytest.fixture(params=[7 * 3600.0, 40 * DAY_S], ids=["hours", "weeks"])
def shop(request: pytest.FixtureRequest, tmp_path: Path) -> Shop:
    """A kiosk that has run for a while."""
    found = Shop(tmp_path / "data")
    found.clock.forward(request.param)
    found.desk.tick()
    request.addfinalizer(lambda: found.desk.close())
    return found


def put_back(shop: Shop, file: Path, folder: Path | None = None) -> RestoreDone:
    shop.desk.close()
    done = backup.restore(folder or shop.folder, file, shop.clock.wall(), counter=shop.clock.counter)
    if folder is None:
        shop.reopen()
    return done


def is_refused(desk: Desk, key: str, place: str = "Bench 1") -> bool:
    """Whether the kiosk keeps the holder away from the bench."""
    desk.cancel()
    desk.scan(desk.session.holder(key).code)
    code = desk.session.cards.find_place(place)
    assert code is not None
    return isinstance(desk.scan(code).outcome, Refused)


@pytest.mark.parametrize("times", [1, 2, 3, 5])
def test_the_same_old_copy_put_back_again_and_again_frees_nothing(shop: Shop, times: int) -> None:
    made = copy(shop)
    heat(shop, "T002")
    for _ in range(times):
        shop.clock.forward(2 * DAY_S)  # nobody looks for what was heated within a day any more
        assert "T002" in put_back(shop, made).holders
    assert is_refused(shop.desk, "T002")
    shop.clock.forward(30 * DAY_S)
    shop.desk.tick()
    assert is_refused(shop.desk, "T002")
    assert shop.desk.session.book.check() == []


def test_two_copies_by_turns_free_nothing(shop: Shop) -> None:
    first = copy(shop)
    heat(shop, "T002")
    shop.clock.forward(5.0)
    (made,) = shop.desk.copies.backup(shop.folder / "second")
    assert made.copy is not None
    heat(shop, "T003")
    for file in (first, made.copy.path, first, made.copy.path):
        shop.clock.forward(2 * DAY_S)
        put_back(shop, file)
        assert is_refused(shop.desk, "T002") and is_refused(shop.desk, "T003")


def test_a_holder_of_unknown_warmth_is_not_cool_after_a_restore(shop: Shop) -> None:
    made = copy(shop)
    shop.desk.session.write(L.Moved("T004", shop.desk.session.holder("T004").at.place.code, None))  # type: ignore[union-attr]
    assert shop.desk.session.holder("T004").heat is Heat.UNKNOWN
    for _ in range(2):
        assert "T004" in put_back(shop, made).unsure
        assert shop.desk.session.holder("T004").heat is Heat.UNKNOWN


def test_what_a_reading_proved_cool_after_a_restore_stays_cool_at_the_next_one(shop: Shop) -> None:
    made = copy(shop)
    heat(shop, "T002")
    put_back(shop, made)
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Rack 1"))
    shop.clock.forward(20 * 3600.0)
    ended = False
    for where in ("nose", "flange", "shank", "nose", "flange", "shank"):
        ended = ended or shop.desk.heat.read("T002", where, 23.5).ended
        shop.clock.forward(200.0)
    assert ended
    shop.clock.forward(2 * DAY_S)
    later = shop.desk.copies.backup(shop.folder / "later")[0].copy
    assert later is not None
    assert "T002" not in put_back(shop, later.path).holders
    assert not is_refused(shop.desk, "T002")


def test_a_new_tablet_that_gets_the_same_copy_twice_still_doubts(shop: Shop, tmp_path: Path) -> None:
    made = copy(shop)
    heat(shop, "T002")
    new = tmp_path / "new tablet"
    for _ in range(2):
        assert "T002" in put_back(shop, made, new).unsure
    shop.reopen()
    shop.desk.close()
    with Desk.open(new, counter=shop.clock.counter, wall=shop.clock.wall) as desk:
        assert is_refused(desk, "T002")


def test_the_newest_ledger_lost_the_older_replaced_one_still_speaks(shop: Shop) -> None:
    made = copy(shop)
    heat(shop, "T002")
    put_back(shop, made)
    shop.desk.close()
    (shop.folder / NAME).write_bytes(b"coffee" * 9999)
    done = backup.restore(shop.folder, made, shop.clock.wall(), counter=shop.clock.counter)
    assert "T002" in done.holders and "T003" in done.unsure
    assert is_refused(shop.reopen(), "T002")


def test_a_holder_the_copy_has_not_heard_of_comes_back_in_doubt(shop: Shop) -> None:
    made = copy(shop)
    steel = Holder("T900", "Shrink 12 new", Coupling(Family.HOLLOW_TAPER, 63), Clamping.SHRINK_FIT, 12.0)
    station = shop.place("Shrink station")
    shop.desk.session.write(
        L.HolderRegistered(steel, stood_cold=True), L.Moved("T900", None, station), L.Heated("T900", station)
    )
    for _ in range(2):
        done = put_back(shop, made)
        assert "T900" in (*done.holders, *done.unsure)
    shop.desk.session.write(L.HolderRegistered(steel, stood_cold=True))
    assert shop.desk.session.holder("T900").heat is Heat.UNKNOWN
    assert shop.desk.session.book.check() == []


def test_a_copy_of_another_branch_leaves_nothing_out(shop: Shop) -> None:
    """Restored to an old state, worked on, copied; restored to the first branch, then to that copy."""
    first = copy(shop)
    heat(shop, "T002")
    put_back(shop, first)
    shop.clock.forward(5.0)
    heat(shop, "T003")
    branch = shop.desk.copies.backup(shop.folder / "branch")[0].copy
    assert branch is not None
    put_back(shop, first)
    shop.clock.forward(5.0)
    heat(shop, "T005")
    put_back(shop, branch.path)
    assert all(is_refused(shop.desk, key) for key in ("T002", "T003", "T005"))


def test_an_older_kiosks_restores_are_made_up_for(shop: Shop) -> None:
    """Its `Restored` lines say nothing of what they took over: the replaced ledgers are asked again."""
    made = copy(shop)
    heat(shop, "T002")
    shop.desk.close()
    (shop.folder / "replaced").mkdir()
    (shop.folder / NAME).replace(shop.folder / "replaced" / "ledger-20260101-000000.db")
    (shop.folder / "ledger.anchor").unlink()
    (shop.folder / NAME).write_bytes(made.read_bytes())
    with Book.open(shop.folder, counter=shop.clock.counter) as book:
        book.append([L.KioskStarted("old")])
    done = backup.restore(shop.folder, made, shop.clock.wall(), counter=shop.clock.counter)
    assert "T002" in done.holders
    assert is_refused(shop.reopen(), "T002")


def test_a_hot_holder_is_refused_for_its_heat_and_accepted_to_cool(shop: Shop) -> None:
    made = copy(shop)
    heat(shop, "T002")
    put_back(shop, made)
    shop.desk.scan(shop.holder("T002"))
    refused = shop.desk.scan(shop.place("Bench 1")).outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.HOT
    shop.desk.cancel()
    shop.desk.scan(shop.holder("T002"))
    assert isinstance(shop.desk.scan(shop.place("Rack 1")).outcome, Done)


def test_on_a_new_tablet_what_the_copy_knows_heated_within_a_day_is_hot_though_its_hold_had_ended(
    shop: Shop, tmp_path: Path
) -> None:
    heat(shop, "T002")
    shop.desk.session.write(L.HoldEnded("T002", "time"))
    shop.clock.forward(20 * 3600.0)
    made = copy(shop)
    assert "T002" in put_back(shop, made, tmp_path / "new tablet").holders
    shop.clock.forward(5 * 3600.0)
    late = put_back(shop, made, tmp_path / "newer tablet")
    assert "T002" in late.holders, "by the time the copy's own kiosk watched it is still within the day"


def test_a_whole_ledger_says_nothing_of_what_happened_at_another_kiosk_since_its_copy(
    shop: Shop, tmp_path: Path
) -> None:
    shop.desk.close()  # two desks share one connection in this process
    other = Shop(tmp_path / "other")
    other.clock.forward(100.0)
    other.desk.people.change_setting("kiosk", "pair_s", "21", "a past of its own")
    made = copy(other)
    other.desk.close()
    shop.reopen()
    shrink = Clamping.SHRINK_FIT
    shrinks = {card.holder.key for card in shop.desk.shop.holders(count=500) if card.holder.clamping is shrink}
    done = put_back(shop, made)
    assert shrinks and shrinks <= {*done.holders, *done.unsure}


def test_a_ledger_whose_tables_were_edited_speaks_for_none_of_those_it_took_over(shop: Shop) -> None:
    made = copy(shop)
    heat(shop, "T002")
    shop.clock.forward(2 * DAY_S)
    assert "T002" in put_back(shop, made).holders
    shop.desk.close()
    with closing(sqlite3.connect(shop.folder / NAME)) as raw, raw:
        raw.execute("DELETE FROM hold WHERE holder = 'T002'")
        raw.execute("UPDATE holder SET heat = 'cool' WHERE key = 'T002'")
    shop.clock.forward(2 * DAY_S)
    done = backup.restore(shop.folder, made, shop.clock.wall(), counter=shop.clock.counter)
    assert "T002" in done.holders
    shop.reopen()


def test_a_hot_holder_of_a_restore_stands_nowhere_known_unless_hot_ones_may_stand_there(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Rack 1"))
    shop.desk.session.write(L.Restored("b", ("T001", "T002")))
    rack, cabinet = shop.desk.session.holder("T001"), shop.desk.session.holder("T002")
    assert rack.at is not None and rack.at.name == "Rack 1" and cabinet.at is None
    assert rack.hold is not None and rack.hold.needs_reading and cabinet.hold is not None
