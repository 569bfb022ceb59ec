"""Every kind of difference an audit can find, closed in the window by what a hand did about it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from kiosk.rules.codes import CodeKind, make
from tests.journeys.display import Display
from tests.journeys.window import Window

DAY_S = 86400.0
JO, SAM = "BSXD5X3637", "B6J6BXCR66"


def audit(kiosk: Window, place: str = "Cabinet A") -> None:
    kiosk.touch("Audit")
    kiosk.is_on("audit")
    kiosk.hold_up(kiosk.place(place))
    kiosk.sees("to see")
    kiosk.put_away()


def see(kiosk: Window, place: str, code: str, *words: str) -> None:
    """Scans a slot of the cabinet and what is in it."""
    kiosk.hold_up(kiosk.place(f"Cabinet A · {place}"))
    kiosk.sees("now scan what is in it")
    kiosk.hold_up(code)
    kiosk.sees(*words)
    kiosk.put_away()


def test_what_stands_astray_is_put_back_or_the_book_follows_by_a_scan_or_a_touch(kiosk: Window) -> None:
    audit(kiosk)
    see(kiosk, "1-07", kiosk.holder("T002"), "belongs to Cabinet A · 1-01")
    kiosk.hold_up(kiosk.place("Cabinet A · 1-07"))  # the same slot again: it stays here
    kiosk.sees("End mill 6 R0.5 stays here: Cabinet A · 1-07")
    assert kiosk.where("T002") == "Cabinet A · 1-07"
    see(kiosk, "1-08", kiosk.holder("T003"), "belongs to Cabinet A · 1-02")
    kiosk.touch("belongs to Cabinet A · 1-02")  # what is said leads to what can be done
    kiosk.is_on("audit_spot")
    kiosk.sees("wrong place", "Ball mill 6")
    kiosk.picture("spot-misplaced")
    kiosk.touch("Settle: wrong place")
    kiosk.sees("found at Cabinet A · 1-08, belongs to Cabinet A · 1-02")
    kiosk.touch("It stays here")
    kiosk.is_on("audit")
    kiosk.sees("Ball mill 6 stays here: Cabinet A · 1-08")
    assert kiosk.where("T003") == "Cabinet A · 1-08"
    see(kiosk, "2-08", kiosk.holder("T004"), "belongs to Cabinet A · 1-03")
    kiosk.touch("1 wrong place")
    kiosk.touch("wrong place ·")
    kiosk.touch("Put back")
    kiosk.touch("back")
    kiosk.sees("settled")  # and no longer where it belongs to
    assert not any("belongs to" in text[0] for text in kiosk.screen()["texts"])
    see(kiosk, "1-06", kiosk.holder("T007"), "belongs to Mill 1")
    kiosk.touch("not expected")
    kiosk.touch("not expected here ·")
    kiosk.touch("Put back")
    kiosk.sees("is put back")
    assert (kiosk.where("T007") or "").startswith("Mill 1")
    assert kiosk.check() == []


def test_labels_that_are_unknown_or_replaced_are_closed_each_in_its_way(
    open_window: Callable[..., Window],
) -> None:
    kiosk = open_window((480, 800))
    old = kiosk.replace_label("T002")
    first, second = (make(CodeKind.HOLDER, number).text for number in (987_654, 987_655))
    audit(kiosk)
    see(kiosk, "1-01", old, "this label was replaced")
    kiosk.touch("this label was replaced")
    kiosk.touch("Settle: replaced label")
    kiosk.touch("Label taken off")
    kiosk.sees("The label on")

    see(kiosk, "1-02", first, "this label is not known here")
    kiosk.picture("audit-unknown")
    kiosk.touch("this label is not known here")
    kiosk.touch("Settle: unknown label")
    kiosk.touch("Whose is it?")
    kiosk.is_on("adopt")
    kiosk.sees("A label of ours", "? Cabinet A · 1-02")  # the audit misses Ball mill 6 just there
    kiosk.picture("adopt-whose")
    kiosk.touch("? Cabinet A · 1-02")
    kiosk.sees("Take the old one off")
    kiosk.picture("adopt-sure")
    kiosk.touch("Yes, it is on this holder")
    kiosk.sees("It is the label of", "Ball mill 6")
    kiosk.touch("Go on")
    kiosk.sees("9 to see")
    assert kiosk.holder("T003") == first

    see(kiosk, "1-03", second, "this label is not known here")
    kiosk.touch("1 label")
    kiosk.touch("unknown label ·")
    kiosk.touch("Stays open")
    kiosk.touch("Needs a new label")
    kiosk.sees("stays open")
    assert kiosk.check() == []


def test_a_holder_found_empty_is_booked_so_or_has_its_cutter_after_all(kiosk: Window) -> None:
    audit(kiosk)
    see(kiosk, "1-01", kiosk.holder("T002"), "9 to see")
    kiosk.touch("1-01")
    kiosk.sees("End mill 6 R0.5")
    kiosk.touch("End mill 6 R0.5")
    kiosk.is_on("audit_spot")
    kiosk.picture("spot-seen")
    kiosk.touch("No cutter in it")
    kiosk.is_on("audit_differences")
    kiosk.sees("holder is empty", "Yes, it is empty", "Stays open")
    kiosk.picture("difference-empty")
    kiosk.touch("back")
    kiosk.is_on("audit_spot")
    kiosk.touch("It has its cutter")
    kiosk.sees("No cutter in it")
    kiosk.touch("No cutter in it")
    kiosk.touch("Yes, it is empty")
    kiosk.is_on("audit")
    kiosk.sees("counts as empty")
    assert kiosk.where("T002") is None  # a shrunk cutter came out by heat, and nobody wrote down when
    assert kiosk.check() == []


def test_what_is_not_proven_cool_is_taken_to_cooling_or_read(open_window: Callable[..., Window]) -> None:
    kiosk = open_window((360, 640))
    audit(kiosk)
    for at, key, name in (("1-01", "T002", "End mill 6 R0.5"), ("1-02", "T003", "Ball mill 6")):
        kiosk.touch("to see")
        kiosk.is_on("audit_differences")
        kiosk.touch(name)
        kiosk.touch("Not found")
        kiosk.sees("place unknown")
        kiosk.touch("back")
        see(kiosk, at, kiosk.holder(key), "HOT", "not proven cool")  # found after all: who knows where it was
        kiosk.touch("Understood")
    kiosk.touch("2 HOT")
    kiosk.touch("not proven cool ·")
    kiosk.sees("Taken to cooling", "Enter a reading")
    kiosk.picture("difference-not-proven-cool")
    kiosk.touch("Taken to cooling")
    kiosk.sees("goes to Sleeve 1")
    assert kiosk.where("T002") == "Sleeve 1" or kiosk.where("T003") == "Sleeve 1"
    kiosk.touch("not proven cool ·")
    kiosk.touch("Enter a reading")
    kiosk.is_on("reading")
    kiosk.touch("back")
    kiosk.is_on("audit_differences")
    assert kiosk.check() == []


def test_what_was_measured_too_long_ago_is_measured_noted_or_left_open(kiosk: Window) -> None:
    kiosk.wait(200 * DAY_S)
    audit(kiosk)
    see(kiosk, "1-01", kiosk.holder("T002"), "1 note")
    kiosk.touch("1 note")
    kiosk.touch("measured too long ago ·")
    kiosk.sees("Measure it now", "Noted", "Stays open")
    kiosk.picture("difference-measured")
    kiosk.touch("Measure it now")
    kiosk.is_on("measure")
    kiosk.touch("stop")
    kiosk.is_on("audit_differences")
    kiosk.touch("measured too long ago ·")
    kiosk.touch("Noted")
    kiosk.sees("noted")
    assert kiosk.check() == []


def test_an_audit_goes_on_with_another_person_in_another_start_of_the_kiosk(display: Display, tmp_path: Path) -> None:
    data = tmp_path / "data"
    kiosk = Window(display, (800, 480), data)
    try:
        kiosk.hold_up(JO)
        kiosk.sees("Jo Reed")
        audit(kiosk)
        see(kiosk, "1-01", kiosk.holder("T002"), "9 to see")
        kiosk.hold_up(SAM)  # two at one kiosk, each with a badge
        kiosk.sees("Sam Bell")
        see(kiosk, "1-02", kiosk.holder("T003"), "8 to see")
        kiosk.touch("Pause")
        kiosk.sees("Go on: Cabinet A")
    finally:
        kiosk.close()
    kiosk = Window(display, (800, 480), data)
    try:
        kiosk.hold_up(JO)
        kiosk.sees("Jo Reed")
        kiosk.touch("Audit")
        kiosk.touch("Go on: Cabinet A")
        kiosk.sees("of 10", "8 to see")
        see(kiosk, "1-03", kiosk.holder("T004"), "7 to see")
        assert kiosk.check() == []
    finally:
        kiosk.close()


def test_an_unknown_label_scanned_by_the_way_leads_to_the_holder_it_is_on(kiosk: Window) -> None:
    code = make(CodeKind.HOLDER, 4_711).text
    kiosk.hold_up(code)
    kiosk.sees("Refused", "No holder or place has the label")
    kiosk.picture("scan-unknown")
    kiosk.touch("Whose is it?")
    kiosk.is_on("adopt")
    kiosk.touch("Look for the holder")
    kiosk.is_on("find")
    kiosk.sees("Whose is")
    for symbol in "20":
        kiosk.touch_key(symbol)
    kiosk.sees("20_")
    kiosk.touch("find")
    kiosk.touch("Ball mill 20")
    kiosk.sees("Take the old one off")
    kiosk.touch("Yes, it is on this holder")
    kiosk.sees("label of")
    kiosk.picture("adopt-given")
    kiosk.touch("Go on")
    kiosk.is_on("scan")
    kiosk.sees("Scan a holder or a place")  # of the label nobody knew there is nothing left to say
    kiosk.hold_up("MARK 77")
    kiosk.sees("Refused", "not one of our labels")
    kiosk.touch("Whose is it?")
    kiosk.sees("not ours")
    kiosk.hold_up(code)  # our label on the same holder says whose the mark is
    kiosk.sees("read as its label from now on")
    kiosk.touch("Yes, it is on this holder")
    kiosk.sees("label of")
    kiosk.hold_up("MARK 77")
    kiosk.sees("Where to?", "Ball mill 20")
    assert kiosk.check() == []
