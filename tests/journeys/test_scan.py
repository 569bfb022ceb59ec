"""What comes in by camera, by scanner and by hand, and what the window says when it cannot be taken."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from kiosk.rules.codes import CodeKind, make
from tests.journeys.window import Window, draw_label


def test_a_scanner_that_types_moves_a_holder_without_a_field_being_touched(same_kiosk: Window) -> None:
    same_kiosk.scan(same_kiosk.holder("T001"))
    same_kiosk.sees("Where to?", "Roughing mill 12 R1")
    same_kiosk.scan(same_kiosk.place("Rack 1"))
    same_kiosk.sees("Moved", "→ Rack 1")
    assert same_kiosk.where("T001") == "Rack 1"


def test_a_refused_pair_may_be_repeated_with_a_better_place_at_once(same_kiosk: Window) -> None:
    home = same_kiosk.where("T002")
    same_kiosk.hold_up(same_kiosk.holder("T002"))
    same_kiosk.sees("Where to?", "End mill 6 R0.5")
    same_kiosk.hold_up(same_kiosk.place("Cabinet A · 1-02"))
    same_kiosk.sees("Refused", "is full", "A better place is one scan away")
    same_kiosk.picture("scan-refused")
    same_kiosk.hold_up(same_kiosk.place("Cabinet A · 1-06"))
    same_kiosk.sees("Moved", "→ Cabinet A · 1-06")
    same_kiosk.touch("Undo")
    same_kiosk.sees("Taken back")
    assert same_kiosk.where("T002") == home


def test_an_unreadable_label_is_typed_and_a_slip_is_offered_its_repair(same_kiosk: Window) -> None:
    code = same_kiosk.holder("T004")
    same_kiosk.touch("Type a code")
    same_kiosk.is_on("typed")
    slip = "X" if code[5] != "X" else "V"
    for symbol in code[:5] + slip + code[6:]:
        same_kiosk.touch_key(symbol)
    same_kiosk.sees("Did you mean", "End mill 8 R0.5")
    same_kiosk.picture("typed-slip")
    same_kiosk.touch("End mill 8 R0.5")
    same_kiosk.sees("Where to?", "End mill 8 R0.5")


def test_an_unknown_code_is_refused_with_what_to_do(same_kiosk: Window) -> None:
    same_kiosk.scan(make(CodeKind.HOLDER, 26**7 + 5).text)
    same_kiosk.sees("Refused", "No holder or place has the label", "say whose it is", "Whose is it?")
    same_kiosk.picture("scan-unknown")


def test_a_refusal_says_that_the_first_scan_it_covers_still_waits(same_kiosk: Window) -> None:
    stray = make(CodeKind.HOLDER, 26**7 + 6).text
    same_kiosk.scan(same_kiosk.holder("T006"))
    same_kiosk.sees("Where to?", "End mill 10 R0.2")
    same_kiosk.scan(stray)
    same_kiosk.sees("Refused", "No holder or place has the label", "End mill 10 R0.2 still waits")
    same_kiosk.wait(21)
    same_kiosk.sees("Scan a holder")
    same_kiosk.scan(same_kiosk.place("Rack 1"))
    same_kiosk.sees("Which one?")
    same_kiosk.scan(stray)
    same_kiosk.sees("Refused", "Rack 1 still waits")


def test_a_camera_that_vanishes_is_said_and_is_used_again_when_it_returns(same_kiosk: Window) -> None:
    same_kiosk.lose_camera(True)
    same_kiosk.sees("The camera is gone", "Type a code")
    same_kiosk.picture("scan-camera-gone")
    same_kiosk.lose_camera(False)
    same_kiosk.hold_up(same_kiosk.holder("T006"))
    same_kiosk.sees("Where to?", "End mill 10 R0.2")
    assert not any("The camera is gone" in text[0] for text in same_kiosk.screen()["texts"])


def test_a_camera_that_was_not_there_is_looked_for_again_by_touch(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    picture = tmp_path / "plugged-in-later.png"
    kiosk = open_window((800, 480), camera=str(picture))
    kiosk.sees("no such picture", "Camera: try again")
    kiosk.picture("scan-no-camera")
    kiosk.touch_corner("Camera: try again")  # it is not there yet
    kiosk.sees("no such picture", "Camera: try again")
    draw_label(kiosk.holder("T006"), picture)
    kiosk.touch("Camera: try again")
    kiosk.sees("Where to?", "End mill 10 R0.2")
    assert not any("try again" in text[0] for text in kiosk.screen()["texts"])


def test_a_desk_that_hangs_does_not_stall_the_screen(same_kiosk: Window) -> None:
    code = same_kiosk.holder("T008")
    same_kiosk.hang_desk(True)
    same_kiosk.scan(code)
    same_kiosk.touch("Hot")
    same_kiosk.is_on("hot")
    same_kiosk.touch("Scan")
    same_kiosk.is_on("scan")
    same_kiosk.hang_desk(False)
    same_kiosk.sees("Where to?", "Finishing mill 12 R0.2")


def test_a_kiosk_that_stands_at_a_place_moves_a_holder_with_one_scan(open_window: Callable[..., Window]) -> None:
    kiosk = open_window(at="Bench 2")
    kiosk.sees("This kiosk stands at Bench 2")
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Moved", "→ Bench 2")


def test_a_folder_of_pictures_plays_as_a_camera_would(
    same_kiosk: Window, open_window: Callable[..., Window], tmp_path: Path
) -> None:
    codes = [same_kiosk.holder("T001"), same_kiosk.place("Rack 1")]
    folder = tmp_path / "pictures"
    folder.mkdir()
    for number, code in enumerate(codes):
        draw_label(code, folder / f"{number:03}.png")
    kiosk = open_window(camera=str(folder))
    kiosk.sees("Moved", "→ Rack 1")
    kiosk.sees("The last picture was shown")
    kiosk.picture("scan-camera-ended")


def test_a_new_kiosk_says_what_to_do_first_and_that_it_has_no_camera(open_window: Callable[..., Window]) -> None:
    kiosk = open_window(demo=False, camera="7")
    # where it stands is not asked while it knows no place to stand at, and no number is left out for that
    for step, past in ((1, "Later"), (2, "Later"), (3, "Later"), (4, "It is right")):
        kiosk.sees(f"{step} of 5")
        kiosk.touch(past)
    kiosk.sees("Empty: later")
    kiosk.touch_key("forward")
    kiosk.touch("Begin your own")
    kiosk.touch("Back")
    kiosk.touch_key("Scan")
    kiosk.sees("This kiosk knows no place yet", "Touch Shop, then Set up the shop")
    kiosk.sees("No such camera", "Type a code")
    kiosk.picture("scan-empty")


def test_the_window_speaks_german_in_daylight_colours(open_window: Callable[..., Window], tmp_path: Path) -> None:
    (tmp_path / "data-0").mkdir()
    (tmp_path / "data-0" / "settings.toml").write_text('[kiosk]\nlanguage = "de"\ntheme = "light"\n', "utf-8")
    kiosk = open_window()
    kiosk.sees("Halter oder Platz scannen", "Inventur", "Hier ist nichts heiß")
    kiosk.put_away()
    kiosk.picture("scan-light-de")


def test_a_first_scan_is_shown_as_long_as_its_second_is_taken(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    data = tmp_path / "data-0"
    data.mkdir()
    (data / "settings.toml").write_text("[kiosk]\npair_s = 120.0\n", "utf-8")
    kiosk = open_window()
    kiosk.scan(kiosk.holder("T001"))
    kiosk.sees("Where to?")
    kiosk.wait(60)
    kiosk.sees("Where to?")
    kiosk.touch("Hot")
    kiosk.touch("Scan")
    kiosk.sees("Where to?")
    home = kiosk.where("T001")
    kiosk.wait(70)
    kiosk.sees("Scan a holder")
    kiosk.scan(kiosk.place("Rack 1"))
    kiosk.sees("Which one?")
    assert kiosk.where("T001") == home


def test_a_thermometer_that_types_sets_the_shops_temperature_and_is_no_scan(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    data = tmp_path / "data-0"
    data.mkdir()
    told = "[thermometer]\nsource = 'typed:'\npattern = 'AIR([0-9.]+)C'\n"
    (data / "settings.toml").write_text(told, "utf-8")
    kiosk = open_window()
    kiosk.scan(kiosk.holder("T001"))
    kiosk.sees("Where to?")
    kiosk.scan("AIR31.4C")
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Rack 1"))
    kiosk.sees("Moved", "→ Rack 1")
    kiosk.wait(61)
    kiosk.sees("Scan a holder")
    kiosk._until(lambda: "ambient_c = 32" in (data / "settings.toml").read_text("utf-8"), "a warmer shop")
