"""A presetter's cable set up by touch in the real window, with a pseudo-terminal as the presetter."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from kiosk.desk.presetting import MAP
from kiosk.exchange.presetter import Fields, PresetterMap, SerialLine, read_presetter_map, write_presetter_map
from tests.journeys.test_shop import enter
from tests.journeys.window import Window

pty = pytest.importorskip("pty")
tty = pytest.importorskip("tty")


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_a_cable_is_set_up_tried_and_listened_to(
    size: tuple[int, int], open_window: Callable[..., Window], tmp_path: Path
) -> None:
    mine, theirs = pty.openpty()
    tty.setraw(theirs)
    port = tmp_path / "usb-Presetter"
    port.symlink_to(os.ttyname(theirs))

    def send(*cells: str) -> None:
        os.write(mine, (";".join(cells) + "\r\n").encode())

    data = tmp_path / "data-0"
    data.mkdir()
    old = PresetterMap(Fields(tool="2", length="1", diameter="3"), line=SerialLine(str(port), 300))
    (data / MAP).write_text(write_presetter_map(old), "utf-8")
    kiosk = open_window(size)
    code = kiosk.holder("T002")
    kiosk.touch("Shop")
    kiosk.touch("Measure")
    kiosk.touch("From the presetter")
    kiosk.touch("Set up the cable")
    kiosk.shows_badge("kim")
    for said in ("repeat the PIN", "Presetter's cable"):
        enter(kiosk, "4711")
        kiosk.touch("Open")
        kiosk.sees(said)
    kiosk.sees("It does not listen now")
    kiosk.touch("Set it up anew")
    kiosk.touch("Presetter")
    kiosk.touch("9600 Bd 8N1")
    kiosk.sees("Send a measurement")
    kiosk.waits_for(lambda: "101,502" in _said(kiosk, lambda: send(code, "101,502", "6,001")), "its fields")
    kiosk.sees("101,502")
    for field, role in ((code, "label or name"), ("101,502", "length"), ("6,001", "diameter")):
        kiosk.touch(field)
        kiosk.sees(f"{field} is")
        kiosk.touch(role)
        kiosk.sees("Go on")
    kiosk.sees("All right?")
    kiosk.picture("cable-fields")
    kiosk.touch("Go on")
    kiosk.sees("In which unit?", "101.502")
    kiosk.touch("101.502")
    kiosk.sees("Measure one more tool")
    send(code, "x", "6,001")
    kiosk.sees("field 2: 'x' is not a number")
    send(code, "102,125", "6,001")
    kiosk.sees("Would be noted for", "102.125")
    assert kiosk.history("T002")[:1] != ["measured"]
    kiosk.touch("Keep it and listen")
    kiosk.sees("It is heard; 0 noted")
    made = read_presetter_map((data / MAP).read_text("utf-8"), MAP)
    assert made == PresetterMap(
        Fields(tool="1", length="2", diameter="3"), delimiter=";", line=SerialLine(str(port), 9600)
    )
    send(code, "103,25", "6,001")
    send("nobody", "1,5", "6,001")
    kiosk.sees("It is heard; 1 noted")
    kiosk.touch("back")
    kiosk.touch("From the cable")
    kiosk.sees("103.25", "has this name or code: nobody")
    kiosk.picture("cable-came")
    assert kiosk.history("T002")[:1] == ["measured"]
    kiosk.touch("back")
    os.close(mine)
    os.close(theirs)
    kiosk.sees("The cable is not heard")
    kiosk.scan(kiosk.place("Bench 1"))  # and all else goes on
    kiosk.sees("Bench 1")
    assert kiosk.check() == []


def _said(kiosk: Window, do: Callable[[], None]) -> str:
    do()
    return " ".join(str(text[0]) for text in kiosk.screen()["texts"])
