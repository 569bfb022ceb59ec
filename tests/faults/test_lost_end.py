"""What a hash chain alone does not show: an end that is gone, a log that was deleted, a past written anew."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from time import sleep

import pytest

from kiosk.cli import main
from kiosk.desk import Desk
from kiosk.ledger import anchor
from kiosk.ledger.book import NAME, Book, LedgerFault
from kiosk.ledger.derive import Stamp
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE, line_hash
from kiosk.ledger.trouble import Cause
from kiosk.rules.cards import Heat
from kiosk.rules.lines import Restored, TurnedAway
from tests.conftest import Shop
from tests.faults.test_restore import heat
from tests.faults.test_restore_again import is_refused

DAY_S = 86400.0


@pytest.fixture
def heated(tmp_path: Path) -> Iterator[Path]:
    """The folder of a kiosk that ran for weeks; T002 was heated in its last lines, and it was closed."""
    shop = Shop(tmp_path / "data")
    shop.clock.forward(40 * DAY_S)
    shop.desk.tick()
    heat(shop, "T002")
    shop.desk.close()
    yield shop.folder


def edit(folder: Path, *sentences: str) -> None:
    with closing(sqlite3.connect(folder / NAME)) as ledger, ledger:
        for sentence in sentences:
            ledger.execute(sentence)


def cut(folder: Path, count: int) -> None:
    """The last lines are gone, and every table says so: all that is left agrees with itself."""
    with closing(sqlite3.connect(folder / NAME)) as ledger, ledger:
        last = ledger.execute("SELECT MAX(id) FROM line").fetchone()[0] - count
        ledger.execute("DELETE FROM mention WHERE line_id > ?", (last,))
        ledger.execute("DELETE FROM line WHERE id > ?", (last,))
    derive(folder)


def derive(folder: Path) -> None:
    """Tables as the lines are now, by the kiosk's own code, and the anchor as it was."""
    kept = (folder / anchor.NAME).read_bytes()
    with Book.open(folder) as book:
        book.rebuild()
    (folder / anchor.NAME).write_bytes(kept)


def without_the_heating(folder: Path) -> None:
    """The whole chain recomputed as if nothing had been heated."""
    with closing(sqlite3.connect(folder / NAME)) as ledger, ledger:
        lines = ledger.execute(
            "SELECT utc_s, watched_s, kiosk, operator, kind, payload FROM line WHERE kind <> 'heated' ORDER BY id"
        ).fetchall()
        ledger.execute("DELETE FROM mention")
        ledger.execute("DELETE FROM line")
        before = HASH_BEFORE_ANY_LINE
        for number, (utc_s, watched_s, kiosk, operator, kind, payload) in enumerate(lines, 1):
            stamp = Stamp(number, utc_s, watched_s, kiosk, operator)
            before = line_hash(before, stamp, kind, payload)
            ledger.execute("INSERT INTO line VALUES (?, ?, ?, ?, ?, ?, ?, ?)", (*stamp, kind, payload, before))
    derive(folder)


def says_so_and_lets_nothing_out(folder: Path) -> None:
    with Book.open(folder, read_only=True) as book:
        assert book.lost == "lost"
        assert "end of the ledger" in [wrong.where for wrong in book.check()]
    with Book.open(folder) as book:
        assert "end of the ledger" in [wrong.where for wrong in book.check()], "opening it hides nothing"
    with Desk.open(folder, counter=lambda: 9.0) as desk:
        told = [line.entry for line in desk.session.book.lines() if isinstance(line.entry, Restored)]
        assert [entry.cause for entry in told] == ["lost"]
        assert is_refused(desk, "T002")
        assert desk.session.holder("T003").heat is not Heat.COOL
        assert desk.session.book.check() == []
    with Desk.open(folder, counter=lambda: 9.0) as desk:
        assert sum(isinstance(line.entry, Restored) for line in desk.session.book.lines()) == 1, "it is said once"
        assert is_refused(desk, "T002")


