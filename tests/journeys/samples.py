"""Every screen in its states, filled with long but plausible content, for the tests that lay screens out.

A sample is a name and a call that fills a screen; texts are the shop's (names, places), in no language.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from kiosk import where, words
from kiosk.desk.adopting import Likely as Likely_
from kiosk.desk.adopting import Origin, Stray
from kiosk.desk.audits import AuditRow, AuditStatus, DifferenceCard, LookFor, PhotoMark, PhotoSeen
from kiosk.desk.desk import Scanned
from kiosk.desk.finding import Found, FoundRow, WayThere
from kiosk.desk.handover import MachineView, Pocket
from kiosk.desk.heat import Withdrawn
from kiosk.desk.records import HistoryRow
from kiosk.exchange.shop import read_shop
from kiosk.reader.symbols import Outline
from kiosk.rules import audit as A
from kiosk.rules.assembly import Assembly, Clamping, Condition, Coupling, Cutter, Holder, Measured
from kiosk.rules.cards import HolderCard, HoldView, Moment, Pending, PlaceCard, ProbeNext
from kiosk.rules.finding import Usable, parse
from kiosk.rules.fitting.magazine import MagazineKind
from kiosk.rules.hold_proof import Owed
from kiosk.rules.holder_drawing import draw_holder
from kiosk.rules.likely import Likely, Relation
from kiosk.rules.lines import PlaceAdded
from kiosk.rules.offsets import CardFault, card
from kiosk.rules.outcomes import Done, Expects, Reason, Refused, Step, Wait
from kiosk.rules.place_drawing import Level, PlaceDrawing
from kiosk.rules.places import Kind, Place
from kiosk.rules.say import say
from kiosk.rules.skin_slices import SkinNow, SkinSlice, unknown_skin
from kiosk.rules.stock import book_entry
from kiosk.screens.parts.choice import Choice
from kiosk.words import say as say_words
from kiosk.words import t

HOLDER = Holder("H1", "Shrink 63 Ø12 L120", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0,
                projection_mm=88.0)  # fmt: skip
CUTTER = Cutter("C1", "Roughing mill Ø12 R1 long", 12.0, 12.0, 83.0, lu_mm=26.0, re_mm=1.0, zefp=4, coolant=True)
ASSEMBLY = Assembly("A1", "Roughing mill Ø12 R1 long", HOLDER, CUTTER, 36.0, Measured(142.318, 12.004, 1.0))
SLEEVE = PlaceCard(Place("P000000001", "Sleeve 1", Kind.COOLING, way="sleeve"), ("Sleeve 1",))
SLOT = PlaceCard(Place("P000000002", "Cabinet A · 3-07", Kind.SLOT), ("Cabinet A", "drawer 3", "3-07"))
POCKET = PlaceCard(Place("P000000003", "pocket 14", Kind.POCKET, number=14), ("Mill 2", "pocket 14"))
HELD = HoldView(184.4, 171.0, 203.0, "nose", 1060.0, 1540.0, 35.0, since_utc_s=1.79e9)
READING = HoldView(319.0, 271.0, 365.0, "flange", None, 2210.0, None, needs_reading=True, gap=True)
CARD = HolderCard(HOLDER, "HV4T8BRJ3V", ASSEMBLY, SLOT)
HOT = HolderCard(HOLDER, "HV4T8BRJ3V", ASSEMBLY, SLEEVE, hold=HELD)
HOTTER = HolderCard(
    Holder("H2", "Shrink 63 Ø20", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 20.0), "H7SJEC466N", None, SLEEVE,
    hold=READING,
)  # fmt: skip
WARM = HolderCard(Holder("H3", "Ø10 R1", Coupling.parse("A40"), Clamping.SHRINK_FIT, 10.0), "H7SJEC466N", None, SLOT,
                  measure_in_s=665.0)  # fmt: skip
HOURS = replace(WARM, measure_in_s=6294.0)
WARM_VALUES = Measured(142.318, 12.004, 1.0, length_error_um=9.0)
NOW = Moment(1.79e9, 100.0)
PAIR = Pending(CARD, 100.0)
# As many as a kiosk speaks.
NINE_LANGUAGES = tuple(
    Choice(name, name)
    for name in (
        *("English", "Čeština", "Deutsch", "Español", "Français"),
        *("Italiano", "Polski", "Português", "Türkçe"),
    )
)


def _scanned(outcome: Any, undo_s: float | None = None) -> Scanned:
    return Scanned("HV4T8BRJ3V", outcome, (), NOW, outcome.holder, undo_s)


MOVED = _scanned(
    Done((), say("moved", name=CARD.name, origin=SLOT.name, goal=POCKET.name), holder=CARD, goal=POCKET,
         step=Step.MOVED), 48.0
)
INTO_SLEEVE = _scanned(
    Done((), say("moved", name=HOT.name, origin="Shrink station", goal=SLEEVE.name), holder=HOT, goal=SLEEVE,
         step=Step.MOVED), 48.0
)
HEATING = _scanned(
    Done((), say("heating", name=CARD.name, origin=SLOT.name, goal="Shrink station"), holder=HOT, goal=SLEEVE,
         step=Step.HEATING)
)
LABELLED = _scanned(
    Done((), say("label_bound_hot", name=HOT.name, old_code=HOT.code), alarm=True, holder=HOT, step=Step.LABEL_BOUND)
)
WAITING = _scanned(
    Wait(Expects.PLACE, say("wait.place", name=CARD.name, place=SLOT.name), PAIR, holder=CARD, goal=None)
)
TOO_WIDE = _scanned(
    Refused(
        Reason.PLACE_FULL,
        say("refused.place_full", name=CARD.name, place=SLOT.name, capacity=1),
        say("remedy.place_full", name=CARD.name, place=SLOT.name, capacity=1),
        PAIR,
        CARD,
        SLOT,
    )
)
UNKNOWN = _scanned(
    Refused(
        Reason.UNKNOWN_CODE,
        say("refused.unknown_code", code="HV4T8BRJ3V", near=None),
        say("remedy.unknown_code", code="HV4T8BRJ3V", near=None),
    )
)
TOO_HOT = _scanned(
    Refused(
        Reason.HOT,
        say("refused.hot", name=HOT.name, place=SLOT.name, hottest_c=184.4, where="nose", remaining_s=1060.0),
        say("remedy.hot", name=HOT.name, place=SLEEVE.name, reading=False),
        PAIR,
        HOT,
        SLOT,
    )
)
HOT_UNTIL_READ = _scanned(
    Refused(
        Reason.HOT,
        say("refused.hot", name=HOTTER.name, place=SLOT.name, hottest_c=319.0, where="flange", remaining_s=None),
        say("remedy.hot", name=HOTTER.name, place=SLEEVE.name, reading=True),
        PAIR,
        HOTTER,
        SLOT,
    )
)
PROBE = ProbeNext("shank", 900.0, 118.0, 2460.0, 5940.0, again=True)
CURVE = [
    (t, 22 + 300 * math.exp(-t / 500), 20 + 260 * math.exp(-t / 600), 24 + 320 * math.exp(-t / 450))
    for t in range(0, 2400, 30)
]  # fmt: skip


def machines() -> list[MachineView]:
    """The demo shop's machines, a third of their pockets filled."""
    found = []
    for line in read_shop(where.demo_tags()):
        if not isinstance(line, PlaceAdded) or line.magazine is None:
            continue
        magazine = line.magazine
        pockets = tuple(
            Pocket(
                number,
                f"P{number:09}",
                "H1" if number % 3 == 0 else None,
                "Roughing mill Ø12 R1 long" if number % 3 == 0 else None,
                63.0 if number % 9 == 0 else 20.0 if number % 3 == 0 else None,
                "H9" if number % 7 == 0 else None,
                number in magazine.closed,
                TOO_WIDE.outcome if number % 3 == 1 and isinstance(TOO_WIDE.outcome, Refused) else None,
            )
            for number in magazine.numbers
        )
        found.append(MachineView(line.place.code, line.place.name, magazine, pockets, None, magazine.first + 1))
    return found


