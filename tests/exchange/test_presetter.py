"""Measurements from a presetter's table and from its cable."""

from __future__ import annotations

from itertools import islice

import pytest

from kiosk.exchange.faults import Fault, FieldFault, FileFaults, fault_at
from kiosk.exchange.presetter import (
    LONGEST_LINE,
    LineFault,
    Reading,
    SerialLine,
    listen,
    open_port,
    read_line,
    read_measurements,
    read_presetter_map,
)
from kiosk.rules.assembly import Measured

TABLE = """
unit = "mm"
runout_unit = "mm"
[fields]
tool = "ID"
length = "Z"
radius = "X"
runout = "RUN"
edges = "N"
"""
CABLE = """
unit = "um"
delimiter = ","
prefix = "M "
[fields]
tool = "1"
length = "2"
diameter = "3"
unbalance = "4"
[line]
port = "loop://"
baud = 19200
parity = "even"
"""


class Cable:
    """A cable that gives out what it was told, a piece at each reading, and then is cut."""

    def __init__(self, *pieces: bytes) -> None:
        self.pieces = list(pieces)

    def read(self, size: int = 1) -> bytes:
        if not self.pieces:
            raise OSError("cable pulled")
        return self.pieces.pop(0)

    def read_until(self, expected: bytes = b"\n", size: int | None = None) -> bytes:
        return self.read()

    def close(self) -> None:
        self.pieces.clear()


def test_a_table_is_read_by_the_shops_map() -> None:
    made = read_presetter_map(TABLE, "presetter.toml")
    read = read_measurements(b"ID;Z;X;RUN;N\nRougher 12;122,987;5,9975;0,003;4\n", "m.csv", made)
    assert read.whole() == (Reading(2, "Rougher 12", Measured(122.987, 11.995, runout_um=3.0, edges=4)),)


def test_a_bad_row_is_named_and_the_others_are_kept() -> None:
    made = read_presetter_map(TABLE, "presetter.toml")
    read = read_measurements(b"ID;Z;X;RUN;N\na;;5;;\nb;100;5;;\nc;0;5;;\nd;9;5;;1.5\n", "m.csv", made)
    assert [reading.tool for reading in read.good] == ["b"]
    assert [(fault.line, fault.field) for fault in read.faults] == [(2, "Z"), (4, "Z"), (5, "N")]


def test_a_column_of_the_map_that_is_not_there_is_named() -> None:
    made = read_presetter_map(TABLE, "presetter.toml")
    read = read_measurements(b"ID;Z\na;100\n", "m.csv", made)
    assert {fault.field for fault in read.faults} == {"X", "RUN", "N"}


def test_a_line_from_the_cable_is_a_measurement_or_none() -> None:
    made = read_presetter_map(CABLE, "presetter.toml")
    assert read_line("\x02M H7K2B4N9RX,122987,11995,1.5\x03\r\n", 1, made) == Reading(
        1, "H7K2B4N9RX", Measured(122.987, 11.995, unbalance_gmm=1.5)
    )
    assert read_line("READY", 2, made) is None
    assert read_line("\r\n", 3, made) is None
    with pytest.raises(FieldFault) as caught:
        read_line("M x,1000", 4, made)
    assert caught.value.field == "3"


def test_pieces_of_a_line_are_put_together_and_bad_ones_named() -> None:
    made = read_presetter_map(CABLE, "presetter.toml")
    cable = Cable(b"M a,122", b"", b"987,11995,\r\n", b"M b,x,1,\n", b"noise\n", b"M c,1000,2000,\n")
    heard = list(islice(listen(cable, made), 5))
    assert heard == [
        None,
        None,
        Reading(1, "a", Measured(122.987, 11.995)),
        fault_at("loop://", 2, "field 2", "not_a_number", said="'x'"),
        Reading(4, "c", Measured(1.0, 2.0)),
    ]


def test_a_line_without_end_is_given_up_and_a_cut_cable_is_said() -> None:
    made = read_presetter_map(CABLE, "presetter.toml")
    heard = listen(Cable(b"\xff" * LONGEST_LINE, b"M a,1000,2000,\n"), made)
    first = next(heard)
    assert isinstance(first, Fault) and "baud rate" in first.why
    assert isinstance(next(heard), Reading)
    with pytest.raises(LineFault, match="cable pulled"):
        next(heard)


def test_a_real_port_is_opened_and_heard() -> None:
    pytest.importorskip("serial")
    made = read_presetter_map(CABLE, "presetter.toml")
    assert made.line is not None
    port = open_port(made.line, wait_s=0.05)
    port.write(b"M a,122987,11995,\n")  # type: ignore[attr-defined]
    assert next(listen(port, made)) == Reading(1, "a", Measured(122.987, 11.995))
    port.close()


def test_a_port_that_is_not_there_is_said() -> None:
    pytest.importorskip("serial")
    with pytest.raises(LineFault, match="/dev/no-such-port"):
        open_port(SerialLine("/dev/no-such-port"))


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("[fields]\ndiameter = 'D'", "[fields] length"),
        ("[fields]\nlength = 'L'", "[fields] diameter"),
        ("[fields]\nlength = 'L'\ndiameter = 'D'\nradius = 'R'", "[fields] diameter"),
        ("[fields]\nlength = 'L'\ndiameter = 'D'\n[line]\nport = 'COM1'", "[fields] length"),
        ("[fields]\nlength = '1'\ndiameter = '2'\n[line]\nport = 'COM1'\nspeed = 1", "[line] speed"),
        ("delimiter = '|'\n[fields]\nlength = 'L'\ndiameter = 'D'", "delimiter"),
        ("skip_lines = -1\n[fields]\nlength = 'L'\ndiameter = 'D'", "skip_lines"),
        ("unit = 'yard'\n[fields]\nlength = 'L'\ndiameter = 'D'", "unit"),
        ("colour = 1\n[fields]\nlength = 'L'\ndiameter = 'D'", "colour"),
        ("= 1", ""),
    ],
)
def test_a_map_that_cannot_be_used_names_its_key(text: str, field: str) -> None:
    with pytest.raises(FileFaults) as caught:
        read_presetter_map(text, "presetter.toml")
    assert [fault.field for fault in caught.value.faults] == [field]
