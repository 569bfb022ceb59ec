"""Backups verify before they count; a restore takes nothing for cool that may be hot."""

from __future__ import annotations

from pathlib import Path

import pytest

from kiosk.desk import Desk
from kiosk.ledger import backup
from kiosk.ledger.backup import CopyFault
from kiosk.ledger.book import NAME
from kiosk.ledger.lock import InUse
from kiosk.rules.cards import Heat
from kiosk.rules.outcomes import Done, Reason, Refused
from tests.conftest import Shop

DAY_S = 86400.0


def heat(shop: Shop, key: str) -> None:
    shop.desk.scan(shop.holder(key))
    shop.clock.forward(1.0)
    shop.desk.scan(shop.place("Shrink station"))
    shop.clock.forward(1.0)


def cool(shop: Shop, key: str) -> None:
    """Waits a hold out on the rack, reads it and puts the holder on the bench."""
    shop.desk.scan(shop.holder(key))
    shop.desk.scan(shop.place("Rack 1"))
    shop.clock.forward(20 * 3600.0)
    hold = shop.desk.session.holder(key).hold
    assert hold is not None
    assert shop.desk.heat.read(key, hold.where, 23.5).ended
    shop.desk.scan(shop.holder(key))
    assert isinstance(shop.desk.scan(shop.place("Bench 1")).outcome, Done)


def copy(shop: Shop) -> Path:
    (made,) = shop.desk.copies.backup()
    assert made.copy is not None, made.why
    return made.copy.path


def restore(shop: Shop, file: Path, folder: Path | None = None) -> backup.RestoreDone:
    return backup.restore(folder or shop.folder, file, shop.clock.wall(), counter=shop.clock.counter)


def test_a_copy_made_beside_an_open_kiosk_is_the_whole_book(shop: Shop) -> None:
    made = copy(shop)
    wrong, line, last_hash = backup.look(made)
    assert wrong == []
    assert (line, last_hash) == (shop.desk.session.book.last_id, shop.desk.session.book.last_hash)
    assert list(made.parent.iterdir()) == [made], "no log and no half copy beside it"


def test_old_copies_go_and_the_newest_stay(tmp_path: Path) -> None:
    for day in range(1, 6):
        (tmp_path / f"ledger-2026030{day}-060000.db").touch()
    assert [path.name for path in backup.rotate(tmp_path, 2)] == [
        "ledger-20260303-060000.db", "ledger-20260302-060000.db", "ledger-20260301-060000.db",
    ]  # fmt: skip
    assert [path.name for path in backup.copies(tmp_path)] == ["ledger-20260305-060000.db", "ledger-20260304-060000.db"]


def test_a_folder_that_takes_no_copies_does_not_stop_the_other(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "stick").write_text("not a folder")
    shop.desk.people.change_setting("backup", "second_folder", str(tmp_path / "stick"), "a stick for the copies")
    first, second = shop.desk.copies.backup()
    assert first.copy is not None
    assert second.copy is None and "stick" in second.why


def test_a_damaged_copy_is_refused_and_the_ledger_stays(shop: Shop) -> None:
    made = copy(shop)
    data = made.read_bytes()
    made.write_bytes(data.replace(b"Roughing mill 12 R1", b"Roughing mill 13 R1"))
    shop.desk.close()
    stood = (shop.folder / NAME).read_bytes()
    with pytest.raises(CopyFault) as fault:
        restore(shop, made)
    assert fault.value.wrong
    assert (shop.folder / NAME).read_bytes() == stood
    shop.reopen()


def test_a_restore_waits_until_the_kiosk_is_closed(shop: Shop) -> None:
    made = copy(shop)
    with pytest.raises(InUse):
        restore(shop, made)


def test_whatever_was_heated_within_a_day_is_hot_after_a_restore_until_it_is_read(shop: Shop) -> None:
    heat(shop, "T001")
    cool(shop, "T001")
    made = copy(shop)
    shop.desk.close()
    done = restore(shop, made)
    assert done.holders == ("T001",)
    desk = shop.reopen()
    assert [card.holder.key for card in desk.heat.board()] == ["T001"]
    hold = desk.heat.board()[0].hold
    assert hold is not None and hold.needs_reading and not hold.ended
    shop.clock.forward(30 * DAY_S)
    desk.tick()
    assert [card.holder.key for card in desk.heat.board()] == ["T001"], "time alone frees it no more"
    desk.scan(shop.holder("T001"))
    refused = desk.scan(shop.place("Bench 1")).outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.HOT
    assert desk.session.book.check() == []


def test_what_was_heated_after_the_copy_is_known_from_the_replaced_ledger(shop: Shop) -> None:
    made = copy(shop)
    heat(shop, "T002")
    shop.desk.close()
    done = restore(shop, made)
    assert done.holders == ("T002",)
    assert done.unsure == ()
    assert done.aside is not None and backup.look(done.aside)[0] == []
    shop.reopen()


def test_what_was_heated_more_than_a_day_ago_stays_cool(shop: Shop) -> None:
    heat(shop, "T001")
    cool(shop, "T001")
    shop.clock.forward(2 * DAY_S)
    shop.desk.tick()
    made = copy(shop)
    shop.desk.close()
    assert restore(shop, made).holders == ()
    assert shop.reopen().session.holder("T001").heat is Heat.COOL


def test_on_a_new_tablet_nobody_knows_how_warm_a_shrink_holder_is(shop: Shop, tmp_path: Path) -> None:
    made = copy(shop)
    shop.desk.close()
    done = restore(shop, made, tmp_path / "new tablet")
    assert done.holders == () and done.aside is None
    with Desk.open(tmp_path / "new tablet", counter=shop.clock.counter, wall=shop.clock.wall) as desk:
        assert desk.session.holder("T002").heat is Heat.UNKNOWN
        assert desk.session.holder("T002").at is not None
        desk.scan(desk.session.holder("T002").code)
        bench = desk.session.cards.find_place("Bench 1")
        assert bench is not None
        refused = desk.scan(bench).outcome
        assert isinstance(refused, Refused) and refused.reason is Reason.NOWHERE_KNOWN
        assert desk.session.book.check() == []
    shop.desk = Desk.open(shop.folder, counter=shop.clock.counter, wall=shop.clock.wall)


def test_a_ledger_too_damaged_to_ask_leaves_every_shrink_holder_in_doubt(shop: Shop) -> None:
    made = copy(shop)
    shop.desk.close()
    (shop.folder / NAME).write_bytes(b"coffee" * 10_000)
    done = restore(shop, made)
    assert "T002" in done.unsure
    assert done.aside is not None and done.aside.read_bytes().startswith(b"coffee")
    shop.reopen()