def _skin(hottest: str = "nose", hands: tuple[str, ...] = ()) -> SkinNow:
    """A long holder some minutes after it was heated, as the rules would say it."""
    ends = range(-47, 121, 3)
    zones = ["shank" if z < 0 else "nose" if z < 62 else "flange" if z < 88 else "taper" for z in ends]
    warm = [30 + 180 * math.exp(-(((z - 15) / 38) ** 2)) for z in ends]
    pieces = zip(ends, warm, zones, strict=True)
    return SkinNow(tuple(SkinSlice(z, z + 3.0, high_c, zone) for z, high_c, zone in pieces), 43.0, hottest, hands)


def _hot(screen: Any, chosen: str = "", skin: SkinNow | None = None) -> None:
    screen.chosen, screen.picture = chosen, "drawn"
    screen.drawing = draw_holder(HOLDER, ASSEMBLY, skin or _skin())
    screen.show((HOTTER, HOT), (WARM,))
    screen.curve, screen.readings, screen.now_s = CURVE, [(700, 80)], 560
    screen.advice, screen.shortly = say_words(PROBE.say), say_words(PROBE.say_shortly)


def _sixteen(screen: Any) -> None:
    _hot(screen, "H1")
    screen.readings = [(300 + 20 * number, 90 - 3 * number) for number in range(16)]


