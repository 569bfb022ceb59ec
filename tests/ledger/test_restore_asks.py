"""What a restore finds out before it puts anything back, and what it leaves behind; small ledgers, no desk."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from unittest.mock import patch

import pytest

from kiosk.ledger import anchor as anchors
from kiosk.ledger import restore as restoring
from kiosk.ledger.book import NAME, Book
from kiosk.ledger.copying import CopyFault, copy
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE
from kiosk.ledger.restore import ASIDE, MAKING, RestoreDone, restore
from kiosk.ledger.restore_people import People
from kiosk.ledger.trouble import Cause, LedgerFault
from kiosk.ledger.verify import Wrong
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Family, Holder
from kiosk.rules.places import Kind, Place
from kiosk.rules.tries import ALL_ALIKE, WRONG_PIN

NOW_S = 1.8e9
DAY_S = 86400.0
BEGUN_S = (3 * 3600.0, 300 * DAY_S)


class Kiosk:
    """A folder's ledger, written at any watched and wall time."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.count_s, self.wall_s = folder, 50.0, NOW_S

    def say(self, *entries: L.Entry, after_s: float = 0.0, wall_s: float | None = None, beat_s: float = 0.0) -> None:
        """Writes lines after so many seconds, by a wall clock that shows what it likes, and runs on for a while."""
        self.wall_s = self.wall_s + after_s if wall_s is None else wall_s
        with Book.open(self.folder, "mill", counter=lambda: self.count_s, wall=lambda: self.wall_s) as book:
            self.count_s += after_s
            book.append(entries)
            self.count_s += beat_s

    def copied(self, name: str = "copies") -> Path:
        return copy(self.folder, self.folder.parent / name, self.wall_s).path

    def put_back(self, file: Path, folder: Path | None = None, now_s: float | None = None) -> RestoreDone:
        now = self.wall_s if now_s is None else now_s
        return restore(folder or self.folder, file, now, "mill", counter=lambda: self.count_s)

    def lines(self, folder: Path | None = None) -> list[tuple[L.Entry, float]]:
        with Book.open(folder or self.folder, "mill", counter=lambda: self.count_s, wall=lambda: self.wall_s) as book:
            return [(line.entry, line.watched_s) for line in book.lines()]


def holder(key: str, clamping: Clamping = Clamping.SHRINK_FIT) -> L.HolderRegistered:
    return L.HolderRegistered(Holder(key, key, Coupling(Family.HOLLOW_TAPER, 63), clamping, 12.0), stood_cold=True)


def begun(folder: Path, begun_s: float) -> Kiosk:
    """A kiosk that has watched so long: two shrink-fit holders, the first at the station, and a collet."""
    found = Kiosk(folder)
    found.say(
        L.PlaceAdded(Place("P1", "Station", Kind.SHRINK)), holder("T1"), holder("T2"), holder("C1", Clamping.COLLET),
        L.Moved("T1", None, "P1"), after_s=begun_s, wall_s=NOW_S,
    )  # fmt: skip
    assert found.lines()[-1][1] == begun_s
    return found


@pytest.fixture(params=BEGUN_S, ids=["hours", "months"])
def kiosk(request: pytest.FixtureRequest, tmp_path: Path) -> Kiosk:
    return begun(tmp_path / "data", request.param)


# heated within a day, by either clock


@pytest.mark.parametrize(
    ("watched_s", "wall_s", "hot"),
    [
        (DAY_S, 3 * DAY_S, True), (DAY_S + 1.0, 3 * DAY_S, False), (3 * DAY_S, DAY_S, True),
        (3 * DAY_S, DAY_S + 1.0, False), (60.0, -9 * DAY_S, True), (3 * DAY_S, -9 * DAY_S, True),
    ],
)  # fmt: skip
def test_on_a_new_tablet_what_was_heated_within_a_day_by_either_clock_is_hot(
    kiosk: Kiosk, tmp_path: Path, watched_s: float, wall_s: float, hot: bool
) -> None:
    kiosk.say(L.Heated("T1", "P1"))
    kiosk.say(L.HoldEnded("T1", "reading"), after_s=watched_s, wall_s=NOW_S)
    done = kiosk.put_back(kiosk.copied(), tmp_path / "new", NOW_S + wall_s)
    assert done.holders == (("T1",) if hot else ())
    assert set(done.unsure) == ({"T2"} if hot else {"T1", "T2"}), "and no collet, which nobody heats"
    assert done.aside is None and done.line == len(kiosk.lines(tmp_path / "new"))


