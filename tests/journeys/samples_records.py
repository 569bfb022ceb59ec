"""Samples of the screens that read the book: reports, shifts, earlier audits, heatings, history and its filters.

Filled as the desk would fill them, with the longest plausible texts; see `samples.py` for what a sample is.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

from PIL import Image

from kiosk import words
from kiosk.bench.scenes import Scene, corners, draw
from kiosk.desk.audit_book import AuditRow
from kiosk.desk.records import HeatPlot, HeatRecord, HistoryRow, WasAt
from kiosk.desk.reports import Kept, Paper, PastAudits
from kiosk.labels.queue import Queue, Trouble
from kiosk.reader.kept import Why
from kiosk.reader.unread import place_of
from kiosk.rules import audit as A
from kiosk.rules.cards import HeatCurve, OperatorCard
from kiosk.rules.hold_facts import HoldFacts, Reading
from kiosk.rules.outcomes import Reason
from kiosk.rules.say import say
from kiosk.rules.shift import ShiftCounts, ShiftReport
from kiosk.screens.parts.paper import PagePicture, page_picture
from kiosk.screens.questions import records as asks
from kiosk.screens.questions.records import About, KeptPicture
from kiosk.screens.records.shift import kept_words
from kiosk.telling import cause_words
from tests.journeys.samples import ASSEMBLY, CURVE, HOLDER, SLOT

SINCE = 1.79e9
BUSY = ShiftCounts(
    built=27, heated=131, waited_min=412, saved_min=96, issued=48, returned=46, readings=96, measured=44,
    differences=tuple((each.value, 12) for each in A.Difference),
    refusals=tuple((each.value, 14) for each in Reason),
)  # fmt: skip


def _shift(screen: Any, counts: ShiftCounts, ago: int = 0, told: str = "") -> None:
    screen.shown()
    screen._now_s = SINCE + ago * 8 * 3600.0 + 3 * 3600.0
    screen.show(ShiftReport("Kiosk 1", SINCE - 5 * 3600.0, SINCE + 3 * 3600.0, counts, (), 812, "ab" * 32))
    screen.told = told


def _saved() -> str:
    folder = Path("/home/kiosk/.local/share/holder-kiosk/reports")
    return kept_words(Kept(folder / "shift.pdf", folder / "shift.csv"))


def _reasons(screen: Any) -> None:
    _shift(screen, BUSY)
    screen.why()


def past(count: int) -> PastAudits:
    """Closed audits of two places."""
    names = (("P000000009", "Cabinet A"), (A.HOT, "term.everything_hot"), ("P000000008", "Mill 2 · pocket 14"))
    audits = tuple(
        AuditRow(f"audit {number}", *names[number % 3], SINCE - number * 86400.0, "Sam Porter", False,
                 SINCE - number * 86400.0 + 900.0)
        for number in range(count)
    )  # fmt: skip
    marks = tuple(
        A.Mark(row.key, row.closed_utc_s or 0.0, A.Counts(152, 150, at % 4, at % 3), 700.0 + 90.0 * (at % 5))
        for at, row in enumerate(reversed(audits))
    )
    return PastAudits(audits, marks, names)


def _audits(screen: Any, count: int, place: bool = False) -> None:
    screen.shown()
    screen.show(past(count))
    if place:
        screen.choose_place()


FACTS = HoldFacts(HOLDER, ASSEMBLY, 0.0, SINCE, 330.0, None, ())
STAYS = (("Shrink station", 0.0), ("Sleeve 1", 72.0), ("Rack behind the door", 1260.0), (None, 1900.0))
READ = (Reading(900.0, "flange", 80.0, "probe", "agrees"), Reading(1700.0, "nose", 41.0, "probe", "agrees"))


STORY = (
    say("heatings.read.sooner", where="term.flange", value_c=80.0, after_s=900.0, by_min=22),
    say("heatings.read.doubted", where="term.nose", value_c=41.0, after_s=1700.0, by_min=0),
    say("heatings.without.saved", without_s=5130.0, saved_min=24),
)


def heatings() -> tuple[HeatRecord, ...]:
    """Heatings that ended in every way there is."""
    ends = ((None, None), ("reading", 1700.0), ("time", 5130.0))
    return tuple(
        HeatRecord(SINCE - number * 7000.0, "Shrink station", "Sam Porter", STAYS, READ, *ends[number % 3], FACTS)
        for number in range(9)
    )


def _heatings(screen: Any, chosen: int) -> None:
    screen.shown(key="H1", title=ASSEMBLY.name)
    screen.show(heatings())
    record = heatings()[chosen]
    screen.choose(str(record.heated_utc_s))
    curve = HeatCurve(tuple(CURVE), ((860.0, 80.0), (1660.0, 41.0)), 43.0, (record.held_s or 900.0) - 40.0)
    screen.draw(record, HeatPlot(curve, (32.0, 1220.0, 1860.0), STORY))


PAGES = ("lines", "what", "who", "when")
PEOPLE = (OperatorCard("sam", "Sam Porter", "supervisor"), OperatorCard("jo", "Johannes Reedemann-Vale", "setter"))


def _history(screen: Any, is_holder: bool, page: str = "lines") -> None:
    screen.shown(subject="H1" if is_holder else "", title=ASSEMBLY.name if is_holder else "")
    screen.offer(About(PEOPLE, is_holder, SINCE))
    refused = say("history.refused", name=ASSEMBLY.name, place=SLOT.name, reason="term.reason.hot")
    rows = tuple(
        HistoryRow(900 - at, SINCE - at * 60, "refused", "Sam Porter", "Kiosk 1", None, None, refused)
        for at in range(60)
    )
    screen.show(rows)
    screen.choose(page)


def _narrowed(screen: Any) -> None:
    _history(screen, True)
    screen.take_what(screen.whats[4].key)
    screen.take_who(screen.people[2])
    screen.take_when("week")
    screen.show(())


def _where(screen: Any, was: WasAt) -> None:
    _history(screen, True, "when")
    screen.move(-2)
    screen.show_was(was)


@lru_cache(maxsize=1)
def _page(_language: str) -> PagePicture:
    """The first page of a shift's report, as it would be printed."""
    report = ShiftReport("Kiosk 1", SINCE - 5 * 3600.0, SINCE + 3 * 3600.0, BUSY, (), 812, "ab" * 32)
    pdf, _ = asks.drawn(Paper("shift", Path(), report))
    return page_picture(asks.page(pdf, 0, 110.0))