def _reading(screen: Any, page: str) -> None:
    screen.drawing = draw_holder(HOLDER, ASSEMBLY, _skin())
    screen.title = ASSEMBLY.name
    screen.word, screen.ended, screen.hot = t("reading.still_hot"), False, True
    screen.slip = 7
    screen.grew = say_words(
        say("reading.grew", was_s=1810.0, remaining_s=2530.0, value_c=61.0, expected_c=52.0)
    )
    screen._owes(Owed(("flange", "shank"), 0.0, ("nose",)))
    screen.ids.entry.text = ""
    screen.page = page
    screen.answer = say_words(say("reading.agrees", value_c=61.0, limit_c=43.0, remaining_s=None))


def _withdrawn(screen: Any) -> None:
    _reading(screen, "answer")
    screen.slip, screen.title = 0, ASSEMBLY.name
    place = "Mill 2 · pocket 14"
    words = say("reading.held_again", name=ASSEMBLY.name, value_c=24.0, where="term.shank", place=place)
    screen._withdrawn(Withdrawn(HOT, True, words, Owed(("shank",))))


def _typed(screen: Any, text: str) -> None:
    from kiosk.screens.parts.pads import Offer

    screen.pad.clear()
    for symbol in text:
        screen.pad.press(symbol)
    if screen.pad.broken:
        screen.pad.offers = [Offer("HV4T8BRJ3V", ASSEMBLY.name), Offer("H7SJEC466N", "Ø10 R1")]


def _machine(screen: Any, at: int) -> None:
    found = machines()
    screen._key = "H1"
    old = {"may_differ": True, "as_of_utc_s": 1_790_000_000.0} if at == 1 else {}
    screen.show(replace(found[at], **old), ASSEMBLY.name)
    if at == 0:
        blocked = next(pocket for pocket in found[at].pockets if pocket.refused)
        screen.choose(blocked.code)


def _undoable(screen: Any) -> None:
    screen.undo_s, screen.undo_name = 48, ASSEMBLY.name


def _no_camera(screen: Any) -> None:
    screen.ask_for_scan()
    screen.absent, screen.lost, screen.undo_s = t("camera.lost"), True, 0


def _card(screen: Any, assembly: Assembly = ASSEMBLY) -> None:
    holder = HolderCard(HOLDER, "HV4T8BRJ3V", assembly, POCKET)
    screen.show(holder)
    try:
        screen.answered(card(book_entry(holder)))
    except CardFault as fault:
        screen.answered(fault)
    screen.undo_s = 48
    screen._numbered(1048)


def _which(screen: Any) -> None:
    screen.page = "which"
    screen._list(tuple(machines()))


def _in_sleeve(screen: Any) -> None:
    screen.show(INTO_SLEEVE)
    screen._goes_on(screen._shown, say("next.in_sleeve", place="Sleeve 1", out_at=1_790_000_000.0, where="term.shank"))


def _empty(screen: Any) -> None:
    screen.clerk.empty = True
    screen.ask_for_scan()
    screen.clerk.empty = False


def _spots(code: str, states: str) -> tuple[A.SpotState, ...]:
    """A drawer's slots: `v` seen, `?` missing, `w` wrong place, `!` hot, `x` unknown, `-` empty."""
    meant = dict(zip("v?w!x-", (A.Shows.SEEN, A.Shows.MISSING, A.Shows.MISPLACED, A.Shows.HOT, A.Shows.UNKNOWN,
                                A.Shows.EMPTY), strict=True))  # fmt: skip
    return tuple(
        A.SpotState(
            A.Spot(f"{code}{at:02}", f"Cabinet A · {code}-{at:02}", Kind.SLOT, at), meant[state],
            None if state == "-" else "H1", "" if state == "-" else ASSEMBLY.name,
        )
        for at, state in enumerate(states, 1)
    )  # fmt: skip


