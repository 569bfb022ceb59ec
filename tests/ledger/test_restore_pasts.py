"""Which of the ledgers in a folder are asked what is hot: the one that is there, and those it replaced."""

from __future__ import annotations

import errno
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from unittest.mock import patch

import pytest

from kiosk.ledger import anchor as anchors
from kiosk.ledger import restore as restoring
from kiosk.ledger.book import NAME
from kiosk.ledger.copying import CopyFault, look, reading
from kiosk.ledger.restore import ASIDE
from kiosk.ledger.restore_people import People
from kiosk.rules import lines as L
from tests.ledger.test_restore_asks import DAY_S, NOW_S, Kiosk, begun, holder


@pytest.fixture
def kiosk(tmp_path: Path) -> Kiosk:
    return begun(tmp_path / "data", 300 * DAY_S)


def edited(file: Path, *sql: str) -> None:
    with closing(sqlite3.connect(file)) as ledger, ledger:
        for each in sql:
            ledger.execute(each)


def made_cool(file: Path) -> None:
    """Somebody edits the tables, so that nothing in them is hot."""
    edited(file, "DELETE FROM hold", "UPDATE holder SET heat = 'cool'")


def heated(kiosk: Kiosk) -> Path:
    """Heats T1 after a copy was made; the copy."""
    file = kiosk.copied()
    kiosk.say(L.Heated("T1", "P1"), after_s=60.0)
    return file


LATE_S = NOW_S + 60 * DAY_S  # by then nothing was heated within a day


def test_a_hold_that_runs_is_hot_however_long_ago_and_what_was_heated_lately_though_its_hold_ended(
    kiosk: Kiosk,
) -> None:
    file = heated(kiosk)
    kiosk.say(L.Heated("T2", "P1"), L.HoldEnded("T2", "reading"), after_s=9 * DAY_S)
    assert kiosk.put_back(file).holders == ("T1", "T2")


def test_what_the_replaced_ledger_doubts_is_doubted_and_what_it_only_holds_by_name_is_held(kiosk: Kiosk) -> None:
    file = kiosk.copied()
    kiosk.say(L.Moved("T1", "P1", None), L.Restored("b", (), ("T9",)), holder("T9"), after_s=60.0)
    done = kiosk.put_back(file, now_s=LATE_S)
    assert done.holders == () and done.unsure == ("T1", "T9"), "nothing is missing, so that no other is doubted"
    kiosk.say(holder("T9"), after_s=60.0)
    assert kiosk.put_back(file, now_s=LATE_S).unsure == ("T1", "T9")


def test_who_carries_on_what_another_knew_speaks_for_it(kiosk: Kiosk) -> None:
    file = heated(kiosk)
    first = kiosk.put_back(file, now_s=LATE_S)
    assert first.holders == ("T1",) and first.unsure == ()
    kiosk.say(L.HoldEnded("T1", "reading"), after_s=2 * DAY_S)
    again = kiosk.put_back(file, now_s=LATE_S)
    assert again.holders == () and again.unsure == (), "what was proved cool since stays cool"


def test_those_that_were_replaced_speak_where_the_one_that_is_there_does_not_carry_them_on(kiosk: Kiosk) -> None:
    file = heated(kiosk)
    kiosk.put_back(file, now_s=LATE_S)
    (kiosk.folder / NAME).unlink()
    gone = kiosk.put_back(file, now_s=LATE_S)
    assert gone.holders == ("T1",) and set(gone.unsure) == {"T2"}, "what happened since the copy nobody can say"
    for path in (kiosk.folder / anchors.NAME, kiosk.folder / NAME):
        path.unlink()
    shutil.copyfile(file, kiosk.folder / NAME)
    other = kiosk.put_back(file, now_s=LATE_S)
    assert other.holders == ("T1",) and set(other.unsure) == {"T2"}


def test_one_whose_tables_were_edited_speaks_for_none_of_those_it_took_over(kiosk: Kiosk) -> None:
    file = heated(kiosk)
    kiosk.put_back(file, now_s=LATE_S)
    made_cool(kiosk.folder / NAME)
    done = kiosk.put_back(file, now_s=LATE_S)
    assert done.holders == ("T1",) and set(done.unsure) == {"T2"}


def test_one_that_was_edited_silences_no_other_with_the_same_end(kiosk: Kiosk) -> None:
    file = heated(kiosk)
    (kiosk.folder / ASIDE).mkdir()
    shutil.copyfile(kiosk.folder / NAME, kiosk.folder / ASIDE / "ledger-20260101-000000.db")
    made_cool(kiosk.folder / NAME)
    assert kiosk.put_back(file, now_s=LATE_S).holders == ("T1",)


def test_a_whole_ledger_says_nothing_of_what_happened_at_another_kiosk(kiosk: Kiosk, tmp_path: Path) -> None:
    other = Kiosk(tmp_path / "other" / "data")
    other.say(holder("T7"), L.SignedIn("kim"), after_s=500.0)
    done = kiosk.put_back(other.copied())
    assert done.unsure == ("T7",) and done.holders == ()
    assert kiosk.put_back(other.copied()).unsure == ("T7",)


