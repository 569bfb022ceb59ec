"""The anchor says how far the ledger came; what is torn or older is not believed, and what is ahead accuses."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import msgspec
import pytest

from kiosk.ledger.anchor import NAME, Anchor, Mark, disagreement, read
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE

DAYS_S = 90 * 86400.0
BEGUN = Mark("f00d", 7, "seven", DAYS_S)


def hash_of(lines: dict[int, str]):  # type: ignore[no-untyped-def]
    return lines.get


@pytest.mark.parametrize(
    ("mark", "lines", "stands"),
    [
        (Mark("f"), {}, True),
        (Mark("f"), {1: "one"}, True),
        (Mark("f", 0, ""), {}, False),
        (Mark("f", 3, HASH_BEFORE_ANY_LINE), {}, False),
        (Mark("f", 3, "three"), {3: "three"}, True),
        (Mark("f", 3, "three"), {3: "three", 9: "nine"}, True),
        (Mark("f", 3, "three"), {2: "two"}, False),
        (Mark("f", 3, "three"), {3: "other"}, False),
        (Mark("f", 3, "three", next_line=5, next_hash="five"), {5: "five"}, True),
        (Mark("f", 3, "three", next_line=5, next_hash="five"), {3: "three"}, True),
        (Mark("f", 3, "three", next_line=5, next_hash="five"), {5: "other"}, False),
        (Mark("f", 3, "three", next_hash="five"), {5: "five"}, False),
    ],
)
def test_a_ledger_without_the_line_of_its_anchor_has_lost_something(
    mark: Mark, lines: dict[int, str], stands: bool
) -> None:
    assert mark.stands_in(hash_of(lines)) is stands


def begun(folder: Path) -> Anchor:
    return Anchor.begin(folder, BEGUN)


def said(folder: Path) -> tuple[str, int, str, float, int | None, str] | None:
    mark = read(folder)
    return (mark.folder, mark.line, mark.hash, mark.watched_s, mark.next_line, mark.next_hash) if mark else None


def test_what_was_written_last_is_read_whether_it_was_forced_to_the_disk_or_not(tmp_path: Path) -> None:
    assert read(tmp_path) is None
    anchor = begun(tmp_path)
    assert said(tmp_path) == ("f00d", 7, "seven", DAYS_S, None, "")
    for line, firm in ((8, True), (9, False), (10, False), (11, True)):
        anchor.write(line, f"hash {line}", DAYS_S + line, firm=firm)
        assert said(tmp_path) == ("f00d", line, f"hash {line}", DAYS_S + line, None, "")
    anchor.expect(20, "twenty")
    assert said(tmp_path) == ("f00d", 11, "hash 11", DAYS_S + 11, 20, "twenty")
    anchor.write(20, "twenty", DAYS_S + 30.0, firm=True)
    mark = read(tmp_path)
    assert mark is not None and mark.next_line is None and mark.line == 20
    anchor.close()
    again = Anchor(tmp_path, mark)
    again.write(21, "hash 21", DAYS_S + 40.0, firm=True)
    again.close()
    assert read(tmp_path) == Mark("f00d", 21, "hash 21", DAYS_S + 40.0, None, "twenty", mark.turn + 1)


@pytest.mark.parametrize("torn", [0, 1])
@pytest.mark.parametrize("writes", [1, 2])
def test_one_of_its_two_places_torn_leaves_the_other(tmp_path: Path, torn: int, writes: int) -> None:
    anchor = begun(tmp_path)
    for number in range(writes):
        anchor.write(8 + number, f"hash {8 + number}", DAYS_S, firm=True)
    anchor.close()
    path = tmp_path / NAME
    data = bytearray(path.read_bytes())
    assert len(data) == 1024
    data[torn * 512 + 40] ^= 1
    path.write_bytes(data)
    mark = read(tmp_path)
    assert mark is not None and mark.line in (7 + writes, 6 + writes)
    data[(1 - torn) * 512 + 40] ^= 1
    path.write_bytes(data)
    assert read(tmp_path) is None, "nothing in it can be believed"


def test_an_anchor_begun_anew_leaves_nothing_older_to_be_read(tmp_path: Path) -> None:
    anchor = begun(tmp_path)
    anchor.write(900, "far ahead", DAYS_S, firm=True)
    anchor.close()
    Anchor.begin(tmp_path, Mark("beef", 2, "two", 5.0)).close()
    assert said(tmp_path) == ("beef", 2, "two", 5.0, None, "")
    path = tmp_path / NAME
    for torn in (0, 512):
        whole = path.read_bytes()
        path.write_bytes(whole[:torn] + b"x" * 512 + whole[torn + 512 :])
        assert said(tmp_path) == ("beef", 2, "two", 5.0, None, "")
        path.write_bytes(whole)


def test_a_long_mark_fits_its_place(tmp_path: Path) -> None:
    anchor = Anchor.begin(tmp_path, Mark("f" * 8, 2**40, "a" * 64, 1e9))
    anchor.expect(2**40 + 1, "b" * 64)
    anchor.close()
    assert said(tmp_path) == ("f" * 8, 2**40, "a" * 64, 1e9, 2**40 + 1, "b" * 64)


@pytest.mark.skipif(os.name == "nt", reason="modes and folders are forced otherwise there")
def test_what_is_firm_waits_for_the_disk_and_nobody_else_may_read_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    forced: list[int] = []
    monkeypatch.setattr(os, "fsync", forced.append)
    (tmp_path / NAME).touch(0o644)
    anchor = begun(tmp_path)
    assert len(forced) == 2, "the file, and the folder it is new in"
    assert (tmp_path / NAME).stat().st_mode & 0o777 == 0o600
    for firm, times in ((False, 2), (True, 3), (False, 3)):
        anchor.write(8, "eight", DAYS_S, firm=firm)
        assert len(forced) == times
    anchor.expect(9, "nine")
    assert len(forced) == 4
    anchor.close()
    with pytest.raises(OSError, match="descriptor"):
        anchor.write(9, "nine", DAYS_S, firm=False)


def test_an_anchor_of_another_day_is_believed(tmp_path: Path) -> None:
    """Its form on the disk: a digest of sixteen figures and the mark, in the place its turn says."""
    mark = Mark("f00d", 7, "seven", DAYS_S, turn=5)
    digest = hashlib.sha256(msgspec.json.encode(mark)).hexdigest()[:16]
    for said, believed in ((digest, mark), (digest[:15], None), (digest + "0", None)):
        line = msgspec.json.encode([said, msgspec.to_builtins(mark)])
        (tmp_path / NAME).write_bytes(bytes(512) + line.ljust(511) + b"\n")
        assert read(tmp_path) == believed
    assert Mark("f00d") == Mark("f00d", 0, HASH_BEFORE_ANY_LINE, 0.0, None, "", 0)


@pytest.mark.parametrize(
    ("mark", "last", "said"),
    [
        (None, 9, f"{NAME} beside it is missing or was changed, so nobody knows whether lines are lost"),
        (Mark("f", 10, "ten"), 9, f"is line 9, but {NAME} beside it knows line 10: lines are lost"),
        (Mark("f", 9), 9, f"goes on otherwise than {NAME} beside it (line 9) or the newest copy: it is another past"),
        (Mark("f", 5), 9, f"goes on otherwise than {NAME} beside it (line 5) or the newest copy: it is another past"),
    ],
)
def test_what_anchor_and_ledger_disagree_about_is_said(mark: Mark | None, last: int, said: str) -> None:
    assert disagreement(mark, last) == said
