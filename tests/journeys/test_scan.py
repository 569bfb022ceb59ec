"""What comes in by camera, by scanner and by hand, and what the window says when it cannot be taken."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from kiosk.rules.codes import Kind, make
from tests.journeys.window import Window, draw_label


def test_a_scanner_that_types_moves_a_holder_without_a_field_being_touched(kiosk: Window) -> None:
    kiosk.scan(kiosk.holder("T001"))
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Rack 1"))
    kiosk.sees("Moved", "→ Rack 1")
    assert kiosk.where("T001") == "Rack 1"


def test_a_refused_pair_may_be_repeated_with_a_better_place_at_once(kiosk: Window) -> None:
    full, free = kiosk.place("Cabinet A · 1-01"), kiosk.place("Cabinet A · 1-05")
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Where to?")
    kiosk.hold_up(full)
    kiosk.sees("Refused", "is full", "A better place is one scan away")
    kiosk.picture("scan-refused")
    kiosk.hold_up(free)
    kiosk.sees("Moved", "→ Cabinet A · 1-05")
    kiosk.touch("Undo")
    kiosk.sees("Taken back")
    assert kiosk.where("T001") == "Bench 1"


def test_an_unreadable_label_is_typed_and_a_slip_is_offered_its_repair(kiosk: Window) -> None:
    code = kiosk.holder("T001")
    kiosk.touch("Type a code")
    kiosk.is_on("typed")
    slip = "X" if code[5] != "X" else "V"
    for symbol in code[:5] + slip + code[6:]:
        kiosk.touch_key(symbol)
    kiosk.sees("Did you mean", "Roughing mill 12 R1")
    kiosk.picture("typed-slip")
    kiosk.touch("Roughing mill 12 R1")
    kiosk.sees("Where to?")


def test_an_unknown_code_is_refused_with_what_to_do(kiosk: Window) -> None:
    kiosk.scan(make(Kind.HOLDER, 26**7 + 5).text)
    kiosk.sees("Refused", "no holder or place has it", "register it under Shop")
    kiosk.picture("scan-unknown")


def test_a_kiosk_that_stands_at_a_place_moves_a_holder_with_one_scan(open_window: Callable[..., Window]) -> None:
    kiosk = open_window(at="Bench 2")
    kiosk.sees("This kiosk stands at Bench 2")
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Moved", "→ Bench 2")


def test_a_folder_of_pictures_plays_as_a_camera_would(open_window: Callable[..., Window], tmp_path: Path) -> None:
    first = open_window()
    codes = [first.holder("T001"), first.place("Rack 1")]
    first.close()
    folder = tmp_path / "pictures"
    folder.mkdir()
    for number, code in enumerate(codes):
        draw_label(code, folder / f"{number:03}.png")
    kiosk = open_window(camera=str(folder))
    kiosk.sees("Moved", "→ Rack 1")
    kiosk.sees("The last picture was shown")
    kiosk.picture("scan-camera-ended")


def test_a_camera_that_is_not_there_is_said_and_codes_can_be_typed(open_window: Callable[..., Window]) -> None:
    kiosk = open_window(camera="7")
    kiosk.sees("No such camera", "Type a code")
    kiosk.picture("scan-no-camera")


def test_a_camera_that_vanishes_is_said_and_is_used_again_when_it_returns(kiosk: Window) -> None:
    kiosk.put_away()
    kiosk.lose_camera(True)
    kiosk.sees("The camera is gone", "Type a code")
    kiosk.picture("scan-camera-gone")
    kiosk.lose_camera(False)
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Where to?")
    assert not any("The camera is gone" in text[0] for text in kiosk.screen()["texts"])


def test_a_new_kiosk_says_what_to_do_first(open_window: Callable[..., Window]) -> None:
    kiosk = open_window(demo=False)
    kiosk.sees("This kiosk knows no place yet", "under Shop")
    kiosk.picture("scan-empty")


def test_a_desk_that_hangs_does_not_stall_the_screen(kiosk: Window) -> None:
    code = kiosk.holder("T001")
    kiosk.hang_desk(True)
    kiosk.scan(code)
    kiosk.touch("Hot")
    kiosk.is_on("hot")
    kiosk.touch("Scan")
    kiosk.is_on("scan")
    kiosk.hang_desk(False)
    kiosk.sees("Where to?")


def test_the_window_speaks_german_in_daylight_colours(open_window: Callable[..., Window], tmp_path: Path) -> None:
    (tmp_path / "data-0").mkdir()
    (tmp_path / "data-0" / "settings.toml").write_text('[kiosk]\nlanguage = "de"\ntheme = "light"\n', "utf-8")
    kiosk = open_window()
    kiosk.sees("Halter oder Platz scannen", "Inventur", "Hier ist nichts heiß")
    kiosk.put_away()
    kiosk.picture("scan-light-de")