def test_time_a_ledger_was_watched_after_its_last_line_counts(kiosk: Kiosk, tmp_path: Path) -> None:
    for beat_s, hot in ((DAY_S - 60.0, ("T1",)), (2 * DAY_S, ())):
        kiosk.say(L.Heated("T1", "P1"))
        kiosk.say(L.HoldEnded("T1", "reading"), after_s=60.0, beat_s=beat_s)
        file = kiosk.copied(f"copies {beat_s}")
        assert kiosk.put_back(file, tmp_path / f"new {beat_s}", NOW_S + 9 * DAY_S).holders == hot


def test_what_was_retired_is_not_hot_only_because_it_was_heated_lately(kiosk: Kiosk, tmp_path: Path) -> None:
    kiosk.say(L.Heated("T1", "P1"), L.HoldEnded("T1", "reading"), L.HolderRetired("T1"), after_s=60.0)
    assert kiosk.put_back(kiosk.copied(), tmp_path / "new").holders == ()


def test_what_the_copy_holds_is_held_whenever_it_was_heated(kiosk: Kiosk, tmp_path: Path) -> None:
    kiosk.say(L.Heated("T1", "P1"))
    kiosk.say(L.SignedIn("jo"), after_s=50 * DAY_S)
    done = kiosk.put_back(kiosk.copied(), tmp_path / "new", NOW_S + 60 * DAY_S)
    assert done.holders == ("T1",) and done.unsure == ("T2",)
    assert kiosk.lines(tmp_path / "new")[done.line - 1][0] == L.Restored(
        kiosk.copied("again").name, ("T1",), ("T2",)
    )  # fmt: skip


def test_watched_time_goes_on_from_where_the_copy_was_watched(kiosk: Kiosk, tmp_path: Path) -> None:
    kiosk.say(L.SignedIn("jo"), after_s=60.0, beat_s=5000.0)
    before_s = kiosk.lines()[-1][1]
    done = kiosk.put_back(kiosk.copied(), tmp_path / "new")
    told = kiosk.lines(tmp_path / "new")
    assert told[done.line - 1][1] == pytest.approx(before_s + 5000.0), "nothing that was watched is forgotten"


# wrong PINs


def wrong(times: int, key: str = "sam") -> list[L.Entry]:
    return [L.TurnedAway(key, WRONG_PIN)] * times


@pytest.mark.parametrize(
    ("in_copy", "since", "counted"),
    [
        (wrong(1), wrong(3), 4),
        (wrong(2), [], 2),
        (wrong(2), [*wrong(2), L.PinGiven("sam"), *wrong(1)], 2),
        (wrong(3), [L.PinGiven("sam")], 3),
        ([], [*wrong(4), L.OperatorAdded("sam", "Sam", "supervisor", "hash"), *wrong(2)], 2),
        ([], [*wrong(4), L.OperatorAdded("sam", "Sam", "supervisor"), *wrong(2)], 6),
        ([], [*wrong(2), L.PinGiven("kim"), L.TurnedAway("sam", "hot"), *wrong(2, "kim")], 2),
        ([], wrong(ALL_ALIKE + 4), ALL_ALIKE),
        (wrong(1), wrong(ALL_ALIKE + 4), ALL_ALIKE),
    ],
)
def test_wrong_tries_since_the_copy_are_counted_on(
    kiosk: Kiosk, in_copy: Sequence[L.Entry], since: Sequence[L.Entry], counted: int
) -> None:
    kiosk.say(*in_copy, L.SignedIn("jo"))
    file = kiosk.copied()
    kiosk.say(*since, L.SignedOut("jo"))
    kiosk.put_back(file)
    told = [entry for entry, _ in kiosk.lines()]
    again = [entry for entry in told if entry == L.TurnedAway("sam", WRONG_PIN)]
    assert len(again) == counted


def test_on_a_new_tablet_nobody_counts_tries_that_were_never_made_there(kiosk: Kiosk, tmp_path: Path) -> None:
    kiosk.say(*wrong(3))
    kiosk.put_back(kiosk.copied(), tmp_path / "new")
    assert len([entry for entry, _ in kiosk.lines(tmp_path / "new") if isinstance(entry, L.TurnedAway)]) == 3


# what is left behind


