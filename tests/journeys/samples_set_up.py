"""Samples of the screens that set a shop up: the keyboard, lists that stand in for a scan.

See `samples.py` for what a sample is.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from kiosk.desk.setting_up import Entered, Listed
from kiosk.exchange.faults import Read, file_say
from kiosk.labels.content import badge, holder_label, place_label
from kiosk.rules import codes
from kiosk.rules.label_place import drawn
from kiosk.rules.lines import CutterAdded
from kiosk.rules.places import Kind, Place
from kiosk.rules.say import say
from kiosk.rules.shop_things import making
from kiosk.rules.shop_things.forms import FORMS, Thing, fields_of
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.marked import Marked
from kiosk.screens.questions.bring_in import (
    Change,
    Fault,
    FileFaults,
    Found,
    How,
    ImportRefused,
    ImportRow,
    Look,
    Plan,
    UndoneImport,
    Where,
)
from kiosk.screens.questions.choose import Pick
from kiosk.screens.questions.first import STEPS, Far
from kiosk.screens.questions.put_out import CAME_ALONG, Offer, Template
from kiosk.screens.questions.setting_up import Known, Ready
from kiosk.screens.questions.sheets import Known as KnownSheets
from kiosk.screens.questions.sheets import Need, Opened, OpenSheet, Paper
from kiosk.screens.questions.update import Brought, Stage, UpdateRefused
from kiosk.settings import CameraSettings
from kiosk.words import t
from tests.journeys.samples import ASSEMBLY, CUTTER, HOLDER, NINE_LANGUAGES


def _choose(screen: Any, what: str, page: str = "list", keys: str = "letters") -> None:
    screen.shown(what=what)
    if page == "none":
        screen.show("", ())
        return
    if page == "what":
        return
    where = "Cabinet B · 12-08" if what == "holder" else "slot"
    screen.show("", tuple(Pick(f"H{at}", ASSEMBLY.name, where) for at in range(40)))
    if page == "type":
        screen.search()
        screen.ids.entry.ids.field.text = "Roughing mill Ø12"
        screen.ids.entry.letters.page = keys


MACHINE = {
    "name": "Five-axis mill 2", "kind": "shelf", "pockets": 240, "pitch_mm": 112.5, "couplings": "HSK63 A50",
    "spindle": True, "clearance_mm": 5.0, "rows": 12, "row_pitch_mm": 125.5, "diameter_max_free_mm": 160.0,
}  # fmt: skip
ANSWERS: dict[Thing, dict[str, Any]] = {
    Thing.COOLING: {"way": "sleeve", "wet_length_mm": 85.5, "name": "Sleeve at the shrink station"},
    Thing.CABINET: {"drawers": (12, 12, 10, 8, 8, 6), "name": "Cabinet B, by the window"},
    Thing.MACHINE: MACHINE,
    Thing.CUTTER: making.draft_of(CUTTER),
    Thing.HOLDER: making.draft_of(HOLDER),
}


def _enter(screen: Any, thing: Thing, field: str = "", page: str = "", trouble: str = "") -> None:
    screen.shown(thing=thing.value)
    screen._began(Ready(dict(ANSWERS[thing]), False, False))
    if field:
        screen._ask(next(each for each in fields_of(thing, ANSWERS[thing]) if each.name == field))
    if page:
        screen.new = page != "reason"
        screen._why = True
        screen.done()
    if trouble:
        screen._failed(making.refused("name_taken", name="Cabinet B, by the window"))


def _grown(screen: Any, drawers: tuple[int, ...]) -> None:
    _enter(screen, Thing.CABINET, "drawers")
    screen._drawers = list(drawers)
    screen._draw()


def _things(screen: Any, page: str, thing: Thing = Thing.MACHINE) -> None:
    screen.shown(what=thing.value)
    listed = tuple(Listed(f"K{at}", thing, "Five-axis mill 2, by the window", 241) for at in range(9))
    if page == "menu":
        screen.menu()
        return
    screen._listed(Known(() if page == "none" else listed, False, 2 if page in ("gone", "list_gone") else 0))
    if page in ("list", "list_gone", "none"):
        return
    if page == "gone":
        screen.list_gone(listed)
        return
    if page == "kind":
        screen._group = "stations"
        screen.add()
        return
    screen.choose(Choice("K1", ""))
    screen._one(ANSWERS[thing])
    if page == "grind":
        screen._key, screen._thing = "C1", Thing.CUTTER
        screen._one(ANSWERS[Thing.CUTTER])
        screen.do("grind")
    elif page == "count":
        screen._act("more")
    elif page == "reason":
        screen._act("retire")
    elif page == "back":
        screen._act("back")
    elif page == "cold":
        screen._thing = Thing.HOLDER
        screen.copies(6.0)
    elif page == "answer":
        screen._entered(Entered("K1", "Five-axis mill 2, by the window", 241, "Shrink 63 Ø12 L120"), True)


def _first(screen: Any, step: str) -> None:
    screen.shown()
    screen._far(Far(step, True, CameraSettings()))
    if step == "language":
        screen.options = [*NINE_LANGUAGES, *screen.options[len(NINE_LANGUAGES) :]]
    if step == "camera":
        screen.absent = ""
    if step == "at":
        names = ("Shrink station", "Bench 1, by the window", "Cabinet B, by the window", "Presetter")
        screen.stations(tuple((f"P{at}", name) for at, name in enumerate(names)))
    if step == "stands":
        screen._there = {Thing.SHRINK.value, Thing.BENCH.value}
        screen._show_things()


# Fields of whom each way to be asked has its longest words.
_LONG = ("way", "wet_length_mm", "drawers", "couplings", "kind", "name", "spindle", "rpm_needed", "ring_mm", "oal_mm",
         "projection_mm", "insert_max_mm")  # fmt: skip


def _stick(screen: Any, page: str, kinds: str = "hpb") -> None:
    label = holder_label(codes.parse("HV4T8BRJ3V"), HOLDER)
    made = {
        "h": label,
        "p": place_label(codes.make(codes.CodeKind.PLACE, 7), Place("P1", "Five-axis mill 2 · pocket 14", Kind.POCKET)),
        "b": badge(codes.make(codes.CodeKind.BADGE, 7), "Alexandra Featherstone-Harrington"),
    }
    screen.shown(contents=tuple(made[kind] for kind in kinds) * 9)
    screen._drawn(drawn(HOLDER) if "h" in kinds else None)
    screen.page = page


def _bring_in(screen: Any, state: str) -> None:
    screen.shown()
    stick = Path("/media/kiosk/SHOPSTICK")
    screen._where = Where(Path("/data"), "…/holder-kiosk/imports", {})
    screen.folder = "…/holder-kiosk/imports"
    found = Found(stick / "Holders of the second hall.csv", "SHOPSTICK", False, 1.79e9)
    names = ("Roughing mill Ø12 R1 long", "Shrink 63 Ø12 L120")
    figures = (("projection_mm", 88.0, 120.5), ("nose_mm", 24.0, 27.0), ("insert_max_mm", 47.0, 52.0)) * 2
    if state in ("files", "none"):
        screen.found((found,) * 9 if state == "files" else ())
    elif state == "busy":
        screen._busy(t("bring_in.reading", file=found.path.name))
    elif state == "writing":
        screen._at_work(t("bring_in.writing", count=20000))
    elif state in ("look", "conflicts", "moved_on"):
        screen._path, screen.title = found.path, found.path.name
        changes = (
            Change("holder", "T1", names[1], How.CHANGED, figures),
            *(Change("holder", f"T{at}", names[1], How.NEW) for at in range(6)),
            Change("place", "P1", "Sleeve 1", How.KEPT, why=say("intake.hot", name=names[0])),
            *(Change("cutter", f"C{at}", names[0], How.SAME) for at in range(600)),
            *(
                (
                    Change(
                        "label",
                        "HV4T8BRJ3V",
                        "T9",
                        How.CONFLICT,
                        why=say("intake.label_taken", code="HV4T8BRJ3V", other="T1"),
                    ),
                )
                if state == "conflicts"
                else ()
            ),
        )
        lines = () if state == "conflicts" else (CutterAdded(CUTTER),) * 1800
        screen.show(Look(Plan(changes, lines, True), True))
        if state == "moved_on":
            screen._refused(ImportRefused(Plan(changes, lines, True)))
    elif state == "faults":
        screen.title = found.path.name
        why = file_say("no_code.check", said="'HV4T8BRJ3W'")
        screen._unreadable(FileFaults([Fault("Holders of the second hall.csv", 2 + at, "code", why) for at in (1, 2)]))
    elif state in ("past", "no_past", "one"):
        rows = tuple(ImportRow(at, 1.79e9, "kim", found.path.name, 612, at == 2) for at in range(1, 9))
        screen.past(() if state == "no_past" else rows)
        if state == "one":
            screen.choose_past(Marked("1", found.path.name))
    elif state == "undone":
        screen.title = found.path.name
        screen._undone(UndoneImport((), ("a", "b")))
    elif state == "written":
        screen._written(1800)
    else:
        screen.found((found,))
        screen._path = found.path
        screen._failed(FileNotFoundError(2, "no such file", str(found.path)))


def _update(screen: Any, state: str) -> None:
    screen.shown()
    screen.folder = "…/holder-kiosk/updates"
    found = Brought(Path("/media/kiosk/SHOPSTICK/dist/holder_kiosk-1.12.3-py3-none-any.whl"), "SHOPSTICK", "1.12.3")
    if state in ("found", "none"):
        screen.found((found,) * 9 if state == "found" else ())
    elif state == "one":
        screen.found((found,))
        screen.choose(screen.rows[0])
    elif state in list(Stage):
        screen.at_stage(Stage(state))
        screen.page = "at_work"
    elif state == "placed":
        screen.placed("1.12.3")
    elif state != "looking":
        why = "Could not install packages due to an OSError: [Errno 28] No space left on devic…"
        values = {
            "file": found.path.name, "list": "holder_kiosk-1.12.3-py3-none-any.requirements.txt", "why": why,
            "version": "1.12.3", "needed": 1.5, "free": 0.4, "part": "(kiosk/assets/fonts/B612-Bold.ttf)",
        }  # fmt: skip
        screen.refused(UpdateRefused(state, **values))


_UPDATE = ("looking", "found", "none", "one", *Stage, "placed", "list_missing", "damaged", "libraries", "no_room",
           "does_not_open", "no_copy")  # fmt: skip


def _sheets(screen: Any, page: str) -> None:
    screen.shown()
    papers = tuple(Paper(Path(f"/data/setups/{at}.csv"), 1.79e9) for at in ("Pump cover of the second line", "Block"))
    screen.show(KnownSheets(papers * 5, papers), "" if page != "kept" else t("sheet.kept", name=papers[0].name))
    if page in ("list", "kept"):
        return
    if page == "gone":
        screen.show_gone()
        return
    screen.title = papers[0].name
    needs = (Need(1, ASSEMBLY.name, 2, "Five-axis mill 2"), Need(2, "", 12, "", 12.5, 0.5, 30.0, 4)) * 4
    screen.opened(Opened(OpenSheet(papers[0].path, Read(needs, ()), b""), ("Mill 1", "Five-axis mill 2"), False, True))
    match page:
        case "name":
            screen._name("Pump cover")
        case "empty":
            screen.new, screen._needs = True, []
            screen.show_lines()
        case "unreadable":
            screen.trouble = t("things.sheet_unreadable", name=screen.title)
        case "drop":
            screen.new, screen._was = True, ()
            screen.back()
        case "name_taken":
            screen._name("Pump cover")
            screen.trouble = t("things.name_taken", name="Pump cover")
        case "how_failed":
            screen.do("add")
            screen._failed(OSError(28, "No space left on device"))
        case "how":
            screen.do("add")
        case "tools":
            screen.found((ASSEMBLY.name,) * 9)
        case "no_tools":
            screen.found(())
        case "figure":
            screen.add_line("by_figures")
        case "says_nothing":
            screen.add_line("by_figures")
            screen.trouble = t("sheet.says_nothing")
        case "pieces":
            screen._ask_pieces(needs[0])
        case "line":
            screen.touch(Choice("0", ASSEMBLY.name))
        case "machine":
            screen.do("machine")
        case "reason":
            screen._why("keep")


def _put_out(screen: Any, page: str) -> None:
    templates = tuple(Template(Path(f"/data/templates/{name}.txt"), name) for name in CAME_ALONG)
    own = Template(Path("/data/templates/Five-axis mill 2 every night.txt"))
    screen.show(Offer(Path("/data"), ("Mill 1", "Five-axis mill 2, by the window"), (*templates, own)))
    stick = Path("/media/kiosk/SHOPSTICK/holder-kiosk")
    match page:
        case "trouble":
            screen._failed(OSError(28, "No space left on device"))
        case "machine" | "template":
            screen.choose("offsets")
            if page == "template":
                screen.take(Choice("Mill 1", "Mill 1"))
        case "goals":
            screen.goals((stick, Path("/data/exports")))
        case "busy":
            screen._busy(t("bring_in.putting"))
        case "kept":
            screen._kept(stick / "Five-axis mill 2, by the window offset_program.txt")


_SHEETS = ("list", "kept", "gone", "name", "lines", "empty", "unreadable", "how", "tools", "no_tools", "figure",
           "says_nothing", "pieces", "line", "machine", "reason", "drop", "name_taken", "how_failed")  # fmt: skip
_BRING_IN = ("files", "none", "busy", "writing", "look", "conflicts", "moved_on", "faults", "past", "no_past", "one",
             "undone", "written", "gone")  # fmt: skip

SAMPLES: tuple[tuple[str, str, Callable[..., Any]], ...] = (
    ("choose", "what", partial(_choose, what="any", page="what")),
    ("choose", "holders", partial(_choose, what="holder")),
    ("choose", "places", partial(_choose, what="place")),
    ("choose", "none", partial(_choose, what="holder", page="none")),
    *(("choose", keys, partial(_choose, what="place", page="type", keys=keys))
      for keys in ("letters", "figures", "accents")),
    *(("enter", f"{thing.value}-all", partial(_enter, thing=thing)) for thing in ANSWERS),
    *(("enter", f"{thing.value}-{field.name}", partial(_enter, thing=thing, field=field.name))
      for thing in ANSWERS for field in FORMS[thing] if field in fields_of(thing, ANSWERS[thing])
      and field.name in _LONG),
    ("enter", "one-drawer", partial(_grown, drawers=(1,))),
    ("enter", "no-slot", partial(_grown, drawers=(4, 0))),
    ("enter", "cold", partial(_enter, thing=Thing.HOLDER, page="cold")),
    ("enter", "reason", partial(_enter, thing=Thing.MACHINE, page="reason")),
    ("enter", "trouble", partial(_enter, thing=Thing.CABINET, trouble="taken")),
    *(("things", page, partial(_things, page=page))
      for page in ("menu", "list", "list_gone", "none", "gone", "kind", "one", "count", "grind", "reason", "back",
                    "cold", "answer")),
    ("stick", "all", partial(_stick, page="how")),
    ("stick", "holder", partial(_stick, page="how", kinds="h")),
    ("stick", "cards", partial(_stick, page="how", kinds="b")),
    ("stick", "each", partial(_stick, page="each")),
    *(("sheets", page, partial(_sheets, page=page)) for page in _SHEETS),
    *(("put_out", page, partial(_put_out, page=page))
      for page in ("what", "trouble", "machine", "template", "goals", "busy", "kept")),
    *(("bring_in", state, partial(_bring_in, state=state)) for state in _BRING_IN),
    *(("update", str(state), partial(_update, state=state)) for state in _UPDATE),
    *(("first", step, partial(_first, step=step)) for step in STEPS),
)  # fmt: skip
