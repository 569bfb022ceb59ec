"""Reading the book in the window: a shift in figures, earlier audits, a history narrowed, a heating and its curve."""

from __future__ import annotations

import csv
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pypdfium2

from kiosk.rules.codes import CodeKind, make
from tests.journeys.display import PICTURES
from tests.journeys.window import Window

LINE = (0x6C, 0xC4, 0xE8)  # the colour a curve is drawn in, on the dark ground


def heated_and_refused(kiosk: Window) -> None:
    """A short shift: T001 heated and refused at the cabinet, T002 to a machine and back."""
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Scan where it goes")
    kiosk.hold_up(kiosk.place("Shrink station"))
    kiosk.sees("Heating")
    kiosk.wait(60)
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Scan where it goes")
    kiosk.hold_up(kiosk.place("Cabinet A · 1-04"))
    kiosk.sees("Not to Cabinet A")
    kiosk.touch("Understood")
    to_sleeve(kiosk)
    for goal in ("Mill 1 · pocket 30", "Cabinet A · 1-01"):
        kiosk.put_away()
        kiosk.wait(30)
        kiosk.hold_up(kiosk.holder("T002"))
        kiosk.sees("Scan where it goes")
        kiosk.hold_up(kiosk.place(goal))
        until(lambda goal=goal: kiosk.where("T002") == goal)
    kiosk.put_away()
    kiosk.wait(30)


def to_sleeve(kiosk: Window) -> None:
    kiosk.put_away()
    kiosk.wait(30)
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Scan where it goes")
    kiosk.hold_up(kiosk.place("Sleeve 1"))
    until(lambda: kiosk.where("T001") == "Sleeve 1")
    kiosk.put_away()


def until(there: Callable[[], bool], patience_s: float = 20.0) -> None:
    end = time.monotonic() + patience_s
    while not there():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.1)


def open_history(kiosk: Window) -> None:
    """The history of T001, from Find."""
    kiosk.touch("Find")
    kiosk.touch_key("ABC")
    for letter in "ROUGH":
        kiosk.touch_key(letter)
    kiosk.sees("ROUGH_")
    kiosk.touch_key("find")
    kiosk.touch("Roughing mill 12 R1")
    kiosk.touch("What can be done with it")
    kiosk.touch("History")


def figure(kiosk: Window, word: str) -> int:
    """The large figure that stands above a word."""
    texts = kiosk.screen()["texts"]
    _, x, y, width, _ = next(text for text in texts if text[0] == word)
    above = [text for text in texts if text[2] < y and abs(text[1] + text[3] / 2 - x - width / 2) < 5]
    return int(max(above, key=lambda text: text[2])[0])


def drawn(kiosk: Window, colour: tuple[int, int, int], within: tuple[int, int, int, int] | None = None) -> int:
    """Pixels of about that colour on the screen, or in a box of it (left, top, right, bottom)."""
    seen = snapshot(kiosk)
    found = (seen.crop(within) if within else seen).getcolors(1 << 24)
    return sum(count for count, each in found if all(abs(a - b) <= 3 for a, b in zip(each, colour, strict=True)))


def snapshot(kiosk: Window) -> Any:
    """The window as a picture."""
    return kiosk.display.picture(kiosk.size, PICTURES / "records-now.png")


def audit_bench(kiosk: Window) -> None:
    """An audit of a bench with one holder, which is there."""
    kiosk.touch("Audit")
    kiosk.sees("Scan the place to audit")
    kiosk.hold_up(kiosk.place("Bench 2"))
    kiosk.sees("of 1")
    kiosk.hold_up(kiosk.holder("T036"))
    kiosk.sees("0 to see")
    kiosk.put_away()
    kiosk.touch("Close audit")
    kiosk.sees("Closed", "1 of 1 seen")


def test_a_shift_is_counted_looked_at_and_kept_as_the_desk_counts_it(kiosk: Window, tmp_path: Path) -> None:
    heated_and_refused(kiosk)
    kiosk.touch("Audit")
    kiosk.touch("Reports")
    kiosk.sees("Shift summary", "Earlier audits", "What happened")
    kiosk.picture("records-menu")
    kiosk.touch("Shift summary")
    kiosk.sees("up to now", "1 × hot")
    assert [figure(kiosk, word) for word in ("heated", "to machines", "from machines", "refused", "built")] == [
        *(1, 1, 1, 1, 0)
    ]
    kiosk.picture("shift")
    kiosk.touch("Refused most")
    kiosk.sees("Reasons", "1 ×")
    kiosk.touch("back")

    kiosk.touch("Report")
    kiosk.is_on("report")
    kiosk.sees("Page 1 of 1")
    until(lambda: drawn(kiosk, (255, 255, 255)) > 10_000)  # paper
    kiosk.picture("report-whole")
    kiosk.touch("Closer")
    kiosk.sees("Whole page")
    time.sleep(1.0)
    top = snapshot(kiosk).tobytes()
    kiosk.picture("report-closer")
    kiosk.touch_key("down")
    until(lambda: snapshot(kiosk).tobytes() != top)
    kiosk.touch("Save")
    kiosk.sees("Saved in the folder")

    folder = tmp_path / "data-0" / "reports"
    (kept,) = folder.glob("*.csv")
    (pdf,) = folder.glob("*.pdf")
    rows = list(csv.DictReader(kept.open(encoding="utf-8")))
    since, until_ = (
        datetime.fromisoformat(rows[0][name]).timestamp() for name in ("since_utc", "until_utc")
    )  # whole seconds
    told = {row["figure"] + (f"/{row['of']}" if row["of"] or row["figure"] in WHO else ""): row for row in rows}
    assert {name: int(row["count"]) for name, row in told.items()} == kiosk.shift(since, until_ + 1.0)
    said = pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_range()
    assert "heatings" in said and "hot" in said

    kiosk.touch_key("back")
    kiosk.touch("Earlier")
    kiosk.sees("Nothing was refused")
    assert figure(kiosk, "heated") == 0
    kiosk.touch("Later")
    kiosk.sees("1 × hot")
    kiosk.touch("A day back")
    kiosk.sees("Nothing was refused")
    assert kiosk.check() == []


