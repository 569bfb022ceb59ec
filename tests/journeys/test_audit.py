"""An audit in the window: found, missing, misplaced, hot and unknown labels, paused, gone on with, closed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from kiosk.rules.codes import CodeKind, make
from tests.journeys.window import Window


def test_an_audit_finds_what_differs_pauses_and_closes_with_a_report(kiosk: Window, tmp_path: Path) -> None:
    kiosk.touch("Audit")
    kiosk.sees("Scan the place to audit", "Mill 1")
    kiosk.picture("audit-choose")
    kiosk.hold_up(kiosk.place("Cabinet A"))
    kiosk.sees("of 10", "10 to see")
    for place, key, left in (("1-01", "T002", 9), ("1-02", "T003", 8), ("1-03", "T004", 7), ("2-01", "T006", 6)):
        kiosk.hold_up(kiosk.place(f"Cabinet A · {place}"))
        kiosk.sees("now scan what is in it")
        kiosk.hold_up(kiosk.holder(key))
        kiosk.sees(f"{left} to see")
    kiosk.put_away()
    kiosk.picture("audit-walk")

    kiosk.hold_up(kiosk.place("Cabinet A · 2-03"))
    kiosk.sees("now scan what is in it")
    kiosk.hold_up(kiosk.holder("T008"))  # belongs into 2-02
    kiosk.sees("belongs to Cabinet A · 2-02", "1 wrong place")
    kiosk.picture("audit-misplaced")

    kiosk.touch("Pause")
    kiosk.sees("Go on: Cabinet A")
    kiosk.touch("Go on: Cabinet A")
    kiosk.sees("of 10", "1 wrong place")

    kiosk.hold_up(make(CodeKind.HOLDER, 987654).text)
    kiosk.sees("this label is not known here", "1 label")

    for place, key, left in (("2-03", "T010", 4), ("3-01", "T012", 3), ("4-01", "T018", 2)):
        kiosk.hold_up(kiosk.place(f"Cabinet A · {place}"))
        kiosk.sees("now scan what is in it")
        kiosk.hold_up(kiosk.holder(key))
        kiosk.sees(f"{left} to see")
    kiosk.put_away()
    kiosk.touch("Close audit")
    kiosk.sees("still open", "2 differences · 2 to see")
    kiosk.picture("audit-differences")

    kiosk.touch("not seen yet")
    kiosk.sees("Not found", "should be at Cabinet A · 3-02")
    kiosk.picture("audit-missing")
    kiosk.touch("Not found")
    kiosk.sees("2 differences · 1 to see")
    kiosk.touch("not seen yet")
    kiosk.touch("Stays open")
    kiosk.picture("audit-reason")
    kiosk.touch("Still looked for")
    kiosk.sees("2 differences")
    kiosk.touch("wrong place")
    kiosk.touch("Put back")
    kiosk.sees("1 difference")
    kiosk.touch("unknown label")
    kiosk.touch("Label taken off")
    kiosk.sees("Nothing is open", "The audit can be closed")
    kiosk.picture("audit-nothing-open")
    kiosk.touch("back")
    kiosk.touch("Close audit")
    kiosk.sees("Closed", "8 of 10 seen", "Still looked for")
    kiosk.picture("audit-closed")
    kiosk.touch("Report")
    kiosk.is_on("report")
    kiosk.sees("Page 1 of")
    kiosk.touch("Save")
    kiosk.sees("Saved in the folder")
    (report,) = (tmp_path / "data-0" / "reports").glob("*.pdf")
    assert report.read_bytes().startswith(b"%PDF")
    assert kiosk.where("T015") is None
    assert kiosk.check() == []


def test_something_hot_in_the_cabinet_fills_the_screen_at_once(open_window: Callable[..., Window]) -> None:
    kiosk = open_window((360, 640))
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Scan where it goes")
    kiosk.hold_up(kiosk.place("Shrink station"))
    kiosk.sees("Heating")
    kiosk.touch("Audit")
    kiosk.is_on("audit")
    kiosk.hold_up(kiosk.place("Cabinet A · 1-04"))
    kiosk.sees("of 10")
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("HOT", "must not be")
    kiosk.picture("audit-hot")
    kiosk.touch("Understood")
    kiosk.sees("1 HOT")
    kiosk.put_away()
    kiosk.picture("audit-walk")
    kiosk.touch("Close audit")
    kiosk.sees("2 differences · 10 to see")
    kiosk.picture("audit-differences")
    kiosk.touch("hot ·")
    kiosk.touch("Taken to cooling")
    kiosk.sees("goes to Sleeve 1")
    assert kiosk.where("T001") == "Sleeve 1"
    assert kiosk.check() == []


def test_an_audits_alarm_stays_until_it_is_understood_or_the_cooling_place_is_scanned(kiosk: Window) -> None:
    kiosk.wait(40 * 86_400.0)
    for key in ("T001", "T002"):
        kiosk.scan(kiosk.holder(key))
        kiosk.scan(kiosk.place("Shrink station"))
        kiosk.sees("Heating", kiosk.name(key))
    kiosk.touch("Audit")
    kiosk.scan(kiosk.place("Cabinet A · 1-04"))
    kiosk.sees("of 9")
    quick = [kiosk.holder(key) for key in ("T001", "T002", "T003")]
    kiosk.hang_desk(True)  # two hot ones and a cool one are scanned before the first alarm is up
    for code in quick:
        kiosk.scan(code)
    kiosk.hang_desk(False)
    kiosk.sees("HOT", "Roughing mill 12 R1", "must not be")
    kiosk.scan(kiosk.holder("T004"))
    kiosk.sees("HOT", "Roughing mill 12 R1", "Touch 'Understood' first")
    kiosk.wait(60)  # gloves on, and there
    kiosk.scan(kiosk.place("Sleeve 1"))
    kiosk.sees("HOT", "End mill 6 R0.5", "must not be")
    kiosk.touch("Understood")
    kiosk.sees("1 HOT")
    assert kiosk.where("T001") == "Sleeve 1" and kiosk.where("T002") == "Shrink station"
    assert kiosk.check() == []