def audit_status() -> AuditStatus:
    """An audit of a cabinet with every kind of difference."""
    groups = tuple(
        A.GroupState(A.Group(f"G{drawer}", f"Cabinet A · {drawer}", ()), _spots(str(drawer), states))
        for drawer, states in ((3, "vvv?vv!w-xv?"), (10, "vvvv----vvvvvvvvvvv?"), (11, "vvvv"))
    )
    whats = (
        (A.Difference.HOT, SLOT.name, SLOT.name), (A.Difference.NOT_PROVEN_COOL, SLOT.name, SLOT.name),
        (A.Difference.DUPLICATE_LABEL, SLOT.name, "Mill 2 · pocket 14"), (A.Difference.MISSING, SLOT.name, None),
        (A.Difference.MISPLACED, SLOT.name, "Cabinet A · 10-12"), (A.Difference.UNEXPECTED, None, SLOT.name),
        (A.Difference.EMPTY_HOLDER, SLOT.name, SLOT.name), (A.Difference.UNKNOWN_CODE, None, "Cabinet A · 3"),
        (A.Difference.RETIRED_LABEL, None, "Cabinet A · 3"), (A.Difference.PAST_LIFE, SLOT.name, SLOT.name),
        (A.Difference.MEASURED_LONG_AGO, SLOT.name, SLOT.name), (A.Difference.LABEL_WORN, SLOT.name, SLOT.name),
    )  # fmt: skip
    cards = tuple(
        DifferenceCard(
            f"H{at}/{what.value}", what, "HV4T8BRJ3V" if what.value.endswith("label") else ASSEMBLY.name, f"H{at}",
            "H1", "P000000002", booked, "P000000002", found, A.ACTIONS[what],
        )
        for at, (what, booked, found) in enumerate(whats)
    )  # fmt: skip
    row = AuditRow("audit 7", "P000000009", "Cabinet A", 1.79e9, "Sam Porter", False, None)
    missing = (A.Item("H1", "HV4T8BRJ3V", ASSEMBLY.name, "P000000002", SLOT.name),) * 3
    return AuditStatus(row, ("Sam Porter", "Kim Vale"), A.Counts(152, 147, 3, 1, 1, 2, 1), groups, missing, cards, (),
                       SLOT.name, True)  # fmt: skip


LOOK_FOR = LookFor(
    "Mill 1 · pocket 9", "Sam Porter", 1.79e9, (ASSEMBLY.name, "Ø10 R1", "Drill Ø8.5"),
    ((Likely("P1", 0.4, Relation.NEXT_SLOT, 2), "Cabinet A · 3-08"),
     (Likely("P2", 0.2, Relation.STATION, 0), "Bench 2")),
)  # fmt: skip


def _audit_choose(screen: Any) -> None:
    from kiosk.screens.questions.audit import Begin

    screen.page = "choose"
    screen.trouble = say_words(say("remedy.no_audit"))
    places = (SLEEVE, PlaceCard(Place("P000000009", "Cabinet A", Kind.CABINET), ("Cabinet A",)))
    screen._began(Begin(None, (audit_status().row,), places))


def _audit_walk(screen: Any, chosen: int | None = None, drawer: int = 0) -> None:
    screen.page = "walk"
    screen.show(audit_status())
    screen._group = audit_status().groups[drawer].group.code
    screen._show_group()
    screen._tell_scan(Done((), say("audit.seen", name=ASSEMBLY.name), holder=CARD, step=Step.AUDIT_SEEN))
    if chosen is not None:
        screen.look_at(screen.slots[chosen].key)
        screen._where(screen.chosen, LOOK_FOR)


def _audit_said(screen: Any) -> None:
    _audit_walk(screen)
    words = say("audit.misplaced", name=ASSEMBLY.name, place=SLOT.name)
    screen._tell_scan(Done((), words, holder=CARD, step=Step.AUDIT_MISPLACED))


def _audit_unknown(screen: Any) -> None:
    _audit_walk(screen)
    screen._tell_scan(Done((), say("audit.unknown", code="HV4T8BRJ3V"), step=Step.AUDIT_UNKNOWN))


def _audit_alarm(screen: Any) -> None:
    screen.warn(Done((), say("audit.hot", name=ASSEMBLY.name, place=SLOT.name), alarm=True, holder=CARD, goal=SLOT))


