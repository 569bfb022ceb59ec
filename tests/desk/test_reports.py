"""Audits and shifts as papers: what is kept is what was shown, and an old report stays as it was."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from kiosk.cli import main
from kiosk.desk import reports
from kiosk.desk.session import NotThere
from kiosk.labels import pages
from kiosk.labels.queue import Job, JobState, Media, Queue, QueueGone, fitting
from tests.conftest import Shop


def audit(shop: Shop) -> str:
    """An audit of a bench with one holder on it, which is there."""
    key = shop.desk.audits.open(shop.place("Bench 2")).row.key
    shop.desk.scan(shop.holder("T036"))
    shop.clock.forward(30.0)
    shop.desk.audits.close()
    shop.clock.forward(86400.0)
    return key


def test_a_report_is_kept_as_it_was_shown_with_its_figures(shop: Shop) -> None:
    key = audit(shop)
    paper = shop.desk.reports.audit(key)
    shown = paper.pdf()
    kept = reports.keep(paper, shown)
    assert kept.pdf == shop.folder / "reports" / f"{key.replace(' ', '-')}.pdf" and kept.pdf.read_bytes() == shown
    assert kept.csv.read_text("utf-8").startswith("audit,place,difference")
    assert "Bench 2" in kept.csv.read_text("utf-8")
    assert not list(kept.pdf.parent.glob("*.new"))


def test_a_report_drawn_again_later_is_the_same_to_the_byte(shop: Shop) -> None:
    first, second = audit(shop), audit(shop)
    before = shop.desk.reports.audit(first).pdf()
    assert shop.desk.reports.audit(second).pdf() != before
    audit(shop)
    assert shop.desk.reports.audit(first).pdf() == before


def test_past_audits_are_of_one_place_or_of_all(shop: Shop) -> None:
    bench = audit(shop)
    shop.desk.audits.open("hot")
    shop.desk.audits.close()
    past = shop.desk.reports.past()
    assert [name for _, name in past.places] == ["Bench 2", "term.everything_hot"]
    assert [row.name for row in past.audits] == ["term.everything_hot", "Bench 2"] and len(past.trend) == 2
    only = shop.desk.reports.past(shop.place("Bench 2"))
    assert [row.name for row in only.audits] == ["Bench 2"] and [mark.key for mark in only.trend] == [bench]


def test_an_open_audit_has_no_report(shop: Shop) -> None:
    key = shop.desk.audits.open(shop.place("Bench 2")).row.key
    with pytest.raises(NotThere):
        shop.desk.reports.audit(key)


def test_a_full_folder_leaves_no_half_a_report(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    paper = shop.desk.reports.shift(1.79e9, 1.79e9 + 100.0)
    (shop.folder / "reports").write_text("in the way")
    with pytest.raises(OSError):
        reports.keep(paper)
    assert (shop.folder / "reports").read_text() == "in the way"


def test_a_page_is_pictured_at_the_dots_asked_for(shop: Shop) -> None:
    pdf = shop.desk.reports.shift(1.79e9, 1.79e9 + 100.0).pdf()
    assert pages.count(pdf) == 1
    picture = pages.picture(pdf, 0, 50.0)
    assert picture.mode == "L" and abs(picture.width - 413) <= 2 and abs(picture.height - 585) <= 2
    assert picture.getextrema()[0] < 120 and picture.getextrema()[1] == 255  # ink on paper


@dataclass
class Office:
    """A printer with these papers; keeps what it was sent: title, stock, and the width of the first page in mm."""

    papers: tuple[Media, ...]
    sent: list[tuple[str, str | None, int]] = field(default_factory=list)

    def queues(self) -> tuple[Queue, ...]:
        return (Queue("office", "Office"),)

    def stock(self, queue: str, width_mm: float, height_mm: float) -> Media | None:
        return fitting(self.papers, width_mm, height_mm)

    def send(self, queue: str, pdf: Path, *, title: str, media: Media | None, copies: int = 1) -> Job:
        self.sent.append((title, media.name if media else None, round(pages.picture(pdf, 0, 25.4).width)))
        return Job(queue, 7, title, JobState.WAITING)


A4_PAPER, LETTER = Media("iso_a4_210x297mm", 210.0, 297.0), Media("na_letter_8.5x11in", 215.9, 279.4)
LOADED = Media("na_letter_8.5x11in", 215.9, 279.4, loaded=True)


@pytest.mark.parametrize(
    ("papers", "sheet", "stock", "width_mm"),
    [
        ((A4_PAPER, LETTER), None, A4_PAPER.name, 210),
        ((A4_PAPER, LOADED), None, LETTER.name, 216),
        ((LETTER,), None, LETTER.name, 216),
        ((A4_PAPER, LOADED), "A4", A4_PAPER.name, 210),
        ((), None, None, 210),
    ],
)
def test_a_report_is_printed_on_the_paper_its_printer_has(
    shop: Shop, papers: tuple[Media, ...], sheet: str | None, stock: str | None, width_mm: int
) -> None:
    paper, office = shop.desk.reports.audit(audit(shop)), Office(papers)
    job = reports.print_out(paper, "office", sheet, office)  # type: ignore[arg-type]
    assert (job.number, office.sent) == (7, [(paper.stem, stock, width_mm)])


def test_a_report_for_a_printer_that_is_gone_is_not_drawn(shop: Shop) -> None:
    office = Office(())
    with pytest.raises(QueueGone):
        reports.print_out(shop.desk.reports.audit(audit(shop)), "attic", None, office)  # type: ignore[arg-type]
    assert office.sent == []


def test_the_command_prints_a_report_and_names_the_job(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    audit(shop)
    shop.desk.close()
    office = Office((LOADED,))
    monkeypatch.setattr(reports, "system_printing", lambda: office)
    assert main(["report", "audit", "--queue", "office", "--data", str(shop.folder)]) == 0
    assert "office" in capsys.readouterr().out and [width for *_, width in office.sent] == [216]
    assert main(["report", "audit", "--queue", "attic", "--data", str(shop.folder)]) != 0
    assert "no such queue" in capsys.readouterr().err
