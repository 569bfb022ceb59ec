"""The audit and report commands."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path

from kiosk import words
from kiosk.commands.output import DONE, WANTING, complain, desk_read, desk_to_write, print_json
from kiosk.commands.whose import at_work
from kiosk.desk import reports
from kiosk.desk.audits import AuditStatus
from kiosk.desk.session import ActRefused
from kiosk.exchange import report_page
from kiosk.labels.faults import LabelError
from kiosk.reader.decode import read
from kiosk.reader.files import load, pictures_in
from kiosk.reader.symbols import spent_in
from kiosk.reader.wear import worn
from kiosk.rules.outcomes import Refused

DRAWER_MS = 8000.0  # on a slow machine too, every label of a drawer


def audit(arguments: argparse.Namespace) -> int:
    """Lists audits; or opens or goes on with one, takes photographs for what they show, and says how it stands."""
    if arguments.place is None:
        with desk_read(arguments) as desk:
            for row in (*desk.audits.running(), *desk.audits.past()):
                if arguments.json:
                    print_json(row)
                else:
                    opened = datetime.fromtimestamp(row.opened_utc_s).strftime("%Y-%m-%d %H:%M")
                    state = "closed" if row.closed_utc_s else "paused" if row.paused else "running"
                    print(f"{row.key}  {row.name:24} {opened}  {state}")
        return DONE
    with desk_to_write(arguments) as desk:
        place = "hot" if arguments.place == "hot" else desk.session.cards.find_place(arguments.place)
        if place is None:
            return complain(f"there is no place {arguments.place!r} in the book")
        at_work(desk, arguments)
        try:
            status = desk.audits.open(place)
        except ActRefused as refused:
            complain(f"{words.say(refused.why)}. {words.say(refused.remedy)} (here: --badge CODE)")
            return WANTING
        for given in arguments.pictures:
            for path in pictures_in(given) if given.is_dir() else [given]:
                image = load(path)
                reading = worn(image, read(image, DRAWER_MS))
                desk.label_wear.saw(spent_in(reading.symbols))
                for mark in desk.audits.photo(reading.symbols, place).marks:
                    if arguments.json:
                        print_json({"file": str(path), "mark": mark})
        status = desk.audits.status(status.row.key)
        if arguments.close:
            outcome = desk.audits.close()
            if isinstance(outcome, Refused):
                complain(f"{words.say(outcome.why)}. {words.say(outcome.remedy)}")
                return WANTING
        if arguments.json:
            print_json(status)
        else:
            _print(status)
    return WANTING if status.differences else DONE


def _print(status: AuditStatus) -> None:
    counts = status.counts
    print(f"{status.row.name}: {counts.seen} of {counts.expected} seen, {len(status.differences)} differences open")
    for card in status.differences:
        at = f", booked at {card.booked_name}" if card.booked_name else ""
        seen = f", found at {card.found_name}" if card.found_name else ""
        print(f"  {card.difference.value}: {card.name}{at}{seen}")


def report(arguments: argparse.Namespace) -> int:
    """An audit or the shift that ends now, as PDF or CSV, or sent to a print queue."""
    out: Path | None = arguments.out
    if out is not None and out.suffix.lower() not in (".pdf", ".csv"):
        return complain(f"--out: {out} ends neither in .pdf nor in .csv")
    with desk_read(arguments) as desk:
        if arguments.what == "shift":
            hours = arguments.hours or desk.session.settings.kiosk.shift_h
            now_s = desk.now().utc_s
            paper = desk.reports.shift(now_s - hours * 3600, now_s)
        else:
            past = desk.audits.past(newest=1)
            key = arguments.key or (past[0].key if past else None)
            if key is None:
                return complain("no audit was closed yet")
            paper = desk.reports.audit(key)
    if out is None:
        try:
            job = reports.print_out(paper, arguments.queue, arguments.sheet)
        except LabelError as fault:
            return complain(fault)
        print(words.t("report.sent", queue=job.queue, number=job.number))
        return DONE
    as_pdf = out.suffix.lower() == ".pdf"
    report_page.keep(out, paper.pdf(arguments.sheet or "A4") if as_pdf else paper.csv().encode("utf-8"))
    print(out)
    return DONE