WHO = ("steps", "refused_to")


def test_a_history_is_narrowed_by_kind_person_and_day_and_says_where_it_was(
    open_window: Callable[..., Window],
) -> None:
    kiosk = open_window((480, 800))
    heated_and_refused(kiosk)
    open_history(kiosk)
    kiosk.sees("heated at Shrink station", "refused at Cabinet A")
    kiosk.picture("history")
    assert kiosk.history("T001").count("refused") == 1

    kiosk.touch("Everything")
    kiosk.sees("Measured", "Changes")
    kiosk.picture("history-kinds")
    kiosk.touch("Refused")
    kiosk.sees("refused at Cabinet A")
    said = " ".join(text[0] for text in kiosk.screen()["texts"])
    assert "Sleeve 1" not in said and "heated at" not in said
    kiosk.picture("history-refused")
    kiosk.touch("Everybody")
    kiosk.touch("Jo Reed")
    kiosk.sees("Nothing of that kind", "Choose other days")
    kiosk.touch("Jo Reed")
    kiosk.touch("Everybody")
    kiosk.sees("refused at Cabinet A")

    kiosk.touch("Always")
    kiosk.sees("Sleeve 1", "HOT then", "since")
    kiosk.picture("history-when")
    kiosk.touch("Yesterday")
    kiosk.sees("Nothing of that kind")
    kiosk.touch("Yesterday")
    kiosk.touch_key("−")  # the first: a day
    kiosk.sees("not known here yet")
    kiosk.touch("Show this day")
    kiosk.sees("Nothing of that kind")


def test_a_heating_is_shown_with_its_curve_and_what_was_read(kiosk: Window) -> None:
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Scan where it goes")
    kiosk.hold_up(kiosk.place("Shrink station"))
    kiosk.sees("Heating")
    kiosk.wait(60)
    to_sleeve(kiosk)
    kiosk.wait(3000)
    kiosk.touch("Hot")
    kiosk.sees("probe it now")  # what it says is of now, not of before the wait
    kiosk.touch("Enter a reading")
    kiosk.touch("hottest now")
    for key in "24":
        kiosk.touch(key)
    kiosk.touch("Enter")
    kiosk.sees("safe to touch")
    kiosk.touch("Back")
    open_history(kiosk)
    kiosk.sees("hold ended")
    kiosk.touch("Heatings")
    kiosk.sees("ended by a reading", "one reading", "1 Shrink station", "2 Sleeve 1")
    until(lambda: drawn(kiosk, LINE, (420, 220, 800, 480)) > 100)  # the curve, right of the list
    kiosk.picture("heatings")
    kiosk.touch_key("back")
    kiosk.sees("hold ended")
    assert kiosk.check() == []


def test_two_audits_make_a_trend_and_each_leads_to_its_report(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = open_window((360, 640))
    audit_bench(kiosk)
    kiosk.touch("Report")
    kiosk.is_on("report")
    kiosk.sees("Bench 2", "Page 1 of 1")
    kiosk.touch_key("back")
    kiosk.sees("Closed", "1 of 1 seen")
    kiosk.touch("Done")
    kiosk.touch("Reports")
    kiosk.is_on("records")
    kiosk.touch("Earlier audits")
    kiosk.sees("Bench 2", "100 %", "From two audits on")
    kiosk.touch_key("back")
    audit_bench(kiosk)
    kiosk.touch("Done")
    kiosk.touch("Reports")
    kiosk.is_on("records")
    kiosk.touch("Earlier audits")
    kiosk.sees("Bench 2", "100 %")
    until(lambda: drawn(kiosk, LINE) > 100)
    kiosk.picture("audits")
    kiosk.touch("Every place")
    kiosk.sees("Audits of which place?")
    kiosk.touch("Bench 2")
    kiosk.sees("Earlier audits")
    assert sum(text[0] == "100 %" for text in kiosk.screen()["texts"]) == 2
    kiosk.touch("21.09.2026")
    kiosk.is_on("report")
    kiosk.sees("Page 1 of")
    kiosk.touch("Save")
    kiosk.sees("Saved in the folder")
    assert len(list((tmp_path / "data-0" / "reports").iterdir())) == 2
    assert kiosk.check() == []


def test_a_label_nobody_knows_is_shown_to_a_supervisor_as_the_camera_saw_it(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = open_window((800, 480))
    kiosk.touch("Audit")
    kiosk.touch("Reports")
    kiosk.touch("Unread labels")
    kiosk.sees("No picture of an unread label")
    kiosk.touch_key("back")
    kiosk.touch("Scan")
    kiosk.hold_up(make(CodeKind.HOLDER, 3).text)
    until(lambda: list(tmp_path.glob("data-0/unread/*-refused.jpg")))
    kiosk.put_away()
    kiosk.touch("Audit")
    kiosk.touch("Reports")
    kiosk.touch("Unread labels")
    kiosk.sees("Read, and refused", "1 of at most 50")
    kiosk.picture("unread")