@pytest.mark.parametrize(
    "command", [["hot"], ["backup"], ["number", "T002", "12"], ["import", "T"], ["report", "shift", "--out", "s.csv"]]
)
def test_every_command_says_that_lines_are_lost(
    heated: Path, command: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(heated.parent)
    (heated.parent / "T").write_text("cutter,cutter_name,DC,DMM,OAL\nC900,New,6,6,50\n")
    cut(heated, 3)
    main([*command, "--data", str(heated)])
    assert "lines of this book are lost" in capsys.readouterr().err


def test_the_window_is_told_as_it_opens_and_once(heated: Path) -> None:
    cut(heated, 3)
    with Desk.open(heated, counter=lambda: 9.0) as desk:
        assert desk.past_lost == "lost" and desk.session.book.lost is None
    with Desk.open(heated, counter=lambda: 9.0) as desk:
        assert desk.past_lost is None


def test_no_copy_is_dropped_while_lines_are_lost_because_an_older_one_may_have_them(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "data")
    shop.desk.close()
    (shop.folder / "settings.toml").write_text("[backup]\nkeep = 1\n")
    older = (shop.folder / NAME).read_bytes()
    shop.reopen()
    heat(shop, "T002")
    shop.desk.close()
    assert main(["backup", "--data", str(shop.folder)]) == 0
    (whole,) = (shop.folder / "backups").glob("*.db")
    (shop.folder / NAME).write_bytes(older)
    sleep(1.1)  # a copy is named for its second
    assert main(["backup", "--data", str(shop.folder)]) == 0
    assert whole.exists() and len(list((shop.folder / "backups").glob("*.db"))) == 2


@pytest.mark.parametrize("taken", ["replaced", "away"])
def test_a_file_put_in_the_ledgers_place_while_the_kiosk_runs_takes_no_line_with_it(tmp_path: Path, taken: str) -> None:
    shop = Shop(tmp_path / "data")
    shop.clock.forward(40 * DAY_S)
    shop.desk.tick()
    (tmp_path / "older").write_bytes((shop.folder / NAME).read_bytes())
    if taken == "replaced":
        (tmp_path / "older").replace(shop.folder / NAME)
    else:
        (shop.folder / NAME).rename(tmp_path / "away")
    with pytest.raises(LedgerFault) as fault:
        heat(shop, "T002")
    assert fault.value.cause is Cause.GONE and "replaced or taken away" in fault.value.why
    shop.clock.forward(60.0)
    with pytest.raises(LedgerFault):
        shop.desk.tick()
    shop.desk.close()


@pytest.mark.parametrize("count", [1, 3, 5])
def test_an_end_that_was_cut_off_is_missed(heated: Path, count: int) -> None:
    cut(heated, count)
    says_so_and_lets_nothing_out(heated)


def test_a_past_written_anew_without_the_heating_is_found(heated: Path) -> None:
    without_the_heating(heated)
    says_so_and_lets_nothing_out(heated)


def test_an_older_file_in_the_place_of_the_ledger_is_found(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "data")
    shop.desk.close()
    older = (shop.folder / NAME).read_bytes()
    shop.reopen()
    heat(shop, "T002")
    shop.desk.close()
    (shop.folder / NAME).write_bytes(older)
    says_so_and_lets_nothing_out(shop.folder)


@pytest.mark.parametrize("damage", ["gone", "emptied", "of another folder"])
def test_a_ledger_without_its_anchor_counts_as_one_that_lost_its_end(
    heated: Path, tmp_path: Path, damage: str
) -> None:
    file = heated / anchor.NAME
    if damage == "gone":
        cut(heated, 4)
        file.unlink()
    elif damage == "emptied":
        cut(heated, 4)
        file.write_bytes(b"")
    else:
        other = Shop(tmp_path / "other")
        heat(other, "T001")
        other.desk.close()
        cut(heated, 4)
        shutil.copyfile(other.folder / anchor.NAME, file)
    says_so_and_lets_nothing_out(heated)


def test_a_heating_is_in_the_file_before_it_is_acknowledged(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "data")
    heat(shop, "T002")
    alone = tmp_path / "alone"
    alone.mkdir()
    shutil.copyfile(shop.folder / NAME, alone / NAME)  # without the log beside it
    shutil.copyfile(shop.folder / anchor.NAME, alone / anchor.NAME)
    shop.desk.close()
    with Desk.open(alone, counter=lambda: 9.0) as desk:
        assert not any(isinstance(line.entry, Restored) for line in desk.session.book.lines())
        assert [card.holder.key for card in desk.heat.board()] == ["T002"]


def test_a_log_deleted_after_a_kill_takes_the_steps_of_a_hot_holder_with_it_and_is_missed(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "data")
    heat(shop, "T002")
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Rack 1"))
    killed = tmp_path / "killed"
    shutil.copytree(shop.folder, killed)
    shop.desk.close()
    (killed / f"{NAME}-wal").unlink()
    with Desk.open(killed, counter=lambda: 9.0) as desk:
        hold = desk.session.holder("T002").hold
        assert hold is not None and hold.needs_reading
        assert is_refused(desk, "T002")


def test_a_kiosk_killed_between_a_line_and_its_anchor_has_lost_nothing(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "data")
    heat(shop, "T002")
    older = (shop.folder / anchor.NAME).read_bytes()
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Rack 1"))
    killed = tmp_path / "killed"
    shutil.copytree(shop.folder, killed)
    shop.desk.close()
    (killed / anchor.NAME).write_bytes(older)
    with Book.open(killed) as book:
        assert book.lost is None and book.check() == []


@pytest.mark.parametrize("place", [0, 1])
def test_an_anchor_torn_in_half_falls_back_on_its_other_half(heated: Path, place: int) -> None:
    data = bytearray((heated / anchor.NAME).read_bytes())
    data[place * 512 : place * 512 + 256] = b"\0" * 256
    (heated / anchor.NAME).write_bytes(bytes(data))
    with Book.open(heated) as book:
        assert book.lost is None and book.check() == []


@pytest.mark.parametrize("empty", [True, False])
def test_a_ledger_that_is_gone_is_not_begun_anew_in_silence(heated: Path, empty: bool) -> None:
    (heated / NAME).unlink()
    if empty:
        (heated / NAME).touch()
    with pytest.raises(LedgerFault) as fault:
        Desk.open(heated)
    assert fault.value.cause is Cause.DAMAGED and "restore" in str(fault.value)


def test_ledger_and_anchor_put_back_together_are_missed_by_a_copy_made_since(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "data")
    shop.desk.close()
    older = {name: (shop.folder / name).read_bytes() for name in (NAME, anchor.NAME)}
    shop.reopen()
    heat(shop, "T002")
    assert shop.desk.copies.backup()[0].copy is not None
    shop.desk.close()
    for name, data in older.items():
        (shop.folder / name).write_bytes(data)
    says_so_and_lets_nothing_out(shop.folder)


@pytest.mark.parametrize("ahead_s", [100.0, 5000.0, 1e7])
def test_watched_time_moved_by_a_hand_ends_nothing_and_is_named(heated: Path, ahead_s: float) -> None:
    edit(heated, f"UPDATE watch SET watched_s = watched_s + {ahead_s}")
    with Book.open(heated, read_only=True) as book:
        assert "watch kiosk" in [wrong.where for wrong in book.check()]
    with Desk.open(heated, counter=lambda: 9.0) as desk:
        desk.tick()
        assert desk.now().watched_s <= 40 * DAY_S + 5.0
        assert [card.holder.key for card in desk.heat.board()] == ["T002"]


def test_a_beat_sealed_anew_by_somebody_who_knows_how_is_held_against_the_anchor(heated: Path) -> None:
    from kiosk.ledger.lineform import beat_seal

    with closing(sqlite3.connect(heated / NAME)) as ledger, ledger:
        line, last_hash = ledger.execute("SELECT id, hash FROM line ORDER BY id DESC LIMIT 1").fetchone()
        values = (1e9, line, beat_seal("kiosk", 1e9, line, last_hash))
        ledger.execute("UPDATE watch SET watched_s = ?, line = ?, seal = ?", values)
    with Book.open(heated, read_only=True) as book:
        assert "watch kiosk" in [wrong.where for wrong in book.check()]
    with Desk.open(heated, counter=lambda: 9.0) as desk:
        assert desk.now().watched_s <= 40 * DAY_S + 5.0


def anchored(folder: Path, ahead_s: float) -> None:
    """The anchor says of its line what it said, and a later watched time, as the kiosk would have written it."""
    mark = anchor.read(folder)
    assert mark is not None
    with closing(anchor.Anchor(folder, mark)) as kept:
        kept.write(mark.line, mark.hash, mark.watched_s + ahead_s, firm=True)


@pytest.mark.parametrize("ahead_s", [100.0, 5000.0, 1e7])
def test_watched_time_moved_in_the_ledger_and_beside_it_is_not_believed_without_its_seal(
    heated: Path, ahead_s: float
) -> None:
    edit(heated, f"UPDATE watch SET watched_s = watched_s + {ahead_s}")
    anchored(heated, ahead_s)
    with Book.open(heated, read_only=True) as book:
        assert "watch kiosk" in [wrong.where for wrong in book.check()]
    with Desk.open(heated, counter=lambda: 9.0) as desk:
        desk.tick()
        assert desk.now().watched_s <= 40 * DAY_S + 5.0
        assert [card.holder.key for card in desk.heat.board()] == ["T002"]


@pytest.mark.parametrize("lines", [0, 9])
def test_a_beat_sealed_with_a_line_of_another_past_is_not_believed(heated: Path, tmp_path: Path, lines: int) -> None:
    """The line it names is not there, or is another one."""
    twin = tmp_path / "twin"
    shutil.copytree(heated, twin)
    if lines:
        with Book.open(heated) as book:
            book.append([TurnedAway("NOT OURS", "foreign_code")] * lines)
    later = Shop(twin)
    later.clock.forward(5 * DAY_S)
    later.desk.tick()
    later.desk.session.book.beat()
    later.desk.close()
    with closing(sqlite3.connect(twin / NAME)) as ledger:
        beat = ledger.execute("SELECT watched_s, line, seal FROM watch").fetchone()
    with closing(sqlite3.connect(heated / NAME)) as ledger, ledger:
        found = ledger.execute("SELECT hash FROM line WHERE id = ?", (beat[1],)).fetchone()
        assert (found is not None) == bool(lines)
        ledger.execute("UPDATE watch SET watched_s = ?, line = ?, seal = ?", beat)
    anchored(heated, 5 * DAY_S)
    with Desk.open(heated, counter=lambda: 9.0) as desk:
        assert desk.now().watched_s <= 40 * DAY_S + 5.0
        assert [card.holder.key for card in desk.heat.board()] == ["T002"]


def test_commands_that_only_read_say_that_the_book_is_doubtful(
    heated: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["hot", "--data", str(heated)]) == 0
    assert "lost" not in capsys.readouterr().err
    cut(heated, 2)
    for argv in (["hot"], ["hot", "--json"], ["find", "12"], ["history", "T002"]):
        main([*argv, "--data", str(heated)])
        assert "lines of this book are lost" in capsys.readouterr().err, argv


def test_a_place_of_the_anchor_that_was_torn_or_edited_is_not_believed(heated: Path) -> None:
    file = heated / anchor.NAME
    whole, mark = file.read_bytes(), anchor.read(heated)
    assert mark is not None
    half = len(whole) // 2
    newest = mark.turn % 2 * half
    said = f'"line":{mark.line}'.encode()
    edited = whole[newest : newest + half].replace(said, f'"line":{mark.line - 3}'.encode().ljust(len(said)))
    assert edited != whole[newest : newest + half]
    for damage in (edited, whole[newest : newest + half // 2] + bytes(half - half // 2), bytes(half)):
        file.write_bytes(whole[:newest] + damage + whole[newest + half :])
        older = anchor.read(heated)
        assert older is not None and older.turn == mark.turn - 1, "the other place, written just before, is taken"
        file.write_bytes(damage * 2)
        assert anchor.read(heated) is None
