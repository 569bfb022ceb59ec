"""How a presetter's lines are cut, and what a listening thread keeps of them."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from itertools import pairwise
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.exchange.cable import KEPT_WAITING, MOST_WAITING, Cable, State, separator_of
from kiosk.exchange.faults import Fault
from kiosk.exchange.presetter import (
    LONGEST_LINE,
    Fields,
    LineFault,
    Port,
    PresetterMap,
    SerialLine,
    cells_of,
    heard,
    open_port,
    raw_lines,
    read_presetter_map,
    write_presetter_map,
)

MAP = PresetterMap(Fields(tool="1", length="2", diameter="3"), delimiter=";", line=SerialLine("/dev/ttyS0"))
LETTERS = st.text("ABCDEFGHJKLMNPRSTVWXYZ", min_size=1, max_size=8)
MM = st.integers(1, 499_999)


@given(
    sign=st.sampled_from([";", "\t", "|", ",", ""]),
    tool=LETTERS,
    words=st.lists(LETTERS, max_size=3),
    figures=st.lists(MM, min_size=2, max_size=6),
    comma=st.booleans(),
    spaced=st.booleans(),
    noise=st.lists(st.sampled_from(["READY", "", "OK 1"]), max_size=3),
)
def test_what_parts_the_fields_is_found_whatever_the_decimal_sign(
    sign: str, tool: str, words: list[str], figures: list[int], comma: bool, spaced: bool, noise: list[str]
) -> None:
    point = "," if comma and sign != "," else "."
    name = tool if sign == "" else " ".join([tool, *words])
    cells = [name, *(f"{each // 1000}{point}{each % 1000:03}" for each in figures)]
    glue = " " if not sign else f"{sign} " if spaced else sign
    line = glue.join(cells)
    found = separator_of([*noise, line])
    assert found == sign
    assert cells_of(f"\x02{line}\x03\r\n", found) == tuple(cells)


@pytest.mark.parametrize(
    ("lines", "sign"),
    [
        ([], ""),
        (["READY"], ""),
        (["1,122987,11995"], ","),  # micrometres, and a number for a name
        (["12,6"], ","),
        (["12,5 6,0"], ""),
        (["End mill 8 2 fl,122987,11995"], ","),
        (["Mill, long 12.5 6.0"], ""),
        (["A;12,5;6,0", "B"], ";"),
    ],
)
def test_lines_that_could_be_cut_in_two_ways(lines: list[str], sign: str) -> None:
    assert separator_of(lines) == sign


FIELD = st.integers(1, 99).map(str)
MAPS = st.builds(
    PresetterMap,
    st.builds(
        Fields,
        tool=FIELD | st.just(""),
        number=FIELD | st.just(""),
        length=FIELD,
        diameter=FIELD,
        runout=FIELD | st.just(""),
    ),
    unit=st.sampled_from(["mm", "um", "inch"]),
    delimiter=st.sampled_from([";", "\t", "|", ",", "", '"', "\\"]),
    prefix=st.text("AM:# \"'\\", max_size=4),
    line=st.builds(
        SerialLine,
        st.text(min_size=1, max_size=30).filter(str.isprintable),
        baud=st.sampled_from([1200, 9600, 115200]),
        bits=st.sampled_from([7, 8]),
        parity=st.sampled_from(["none", "even", "odd"]),
    ),
)


@given(MAPS)
def test_a_map_that_is_written_is_read_as_it_was(made: PresetterMap) -> None:
    assert read_presetter_map(write_presetter_map(made), "cable.toml") == made


@pytest.mark.parametrize(("said", "number"), [("12", 12), ("T12", 12), ("t 0012", 12), ("000", 0)])
def test_a_number_of_the_controls_has_a_t_before_it_or_none(said: str, number: int) -> None:
    made = PresetterMap(Fields(number="1", length="2", diameter="3"), delimiter=";")
    found = heard(1, f"{said};100;6", made)
    assert not isinstance(found, Fault) and found is not None
    assert (found.number, found.tool, found.called) == (number, "", f"T{number}")


@pytest.mark.parametrize("said", ["12.5", "-3", "TT1", "999999999", "Mill"])
def test_what_is_no_number_of_the_controls_is_a_fault(said: str) -> None:
    found = heard(7, f"{said};100;6", PresetterMap(Fields(number="1", length="2", diameter="3"), delimiter=";"))
    assert isinstance(found, Fault) and (found.line, found.field) == (7, "field 1")


class Pieces:
    """A cable that gives out its pieces and is then pulled, or silent."""

    def __init__(self, *pieces: bytes, silent: bool = False) -> None:
        self.pieces, self.silent, self.closed = list(pieces), silent, False

    def read(self, size: int = 1) -> bytes:
        if self.pieces:
            return self.pieces.pop(0)
        if not self.silent:
            raise OSError("pulled")
        time.sleep(0.01)
        return b""

    def read_until(self, expected: bytes = b"\n", size: int | None = None) -> bytes:
        return self.read()

    def close(self) -> None:
        self.closed = True


@given(
    texts=st.lists(st.text("AZ09;., ", min_size=1, max_size=12).filter(str.strip), max_size=8),
    end=st.sampled_from([b"\r\n", b"\n", b"\r"]),
    cuts=st.lists(st.integers(0, 120), max_size=12),
)
def test_lines_are_whole_wherever_they_are_cut_on_their_way(texts: list[str], end: bytes, cuts: list[int]) -> None:
    whole = b"".join(text.encode() + end for text in texts)
    at = [0, *sorted(min(cut, len(whole)) for cut in cuts), len(whole)]
    cable = Pieces(*(whole[a:b] for a, b in pairwise(at)))
    found: list[tuple[int, str]] = []
    with pytest.raises(LineFault):
        for came in raw_lines(cable, "x"):
            assert came is None or isinstance(came, tuple)
            found += [came] if came else []
    assert found == list(enumerate(texts, 1))


def until(there: Callable[[], bool]) -> None:
    end_s = time.monotonic() + 20.0
    while not there():
        assert time.monotonic() < end_s
        time.sleep(0.01)


def listening(*pieces: bytes, made: PresetterMap | None = MAP) -> Cable:
    port: Port = Pieces(*pieces, silent=True)
    found = Cable(SerialLine("/dev/ttyS0"), made, lambda _: port)
    found.begin()
    return found


def test_of_what_comes_too_fast_the_last_of_each_assembly_is_kept_in_order() -> None:
    sent = [b"%c;%d;6\n" % (65 + at % 3, 1 + at) for at in range(MOST_WAITING * 2 + 1)]
    found = listening(*sent)
    until(lambda: found.left_out > 0 and len(found._waiting) == len(sent) - found.left_out)
    found.stop()
    got = []
    while (reading := found.first()) is not None:
        got.append(reading)
    assert [each.line for each in got] == sorted(each.line for each in got)
    last = {each.tool: each.values.length_mm for each in got}
    assert sorted(last.values()) == [len(sent) - 2, len(sent) - 1, len(sent)]


def test_too_many_different_ones_leave_the_newer() -> None:
    sent = [b"tool %d;100;6\n" % at for at in range(MOST_WAITING + 1)]
    found = listening(*sent)
    until(lambda: found.left_out > 0)
    found.stop()
    first = found.first()
    assert first is not None and first.tool == f"tool {MOST_WAITING + 1 - KEPT_WAITING}"
    assert found.left_out == MOST_WAITING + 1 - KEPT_WAITING


def test_a_driver_that_fails_in_its_own_way_is_a_cable_that_is_gone() -> None:
    def opened(line: SerialLine) -> Port:
        raise RuntimeError("driver")

    found = Cable(SerialLine("/dev/ttyS0"), MAP, opened)
    found.begin()
    until(lambda: found.state is State.GONE)
    found.stop()


@pytest.mark.parametrize(("taken", "state"), [(True, State.TAKEN), (False, State.GONE)])
def test_a_port_that_another_has_is_told_apart_from_one_that_is_gone(
    taken: bool, state: Literal[State.TAKEN, State.GONE]
) -> None:
    def opened(line: SerialLine) -> Port:
        raise LineFault(line.port, "no", taken=taken)

    found = Cable(SerialLine("/dev/ttyS0"), MAP, opened)
    found.begin()
    until(lambda: found.state is state)
    found.stop()


class Waiting(Pieces):
    """A silent cable whose read ends when it is told to, and by nothing else."""

    def __init__(self, *pieces: bytes) -> None:
        super().__init__(*pieces, silent=True)
        self.waits, self.told = threading.Event(), threading.Event()

    def read(self, size: int = 1) -> bytes:
        if len(self.pieces) > 1:
            return self.pieces.pop(0)
        self.waits.set()
        self.told.wait()
        return self.pieces.pop() if self.pieces else b""

    def cancel_read(self) -> None:
        assert not self.closed, "what is closed cannot be told"
        self.told.set()


def test_stopping_ends_the_wait_for_bytes_itself_and_keeps_what_had_come() -> None:
    port = Waiting(b"A;100;6\n", b"B;101;6\nC;102;6\nD;1")
    found = Cable(SerialLine("/dev/ttyS0"), MAP, lambda _: port)
    found.begin()
    assert port.waits.wait(20.0)
    found.stop()
    assert port.closed and port.told.is_set()
    assert [each.tool for each in iter(found.first, None)] == ["A", "B", "C"]


def test_what_is_stopped_while_its_port_is_opened_does_not_begin_to_wait() -> None:
    port, opens, stopped = Waiting(), threading.Event(), threading.Event()

    def opened(line: SerialLine) -> Port:
        opens.set()
        assert stopped.wait(20.0)
        return port

    found = Cable(SerialLine("/dev/ttyS0"), MAP, opened)
    found.begin()
    assert opens.wait(20.0)
    found._ending.say()
    stopped.set()
    found.stop()
    assert port.closed and not port.waits.is_set()


def test_a_port_that_waits_for_an_hour_is_free_once_the_listener_is_stopped() -> None:
    pty = pytest.importorskip("pty")
    mine, theirs = pty.openpty()
    ports: list[Port] = []

    def opened(line: SerialLine) -> Port:
        ports.append(open_port(line, wait_s=3600.0))
        return ports[-1]

    found = Cable(SerialLine(os.ttyname(theirs)), MAP, opened)
    found.begin()
    until(lambda: found.state is State.LISTENS)
    found.stop()
    open_port(SerialLine(os.ttyname(theirs))).close()  # exclusive: nobody has it any more
    os.close(mine)
    os.close(theirs)


def test_bytes_without_an_end_fill_no_memory_and_are_told() -> None:
    found = listening(b"\xff" * LONGEST_LINE, b"A;100;6\n")
    until(lambda: found.first() is not None)
    assert [fault.say.key for fault in found.faults()] == ["file_fault.line_too_long"]
    assert found.faults() == ()
    found.stop()