def _audit_closed(screen: Any, differs: bool = True) -> None:
    screen._close()
    settled = tuple(
        A.ReportedDifference(what, ASSEMBLY.name, "H1", SLOT.name, None, A.Action.BOOK_MOVED, "", "Sam Porter", 1.79e9)
        for what in A.Difference
        if differs
    )
    counts = A.Counts(152, 147, 3, 1, 1, 2, 1) if differs else A.Counts(152, 152)
    screen.show_report(
        A.AuditReport("audit 7", "Cabinet A", "Kiosk 1", 1.79e9, 1.79e9 + 900, ("Sam Porter",),
                      counts, 700.0, settled, 812, "ab" * 32)
    )  # fmt: skip


_LISTED = sorted(A.Difference, key=lambda each: each is A.Difference.MISSING)  # as the screen lists them


def _difference(screen: Any, at: int, page: str = "one", trouble: str = "") -> None:
    screen.page = "list"
    screen.show(audit_status())
    screen.choose(screen.rows[at].key)
    if A.Difference.MISSING.value in screen.rows[at].key:
        screen._where(screen._card, LOOK_FOR)
    screen.draw(screen._card, DRAWER_10)
    screen.page, screen.trouble = page, trouble


def _differences(screen: Any) -> None:
    screen.show(audit_status())
    screen.page = "list"
    screen.told = say_words(say("audit.settled.book_moved", name=ASSEMBLY.name, place="Cabinet A · 10-12"))


