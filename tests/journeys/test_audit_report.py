"""What an audit says from its first scan to its report on paper: printed on a real print queue by touch, and saved."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from pathlib import Path

import pypdfium2
import pytest

from kiosk.labels.queue import Job, JobState
from tests.journeys.window import Window
from tests.labels.test_label_cups import Cups, cups, paper

__all__ = ["cups", "paper"]  # fixtures


def says_not(kiosk: Window, *words: str) -> None:
    """None of these is said anywhere on the screen as it stands."""
    said = "\n".join(text[0] for text in kiosk.screen()["texts"]).casefold()
    assert not [word for word in words if word in said], said


def written(pdf: Path) -> list[list[str]]:
    """The words and figures on each page of a PDF: a printer's driver keeps the marks between them as ink only."""
    return [re.findall(r"\w+", page.get_textpage().get_text_range()) for page in pypdfium2.PdfDocument(pdf)]


def begin(kiosk: Window, place: str) -> None:
    kiosk.touch("Audit")
    kiosk.is_on("audit")
    kiosk.hold_up(kiosk.place(place))
    kiosk.sees("to see")


def test_the_report_is_printed_from_the_screen_and_saved_and_both_say_what_was_done(
    open_window: Callable[..., Window],
    cups: Cups,
    paper: Callable[[str], Path],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.setenv("CUPS_SERVER", str(cups.socket))
    kiosk = open_window((800, 480))
    begin(kiosk, "Bench 2")
    kiosk.sees("of 1", "1 to see")
    says_not(kiosk, "missing")  # nobody has looked yet
    kiosk.touch("1 to see")
    kiosk.sees("not seen yet", kiosk.name("T036"))
    says_not(kiosk, "missing")
    kiosk.touch("not seen yet")
    kiosk.sees("Not found")
    says_not(kiosk, "missing")
    kiosk.touch("Not found")
    kiosk.sees("Nothing is open")
    kiosk.touch("back")
    kiosk.hold_up(kiosk.holder("T003"))
    kiosk.sees("Ball mill 6", "belongs to Cabinet A · 1-02", "1 not expected")
    kiosk.touch("belongs to Cabinet A · 1-02")
    kiosk.touch("Settle: not expected")
    kiosk.touch("Put back")
    kiosk.is_on("audit")
    kiosk.sees("is put back")
    says_not(kiosk, "belongs to", "not expected")
    kiosk.touch("Close audit")
    kiosk.sees("Closed", "2 differences, and what was done")
    kiosk.touch("Report")
    kiosk.is_on("report")
    kiosk.sees("Page 1 of 1")
    kiosk.touch("Print")
    kiosk.sees("Which printer?")
    kiosk.touch("The labels printer")
    kiosk.sees("Sent to labels, job 1", patience_s=60.0)
    cups.wait(Job("labels", 1, "", JobState.WAITING), JobState.DONE)
    kiosk.touch("Save")
    kiosk.sees("Saved in the folder reports")
    reports = tmp_path / "data-0" / "reports"
    (saved,), (table,) = reports.glob("*.pdf"), reports.glob("*.csv")
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["difference"], row["name"], row["action"]) for row in rows] == [
        ("missing", kiosk.name("T036"), "nowhere"),
        ("unexpected", kiosk.name("T003"), "put_back"),
    ]
    (page,) = written(paper(saved.stem))
    assert written(saved) == [page]
    said = " ".join(page)
    for line in ("Audit Bench 2", "seen 0 of 1 expected", "missing Side screw 20 x 100", "Ball mill 6", "put back"):
        assert line in said, said
    assert kiosk.check() == []


def test_where_nothing_differs_the_closed_audit_says_so_and_counts_no_differences(kiosk: Window) -> None:
    begin(kiosk, "Bench 2")
    kiosk.hold_up(kiosk.holder("T036"))
    kiosk.sees("0 to see")
    kiosk.touch("0 to see")
    kiosk.sees("Nothing is open")
    says_not(kiosk, "0 differences")
    kiosk.touch("back")
    kiosk.touch("Close audit")
    kiosk.sees("Closed", "1 of 1 seen", "No difference")
    says_not(kiosk, "0 differences", "what was done")
    kiosk.picture("audit-nothing-differs")
    kiosk.touch("Report")
    kiosk.sees("Page 1 of 1")
    assert kiosk.check() == []
