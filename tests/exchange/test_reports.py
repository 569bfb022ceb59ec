"""Audits and shifts on paper: the counts, every difference and the hash, the same each time they are printed."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import pypdfium2
import pytest

from kiosk import words
from kiosk.exchange import report_audit, report_shift
from kiosk.rules.audit import Action, AuditReport, Counts, Difference, Mark, ReportedDifference
from kiosk.rules.say import Say
from kiosk.rules.shift import Share, ShiftCounts, ShiftReport

HASH = "27cacecf5fb523983fc19c745dc0d40aad7fd72e5831082160bfce1a5e077cd7"
ROW = ReportedDifference(
    Difference.MISPLACED, "End mill 8 R0.5", "T004", "Cabinet A · 1-03", "Cabinet A · 1-02", Action.BOOK_MOVED,
    "", "Jo Reed", 1.79e9,
)  # fmt: skip
LEFT = replace(ROW, difference=Difference.MISSING, name="<Reamer> & 12", found=None)
AUDIT = AuditReport(
    "audit 7", "Cabinet A", "kiosk", 1.79e9, 1.79e9 + 900.0, ("Jo Reed", "Sam Bell"), Counts(40, 38, 2, 1, 0, 1, 0),
    760.0, (ROW, replace(LEFT, action=Action.CARRIED_OVER, reason="at <regrind>")), 733, HASH,
)  # fmt: skip
SHIFT = ShiftReport(
    "kiosk", 1.79e9, 1.79e9 + 8 * 3600.0,
    ShiftCounts(built=3, heated=5, issued=7, refusals=(("hot", 4), ("place_full", 1)), differences=(("missing", 2),),
                people=(Share("jo", 12, 5), Share(None, 1, 0))),
    (("jo", "Jo Reed"),), 733, HASH,
)  # fmt: skip


def spoken(language: str):
    catalogue = words.catalogue(language)
    return lambda message: catalogue.say(message.key, **dict(message.values))


def text_of(path: Path) -> str:
    document = pypdfium2.PdfDocument(path)
    found = " ".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return " ".join(found.split())


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_an_audit_on_paper_says_who_what_and_the_hash(tmp_path: Path, language: str) -> None:
    report_audit.pdf(AUDIT, tmp_path / "audit.pdf", spoken(language))
    said = text_of(tmp_path / "audit.pdf")
    for part in (
        "Cabinet A",
        "Jo Reed, Sam Bell",
        "End mill 8 R0.5",
        "1-02",
        "<Reamer> & 12",
        "at <regrind>",
        "92.5 %",
        HASH,
    ):
        assert part in said, part
    assert [path.name for path in tmp_path.iterdir()] == ["audit.pdf"]


def test_the_same_report_gives_the_same_file(tmp_path: Path) -> None:
    for name in ("one.pdf", "two.pdf"):
        report_audit.pdf(AUDIT, tmp_path / name, spoken("en"))
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_many_differences_run_over_pages_and_lose_none(tmp_path: Path) -> None:
    rows = tuple(replace(ROW, name=f"End mill number {at}") for at in range(150))
    report_audit.pdf(replace(AUDIT, rows=rows), tmp_path / "audit.pdf", spoken("en"))
    said = text_of(tmp_path / "audit.pdf")
    assert all(f"number {at} " in said for at in range(150))
    assert len(pypdfium2.PdfDocument(tmp_path / "audit.pdf")) > 2


def test_the_trend_is_drawn_when_there_are_audits_to_compare(tmp_path: Path) -> None:
    marks = [Mark(f"audit {at}", 1.79e9 + at * 86400.0, Counts(40, 40 - at, at), 700.0 + at) for at in range(5)]
    report_audit.pdf(AUDIT, tmp_path / "with.pdf", spoken("en"), marks)
    report_audit.pdf(AUDIT, tmp_path / "without.pdf", spoken("en"), marks[:1])
    assert "Audits of this place" in text_of(tmp_path / "with.pdf")
    assert "Audits of this place" not in text_of(tmp_path / "without.pdf")
    empty = [replace(mark, counts=Counts()) for mark in marks]
    report_audit.pdf(AUDIT, tmp_path / "nothing seen.pdf", spoken("en"), empty)


def test_an_audit_as_a_table_has_a_row_a_difference_and_one_when_there_is_none() -> None:
    rows = list(csv.DictReader(io.StringIO(report_audit.csv(AUDIT))))
    assert [(row["difference"], row["action"], row["reason"]) for row in rows] == [
        ("misplaced", "book_moved", ""), ("missing", "carried_over", "at <regrind>"),
    ]  # fmt: skip
    assert {row["hash"] for row in rows} == {HASH} and rows[0]["expected"] == "40"
    (row,) = csv.DictReader(io.StringIO(report_audit.csv(replace(AUDIT, rows=()))))
    assert row["difference"] == "" and row["hash"] == HASH


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_a_shift_on_paper_says_every_figure_and_reason(tmp_path: Path, language: str) -> None:
    say = spoken(language)
    report_shift.pdf(SHIFT, tmp_path / "shift.pdf", say)
    said = text_of(tmp_path / "shift.pdf")
    for key in ("term.reason.hot", "term.reason.place_full", "term.difference.missing", "report.shift.figure.issued"):
        assert say(Say(key)) in said, key
    assert "Jo Reed 12 5" in said and HASH in said


def test_a_shift_as_a_table_adds_up() -> None:
    rows = list(csv.DictReader(io.StringIO(report_shift.csv(SHIFT))))
    figures = {(row["figure"], row["of"]): int(row["count"]) for row in rows}
    assert figures["built", ""] == 3 and figures["issued", ""] == 7
    assert figures["refused", "hot"] == 4 and figures["steps", "jo"] == 12 and figures["refused_to", "jo"] == 5
