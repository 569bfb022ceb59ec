"""A shift on paper and as a table: what was built, heated, handed out and brought back, and what was refused.

Says the counts it is given; the same words serve the screen.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kiosk.exchange import report_page as page
from kiosk.exchange.report_page import Words
from kiosk.exchange.shop_out import utc_text
from kiosk.exchange.tables_csv import PLAIN, Cell, Dialect, write_table
from kiosk.rules.say import say
from kiosk.rules.shift import ShiftReport

FIGURES = (
    *("built", "torn_down", "heated", "waited_min", "readings", "saved_min", "measured", "issued", "returned"),
    *("shelved", "undone", "corrections", "audits"),
)
COLUMNS = ("kiosk", "since_utc", "until_utc", "figure", "of", "count")


def figures(report: ShiftReport) -> list[tuple[str, int]]:
    """The plain counts in the order they are shown, by name."""
    return [(name, getattr(report.counts, name)) for name in FIGURES]


def pdf(report: ShiftReport, path: Path, words: Words) -> None:
    """Writes the summary.  Raises OSError."""
    page.keep(path, drawn(report, words))


def drawn(report: ShiftReport, words: Words, paper: str = "A4") -> bytes:
    """The summary as a PDF."""

    def t(key: str, **values: Any) -> str:
        return words(say(f"report.shift.{key}", **values))

    counts = report.counts
    names = dict(report.names)
    title = t("title", kiosk=report.kiosk)
    flow: list[Any] = [
        page.text(title, page.TITLE),
        page.text(f"{page.moment(report.since_utc_s)} – {page.moment(report.until_utc_s)}"),
        page.gap(2),
        page.table(
            [t("column.what"), t("column.count")],
            [[t(f"figure.{name}"), str(count)] for name, count in figures(report)],
            (4, 1),
        ),
    ]
    for heading, prefix, rows in (
        ("refusals", "term.reason", counts.refusals),
        ("differences", "term.difference", counts.differences),
    ):
        flow.append(page.text(t(heading), page.HEADING))
        if rows:
            said = [[words(say(f"{prefix}.{name}")), str(count)] for name, count in rows]
            flow.append(page.table([t("column.what"), t("column.count")], said, (4, 1)))
        else:
            flow.append(page.text(t("none")))
    if counts.people:
        flow.append(page.text(t("people"), page.HEADING))
        header = [t("column.who"), t("column.steps"), t("column.refused")]
        shares = [
            [names.get(each.operator or "", each.operator or t("nobody")), str(each.steps), str(each.refusals)]
            for each in counts.people
        ]
        flow.append(page.table(header, shares, (4, 1, 1)))
    flow.append(page.signatures([t("signed")], t("proof", line=report.line), report.hash))
    return page.drawn(title, f"{report.line} · {report.hash[:16]}", flow, paper)


def csv(report: ShiftReport, dialect: Dialect = PLAIN) -> str:
    """One row a figure; refusals and differences by reason and kind, steps and refusals by operator."""
    head = (report.kiosk, utc_text(report.since_utc_s), utc_text(report.until_utc_s))
    counts = report.counts
    rows: list[tuple[Cell, ...]] = [(*head, name, None, count) for name, count in figures(report)]
    rows += [(*head, "refused", name, count) for name, count in counts.refusals]
    rows += [(*head, "difference", name, count) for name, count in counts.differences]
    for each in counts.people:
        rows += [(*head, "steps", each.operator, each.steps), (*head, "refused_to", each.operator, each.refusals)]
    return write_table(COLUMNS, rows, dialect)
