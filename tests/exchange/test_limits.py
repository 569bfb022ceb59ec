"""Limits before work: what is too large is refused by name before it is split, decoded or unpacked."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk import filing
from kiosk.exchange.control_list import Columns, ListMap, read_list, read_map
from kiosk.exchange.faults import FieldFault, FileFaults, Read
from kiosk.exchange.presetter import LONGEST_LINE, Fields, PresetterMap, listen, read_measurements, read_presetter_map
from kiosk.exchange.sheet import read_sheet
from kiosk.exchange.tables_csv import LONGEST_CELL, MOST_COLUMNS, MOST_LINES, decoded, number, read_table
from kiosk.exchange.template import read_template
from kiosk.rules import compare as comparing
from kiosk.settings import SettingsFault, load


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (",".join(f"c{at}" for at in range(20_000)) + "\n1\n", f"20000 columns; {MOST_COLUMNS}"),
        ("code;" * 20_000 + "\n", f"{MOST_COLUMNS} are the most"),
        ("x" * 1000 + "\n1\n", "name of 1000 characters"),
        ("a,b\n" + "\n" * (MOST_LINES + 1), f"{MOST_LINES} are the most"),
    ],
)
def test_a_table_beyond_every_shop_is_refused_before_it_is_split(text: str, says: str) -> None:
    with pytest.raises(FileFaults) as refused:
        read_table(text, "big.csv")
    (fault,) = refused.value.faults
    assert fault.file == "big.csv" and says in fault.why


def test_a_cell_beyond_every_text_is_a_fault_with_its_line_and_column() -> None:
    table = read_table(f"a,b\n1,2\n3,{'x' * (LONGEST_CELL + 1)}\n4,5\n", "t.csv")
    assert [(fault.line, fault.field) for fault in table.faults] == [(3, "b")]
    assert [record.values["a"] for record in table.records] == ["1", "4"]


@pytest.mark.parametrize(
    "text", ["9" * 5000, "1" + "0" * 40, "1e" + "9" * 60, "nan", "inf", "1e400", "0x1", "1_0", "٣" * 50]
)
def test_a_number_of_any_length_is_refused_in_a_short_sentence(text: str) -> None:
    with pytest.raises(FieldFault) as refused:
        number(text, "DC")
    assert refused.value.field == "DC" and len(refused.value.why) < 120


@pytest.mark.parametrize("eight_bit", [False, True])
def test_text_with_nul_is_no_text(eight_bit: bool) -> None:
    with pytest.raises(FileFaults, match=r"t\.csv, line 2: "):
        decoded(b"a,b\n1,\0\n", "t.csv", eight_bit=eight_bit)
    with pytest.raises(FileFaults, match=r"t\.csv, line 1: "):
        decoded("a,b\n1,2".encode("utf-16-le"), "t.csv", eight_bit=eight_bit)


DEEP = (
    "a = " + "[" * 5000 + "]" * 5000,
    "a = " + "{a=" * 5000 + "1" + "}" * 5000,
    ".".join(["a"] * 5000) + " = 1",
    "[" + ".".join(["a"] * 5000) + "]",
    "a." * 400_000 + "a = 1",
    '"a" . ' * 5000 + "a = 1",
    "a = " + "[" * 200 + "]" * 200,
    "a = " + "9" * 5000,
    f"a = {2**63}",
    "a" * 2_000_000,
    "a = '",
)


@pytest.mark.parametrize("text", DEEP)
def test_toml_that_nobody_wrote_by_hand_is_a_fault_of_its_file(text: str, tmp_path: Path) -> None:
    for read in (read_map, read_presetter_map):
        with pytest.raises(FileFaults, match=r"map\.toml"):
            read(text, "map.toml")
    path = tmp_path / "settings.toml"
    path.write_text(text)
    with pytest.raises(SettingsFault, match=r"settings\.toml"):
        load(path)


def test_a_long_text_with_points_is_no_deep_table() -> None:
    values = filing.toml_values('a = "' + "1.2." * 20 + '"\nb.c.d = 1\n["x.y".z]\nk = 1.5\n# ' + "a-b " * 50)
    assert values["b"] == {"c": {"d": 1}} and values["x.y"]["z"] == {"k": 1.5}


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("[each]\n{LF*" + "9" * 1500 + "}\n[end]", 2, "or divided by"),
        ("[each]\n{LF*" + "9" * 5000 + "}\n[end]", 2, "characters"),
        ("[each]\n{LF/0.0000000001}\n[end]", 2, "or divided by"),
        ("[each]\n" + "{" * 5001 + "\n[end]", 2, "characters"),
        ("x\n" * 3000, 0, "lines"),
        ("[each]\n{LF:.²f}\n{LF*٣}\n[end]", 2, "no way to write"),
    ],
)
def test_a_template_beyond_every_control_is_refused_with_its_line(text: str, line: int, says: str) -> None:
    with pytest.raises(FileFaults) as refused:
        read_template(text, "t.txt")
    fault = next(fault for fault in refused.value.faults if fault.line == line)
    assert says in fault.why and len(str(fault)) < 200


def test_a_pasted_list_beyond_every_job_is_refused() -> None:
    with pytest.raises(FileFaults, match="lines"):
        read_sheet("Drill 8.5\n" * 6000, "job.txt")
    read = read_sheet("Drill 8.5\n" + "x" * 2000 + "\n", "job.txt")
    assert [fault.line for fault in read.faults] == [2] and len(read.good) == 1


class Cable:
    def __init__(self, *pieces: bytes) -> None:
        self.pieces = list(pieces)

    def read(self, size: int = 1) -> bytes:
        if not self.pieces:
            raise OSError("pulled")
        return self.pieces.pop(0)[:size]

    def read_until(self, expected: bytes = b"\n", size: int | None = None) -> bytes:
        return self.read(LONGEST_LINE if size is None else size)

    def close(self) -> None:
        pass


MAP = PresetterMap(Fields(tool="1", length="2", diameter="3"), delimiter=",")
TABLE = PresetterMap(Fields(tool="T", length="L", diameter="D"))


@given(st.lists(st.binary(max_size=40).map(lambda piece: piece + b"\n") | st.just(b"9" * LONGEST_LINE), max_size=8))
def test_whatever_comes_down_the_cable_is_a_reading_or_a_fault(pieces: list[bytes]) -> None:
    with pytest.raises(OSError, match="pulled"):
        list(listen(Cable(*pieces), MAP))


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: f"T,L,D\n{text}".encode("utf-8", "replace")))
def test_any_bytes_are_rows_and_faults(data: bytes) -> None:
    for read in (
        lambda: read_measurements(data, "f.csv", TABLE),
        lambda: read_list(data, "f.csv", ListMap(Columns(name="T", number="L", pocket="D"))),
        lambda: read_sheet(decoded(data, "f.csv"), "f.csv"),
        lambda: read_template(decoded(data, "f.csv"), "f.csv"),
        lambda: read_map(decoded(data, "f.csv"), "f.csv"),
    ):
        try:
            found = read()
        except FileFaults as faults:
            assert all(fault.file == "f.csv" for fault in faults.faults)
        else:
            if isinstance(found, Read):
                assert all(fault.file == "f.csv" for fault in found.faults)


def test_a_file_is_measured_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "big.csv"
    with path.open("wb") as big:
        big.truncate(2**40)  # a hole: no disk has it, and nobody may try to read it
    zeros, nul = Path("/dev/zero"), Path("a\0b")
    for given_path, says in ((path, "larger"), (zeros, "larger"), (tmp_path, "folder"), (nul, "name")):
        with pytest.raises(filing.FileUnusable, match=says):
            filing.take(given_path)


def test_a_list_of_one_tool_over_and_over_is_compared_in_one_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    monkeypatch.setattr(comparing, "plain", lambda name: asked.append(name) or name)
    listed = [comparing.Listed(line, "Ball mill 8") for line in range(1, 3001)]
    lines = comparing.compare(listed, [], "Mill 1").lines
    assert {line.verdicts for line in lines} == {(comparing.Verdict.NOT_IN_BOOK, comparing.Verdict.TWICE_IN_CONTROL)}
    assert len(asked) < 10 * len(listed), "each line with each other would be millions"