def test_the_anchor_says_the_new_end_and_nothing_half_made_is_left(kiosk: Kiosk) -> None:
    file = kiosk.copied()
    (kiosk.folder / MAKING).mkdir()
    (kiosk.folder / MAKING / NAME).write_text("cut short")
    name = anchors.read(kiosk.folder)
    done = kiosk.put_back(file)
    mark = anchors.read(kiosk.folder)
    assert mark is not None and name is not None and mark.folder == name.folder
    with closing(sqlite3.connect(kiosk.folder / NAME)) as ledger:
        last = ledger.execute("SELECT id, hash FROM line ORDER BY id DESC LIMIT 1").fetchone()
        (watched_s,) = ledger.execute("SELECT MAX(watched_s) FROM watch").fetchone()
    assert (mark.line, mark.hash) == last and done.line == last[0] and mark.watched_s == watched_s
    assert not (kiosk.folder / MAKING).exists()
    assert not list(kiosk.folder.glob(f"{NAME}-*")), "one file, without a log beside it"


def test_a_file_of_no_length_is_no_ledger_that_is_replaced(kiosk: Kiosk, tmp_path: Path) -> None:
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / NAME).touch()
    done = kiosk.put_back(kiosk.copied(), tmp_path / "new")
    assert done.aside is None and not (tmp_path / "new" / ASIDE).exists()


def test_the_replaced_ledger_is_kept_whole_under_a_name_of_its_own(kiosk: Kiosk) -> None:
    file, kept = kiosk.copied(), []
    for ending in ("", "-2", "-3"):
        stood = [entry for entry, _ in kiosk.lines()]
        done = kiosk.put_back(file, now_s=NOW_S)
        assert done.aside is not None and done.aside.name == f"ledger-20270115-080000{ending}.db"
        kept.append(done.aside)
        with closing(sqlite3.connect(done.aside)) as ledger:
            assert ledger.execute("SELECT COUNT(*) FROM line").fetchone() == (len(stood),)
        assert not done.aside.stat().st_mode & 0o077
    assert sorted((kiosk.folder / ASIDE).iterdir()) == sorted(kept)


def test_one_that_was_kept_before_a_cut_is_not_kept_twice(kiosk: Kiosk) -> None:
    file = kiosk.copied()
    (kiosk.folder / ASIDE).mkdir()
    before = kiosk.folder / ASIDE / "ledger-20260101-000000.db"
    os.link(kiosk.folder / NAME, before)
    done = kiosk.put_back(file)
    assert done.aside == before and list((kiosk.folder / ASIDE).iterdir()) == [before]


def test_where_a_file_has_but_one_name_it_is_copied(kiosk: Kiosk) -> None:
    file, stood = kiosk.copied(), (kiosk.folder / NAME).read_bytes()
    (kiosk.folder / ASIDE).mkdir()
    (kiosk.folder / ASIDE / "ledger-20270115-080000.db.part").write_text("cut short")
    modes, copying = [], shutil.copyfile

    def looked_at(source: Path, goal: Path) -> None:
        modes.append(goal.stat().st_mode & 0o077)
        copying(source, goal)

    with (
        patch.object(restoring.os, "link", side_effect=OSError("no links here")),
        patch.object(restoring.shutil, "copyfile", looked_at),
    ):
        done = kiosk.put_back(file, now_s=NOW_S)
    assert modes == [0] or os.name != "posix", "its owner's alone before anything is in it"
    assert done.aside is not None and len(done.aside.read_bytes()) == len(stood)
    with closing(sqlite3.connect(done.aside)) as ledger:
        assert ledger.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert list((kiosk.folder / ASIDE).iterdir()) == [done.aside]


def test_a_ledger_too_damaged_to_close_keeps_its_log_beside_it(kiosk: Kiosk) -> None:
    file, log = kiosk.copied(), kiosk.folder / f"{NAME}-wal"
    with patch.object(restoring, "in_one_file", return_value=False):
        log.write_bytes(b"milk")
        with patch.object(restoring, "_ask", return_value=restoring._Known(*(frozenset(),) * 3, False, People())):
            done = kiosk.put_back(file)
    assert done.aside is not None and done.aside.with_name(f"{done.aside.name}-wal").read_bytes() == b"milk"
    assert not log.exists(), "never to be read with the new ledger"
    assert set(done.unsure) == {"T1", "T2"}


def test_one_that_can_be_closed_is_kept_in_one_file(kiosk: Kiosk) -> None:
    file, log = kiosk.copied(), kiosk.folder / f"{NAME}-wal"
    with patch.object(restoring, "in_one_file", side_effect=lambda path: log.write_bytes(b"milk") == 4):
        done = kiosk.put_back(file)
    assert done.aside is not None and list((kiosk.folder / ASIDE).iterdir()) == [done.aside] and not log.exists()


# what goes wrong


