"""A kiosk's own disk is full, its folder is put back or copied: local work is refused or goes on, no book is mixed."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from peewee import OperationalError

from kiosk import cli
from kiosk.desk import Desk
from kiosk.desk.joining import join
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE
from kiosk.ledger.shared_form import Told, travelling
from kiosk.ledger.trouble import Cause as Disk
from kiosk.ledger.trouble import LedgerFault
from kiosk.link import address as addresses
from kiosk.link import calls
from kiosk.link import link as link_module
from kiosk.link import server as administration
from kiosk.link.faults import Cause
from kiosk.rules.lines import PlaceAdded
from kiosk.rules.link_state import LinkState
from kiosk.rules.places import Kind, Place
from tests.link.kiosk import until
from tests.link.shop import LINE_FORM, Shop, linked
from tests.link.test_books import KioskProcess, Make, level, make, sound

__all__ = ["make"]


@pytest.fixture
def other(make: Make) -> KioskProcess:
    """Made before this process opens a ledger of its own: only one is open at a time."""
    return make("A")


@pytest.fixture
def desk(other: KioskProcess, on_server: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    """A kiosk of the shop in this process."""
    monkeypatch.setattr(link_module, "_RETRIES_S", (0.2,))
    folder = tmp_path / "here"
    join(folder, on_server.address, administration.invite_first(on_server.server.boss(), on_server.address), "here")
    with Desk.open(folder) as desk:
        desk.begin_sharing()
        yield desk


def taken(desk: Desk, other: KioskProcess, shop: Shop, own: int = 0) -> Callable[[], bool]:
    """Whether both have all that either acknowledged, of this kiosk at least `own` lines."""

    def so() -> bool:
        assert desk.kiosks is not None
        while desk.kiosks.take():
            pass
        ((head,),) = shop.sql("SELECT n FROM book.head")
        ((pushed,),) = shop.sql("SELECT COALESCE(MAX(number), 0) FROM book.tip WHERE kiosk = %s", other.kiosk)
        ((mine,),) = shop.sql("SELECT COUNT(*) FROM book.entry WHERE kiosk <> %s", other.kiosk)
        told = max((number for number in other.acknowledged), default=0) % 2**40
        return desk.kiosks.standing().applied == other.standing["applied"] == head and pushed >= told and mine >= own

    return so


def _fill() -> None:
    """The disk has no room left, free pages within the file neither."""
    (pages,) = T.database.execute_sql("PRAGMA page_count").fetchone()
    T.database.execute_sql('CREATE TABLE "junk" (x BLOB)')
    T.database.execute_sql(f"PRAGMA max_page_count = {pages + 3}")
    with pytest.raises(OperationalError):
        for _ in range(1000):
            T.database.execute_sql('INSERT INTO "junk" VALUES (zeroblob(4000))')


def test_a_full_disk_of_a_kiosk_takes_nothing_by_halves_says_so_and_catches_up_once_there_is_room(
    other: KioskProcess, on_server: Shop, desk: Desk
) -> None:
    until(taken(desk, other, on_server), 60)
    assert desk.kiosks is not None
    _fill()
    before = desk.session.book.changed, len(rows(T.Place.select()))
    for each in range(60):
        other("place", f"a{each}-" + "x" * 300)
    with pytest.raises(LedgerFault) as taking:
        until(taken(desk, other, on_server), 60)
    assert taking.value.cause is Disk.FULL
    with pytest.raises(LedgerFault):
        desk.session.write(*(PlaceAdded(Place(f"P{at}", "x" * 4000, Kind.CABINET)) for at in range(30)))
    assert desk.session.book.changed[0] == before[0][0], "an own line was kept by halves"
    T.database.execute_sql("PRAGMA max_page_count = 1000000")
    T.database.execute_sql('DROP TABLE "junk"')
    until(
        lambda: desk.session.cards.apart is not None and desk.tick() is not None and desk.session.cards.apart.admitted
    )
    desk.session.write(PlaceAdded(Place("P", "after", Kind.CABINET)))
    until(taken(desk, other, on_server, desk.session.book.last_id), 60)
    assert {row["name"] for row in rows(T.Place.select())} >= {"after", "a59-" + "x" * 300}
    assert desk.session.book.check() == []
    mine = {model.__name__: sorted(map(repr, rows(model.select()))) for model in T.DERIVED}
    assert mine == other("tables")["tables"]
    assert on_server.examine() == []


def test_a_line_of_a_kind_that_this_version_does_not_know_stops_it_and_local_work_goes_on(
    other: KioskProcess, on_server: Shop, desk: Desk
) -> None:
    until(taken(desk, other, on_server), 60)
    until(lambda: desk.tick() is not None and desk.session.cards.apart.admitted)
    newer, ((seen, book),) = on_server.member("newer"), on_server.sql("SELECT n, book FROM book.head")
    kind = "of a newer version"
    said = Told(HASH_BEFORE_ANY_LINE, 1, 0.0, 0.0, newer.kiosk, None, kind, "{}", seen, book)
    assert desk.kiosks is not None
    calls.push(linked(newer), [travelling(newer.kiosk, said)], LINE_FORM)
    until(lambda: desk.tick() is not None and desk.kiosks.standing().state is LinkState.BEHIND)
    fault = desk.kiosks.standing().fault
    assert fault is not None and fault.cause is Cause.BEHIND and "install" in fault.remedy
    desk.tick()
    apart = desk.session.cards.apart
    assert apart is not None and not (apart.stations_heard or apart.all_heard or apart.caught_up)
    desk.session.write(PlaceAdded(Place("P", "goes on", Kind.CABINET)))
    assert desk.session.book.check() == []
    assert kind not in {line.entry.kind for line in desk.session.book.lines()}


def test_a_long_import_that_is_killed_while_others_lines_come_is_there_whole_or_not_at_all(
    make: Make, on_server: Shop
) -> None:
    a, b = make("A"), make("B")
    a("shop")
    until(level(a, b))
    b.send("place", "while")
    a.send("steel", "120")
    time.sleep(0.1)
    a.kill()
    b._answer()
    b("place", "after")
    a.start()
    sound(on_server, a, b)
    named = str(b("tables")["tables"]["Holder"])
    assert sum(f"'key': 'S{at}'" in named for at in range(120)) in (0, 119)


def test_a_kiosk_restored_from_its_copy_of_yesterday_writes_over_nothing_and_says_so(
    make: Make, on_server: Shop, tmp_path: Path
) -> None:
    a, b = make("A"), make("B")
    b("place", "yesterday")
    until(level(a, b), 60)
    b.quit()
    assert cli.main(["backup", str(tmp_path / "copies"), "--data", str(b.folder)]) == 0
    b.start()
    acknowledged = b("place", "today")["lines"]
    until(level(a, b), 60)
    b.quit()
    (copy,) = (tmp_path / "copies").glob("*.db")
    assert cli.main(["restore", str(copy), "--data", str(b.folder)]) == 0
    b.start()
    until(lambda: b.standing["state"] == LinkState.FORKED.value)
    assert b.standing["fault"], "and what to do"
    there = [digest for (digest,) in on_server.sql("SELECT digest FROM book.entry WHERE kiosk = %s", b.kiosk)]
    assert acknowledged[0]["digest"] in there
    a("place", "others-go-on")
    sound(on_server, a)


def test_of_a_copied_folder_only_one_goes_on_and_the_book_has_each_line_once(
    make: Make, on_server: Shop, tmp_path: Path
) -> None:
    a, b = make("A"), make("B")
    b("place", "before")
    until(level(a, b), 60)
    b.quit()
    shutil.copytree(b.folder, tmp_path / "twin")
    b.start()
    until(level(a, b), 60)
    twin = object.__new__(KioskProcess)
    twin.__dict__.update(b.__dict__ | {"folder": tmp_path / "twin", "acknowledged": {}})
    member = addresses.read(tmp_path / "twin")
    assert member is not None
    addresses.keep(tmp_path / "twin", replace(member, port=b.network.port))
    twin.start()
    try:
        until(lambda: twin.standing["state"] == LinkState.FORKED.value)
        b("place", "at-the-first")
        sound(on_server, a, b)
    finally:
        twin.kill()
