"""A telephone is signed in by the code on the real window, and what it meets that is hot fills the window too."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import zxingcpp

from kiosk import words
from tests.handheld.served import Telephone
from tests.journeys.window import Window


def free_port() -> int:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def read_off(window: Window, tmp_path: Path) -> str:
    """The code on the window, as a telephone's camera reads it."""
    limit = time.monotonic() + 20
    while time.monotonic() < limit:
        shot = tmp_path / "code.png"
        window.display.picture(window.size, shot)
        found = zxingcpp.read_barcodes(cv2.imread(str(shot)))
        if found:
            return str(found[0].text)
        time.sleep(0.2)
    raise AssertionError("no code on the window")


def test_a_telephone_is_signed_in_by_the_window_and_its_alarm_fills_the_window(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    data = tmp_path / "data-0"
    data.mkdir(mode=0o700)
    (data / "settings.toml").write_text(f'[phones]\nport = {free_port()}\naddress = "127.0.0.1"\n')
    window = open_window(phones=True)
    window.hold_up(window.badge("jo"))
    window.sees("Hello, Jo Reed")
    window.put_away()
    window.touch("Shop")
    window.touch(words.t("phones.title"))
    window.sees(words.t("phones.none"))
    window.touch(words.t("phones.show"))
    window.sees("Jo Reed")
    address, _, token = read_off(window, tmp_path).partition("#")
    telephone = Telephone(address)
    status, me = telephone.post("/pair", {"token": token})
    assert status == 200 and me["person"] == "Jo Reed"
    window.sees(words.t("phones.known", phone=me["phone"]))
    window.picture("phones-paired")
    telephone.ask("scan", texts=[window.holder("T001")])
    telephone.ask("scan", texts=[window.place("Shrink station")])
    telephone.ask("scan", texts=[window.holder("T001")])
    said = telephone.ask("scan", texts=[window.place("Cabinet A · 1-05")])
    assert said["state"] == "hot"
    window.is_on("heat")
    window.touch(words.t("heat.understood"))
    window.sees(words.t("phones.known", phone=me["phone"]))
    window.touch(me["person"])  # its row: one touch asks, and ends nothing
    window.sees(words.t("phones.sure", phone=me["phone"]))
    assert telephone.post("/ask", {"ask": "me"})[0] == 200
    window.touch(words.t("phones.again"))
    window.sees(words.t("phones.ended", phone=me["phone"]))
    assert telephone.post("/ask", {"ask": "me"})[0] == 401