def test_what_the_disk_says_is_told_and_changes_nothing(kiosk: Kiosk) -> None:
    file, stood = kiosk.copied(), kiosk.lines()
    for name in ("_ask", "_make", "_keep", "_swap"):
        with (
            patch.object(restoring, name, side_effect=sqlite3.OperationalError("disk I/O error")),
            pytest.raises(CopyFault, match="disk I/O error"),
        ):
            kiosk.put_back(file)
        assert kiosk.lines() == stood and not (kiosk.folder / MAKING).exists(), name
    assert kiosk.put_back(file).line, "and nothing is locked"


def test_a_new_ledger_that_does_not_verify_takes_no_name(kiosk: Kiosk) -> None:
    file, stood = kiosk.copied(), (kiosk.folder / NAME).read_bytes()
    with (
        patch.object(Book, "check", return_value=[Wrong("line 3", "is not what it was")]),
        pytest.raises(LedgerFault, match="line 3") as fault,
    ):
        kiosk.put_back(file)
    assert fault.value.cause is Cause.DAMAGED and (kiosk.folder / NAME).read_bytes() == stood


def test_a_ledger_that_is_none_any_more_is_kept_and_makes_every_shrink_holder_doubtful(kiosk: Kiosk) -> None:
    file = kiosk.copied()
    (kiosk.folder / NAME).write_bytes(b"coffee" * 5000)
    done = kiosk.put_back(file)
    assert done.aside is not None and done.aside.read_bytes().startswith(b"coffee")
    assert set(done.unsure) == {"T1", "T2"}


@pytest.mark.parametrize("there", [True, False])
def test_until_the_new_one_has_the_name_an_old_ledger_without_an_anchor_counts_as_one_that_lost_something(
    kiosk: Kiosk, tmp_path: Path, there: bool
) -> None:
    file, folder = kiosk.copied(), kiosk.folder if there else tmp_path / "new"
    (kiosk.folder / anchors.NAME).unlink()
    with patch.object(anchors.Anchor, "expect", side_effect=OSError("gone")), pytest.raises(CopyFault, match="gone"):
        kiosk.put_back(file, folder)
    mark = anchors.read(folder)
    assert mark is not None and (mark.line, mark.hash) == (0, "" if there else HASH_BEFORE_ANY_LINE)


def test_the_disk_has_the_old_ledger_before_the_new_one_takes_its_name(kiosk: Kiosk) -> None:
    file, told = kiosk.copied(), []
    real = restoring.to_disk

    def to_disk(path: Path) -> None:
        told.append((path.relative_to(kiosk.folder).parts, (kiosk.folder / MAKING / NAME).exists()))
        real(path)

    with patch.object(restoring, "to_disk", to_disk), patch.object(restoring.os, "link", side_effect=OSError("no")):
        done = kiosk.put_back(file)
    assert done.aside is not None
    part = (ASIDE, f"{done.aside.name}.part")
    assert told == [((MAKING, NAME), True), (part, True), ((ASIDE,), True), ((), False)]


def test_a_new_ledger_that_somebody_reads_while_it_is_made_takes_no_name(kiosk: Kiosk) -> None:
    file, stood, real = kiosk.copied(), kiosk.lines(), sqlite3.connect

    class Read(sqlite3.Connection):
        def execute(self, sql: str, *more: object) -> sqlite3.Cursor:
            return super().execute("SELECT 'wal'" if "journal_mode = DELETE" in sql else sql, *more)  # type: ignore[arg-type]

    def connect(path: object, *given: object, **more: object) -> sqlite3.Connection:
        return real(path, *given, **more, **({"factory": Read} if MAKING in str(path) else {}))  # type: ignore[arg-type]

    with patch.object(sqlite3, "connect", connect), pytest.raises(CopyFault, match="another program reads it"):
        kiosk.put_back(file)
    assert kiosk.lines() == stood and not (kiosk.folder / MAKING).exists()


def test_while_another_program_reads_the_ledger_nothing_is_replaced(kiosk: Kiosk) -> None:
    file = kiosk.copied()
    real = sqlite3.connect

    class Impatient(sqlite3.Connection):
        def execute(self, sql: str, *more: object) -> sqlite3.Cursor:
            return super().execute(sql.replace("busy_timeout = 5000", "busy_timeout = 50"), *more)  # type: ignore[arg-type]

    with closing(real(kiosk.folder / NAME)) as other:
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("BEGIN")
        other.execute("SELECT COUNT(*) FROM line").fetchone()
        with (
            patch.object(restoring.sqlite3, "connect", lambda *given, **more: real(*given, **more, factory=Impatient)),
            pytest.raises(CopyFault, match="locked"),
        ):
            kiosk.put_back(file)
    assert not list((kiosk.folder / ASIDE).glob("*.db"))
