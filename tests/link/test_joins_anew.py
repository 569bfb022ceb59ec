"""A kiosk whose chain the shop does not take any more joins anew, and what only it knew to be hot is not lost."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

from kiosk import cli
from kiosk.desk import Desk
from kiosk.desk.joining import join
from kiosk.ledger.book import NAME
from kiosk.ledger.laid_aside import OWED
from kiosk.ledger.trouble import LedgerFault
from kiosk.link import address as addresses
from kiosk.link import server as administration
from kiosk.link.faults import Cause
from kiosk.rules.cards import Heat
from kiosk.rules.checkin import warmth
from kiosk.rules.link_state import LinkState
from kiosk.screens.questions import kiosks as asks
from tests.link.kiosk import until
from tests.link.shop import Shop
from tests.link.test_books import KioskProcess, Make, level, make, sound
from tests.link.test_heat_everywhere import done, scans, shows, two

__all__ = ["make"]


def joins(shop: Shop, kiosk: KioskProcess, *code: str) -> None:
    """By the command, then through the network it always had."""
    kiosk.network.heal()
    assert cli.main(["join", *code, "--data", str(kiosk.folder)]) == 0
    member = addresses.read(kiosk.folder)
    assert member is not None
    addresses.keep(kiosk.folder, replace(member, port=kiosk.network.port))
    kiosk.kiosk, kiosk.acknowledged = member.kiosk, {}


def code_of(shop: Shop) -> str:
    return f"{administration.invite_first(shop.server.boss(), shop.address)}@127.0.0.1:{shop.server.port}"


def not_shared(folder: Path) -> Cause:
    """Why a kiosk in this folder does not ask for the others; what it says is cool is nothing."""
    with Desk.open(folder) as desk:
        desk.begin_sharing()
        assert desk.kiosks is None and desk.not_shared is not None
        card = desk.session.cards.holder("H1")
        assert card is None or warmth(card) is not Heat.COOL
        assert desk.not_shared.remedy
        shown = asks.kiosks()(desk)
        assert shown.parted is desk.not_shared and shown.anew is not None and not shown.joined
        return desk.not_shared.cause


def test_a_kiosk_put_back_from_its_copy_joins_anew_by_one_command(
    make: Make, on_server: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    a, b = make("A"), make("B")
    assert cli.main(["backup", str(tmp_path / "copies"), "--data", str(a.folder)]) == 0
    a("place", "after-the-copy")
    until(level(a, b))
    a.quit()
    ((lines,),) = on_server.sql("SELECT COUNT(*) FROM book.entry")
    assert 0 < int(capsys.readouterr().out.partition(" lines")[0].split()[-1]) <= lines, "no ids"
    (copy,) = (tmp_path / "copies").glob("*.db")
    assert cli.main(["restore", str(copy), "--data", str(a.folder)]) == 0
    was = a.kiosk
    joins(on_server, a)
    assert a.kiosk != was and "lies in" in capsys.readouterr().out
    a.start()
    until(lambda: a.standing["state"] == LinkState.CAUGHT_UP.value)
    assert len(list((a.folder / "replaced").glob("parted-*.db"))) == 1
    assert "after-the-copy" in str(a("tables"))
    assert {name for (name,) in on_server.sql("SELECT name FROM book.member")} == {"A", "B", "A 2"}
    b("lock_out", was)
    sound(on_server, a, b)


def test_what_a_locked_out_kiosk_heated_and_nobody_heard_is_hot_for_all_once_it_joins_anew(
    make: Make, on_server: Shop
) -> None:
    a, b = two(make)
    done(a, "steel-1", "slot")
    until(shows(b, place="Slot"))
    a.network.refuse()
    until(shows(a, heard=False))
    assert scans(a, "steel-1", "station")["outcome"] == "Done"
    a.quit()
    b("lock_out", a.kiosk)
    until(shows(b, all_heard=True, warmth="unknown"))
    joins(on_server, a, code_of(on_server))
    assert (a.folder / OWED).exists()
    a.start()
    until(lambda: a.standing["state"] == LinkState.CAUGHT_UP.value)
    for each in (a, b):
        until(shows(each, warmth="held", all_heard=True))
    assert not (a.folder / OWED).exists()
    sound(on_server, a, b)


@pytest.fixture
def closed(on_server: Shop, tmp_path: Path) -> Path:
    """The folder of a kiosk that is closed; the shop has what it wrote."""
    folder = tmp_path / "A"
    join(folder, on_server.address, administration.invite_first(on_server.server.boss(), on_server.address), "A")
    with Desk.open(folder) as desk:
        desk.begin_sharing()
        assert desk.kiosks is not None and desk.kiosks.shared(30.0)
    return folder


def goes_on(folder: Path) -> str:
    """Opened, the kiosk there knows what the shop knows and works; who it is."""
    with Desk.open(folder) as desk:
        desk.begin_sharing()
        until(lambda: desk.tick() is not None and desk.session.cards.apart.caught_up)
        assert desk.kiosks is not None and desk.kiosks.shared(10.0)
        assert desk.session.book.check() == []
        return desk.kiosks.membership.kiosk


def test_a_copied_folder_says_so_without_a_network_and_becomes_a_kiosk_of_its_own(
    closed: Path, on_server: Shop, tmp_path: Path
) -> None:
    shutil.copytree(closed, tmp_path / "twin")
    assert not_shared(tmp_path / "twin") is Cause.COPIED
    assert cli.main(["kiosks", "--invite", "--data", str(tmp_path / "twin")]) == 2
    asks.joins(tmp_path / "twin", "", "")()  # as the window does
    first, second = goes_on(closed), goes_on(tmp_path / "twin")
    assert first != second
    assert {name for (name,) in on_server.sql("SELECT name FROM book.member")} == {"A", "A 2"}
    assert on_server.examine() == []


def test_a_folder_that_was_only_renamed_is_at_home(closed: Path, tmp_path: Path) -> None:
    member = addresses.here(closed)
    closed.rename(tmp_path / "renamed")
    assert addresses.here(tmp_path / "renamed") == member is not None


def test_another_machine_is_not_the_one_that_joined(closed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("kiosk.link.home._machine", lambda: "another")
    assert not_shared(closed) is Cause.COPIED
    monkeypatch.setattr("kiosk.link.home._machine", lambda: "")
    assert addresses.here(closed) is not None, "a machine that has no number is taken for the one it was"


@pytest.mark.parametrize("spoilt", ["gone", "{", "another kiosk's"])
def test_who_it_is_in_its_shop_is_lost_then_it_joins_anew_with_a_code(
    closed: Path, on_server: Shop, spoilt: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path, was = closed / addresses.NAME, addresses.here(closed)
    assert was is not None
    match spoilt:
        case "gone":
            path.unlink()
        case "{":
            path.write_text(spoilt)
        case _:
            addresses.keep(closed, on_server.member("B"))
    assert not_shared(closed) is Cause.UNNAMED
    if spoilt == "gone":
        assert cli.main(["join", "--data", str(closed)]) == 2
        assert "CODE@SERVER" in capsys.readouterr().err
    assert cli.main(["join", code_of(on_server), "--name", "again", "--data", str(closed)]) == 0
    assert goes_on(closed) != was.kiosk
    assert on_server.examine() == []


def test_a_kiosk_that_left_in_order_says_what_to_do_and_can_come_back(closed: Path, on_server: Shop) -> None:
    was = addresses.here(closed)
    assert was is not None
    assert cli.main(["leave", "--data", str(closed)]) == 0
    assert not_shared(closed) is Cause.UNNAMED
    assert cli.main(["join", code_of(on_server), "--name", "A", "--data", str(closed)]) == 0
    assert goes_on(closed) != was.kiosk


def test_joining_that_is_refused_here_leaves_no_kiosk_behind_that_nobody_hears(
    closed: Path, on_server: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["leave", "--data", str(closed)]) == 0
    before = on_server.sql("SELECT kiosk FROM book.member")
    reader = sqlite3.connect(closed / NAME, isolation_level=None)  # another program looks into the ledger
    reader.execute("BEGIN")
    reader.execute("SELECT COUNT(*) FROM line").fetchone()
    try:
        with suppress(LedgerFault):
            assert cli.main(["join", code_of(on_server), "--name", "A", "--data", str(closed)]) == 2
    finally:
        reader.close()
    assert on_server.sql("SELECT kiosk FROM book.member") == before
    assert cli.main(["join", code_of(on_server), "--name", "A", "--data", str(closed)]) == 0
    assert goes_on(closed)


def test_a_hand_that_joins_twice_before_the_kiosk_is_opened_joins_once(on_server: Shop, tmp_path: Path) -> None:
    on_server.member("with lines")
    other = tmp_path / "other"
    assert cli.main(["join", code_of(on_server), "--name", "first", "--data", str(other)]) == 0
    goes_on(other)  # the shop's book has lines now
    for name in ("A", "A", "B"):
        assert cli.main(["join", code_of(on_server), "--name", name, "--data", str(tmp_path / "A")]) == 0
    assert {name for (name,) in on_server.sql("SELECT name FROM book.member")} == {"with lines", "first", "B"}


def test_who_left_in_the_middle_of_joining_and_was_locked_out_joins_as_another(on_server: Shop, tmp_path: Path) -> None:
    was = addresses.begin(tmp_path / "A")
    on_server.member("A", kiosk=was)
    on_server.sql("UPDATE book.member SET retired_n = 1")
    assert cli.main(["join", code_of(on_server), "--name", "A", "--data", str(tmp_path / "A")]) == 0
    member = addresses.here(tmp_path / "A")
    assert member is not None and member.kiosk != was and not (tmp_path / "A" / addresses.BEGUN).exists()


def test_a_copy_of_a_folder_that_was_about_to_join_joins_as_another(tmp_path: Path) -> None:
    was = addresses.begin(tmp_path / "A")
    assert addresses.begin(tmp_path / "A") == was
    shutil.copytree(tmp_path / "A", tmp_path / "copy")
    assert addresses.begin(tmp_path / "copy") != was


def test_on_a_server_that_lost_everything_a_kiosk_that_lost_its_name_puts_its_book_back(
    closed: Path, on_server: Shop
) -> None:
    was = addresses.here(closed)
    assert was is not None
    (closed / addresses.NAME).unlink()
    before = on_server.sql("SELECT n, digest FROM book.entry ORDER BY n")
    anew = Shop(on_server.server)
    assert cli.main(["join", code_of(anew), "--name", "A", "--data", str(closed)]) == 0
    assert goes_on(closed) == was.kiosk
    assert anew.sql("SELECT n, digest FROM book.entry ORDER BY n")[: len(before)] == before
    assert anew.examine() == []


def test_a_kiosk_that_was_killed_while_it_left_heats_nothing_and_joins_anew(closed: Path, on_server: Shop) -> None:
    was = addresses.here(closed)
    assert was is not None
    with Desk.open(closed) as desk:
        desk.begin_sharing()
        until(lambda: desk.tick() is not None and desk.session.cards.apart.caught_up)
        assert desk.session.cards.apart.station
        desk.leave()  # the others know; the server and this folder do not yet
    with Desk.open(closed) as desk:
        desk.begin_sharing()
        assert desk.session.cards.apart is not None and not desk.session.cards.apart.awake
        assert not desk.session.cards.apart.station and not desk.session.cards.apart.stations_heard
        until(lambda: desk.tick() is not None and desk.session.cards.apart.caught_up)
        assert not desk.session.cards.apart.station and not desk.session.cards.apart.stations_heard
    assert cli.main(["join", "--data", str(closed)]) == 0
    assert goes_on(closed) != was.kiosk
    assert on_server.examine() == []