def _photo(screen: Any, page: str, labels: int = 12, unread: int = 2, trouble: str = "", touched: int = -1) -> None:
    """A drawer of so many labels in rows of six, one of each kind astray among them."""
    size = (1280, 960)

    def corners(at: int) -> tuple[tuple[float, float], ...]:
        across = max(5, labels // 6)
        row, column = divmod(at, across)
        pitch = 1200 / across
        left, top = 40 + pitch * (column + 0.35), 60 + pitch * (row + 0.3)
        side = 0.27 * pitch
        return ((left, top), (left + side, top + 8), (left + side - 8, top + side), (left - 8, top + side - 8))

    astray = {
        1: (A.Shows.MISPLACED, say("audit.misplaced", name=ASSEMBLY.name, place=SLOT.name)),
        3: (A.Shows.UNKNOWN, say("audit.unknown", code="HV4T8BRJ3V")),
        6: (A.Shows.HOT, say("audit.hot", name=ASSEMBLY.name, place=SLOT.name)),
        8: (A.Shows.UNKNOWN, say("audit.by_hand", name=ASSEMBLY.name)),
        9: (A.Shows.MISPLACED, say("audit.twin", name=ASSEMBLY.name, place=SLOT.name, code="HV4T8BRJ3V")),
        10: (A.Shows.UNKNOWN, say("audit.retired", code="HV4T8BRJ3V")),
    }
    steps = {8: Step.AUDIT_BY_HAND, 9: Step.AUDIT_TWIN, 10: Step.AUDIT_RETIRED}
    marks = []
    for at in range(labels):
        state, words = astray.get(at, (A.Shows.SEEN, say("audit.seen", name=ASSEMBLY.name)))
        step = steps.get(at, Step.AUDIT_SEEN)
        marks.append(PhotoMark(corners(at), "HV4T8BRJ3V", ASSEMBLY.name, state, words, f"H{at}", step))
    screen.page, screen.place, screen.absent, screen.trouble = "aim", "Cabinet A · Drawer 10", "", ""
    screen.live.near = None
    screen.live.show(np.full((size[1] // 2, size[0] // 2, 3), 70, np.uint8))
    screen.marks, screen.title, screen.said = [], "", say_words(say("photo.aim"))
    screen.page = "reading"
    if page in ("aim", "reading"):
        screen.page, screen.share, screen.trouble = page, 0.4, trouble
        return
    outlines = tuple(Outline(corners(labels + at), 3.0) for at in range(unread))
    screen._unread, screen._size = outlines, size
    screen.seen(PhotoSeen(tuple(marks), (), page == "alarm"))
    screen.page = page
    if touched >= 0:
        screen.live.near = screen.marks[touched]
        screen.choose(screen.marks[touched])


def _photo_absent(screen: Any) -> None:
    _photo(screen, "aim")
    screen.live.show(None)
    screen.absent = say_words(say("camera.busy"))


def _spot(screen: Any, state: A.Shows, whats: tuple[A.Difference, ...], found: LookFor | None = None) -> None:
    from kiosk.screens.questions.audit import Spoken

    cards = tuple(card for card in audit_status().differences if card.difference in whats)
    card = None if state is A.Shows.UNKNOWN else CARD
    screen.trouble = ""
    screen.show(Spoken(state, SLOT.name, CARD.name if card else "HV4T8BRJ3V", card, cards, found, DRAWER_10))


def _adopt(screen: Any, page: str, origin: Origin = Origin.OURS, trouble: str = "", card: HolderCard = CARD) -> None:
    from kiosk.screens.questions.scan import Asked

    screen.page, screen._text, screen.title, screen.trouble = "whose", "HV4T8BRJ3V", "HV4T 8BRJ 3V", trouble
    near = () if origin is Origin.OTHER else (Likely_(CARD, SLOT.name),)
    screen.show(Asked(Stray("HV4T8BRJ3V", origin), near))
    if page != "whose":
        screen._sure(card)
        screen.trouble = trouble
    if page == "given":
        screen._given(card)
        if card.hold is not None:
            screen._drawn(draw_holder(HOLDER, ASSEMBLY, _skin()))


FOUND = tuple(
    FoundRow(
        f"H{usable}", "HV4T8BRJ3V", ASSEMBLY.name, HOLDER.name, usable, None if usable is Usable.NOWHERE else "P1",
        None if usable is Usable.NOWHERE else "Mill 2 · pocket 14" if usable is Usable.IN_MACHINE else SLOT.name,
        4384.0 if usable is Usable.COOLING else None, 12.0, 1.0, 142.3,
    )
    for usable in Usable
)  # fmt: skip


DRAWER_10 = PlaceDrawing((
    Level(tuple(f"Drawer {at}" for at in range(1, 13)), 9, stacked=True),
    Level(tuple(f"10-{at:02}" for at in range(1, 25)), 11, stacked=False),
))  # fmt: skip


def _find(screen: Any, page: str, letters: bool = False, found: tuple[FoundRow, ...] = FOUND) -> None:
    screen.page = page
    screen.ids.pad.letters = letters
    screen.ids.pad.text = "roughing mill hsk63 12 r1 80-100"
    screen.show(screen.asked, Found(parse(screen.asked), found, 48_213 if found else 0))
    if found:
        way = WayThere("", "", ("Cabinet A", "Drawer 10", "10-12"), found[0].usable, None)
        screen._beside(found[0].key, (way, (), DRAWER_10))


def _place(screen: Any, path: tuple[str, ...], usable: int, kind: MagazineKind = MagazineKind.CHAIN) -> None:
    screen.trouble = ""
    kinds = ("machine", "pocket") if len(path) == 2 else ("cabinet", "drawer", "slot")[: len(path)]
    picture = DRAWER_10 if len(path) == 3 else None
    if len(path) == 2:
        magazine = next(machine.magazine for machine in machines())
        picture = PlaceDrawing((), replace(magazine, kind=kind), 14)
    screen.show(WayThere(ASSEMBLY.name, "HV4T8BRJ3V", path, Usable(usable), None), kinds, picture)


def _history(screen: Any) -> None:
    said = (
        say("history.moved", name=ASSEMBLY.name, origin="Mill 2 · pocket 14", place="Cabinet A · 10-12"),
        say("history.measured", name=ASSEMBLY.name, length_mm=142.318, diameter_mm=12.004),
        say("history.heated", name=ASSEMBLY.name, place="Shrink station"),
    )
    _empty_history(screen)
    screen.title = ASSEMBLY.name
    screen.show(
        tuple(
            HistoryRow(900 - at, 1.79e9 - at * 60, "moved", "Sam Porter", "Kiosk 1", None, None, said[at % 3])
            for at in range(30)
        )
    )


def _empty_history(screen: Any) -> None:
    screen.title, screen.rows, screen._lines = ASSEMBLY.name, [], []
    screen.show(())


Fill = Callable[[Any], Any]
def _alarm(screen: Any, scanned: Scanned, skin: SkinNow | None = None) -> None:
    screen.left()
    screen.shown(scanned=scanned)
    screen.drawing = draw_holder(HOLDER, ASSEMBLY, skin or _skin())
    screen.advice = say_words(PROBE.say)


def _longest(*but: str) -> str:
    """The language that says an alarm in the most letters, except these."""

    def letters(language: str) -> int:
        said = words.catalogue(language).say
        return len(said("heat.not_to", place=SLOT.name) + said("heat.word") + said("audit.hot", name="", place=""))

    return max((each for each in words.LANGUAGES if each not in but), key=letters)


def _for_all(show: Fill, mine: str = "") -> Fill:
    """To somebody who is spoken to in another language than the shop's, and that one needs the most letters."""

    def fill(screen: Any) -> None:
        spoken = words.language()
        words.speak(mine or spoken, _longest(mine or spoken))
        show(screen)
        words.speak(spoken)

    return fill


SAMPLES: tuple[tuple[str, str, Fill], ...] = (
    ("scan", "idle", lambda screen: screen.ask_for_scan()),
    ("scan", "no-camera", _no_camera),
    ("scan", "empty", lambda screen: (setattr(screen, "absent", ""), setattr(screen, "lost", False), _empty(screen))),
    ("scan", "moved", lambda screen: (screen.show(MOVED), _undoable(screen))),
    ("scan", "in-sleeve", _in_sleeve),
    ("scan", "heating", lambda screen: screen.show(HEATING)),
    ("scan", "label-on-hot", lambda screen: screen.show(LABELLED)),
    ("scan", "waiting", lambda screen: screen.show(WAITING)),
    ("scan", "full", lambda screen: (screen.show(TOO_WIDE), _undoable(screen))),
    ("scan", "unknown", lambda screen: screen.show(UNKNOWN)),
    ("scan", "missed", lambda screen: screen.show_missed((HOT.name, SLOT.name, POCKET.name, CARD.name, "RX"))),
    ("heat", "hot", lambda screen: _alarm(screen, TOO_HOT)),
    ("heat", "two-languages", _for_all(lambda screen: _alarm(screen, TOO_HOT))),
    ("heat", "two-longest", _for_all(lambda screen: _alarm(screen, TOO_HOT), _longest())),
    ("heat", "until-read", lambda screen: _alarm(screen, HOT_UNTIL_READ, unknown_skin(43.0, "flange"))),
    ("heat", "another", lambda screen: (_alarm(screen, HOT_UNTIL_READ), screen.scanned("HV4T8BRJ3V"))),
    ("heat", "refused", lambda screen: (_alarm(screen, HOT_UNTIL_READ), screen.came(TOO_WIDE))),
    ("hot", "none", lambda screen: screen.show((), ())),
    ("hot", "opening", lambda screen: screen.show((), (), known=False)),
    ("hot", "board", lambda screen: _hot(screen)),
    ("hot", "hours", lambda screen: screen.show((replace(HOT, hold=replace(HELD, remaining_s=6294.0)),), (HOURS,))),
    ("hot", "sixteen-readings", _sixteen),
    ("hot", "sleeve", lambda screen: _hot(screen, "H1")),
    ("hot", "warm", lambda screen: _hot(screen, "H3")),
    ("hot", "hands", lambda screen: _hot(screen, "H1", _skin(hands=("flange", "taper")))),
    ("hot", "not-known", lambda screen: _hot(screen, "H2", unknown_skin(43.0, "flange"))),
    ("hot", "curve", lambda screen: (_hot(screen, "H1"), setattr(screen, "picture", "curve"))),
    ("hot", "words", lambda screen: (_hot(screen, "H1"), setattr(screen, "picture", "words"))),
    ("hot", "words-until-read", lambda screen: (_hot(screen, "H2"), setattr(screen, "picture", "words"))),
    ("reading", "where", lambda screen: _reading(screen, "ask_where")),
    ("reading", "figure", lambda screen: _reading(screen, "ask_figure")),
    ("reading", "refused", lambda screen: (_reading(screen, "ask_figure"), setattr(screen.ids.entry, "text", "9999"))),
    ("reading", "answer", lambda screen: _reading(screen, "answer")),
    ("reading", "withdrawn", _withdrawn),
    ("typed", "begun", lambda screen: _typed(screen, "H7K2B")),
    ("typed", "wrong", lambda screen: _typed(screen, "HV4T8BRJ3X")),
    ("machine", "which", _which),
    ("machine", "first", lambda screen: _machine(screen, 0)),
    ("machine", "second", lambda screen: _machine(screen, 1)),
    ("machine", "third", lambda screen: _machine(screen, 2)),
    ("card", "measured", _card),
    ("card", "never", lambda screen: _card(screen, replace(ASSEMBLY, measured=None))),
    ("card", "warm", lambda screen: _card(screen, replace(ASSEMBLY, measured=WARM_VALUES))),
    ("card", "worn", lambda screen: _card(screen, replace(ASSEMBLY, condition=Condition.WORN))),
    ("find", "digits", lambda screen: _find(screen, "type", False)),
    ("find", "letters", lambda screen: _find(screen, "type", True)),
    ("find", "rows", lambda screen: _find(screen, "rows")),
    ("find", "nothing", lambda screen: _find(screen, "rows", found=())),
    ("place", "slot", lambda screen: _place(screen, ("Cabinet A", "Drawer 10", "10-12"), 0)),
    ("place", "pocket", lambda screen: _place(screen, ("Mill 2", "pocket 14"), Usable.IN_MACHINE)),
    ("place", "disc", lambda screen: _place(screen, ("Mill 2", "pocket 14"), Usable.IN_MACHINE, MagazineKind.DISC)),
    ("place", "nowhere", lambda screen: _place(screen, (), Usable.NOWHERE)),
    ("holder", "cool", lambda screen: screen.show(CARD)),
    ("holder", "label-worn", lambda screen: screen.show(replace(CARD, label_spent=0.625))),
    ("holder", "hot", lambda screen: (screen.show(HOT), setattr(screen, "drawing", draw_holder(HOLDER, skin=_skin())))),
    ("holder", "until-read", lambda screen: screen.show(HOTTER)),
    ("holder", "condition", lambda screen: setattr(screen, "page", "condition")),
    ("history", "lines", _history),
    ("history", "none", lambda screen: _empty_history(screen)),
    ("audit", "choose", _audit_choose),
    ("audit", "walk", lambda screen: _audit_walk(screen)),
    ("audit", "missing", lambda screen: _audit_walk(screen, 3)),
    ("audit", "drawer-10", lambda screen: _audit_walk(screen, None, 1)),
    ("audit", "misplaced", _audit_said),
    ("audit", "alarm", _for_all(_audit_alarm)),
    ("audit", "closed", _audit_closed),
    ("audit", "closed-agrees", lambda screen: _audit_closed(screen, differs=False)),
    ("audit", "unknown", _audit_unknown),
    ("audit_photo", "aim", lambda screen: _photo(screen, "aim")),
    ("audit_photo", "absent", _photo_absent),
    ("audit_photo", "failed", lambda screen: _photo(screen, "aim", trouble=say_words(say("camera.frozen")))),
    ("audit_photo", "reading", lambda screen: _photo(screen, "reading")),
    ("audit_photo", "marked", lambda screen: _photo(screen, "marked")),
    ("audit_photo", "sixty", lambda screen: _photo(screen, "marked", 60)),
    ("audit_photo", "near", lambda screen: _photo(screen, "marked", 60, touched=1)),
    ("audit_photo", "near-unread", lambda screen: _photo(screen, "marked", touched=12)),
    ("audit_photo", "nothing", lambda screen: _photo(screen, "marked", 0, 0)),
    ("audit_photo", "alarm", _for_all(lambda screen: _photo(screen, "alarm"))),
    ("audit_spot", "seen", lambda screen: _spot(screen, A.Shows.SEEN, ())),
    ("audit_spot", "missing", lambda screen: _spot(screen, A.Shows.MISSING, (A.Difference.MISSING,), LOOK_FOR)),
    ("audit_spot", "hot", lambda screen: _spot(screen, A.Shows.HOT, (A.Difference.HOT, A.Difference.UNEXPECTED))),
    ("audit_spot", "unknown", lambda screen: _spot(screen, A.Shows.UNKNOWN, (A.Difference.UNKNOWN_CODE,))),
    ("audit_spot", "empty", lambda screen: _spot(screen, A.Shows.SEEN, (A.Difference.EMPTY_HOLDER,))),
    *(("adopt", origin.value, partial(_adopt, page="whose", origin=origin)) for origin in Origin),
    ("adopt", "no-holder", lambda screen: _adopt(screen, "whose", Origin.MARK, say_words(say("adopt.no_holder")))),
    ("adopt", "sure", lambda screen: _adopt(screen, "sure")),
    ("adopt", "sure-mark", lambda screen: _adopt(screen, "sure", Origin.MARK)),
    ("adopt", "given", lambda screen: _adopt(screen, "given")),
    ("adopt", "given-hot", lambda screen: _adopt(screen, "given", card=HOT)),
    ("find", "whose", lambda screen: (_find(screen, "type", False), setattr(screen, "typed", ""),
                                      setattr(screen, "whose", "HV4T8BRJ3V"))),
    ("audit_differences", "list", _differences),
    *(("audit_differences", what.value, partial(_difference, at=at)) for at, what in enumerate(_LISTED)),
    ("audit_differences", "refused", lambda screen: _difference(screen, 4, "one", say_words(TOO_WIDE.outcome.why))),
    ("audit_differences", "reason", lambda screen: _difference(screen, 3, "reason")),
)