def test_one_that_lost_its_end_or_its_anchor_makes_every_shrink_holder_doubtful(kiosk: Kiosk) -> None:
    file = kiosk.copied()
    kiosk.say(L.SignedIn("jo"), after_s=60.0)
    mark = (kiosk.folder / anchors.NAME).read_bytes()
    assert kiosk.put_back(file).unsure == (), "as it is nothing is missing"
    kiosk.say(L.SignedIn("jo"), after_s=60.0)
    (kiosk.folder / anchors.NAME).write_bytes(mark)
    assert set(kiosk.put_back(file).unsure) == {"T1", "T2"}, "that line it never had"
    (kiosk.folder / anchors.NAME).unlink()
    assert set(kiosk.put_back(file).unsure) == {"T1", "T2"}


@contextmanager
def fails_to_read(where: str, error: Exception) -> Iterator[None]:
    """Reading ledgers in some folder comes to an error, once they were looked at."""

    @contextmanager
    def read(path: Path) -> Iterator[sqlite3.Connection]:
        if path.parent.name == where:
            raise error
        with reading(path) as ledger:
            yield ledger

    with patch.object(restoring, "reading", read):
        yield


def fault(cause: Exception | None) -> CopyFault:
    found = CopyFault(Path("ledger.db"), "is no ledger")
    found.__cause__ = cause
    return found


DAMAGE = (
    sqlite3.DatabaseError("file is not a database"), sqlite3.DatabaseError("database disk image is malformed"),
    fault(None), fault(sqlite3.DatabaseError("malformed")), TypeError("none"),
)  # fmt: skip
NO_LINES = (KeyError("kind"), ValueError("json"))  # a line of it cannot be read


@pytest.mark.parametrize(
    ("where", "error"),
    [*(("data", error) for error in DAMAGE), *((ASIDE, error) for error in (*DAMAGE, *NO_LINES))],
    ids=str,
)
def test_one_too_damaged_to_be_asked_is_not_asked_and_leaves_doubt(kiosk: Kiosk, where: str, error: Exception) -> None:
    file = heated(kiosk)
    kiosk.put_back(file, now_s=LATE_S)
    with fails_to_read(where, error):
        done = kiosk.put_back(file, now_s=LATE_S)
    assert done.holders == ("T1",), "who can be asked still knows"
    assert set(done.unsure) == ({"T2"} if where == "data" else set())


@pytest.mark.parametrize("where", ["data", ASIDE])
@pytest.mark.parametrize(
    "error",
    [
        sqlite3.OperationalError("database is locked"), sqlite3.OperationalError("database or disk is full"),
        sqlite3.OperationalError("unable to open database file"), fault(OSError(errno.EACCES, "denied")),
        fault(sqlite3.OperationalError("database is locked")),
    ],
    ids=str,
)  # fmt: skip
def test_what_is_no_damage_stops_the_restore(kiosk: Kiosk, where: str, error: Exception) -> None:
    file = heated(kiosk)
    kiosk.put_back(file, now_s=LATE_S)
    stood = kiosk.lines()
    with fails_to_read(where, error), pytest.raises(CopyFault):
        kiosk.put_back(file, now_s=LATE_S)
    assert kiosk.lines() == stood


@pytest.mark.parametrize(
    ("version", "sealed", "doubted"), [(1, False, False), (1, True, True), (2, False, True), (2, True, True)]
)
def test_only_a_ledger_from_before_there_were_anchors_is_whole_without_one(
    kiosk: Kiosk, version: int, sealed: bool, doubted: bool
) -> None:
    file = heated(kiosk)
    (kiosk.folder / anchors.NAME).unlink()
    edited(kiosk.folder / NAME, f"UPDATE schema SET version = {version}")
    if not sealed:
        edited(kiosk.folder / NAME, "ALTER TABLE watch DROP COLUMN seal")
    done = kiosk.put_back(file, now_s=LATE_S)
    assert done.holders == ("T1",) and done.unsure == (("T2",) if doubted else ())


def test_one_whose_wrong_tries_cannot_be_read_stops_the_restore_unless_it_is_damaged(kiosk: Kiosk) -> None:
    file = heated(kiosk)
    for error, stops in ((sqlite3.OperationalError("database is locked"), True), (KeyError("kind"), False)):
        with patch.object(restoring, "people_in", side_effect=[error, People(), People()]):
            if stops:
                with pytest.raises(CopyFault, match="locked"):
                    kiosk.put_back(file, now_s=LATE_S)
            else:
                assert kiosk.put_back(file, now_s=LATE_S).holders == ("T1",)


def test_whether_a_ledger_is_whole_is_not_guessed_where_the_disk_does_not_say(kiosk: Kiosk) -> None:
    file, stood = heated(kiosk), kiosk.lines()
    found = look(file)
    for error in (sqlite3.OperationalError("database is locked"), fault(OSError(errno.EACCES, "denied"))):
        with patch.object(restoring, "look", side_effect=[found, error]), pytest.raises(CopyFault):
            kiosk.put_back(file, now_s=LATE_S)
    assert kiosk.lines() == stood
