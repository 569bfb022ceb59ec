"""A camera that is pulled out and plugged in again, whatever the kiosk was at: what it says, and that it reads on."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.journeys.window import Window

GONE = "The camera is gone. Plug it in again"


@pytest.fixture
def pulled(same_kiosk: Window) -> Iterator[Window]:
    """The kiosk on its scan screen, whose camera gives pictures; it is plugged in at the end whatever came of it."""
    reads(same_kiosk, "T009")
    same_kiosk.put_away()
    same_kiosk.wait(30)
    same_kiosk.sees("Scan a holder")
    yield same_kiosk
    same_kiosk.lose_camera(False)


def reads(kiosk: Window, key: str, *said: str) -> None:
    kiosk.hold_up(kiosk.holder(key))
    kiosk.sees("Where to?", *said)
    kiosk.sees_not("The camera is gone")
    kiosk.sees_not("Camera: try again")


def test_the_retry_key_of_a_camera_that_is_gone_finds_nothing_until_it_is_plugged_in_and_then_reads_at_once(
    pulled: Window,
) -> None:
    pulled.lose_camera(True)
    pulled.sees(GONE, "Camera: try again")
    pulled.wait(600.0)
    pulled.sees(GONE, "codes can be typed")  # it was tried again meanwhile, and nothing else is said
    pulled.touch("Camera: try again")
    pulled.sees("No camera", "Camera: try again")
    pulled.lose_camera(False)
    pulled.touch("Camera: try again")
    reads(pulled, "T001", "Roughing mill 12 R1")


def test_a_camera_that_goes_while_another_screen_is_in_sight_is_said_when_scan_is(pulled: Window) -> None:
    pulled.touch("Hot")
    pulled.is_on("hot")
    pulled.lose_camera(True)
    pulled.touch("Scan")
    pulled.sees(GONE, "Camera: try again")
    pulled.touch("Hot")
    pulled.is_on("hot")
    pulled.lose_camera(False)
    reads(pulled, "T003", pulled.name("T003"))  # by itself, and from the screen that is in sight
    pulled.is_on("scan")


def test_a_camera_that_goes_between_the_two_scans_of_a_pair_leaves_the_second_to_a_scanner_or_to_its_return(
    pulled: Window,
) -> None:
    pulled.hold_up(pulled.holder("T002"))
    pulled.sees("Where to?", "End mill 6 R0.5")
    pulled.put_away()
    pulled.lose_camera(True)
    pulled.sees(GONE, "Where to?", "End mill 6 R0.5", "Type a code", "Choose a pocket")
    pulled.picture("scan-half-camera-gone")
    pulled.scan(pulled.place("Rack 1"))
    pulled.sees("Moved", "→ Rack 1", GONE)
    assert pulled.where("T002") == "Rack 1"
    pulled.scan(pulled.holder("T006"))
    pulled.sees("Where to?", "End mill 10 R0.2", GONE)
    pulled.lose_camera(False)
    pulled.sees_not("The camera is gone")
    pulled.hold_up(pulled.place("Rack 1"))
    pulled.sees("Moved", "→ Rack 1")
    assert pulled.where("T006") == "Rack 1" and pulled.check() == []
