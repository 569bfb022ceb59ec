"""Thermometers that are there already: what they write is a temperature or nothing, and never a guess."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.exchange import thermometers
from kiosk.exchange.presetter import Port, SerialLine, open_port
from kiosk.exchange.thermometers import Thermometer, of_kernel, of_line, typed

W1 = "72 01 4b 46 7f ff 0e 10 57 : crc=57 {crc}\n72 01 4b 46 7f ff 0e 10 57 t={t}\n"


def until(there: Callable[[], bool], most_s: float = 10.0) -> bool:
    end_s = time.monotonic() + most_s
    while not there() and time.monotonic() < end_s:
        time.sleep(0.01)
    return there()


@pytest.mark.parametrize(
    ("text", "value_c"),
    [
        (W1.format(crc="YES", t="23125"), 23.125),
        (W1.format(crc="YES", t="-4500"), -4.5),
        (W1.format(crc="NO", t="23125"), None),
        (W1.format(crc="YES", t="85000"), None),  # nothing measured yet
        ("21875\n", 21.875),
        ("", None),
        ("warm\n", None),
    ],
)
def test_a_file_of_the_kernel_is_millidegrees_with_a_checksum_that_holds(text: str, value_c: float | None) -> None:
    assert of_kernel(text) == value_c


@pytest.mark.parametrize(
    ("line", "pattern", "value_c"),
    [
        ("T=23,4 C H=41%", r"T=(-?[\d.,]+)\s*([CF])", 23.4),
        ("T=74.3 F", r"T=(-?[\d.,]+)\s*([CF])", 23.5),
        ("no figure here", r"T=(-?[\d.,]+)", None),
        ("T=1.2.3", r"T=(-?[\d.,]+)", None),
    ],
)
def test_a_line_is_read_by_the_shops_own_pattern(line: str, pattern: str, value_c: float | None) -> None:
    assert of_line(line, pattern) == value_c


@pytest.mark.parametrize(
    ("text", "value_c"),
    [("61.3", 61.3), (" 61,3 °C\r", 61.3), ("142.3F", 61.28), ("HV4T8BRJ3V", None), ("61.3 61.4", None), ("", None)],
)
def test_what_a_probe_types_is_a_number_and_nothing_else(text: str, value_c: float | None) -> None:
    assert typed(text) == value_c


@given(st.text(max_size=80))
def test_whatever_is_written_or_typed_is_a_temperature_or_nothing(text: str) -> None:
    for found in (of_kernel(text), of_line(text), typed(text)):
        assert found is None or -1000.0 < found < 1000.0


def test_a_file_is_read_again_and_again_and_gets_old_when_it_is_gone(tmp_path: Path) -> None:
    now_s = [0.0]
    file = tmp_path / "w1_slave"
    file.write_text(W1.format(crc="YES", t="22500"), "utf-8")
    found = Thermometer(f"file:{file}", clock=lambda: now_s[0], every_s=0.01)
    found.begin()
    try:
        assert until(lambda: found.latest is not None and found.latest.value_c == 22.5)
        now_s[0] = 600.0
        file.write_text(W1.format(crc="YES", t="26000"), "utf-8")
        assert until(lambda: found.latest is not None and found.latest.value_c == 26.0)
        file.unlink()
        time.sleep(0.1)
        assert found.fresh() is not None
        now_s[0] = 4000.0
        assert found.fresh() is None
    finally:
        found.stop()


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="pseudo-terminals are a Unix thing")
def test_a_thermometer_that_talks_over_a_cable_is_heard_and_what_cannot_be_is_not() -> None:
    ours, theirs = os.openpty()
    found = Thermometer(f"serial:{os.ttyname(theirs)}", r"T=(-?[\d.]+)", every_s=0.01)
    found.begin()
    try:
        time.sleep(0.3)
        os.write(ours, b"hello\r\nT=23.5\r\n")
        assert until(lambda: found.latest is not None and found.latest.value_c == 23.5)
        os.write(ours, b"T=235\r\nT=\r\nT=31.0\r\n")  # a slip, a hand on the sensor
        time.sleep(0.3)
        assert found.latest is not None and found.latest.value_c == 23.5
        os.write(ours, b"T=31.2\r\n")  # twice the same is no slip
        assert until(lambda: found.latest is not None and found.latest.value_c == 31.2)
    finally:
        found.stop()
        os.close(ours)
        os.close(theirs)


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="pseudo-terminals are a Unix thing")
def test_a_probe_on_a_cable_that_says_nothing_for_an_hour_is_put_down_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    ours, theirs = os.openpty()
    listens = threading.Event()

    def opened(line: SerialLine) -> Port:
        port = open_port(line, wait_s=3600.0)
        listens.set()
        return port

    monkeypatch.setattr(thermometers, "open_port", opened)
    found = Thermometer(f"serial:{os.ttyname(theirs)}")
    found.begin()
    assert listens.wait(20.0)
    found.stop()
    open_port(SerialLine(os.ttyname(theirs))).close()  # exclusive: nobody has it any more
    os.close(ours)
    os.close(theirs)
