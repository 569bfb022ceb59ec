"""A closed audit on paper and as a table: who, where, when, the counts, every difference and what was done.

Says what the book said at the close and nothing else; line number and hash at its foot let anyone hold the print
against the book (`desk.records.line_check`).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from reportlab.platypus import Table

from kiosk.exchange import report_page as page
from kiosk.exchange.report_page import Words
from kiosk.exchange.shop_out import utc_text
from kiosk.exchange.tables_csv import PLAIN, Dialect, write_table
from kiosk.rules.audit import AuditReport, Mark
from kiosk.rules.say import say

COLUMNS = (
    *("audit", "place", "difference", "name", "text", "booked", "found", "action", "reason", "operator", "utc"),
    *("expected", "seen", "missing", "misplaced", "unexpected", "unknown", "hot", "opened_utc", "closed_utc"),
    *("people", "line", "hash"),
)
SHOWN = 12  # audits in the plots


def pdf(report: AuditReport, path: Path, words: Words, trend: Sequence[Mark] = ()) -> None:
    """Writes the report.  Raises OSError."""
    page.keep(path, drawn(report, words, trend))


def drawn(report: AuditReport, words: Words, trend: Sequence[Mark] = (), paper: str = "A4") -> bytes:
    """The report as a PDF; with two audits or more in `trend` also its two plots."""

    def t(key: str, **values: Any) -> str:
        return words(say(f"report.audit.{key}", **values))

    counts = report.counts
    title = t("title", place=_said(report.place, words))
    flow: list[Any] = [page.text(title, page.TITLE)]
    per_hundred = Mark(report.audit, report.closed_utc_s, counts, report.active_s).seconds_per_hundred
    flow.append(
        page.pairs(
            [
                (t("when"), f"{page.moment(report.opened_utc_s)} – {page.moment(report.closed_utc_s)}"),
                (t("people"), ", ".join(report.people) or t("nobody")),
                (t("kiosk"), report.kiosk),
                (t("counts"), t("counts_said", expected=counts.expected, seen=counts.seen)),
                (t("right"), f"{counts.right_share * 100:.1f} %"),
                (t("pace"), t("pace_said", per_s=per_hundred) if per_hundred is not None else "–"),
            ]
        )
    )
    flow.append(page.text(t("found"), page.HEADING))
    figures = ("missing", "misplaced", "unexpected", "unknown", "hot")
    flow.append(
        page.table(
            [t(f"count.{name}") for name in figures], [[str(getattr(counts, name)) for name in figures]], [1] * 5
        )
    )
    flow.append(page.text(t("differences"), page.HEADING))
    if report.rows:
        flow.append(_differences(report, words, t))
    else:
        flow.append(page.text(t("none")))
    if len(trend) > 1:
        flow += [page.text(t("trend"), page.HEADING), _plots(trend, t)]
    signed = [t("signed_setter"), t("signed_supervisor")]
    flow.append(page.signatures(signed, t("proof", line=report.line), report.hash))
    return page.drawn(title, f"{report.audit} · {report.line} · {report.hash[:16]}", flow, paper)


def _differences(report: AuditReport, words: Words, t: Any) -> Any:
    header = [t("column.difference"), t("column.name"), t("column.places"), t("column.action"), t("column.by")]
    rows = [
        [
            words(say(f"term.difference.{row.difference.value}")),
            row.name or row.text,
            " → ".join(place for place in (row.booked, row.found) if place) or "–",
            words(say(f"term.action.{row.action.value}")) + (f": {row.reason}" if row.reason else ""),
            f"{row.operator or '–'}, {page.moment(row.utc_s)}",
        ]
        for row in report.rows
    ]
    return page.table(header, rows, (3, 4, 5, 5, 3.5))


def _plots(trend: Sequence[Mark], t: Any) -> Any:
    shown = trend[-SHOWN:]
    days = [page.moment(mark.closed_utc_s)[:10] for mark in shown]
    right = [mark.counts.right_share * 100 for mark in shown]
    timed = [(mark.seconds_per_hundred, day) for mark, day in zip(shown, days, strict=True)]
    pace = [(value, day) for value, day in timed if value is not None]
    low = min(90.0, *right) // 10 * 10
    high = max((value for value, _ in pace), default=1.0)
    return Table(
        [
            [
                page.plot(t("plot.right"), right, low, 100.0, " %", days),
                page.plot(t("plot.pace"), [v for v, _ in pace], 0.0, high, " s", [d for _, d in pace]),
            ]
        ]
    )


def _said(name: str, words: Words) -> str:
    return words(say(name)) if name.startswith("term.") else name


def csv(report: AuditReport, dialect: Dialect = PLAIN) -> str:
    """One row for each difference; an audit without any has one row of its own.  Words are those of the data."""
    counts = report.counts
    shared = (
        *(counts.expected, counts.seen, counts.missing, counts.misplaced, counts.unexpected, counts.unknown),
        *(counts.hot, utc_text(report.opened_utc_s), utc_text(report.closed_utc_s), "; ".join(report.people)),
        *(report.line, report.hash),
    )
    rows = [
        (
            *(report.audit, report.place, row.difference.value, row.name, row.text, row.booked, row.found),
            *(row.action.value, row.reason, row.operator, utc_text(row.utc_s), *shared),
        )
        for row in report.rows
    ]
    return write_table(COLUMNS, rows or [(report.audit, report.place, *((None,) * 9), *shared)], dialect)