def _report(screen: Any, whole: bool, told: str = "") -> None:
    screen.title, screen.note, screen.told = "Cabinet A", "21.09. 14:05", told
    screen.page, screen.pages, screen.ready = 1, 3, True
    view = screen.ids.paper
    view.whole = whole
    screen.show_page(_page(words.language()))


def _printers(screen: Any, *names: str) -> None:
    _report(screen, True)
    screen.in_sight = "printer"
    screen.show_printers(tuple(Queue(name, "Office, second floor", troubles=(Trouble.OUT_OF_MEDIA,)) for name in names))


def _damaged(screen: Any) -> None:
    _shift(screen, BUSY)
    screen.trouble = cause_words(sqlite3.DatabaseError("database disk image is malformed")) or ""


def _unread(screen: Any, why: Why) -> None:
    kept = tuple(
        KeptPicture(50 - n, SINCE + 3600.0 * n, why, Path("000050-20260921T140500Z-unread.jpg"), 31_000)
        for n in range(50)
    )
    screen.fill(kept)
    scene = Scene("H123456789", label_mm=20.0, distance_mm=150.0, roll_deg=20.0, oil=0.6, look=4)
    place = place_of(draw(scene, 1), tuple((float(x), float(y)) for x, y in corners(scene)))
    screen.show(kept[0], Image.fromarray(place).convert("L"))


Fill = Callable[[Any], Any]
SAMPLES: tuple[tuple[str, str, Fill], ...] = (
    ("records", "menu", lambda screen: screen.shown()),
    ("shift", "busy", lambda screen: _shift(screen, BUSY)),
    ("shift", "quiet", lambda screen: _shift(screen, ShiftCounts(), ago=3)),
    ("shift", "saved", lambda screen: _shift(screen, BUSY, told=_saved())),
    ("shift", "damaged", _damaged),
    ("shift", "reasons", _reasons),
    ("audits", "many", lambda screen: _audits(screen, 24)),
    ("audits", "one", lambda screen: _audits(screen, 1)),
    ("audits", "none", lambda screen: _audits(screen, 0)),
    ("audits", "places", lambda screen: _audits(screen, 24, place=True)),
    *(("heatings", name, partial(_heatings, chosen=at)) for at, name in enumerate(("running", "read", "over"))),
    ("heatings", "none", lambda screen: (screen.shown(key="H1", title=ASSEMBLY.name), screen.show(()))),
    *(("history", f"holder-{step}", partial(_history, is_holder=True, page=page)) for step, page in enumerate(PAGES)),
    *(("history", f"book-{step}", partial(_history, is_holder=False, page=PAGES[step])) for step in (0, 3)),
    ("history", "narrowed", _narrowed),
    ("history", "was", lambda screen: _where(screen, WasAt("P1", "Mill 2 · pocket 14", SINCE, "Sam Porter"))),
    ("history", "was-hot", lambda screen: _where(screen, WasAt("P1", "Rack behind the door", SINCE, "Sam", True))),
    ("history", "was-not", lambda screen: _where(screen, WasAt(None, None, None, None))),
    ("unread", "unread", lambda screen: _unread(screen, Why.UNREAD)),
    ("unread", "refused", lambda screen: _unread(screen, Why.REFUSED)),
    ("unread", "none", lambda screen: screen.fill(())),
    ("report", "whole", lambda screen: _report(screen, True)),
    ("report", "closer", lambda screen: _report(screen, False)),
    ("report", "saved", lambda screen: _report(screen, True, _saved())),
    ("report", "printers", lambda screen: _printers(screen, "Office", "Setting_room_laser_printer")),
    ("report", "no-printer", lambda screen: _printers(screen)),
)
