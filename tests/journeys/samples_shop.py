"""Samples of the screens behind the shop's menu: build-up, measuring, register, PIN, settings, labels, setup.

Filled as the desk would fill them, with the longest plausible texts; see `samples.py` for what a sample is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import qrcode

from kiosk.desk.balancing import BalanceTaken, ToBalance
from kiosk.desk.build import BuildRefused, MeasureTaken, Offer
from kiosk.desk.inbox import Paper
from kiosk.desk.papers import Presetting
from kiosk.desk.people import ROLES, PinRefused
from kiosk.desk.putting_back import Kept, Lies, Lost
from kiosk.desk.putting_back import Seen as InCopy
from kiosk.desk.session import NotThere, StillHot
from kiosk.exchange.control_list import Columns, ListMap
from kiosk.exchange.faults import FileFaults, Read, fault_at
from kiosk.exchange.presetter import Reading
from kiosk.handheld.phones import Code, Paired, Seen
from kiosk.labels.content import holder_label
from kiosk.ledger.backup import CopyFault, RestoreDone
from kiosk.ledger.upgrade import NewerLedger
from kiosk.rules import codes, wellbeing
from kiosk.rules.assembly import Clamping, Material, Measured
from kiosk.rules.cards import Heat, OperatorCard
from kiosk.rules.checkin import may_go
from kiosk.rules.compare import Compared, Comparison, Listed, Verdict
from kiosk.rules.fitting.balance import Asked, Spindle, demand, judge
from kiosk.rules.fitting.change_plan import Aim, ChangePlan, Doing, Proof, Step, Unplaced
from kiosk.rules.fitting.fits import Finding, FitReason, FitRules, Question, Source, SpeedLimit, fit
from kiosk.rules.fitting.setup_sheet import Met, Need, PickRound, Supply
from kiosk.rules.holder_drawing import draw_holder
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, say
from kiosk.rules.skin_slices import unknown_skin
from kiosk.rules.stock import BookEntry, book_entry
from kiosk.rules.wellbeing import ClockSeen, CopiesSeen, Mark, Part
from kiosk.screens.labels.labels import folder_words
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions.put_back import Where
from kiosk.screens.questions.shop import Door, Supervisor
from kiosk.screens.shop.preferences import GROUPS
from kiosk.screens.shop.put_back import PutBack
from kiosk.settings import Settings
from kiosk.words import say as say_words
from kiosk.words import t
from tests.journeys.samples import ASSEMBLY, CARD, CUTTER, DRAWER_10, HOLDER, HOT, NINE_LANGUAGES, POCKET, SLOT

REFUSED = BuildRefused(
    say("build.not_at_bench", name=HOLDER.name, place=SLOT.name), say("build.to_bench", name=HOLDER.name)
)
ENTRY = book_entry(CARD)
BARE = BookEntry("HV4T8BRJ3V", replace(HOLDER, name="Collet 2-16 x 100"), None, "Cabinet B · 12-08", Kind.SLOT)
IN_MILL = replace(ENTRY, place="Mill 2 · pocket 14", kind=Kind.POCKET, machine="Mill 2", pocket=14)
WAITS = replace(ENTRY, place="Shrink station", kind=Kind.SHRINK, hot=True, safe_in_s=1060.0)


def offers() -> tuple[Offer, ...]:
    """Cutters that fit, and some that do not, for several reasons."""
    cutters = (
        CUTTER,
        replace(CUTTER, key="C2", dmm_mm=10.0, dc_mm=10.0, name="End mill 10 R1"),
        replace(CUTTER, key="C3", material=Material.HSS, flat=True, name="Roughing mill Ø12 R1 HSS"),
        replace(CUTTER, key="C4", shank_h6=False, name="Drill 12"),
    )  # fmt: skip
    found = []
    for cutter in cutters * 3:
        question = Question(HOLDER, cutter, 36.0, heats_used=198)
        found.append(Offer(cutter, fit(question, FitRules())))
    return tuple(found)


def _build(screen: Any, page: str, *, hot: bool = False) -> None:
    screen.trouble = ""
    screen._offered((replace(CARD, assembly=None), offers(), None))
    screen.choose(screen.offers[0])
    if page != "cutters":
        worst = max(offers(), key=lambda offer: len(offer.fit.findings))
        screen._fits(worst.fit)
    screen.page = page
    if page == "done":
        screen._built(HOT if hot else CARD)
        if hot:
            screen._drawn(draw_holder(HOLDER, ASSEMBLY, unknown_skin(43.0, "nose")))
        screen._goes_on(say("next.cool", place="Sleeve 1") if hot else None)


def _build_fits(screen: Any) -> None:
    _build(screen, "fits")
    screen._fits(offers()[0].fit)


def _build_refused(screen: Any) -> None:
    _build(screen, "fits")
    screen._failed(REFUSED)


# What a value of each unit looks like at its longest.
_FIGURES = {"mm": 102.175, "um": 12.6, "c": 385.0, "rpm": 24000.0, "mpa": 1250.0}
_MEASURES = (
    *("shank_mm", "least_mm", "most_mm", "bore_mm", "outside_mm", "inside_mm", "nose_mm", "actual_mm", "tolerance_um"),
    *("actual_um", "least_um", "most_um", "missing_um", "unit_c", "actual_mpa", "allowed_mpa", "asked_rpm"),
    "allowed_rpm",
)


def _longest_reasons(screen: Any, page: str) -> None:
    """The longest sentences that speak against a build, of all there are in the language spoken."""
    _build(screen, "fits")
    values: dict[str, Any] = {name: _FIGURES[name.rsplit("_", 1)[1]] for name in _MEASURES}
    values |= {"used": 1200, "limit": 1000, "left": 12, "coupling": "J50", "knob": "ISO 7388-3 B"}
    values |= {"source": "term.speed_of_holder"}
    found = [Finding(reason, True, tuple(values.items())) for reason in FitReason]
    longest = sorted(found, key=lambda each: len(say_words(Say(each.message_id, each.shown))), reverse=True)
    screen._fits(replace(offers()[0].fit, findings=tuple(longest[:6])))
    screen.offers = [Choice(row.key, "End mill Ø12 R0.5 long reach", row.note, "stop") for row in screen.findings]
    screen.page = page


def _build_no(screen: Any) -> None:
    screen.page = "scan"
    screen._failed(BuildRefused(Say("build.no_holder_label"), Say("build.scan_holder")))


def _measure(screen: Any, figures: tuple[float, ...]) -> None:
    screen.trouble = ""
    screen._take(replace(CARD, measure_in_s=665.0))
    for figure in figures:
        screen._values.append(figure)
        screen._next()


def _measured(screen: Any) -> None:
    _measure(screen, ())
    warm = say("measure.warm", name=ASSEMBLY.name, error_um=212.0, measure_in_s=665.0)
    screen._measured(MeasureTaken(CARD, Measured(142.318, 12.004), warm))


def _balanced(screen: Any, residual_gmm: float) -> None:
    _demanded(screen)
    judged = judge(residual_gmm, 1.32, 18000.0, 2.5)
    screen._taken(BalanceTaken(CARD, judged, say("next.measure", place="Presetter")))


def _demanded(screen: Any, mass_kg: float | None = 1.2) -> None:
    built = replace(ASSEMBLY, holder=replace(HOLDER, mass_kg=mass_kg))
    limit = SpeedLimit(Source.GRIP, 24000.0)
    screen._show(ToBalance(CARD, demand(built, 2.5, limit, (Spindle("Mill 2", 18000.0),), Asked())))


def _demanded_otherwise(screen: Any) -> None:
    screen._asked = Asked(6.3, 24000.0, 1.318)
    wanted = demand(ASSEMBLY, 2.5, None, (), screen._asked)
    screen._show(ToBalance(CARD, wanted))


def _balance_figure(screen: Any, figure: str) -> None:
    _demanded(screen)
    screen.ask_for(figure)


def _not_balanced(screen: Any) -> None:
    screen.shown()
    why, remedy = say("balance.hot", name=ASSEMBLY.name), "next.read"
    screen._failed(BuildRefused(why, say(remedy, place="Cooling rack", where="term.flange", read_at=None), hot=True))


def _measure_scan(screen: Any) -> None:
    screen.page = "scan"
    screen._failed(BuildRefused(say("build.nothing_in", name=HOLDER.name), say("build.choose_other")))


def _tear_down(screen: Any, page: str, *, hot: bool) -> None:
    screen.only_say = False
    screen.page, screen.trouble = "scan", ""
    if not hot or page == "answer":
        screen._ask_condition(CARD)
    if page == "answer":
        screen._torn((HOT if hot else CARD, screen.clerk._now_s + 47.0))
        screen._goes_on(say("next.cool", place="Sleeve 1") if hot else say("next.home", place="Cabinet A · 1-05"))
    elif hot:
        screen._failed(
            BuildRefused(
                say("build.tear_down_elsewhere", name=ASSEMBLY.name, place=SLOT.name),
                say("build.to_shrink", name=ASSEMBLY.name),
            )
        )


def _tear_down_stopped(screen: Any) -> None:
    _tear_down_sure(screen)
    screen.take_out()
    screen._failed(BuildRefused(say("build.nothing_in", name=HOLDER.name), say("build.scan_holder")))


def _tear_down_sure(screen: Any) -> None:
    _tear_down(screen, "condition", hot=False)
    screen.only_say = False
    screen.say("broken")


def _came_back_worn(screen: Any) -> None:
    screen.only_say = True
    screen._take(CARD)
    screen.unsound, screen.chosen = True, t("condition.worn")
    screen._done(CARD)
    screen._goes_on(say("next.tear_down", place="Shrink station"))


def _tear_down_scan(screen: Any) -> None:
    screen.page = "condition"
    screen.page = "scan"
    screen.trouble = ""


def _register(screen: Any, step: int) -> None:
    screen.shown()
    if step >= 1:
        screen.coupling(Choice("HSK63", ""))
    if step >= 2:
        screen.clamping(Choice(Clamping.SHRINK_FIT.value, ""))
    if step >= 3:
        for figure in (12.0, 24.0, 90.0):
            screen.take(figure)
    if step >= 4:
        screen._stands(SLOT)
    if step >= 5:
        screen._registered((replace(CARD, heat=Heat.UNKNOWN) if step == 6 else CARD, None))
    if step == 6:
        screen._bound("", Say("register.bound", (("name", HOLDER.name),)))


def _register_trouble(screen: Any) -> None:
    _register(screen, 5)
    screen._bound("HV4T8BRJ3V", None)


def _pin_who(screen: Any) -> None:
    screen.page = "who"
    more = (Supervisor(f"kim-{number}", f"Kim Vale {number}", False) for number in range(2, 6))
    people = Supervisor("kim", "Kim Vale", False), Supervisor("alex", "Alexandra Featherstone", False), *more
    screen._chooser, screen.vouches = "", False
    screen._door_known(Door(people, ""))


def _pin_vouched(screen: Any) -> None:
    screen.page = "who"
    people = Supervisor("kim", "Kim Vale", True), Supervisor("alex", "Alexandra Featherstone", False)
    screen._chooser = "alex"
    screen._door_known(Door(people, ""))


def _pin(screen: Any, error: Exception | None) -> None:
    _pin_who(screen)
    screen.choose(screen.people[1])
    for figure in "4711":
        screen.ids.pad.press(figure)
    if error is not None:
        screen._failed(error)
    else:
        screen._badge_first = False
        screen.take()  # the first time of two
        for figure in "47":
            screen.ids.pad.press(figure)


def _settings(screen: Any, row: str = "", figure: bool = False) -> None:
    screen.page = "groups"
    screen.trouble = ""
    screen._list(Settings())
    group = next((name for name, keys in GROUPS.items() if row in keys), row)
    found = [choice for choice in screen.groups if choice.key == group]
    if found:
        screen.open(found[0])
        screen.told = t("settings.holds_keep", count=12)
    screen._press.run = lambda *_: None  # what is plugged in here is no sample
    for choice in [choice for choice in screen.rows if choice.key == row]:
        screen.choose(choice)
        if figure:
            screen.take("figure")
        if row == "backup.second_folder":
            screen.looked(row, ("/media/kiosk/SHOPSTICK/holder-kiosk", "/mnt/office server/holder-kiosk"))
            screen.last_copy(1.79e9)


def _settings_said(screen: Any) -> None:
    _settings(screen)
    screen.told = t("shop.backed_up", file="kiosk-2026-11-25-001512.db")


def every_setting() -> tuple[str, ...]:
    """A group's list, and the settings with the longest words."""
    return (
        "heat",
        "heat.ambient_c",
        "kiosk.theme",
        "kiosk.px_per_mm",
        "kiosk.muted",
        "build.clearance_um",
        "build.friction",
        "camera.budget_ms",
        "backup.keep",
        "backup.second_folder",
        "records",
        "heat.length_tolerance_um",
        "thermometer",
        "heat.probe_tolerance_k",
        "heat.ambient_sd_k",
    )


def _shop_list(screen: Any) -> None:
    screen.listing = "holders"
    screen.title = t("shop.holders")
    screen._listed([Choice(str(at), ASSEMBLY.name, "HSK-A 63 · HV4T 8BRJ 3V") for at in range(30)])


def _standing(screen: Any) -> None:
    screen.title = "Cabinet A"
    screen._standing((CARD, HOT, CARD))


def _labels(screen: Any, what: str) -> None:
    screen._contents = ()
    screen.size_name, screen.queue = "25x25", "front_office_label_printer"
    screen.trouble = ""
    code = codes.parse("HV4T8BRJ3V")
    content = holder_label(code, HOLDER)
    if what == "choose":
        screen.back()
        return
    screen._one((content, "H1"))
    if what == "several":
        screen._several((content,) * 40)
    elif what == "fresh":
        screen._replacement((content,))
    elif what == "size":
        screen.choose_size()
    elif what == "queue":
        screen._pick("queue", [Choice("", t("labels.to_file"), t("labels.to_file_note"))])
    elif what == "busy":
        screen._begin(t("labels.proving"))
        screen._progress(37, 152)
    elif what in ("saved", "saved-hot"):
        screen.fresh, screen.again = True, False
        screen._counts(HOT if what == "saved-hot" else CARD)
        screen._say(True, t("labels.saved", count=152, file="HV4T8BRJ3V-etc.pdf"), screen._to_stick())
        screen.folder = folder_words(Path("/home/setter/.local/share/holder-kiosk/labels"))
        screen.file = True
    elif what in ("sent", "hot"):
        screen.again = True
        screen._counts(HOT if what == "hot" else CARD)
        screen.fresh = False
        screen._say(True, t("labels.sent", count=152, number=1817, queue=screen.queue), screen._to_stick())
    elif what == "failed":
        screen._several(())


def met() -> tuple[Met, ...]:
    """A piece for every way there is to have one."""
    entries = {Supply.IN_MACHINE: IN_MILL, Supply.IN_CABINET: ENTRY, Supply.ELSEWHERE: ENTRY, Supply.HOT: WAITS,
               Supply.IN_OTHER_MACHINE: replace(IN_MILL, machine="Mill 1", place="Mill 1 · pocket 40")}  # fmt: skip
    found = []
    for at, supply in enumerate(Supply, 1):
        need = Need(at, "Roughing mill Ø12 R1 long" if at % 2 else "", 2, "Mill 2", 12.0, 1.0, 30.0, 4)
        built = supply in (Supply.BUILD, Supply.NO_HOLDER)
        holder = BARE if supply is Supply.BUILD else None
        found.append(Met(need, 1, supply, entries.get(supply), CUTTER if built else None, holder))
    return (*found, Met(Need(9, "", 1, "Mill 2"), 1, Supply.HOT, replace(WAITS, safe_in_s=None)))


def change_plan() -> ChangePlan:
    """Every kind of step, one without room, and a gap."""
    other = replace(ASSEMBLY, key="A2", name="Indexable mill 80")
    steps = (
        Step(Doing.LEAVE, ASSEMBLY, 7, 7), Step(Doing.TAKE_OUT, other, 12, None), Step(Doing.MOVE, other, 14, 3),
        Step(Doing.PUT_IN, ASSEMBLY, None, 14),
    )  # fmt: skip
    proofs = (Proof(Aim.MOVES, 12.0, 11.0), Proof(Aim.TRAVEL, 900.0, 900.0))
    return ChangePlan(steps, (Unplaced(other, ()),), proofs)


def _folder(name: str, papers: list[str]) -> Any:
    from kiosk.screens.questions.common import Folder

    return Folder(f"…/holder-kiosk/{name}", tuple(Paper(Path(f"{each}.csv"), 0.0) for each in papers))


def _sheets(screen: Any, *, some: bool) -> None:
    screen.page = "sheets"
    screen.trouble = ""
    names = ["Pump cover", "Bearing block, second side, 3rd lot"] if some else []
    screen._listed(_folder("setups", names))


def _sheet_faults(screen: Any) -> None:
    faults = (
        fault_at("Pump cover.csv", 3, "quantity", "quantity", most=200, said="1000"),
        fault_at("Pump cover.csv", 14, "name", "says_nothing"),
    )
    screen._needs = ()
    from kiosk.screens.questions.job import Sheet

    screen._read(Sheet(Read((Need(1, "Drill 5"),) * 11, faults), ("Mill 1",)))


def _sheet_machines(screen: Any) -> None:
    screen._needs, screen._machines = (Need(1, "Drill 5", 1, "Mill 12"),), ("Mill 1", "Mill 2", "Mill 3")
    screen._which(t("setup_sheet.no_machine", name="Mill 12"))


def _pieces(screen: Any) -> None:
    screen.title, screen.machine, screen.trouble = "Bearing block, second side", "Mill 2", ""
    screen.show(met())


def _round(screen: Any, what: str = "") -> None:
    from kiosk.screens.questions.job import HeldUp

    _pieces(screen)
    screen.start_round()
    second = replace(ENTRY, code="H7SJEC466N", place="Cabinet B · 12-08")
    screen._round = PickRound((ENTRY, second))
    screen._next()
    screen.picture = DRAWER_10
    if what == "taken":
        screen.pick(HeldUp(ENTRY.code, ENTRY.name, False))
    elif what == "hot":
        screen.pick(HeldUp(ENTRY.code, ENTRY.name, True))
    elif what == "strange":
        screen.pick(HeldUp("P000000001", "P000 0000 01", False))
    elif what == "over":
        screen.pick(HeldUp(ENTRY.code, ENTRY.name, False))
        screen.absent()


def _planning(screen: Any) -> None:
    _pieces(screen)
    screen._progress(1, 2)
    screen.page = "busy"


def _plan(screen: Any, made: ChangePlan) -> None:
    _pieces(screen)
    screen.show_plan(made)


def comparison() -> Comparison:
    """A line for every verdict."""
    lines = []
    for at, verdict in enumerate(Verdict, 1):
        listed = Listed(at, ASSEMBLY.name, at, at, False, 143.318, 12.104)
        in_book = verdict is not Verdict.NOT_IN_BOOK
        lines.append(
            Compared(
                (verdict, Verdict.DIAMETER) if verdict is Verdict.WRONG_POCKET else (verdict,),
                None if verdict is Verdict.NOT_IN_CONTROL else listed,
                IN_MILL if in_book else None,
                None if in_book else "Indexable mill 80",
            )
        )
    return Comparison("Mill 2", tuple(lines))


def _compare(screen: Any, verdict: Verdict, *, guessed: bool) -> None:
    from kiosk.screens.questions.job import Result

    screen.machine = "Mill 2"
    screen._file = Path("Mill 2 export.csv")
    made = ListMap(Columns("Tool name", "Tool number", "Pocket", "Length", "Diameter"))
    screen.show(Result(comparison(), made, guessed))
    screen.choose(screen.rows[list(Verdict).index(verdict)])
    if not guessed and verdict is Verdict.LENGTH:
        screen._saved(Path("/data/comparisons/Mill 2 tool table.csv"))


def _compare_lists(screen: Any, *, some: bool) -> None:
    screen.machine = "Mill 2"
    names = ["Mill 2 tool table, Tuesday morning"] if some else []
    screen._papers(_folder("controls", names))


def _compare_machines(screen: Any) -> None:
    screen.page = "machines"
    screen._listed(("Mill 1", "Mill 2", "Mill 3"))


def _compare_faults(screen: Any) -> None:
    screen.machine = "Mill 2"
    screen._not_compared(
        FileFaults(
            [
                fault_at("Mill 2 export.csv", 1, "Length", "map_column_missing", said="length"),
                fault_at("Mill 2 export.csv", 0, "[columns] name", "list_needs_tool"),
            ]
        )
    )


def _people(screen: Any, state: str = "") -> None:
    screen.trouble = ""
    cards = [OperatorCard(str(at), "Alexandra Featherstone", ROLES[at % 2], at > 3) for at in range(6)]
    screen._listed(tuple(cards) if state != "none" else ())
    screen.page = "list"
    if state == "none":
        return
    screen.choose(screen.people[0])
    if state == "list":
        screen.page = "list"
    elif state == "name":
        screen._begin()
        screen.named("Alexandra Featherstone")
    elif state == "rename":
        screen._begin_renaming()
    elif state == "renamed":
        screen._renamed(cards[0])
    elif state == "role":
        screen._begin()
        screen.named("Alexandra Featherstone-Harrington")
    elif state == "reason":
        screen._why()
    elif state == "language":
        screen._which_language()
        screen.options = [screen.options[0], *NINE_LANGUAGES, *screen.options[1 + len(NINE_LANGUAGES) :]]
    elif state == "speaks":
        screen._speaks(Choice("pt", "Português"))
    elif state == "added":
        screen._added(cards[0])


def _correct(screen: Any, state: str) -> None:
    screen.shown()
    own = (POCKET,) if state != "no-label" else ()
    screen.known(replace(CARD, code=CARD.holder.key) if state == "no-label" else CARD, 118, own)
    if state in ("pocket", "kept"):
        screen._begin("pocket")
        if state == "kept":
            screen._kept(POCKET, ASSEMBLY.name)
    elif state == "bore-refused":
        screen._begin("bore_mm")
        screen._failed(StillHot(HOT.name))
    elif state in ("bore_mm", "nose_mm", "projection_mm", "number"):
        screen._begin(state)
    elif state in ("place", "refused", "nowhere"):
        screen._begin("place")
        if state == "refused":
            screen._stands(SLOT)
            screen._answered(may_go(HOT, SLOT))
        elif state == "nowhere":
            screen.nowhere()
    elif state == "hot":
        screen._failed(StillHot(HOT.name))
    elif state in ("retire", "retired"):
        screen._begin("retire_label")
        if state == "retired":
            screen._answered(None)
    elif state == "why":
        screen._begin("projection_mm")
        screen.take(81.25)
    elif state in ("done", "done-hot"):
        screen._begin("place")
        screen._stands(SLOT)
        screen._answered(CARD if state == "done" else HOT)


def _presetter(screen: Any, state: str) -> None:
    reading = Reading(2, ASSEMBLY.name, Measured(142.318, 12.004))
    warm = say("measure.warm", name=ASSEMBLY.name, error_um=212.0, measure_in_s=665.0)
    if state == "taken":
        screen.show(
            (
                Presetting(reading, MeasureTaken(CARD, reading.values, None), None),
                Presetting(reading, MeasureTaken(CARD, reading.values, warm), None),
                Presetting(reading, None, REFUSED),
                Presetting(reading, None, NotThere("assembly", "Chamfer mill 10")),
            )
        )
    elif state == "faults":
        fault = fault_at("Tuesday.csv", 3, "X diameter", "map_column_missing", said="diameter")
        screen.check(Read((reading,) * 12, (fault,)))
    else:
        screen.page = "lists"
        screen._listed(_folder("presetter", ["Tuesday, second shift"] if state == "lists" else []))
        screen.trouble = "" if state == "none" else t("presetting.no_map", file="Tuesday, second shift.csv")


def health() -> tuple[wellbeing.Finding, ...]:
    """Every part, one of each mark, with the longest plausible words."""
    folder = "…/SICHERUNG-2026/holder-kiosk"
    now = 1_795_000_000.0
    gone = CopiesSeen(folder, False, None)
    return (
        wellbeing.of_copies(Part.COPIES, CopiesSeen(folder, True, now - 400 * 86400.0), now),
        wellbeing.of_copies(Part.SECOND, gone, now),
        wellbeing.of_disk(0.15e9),
        wellbeing.of_camera(t("camera.lost")),
        wellbeing.of_printer("Label_printer_shrink_station", True, "term.trouble.out_of_ink"),
        wellbeing.of_clock(ClockSeen(False, 16.0, now - 40 * 86400.0), now),
        wellbeing.Finding(Part.ZONE, Mark.TOLD, say("health.zone.is", zone="America/Argentina/Buenos_Aires, UTC-03:00"),
                say("health.zone.set")),
        wellbeing.of_thermometer("file:/x", True, 28.0),
        wellbeing.of_probe("serial:/dev/ttyUSB0", None),
        wellbeing.of_presetter("taken", 0),
        wellbeing.of_link("went_back", level=False),
        wellbeing.Finding(Part.VERSION, Mark.TOLD, say("health.version.is", version="0.1.0", count=1_234_567)),
        wellbeing.Finding(Part.LOG, Mark.TOLD, say("health.log.is", path="…/log/kiosk.log")),
    )  # fmt: skip


def _health(screen: Any, part: Part | None) -> None:
    screen.putting, screen.other = PutBack(screen), ""
    screen._found, screen.page = {}, "list"
    screen.show(health())
    if part is not None:
        screen.choose(next(row for row in screen.rows if row.key == part.value))


def _health_copied(screen: Any, made: tuple[int, str] | None) -> None:
    _health(screen, Part.COPIES)
    screen.do()
    if made is not None:
        screen.copied(made)


_MADE_S = 1_795_000_000.0
_KEPT = (
    (Lies.OWN, "", InCopy(1_234_567, "toolroom-left", "x")),
    (Lies.SECOND, "", InCopy(1_234_001, "toolroom-left", "x")),
    (Lies.REPLACED, "", InCopy(0, "", "", CopyFault(Path("x.db"), "is no ledger of a kiosk"))),
    (Lies.DRIVE, "SICHERUNG-2026", None),
)  # fmt: skip
_LOST = {
    "earlier": Lost(31_234, earlier=True), "nothing": Lost(0, earlier=True), "parted": Lost(31_234),
    "another": Lost(1_234_567, another=True), "unknown": Lost(None), "new": Lost(2, new=True),
}  # fmt: skip


def _put_back(screen: Any, state: str, broken: bool = False) -> None:
    """Copies that can be put back, one of them, and what came of it, as `desk.putting_back` and `restore` answer."""
    _health(screen, Part.COPIES)
    screen.other = ""
    putting = screen.putting
    putting.on, putting.broken, putting._where = True, broken, Where(Path("data"), "")
    if state != "none":
        putting._kept = {
            str(at): Kept(Path(f"{at}.db"), lies, drive, _MADE_S - at * 86400.0)
            for at, (lies, drive, _) in enumerate(_KEPT)
        }
    putting._seen = {str(at): seen for at, (*_, seen) in enumerate(_KEPT) if seen is not None}
    screen.page = "list"
    if state == "read":
        del putting._kept["3"]
    if state in ("list", "read", "none"):
        putting._list()
        return
    putting._one = "2" if state == "damaged" else "0"
    screen.page, screen.title = "part", putting._row(putting._one, putting._kept[putting._one]).text
    if state in _LOST:
        putting._show(putting._kept["0"], _LOST[state])
    elif state == "damaged":
        putting._page()
    elif state == "refused":
        putting._refused(putting._turn, NewerLedger("x.db", 99))
    else:
        putting.do()
        putting._begin(None)
        putting._progress(putting._turn, 500_000, 1_234_567)
        if state == "done":
            names = tuple(map(str, range(40)))
            putting._done = RestoreDone(Path("replaced/x.db"), 1_234_568, names[:12], names)
            putting._put_back(putting._turn, putting._kept["0"])


def _health_good(screen: Any) -> None:
    screen.putting, screen.other = PutBack(screen), ""
    screen._found, screen.page = {}, "list"
    screen.show((wellbeing.of_disk(64e9), wellbeing.of_camera(""), wellbeing.of_link(None, level=True)))


def _phones(screen: Any, state: str) -> None:
    """Telephones: switched off, none, some, and the code for one, as `handheld.phones` answers."""
    print_ = ":".join(f"{(at * 37 + 11) % 256:02X}" for at in range(32))
    paired = [Paired(f"{at:04X}", f"Christopher Oakenshield {at}", "Android") for at in range(7)]
    serving = state not in ("off", "failed")
    why = "" if serving else "Address already in use"
    seen = Seen(
        "serving" if serving else "failed", why, "https://192.168.178.144:8443/", print_,
        tuple(paired) if state in ("some", "sure", "ended") else (),
    )  # fmt: skip
    screen.trouble, screen.rows, screen.ending = "", [], ""
    if state == "off":
        screen.shown()
        return
    screen.page = "list"
    screen.look(seen)
    if state == "code":
        made = qrcode.QRCode(border=4, error_correction=qrcode.constants.ERROR_CORRECT_M)
        made.add_data(f"{seen.address}#{'A' * 22}")
        screen.show_code(Code(tuple(map(tuple, made.get_matrix())), "Christopher Oakenshield", 120.0))
    screen.told = t("phones.ended", phone="0003") if state == "ended" else ""
    if state == "sure":
        screen.end(screen.rows[1])


Fill = Callable[[Any], Any]
SAMPLES: tuple[tuple[str, str, Fill], ...] = (
    ("shop", "menu", lambda screen: screen.shown()),
    ("shop", "list", _shop_list),
    ("shop", "standing", _standing),
    ("build", "scan", _build_no),
    ("build", "cutters", lambda screen: _build(screen, "cutters")),
    ("build", "blocked", lambda screen: _build(screen, "fits")),
    ("build", "fits", _build_fits),
    ("build", "refused", _build_refused),
    ("build", "longest-reasons", partial(_longest_reasons, page="fits")),
    ("build", "longest-offers", partial(_longest_reasons, page="cutters")),
    ("build", "depth", lambda screen: _build(screen, "depth")),
    ("build", "built", lambda screen: _build(screen, "done")),
    ("build", "built-hot", lambda screen: _build(screen, "done", hot=True)),
    ("measure", "scan", _measure_scan),
    ("measure", "length", lambda screen: _measure(screen, ())),
    ("measure", "too-long", lambda screen: (_measure(screen, ()), setattr(screen.ids.entry, "text", "99999"))),
    ("measure", "runout", lambda screen: _measure(screen, (142.318, 12.004))),
    ("measure", "what", lambda screen: screen.shown("N1", choose=True)),
    ("measure", "taken", _measured),
    ("measure", "cool", lambda screen: screen._measured(MeasureTaken(CARD, Measured(142.318, 12.004), None))),
    ("balance", "scan", lambda screen: screen.shown()),
    ("balance", "hot", _not_balanced),
    ("balance", "demand", _demanded),
    ("balance", "unknown", lambda screen: _demanded(screen, None)),
    ("balance", "otherwise", _demanded_otherwise),
    ("balance", "residual", lambda screen: _balance_figure(screen, "residual_gmm")),
    ("balance", "mass", lambda screen: _balance_figure(screen, "mass_kg")),
    ("balance", "within", lambda screen: _balanced(screen, 1.1)),
    ("balance", "over", lambda screen: _balanced(screen, 12.34)),
    ("tear_down", "scan", _tear_down_scan),
    ("tear_down", "condition", lambda screen: _tear_down(screen, "condition", hot=False)),
    ("tear_down", "sure", _tear_down_sure),
    ("tear_down", "stopped", _tear_down_stopped),
    ("tear_down", "refused", lambda screen: _tear_down(screen, "condition", hot=True)),
    ("tear_down", "hot", lambda screen: _tear_down(screen, "answer", hot=True)),
    ("tear_down", "cool", lambda screen: _tear_down(screen, "answer", hot=False)),
    ("tear_down", "came-back-worn", _came_back_worn),
    *(("register", str(step), partial(_register, step=step)) for step in range(7)),
    ("register", "taken", _register_trouble),
    ("leave", "asked", lambda screen: screen.shown(supervisor="kim")),
    ("pin", "who", _pin_who),
    ("pin", "vouched", _pin_vouched),
    ("pin", "twice", lambda screen: _pin(screen, None)),
    ("pin", "wrong", lambda screen: _pin(screen, PinRefused())),
    ("pin", "wait", lambda screen: _pin(screen, PinRefused(55.0))),
    ("settings", "list", _settings),
    ("settings", "figure", partial(_settings, row="heat.ambient_c", figure=True)),
    ("settings", "backed-up", _settings_said),
    *(("settings", row, partial(_settings, row=row)) for row in every_setting()),
    *(
        ("labels", what, partial(_labels, what=what))
        for what in (
            *("choose", "one", "several", "fresh", "size", "queue", "busy"),
            *("saved", "saved-hot", "sent", "hot", "failed"),
        )
    ),
    ("setup", "sheets", lambda screen: _sheets(screen, some=True)),
    ("setup", "none", lambda screen: _sheets(screen, some=False)),
    ("setup", "faults", _sheet_faults),
    ("setup", "machines", _sheet_machines),
    ("setup", "pieces", _pieces),
    *(
        ("setup", f"round-{what or 'begun'}", partial(_round, what=what))
        for what in ("", "taken", "hot", "strange", "over")
    ),
    ("setup", "planning", _planning),
    ("setup", "plan", lambda screen: _plan(screen, change_plan())),
    ("setup", "proven", lambda screen: _plan(screen, replace(change_plan(), unplaced=(), proofs=()))),
    ("compare", "machines", _compare_machines),
    ("compare", "lists", lambda screen: _compare_lists(screen, some=True)),
    ("compare", "none", lambda screen: _compare_lists(screen, some=False)),
    ("compare", "faults", _compare_faults),
    *(("compare", v.value, partial(_compare, verdict=v, guessed=v is Verdict.NOT_IN_BOOK)) for v in Verdict),
    *(
        ("people", state or "person", partial(_people, state=state))
        for state in ("list", "none", "", "name", "role", "reason", "added", "rename", "renamed", "language", "speaks")
    ),
    ("health", "good", _health_good),
    ("health", "list", partial(_health, part=None)),
    ("health", "copying", partial(_health_copied, made=None)),
    ("health", "copied", partial(_health_copied, made=(1234567, ""))),
    ("health", "not_copied", partial(_health_copied, made=(12, "/media/kiosk/STICK/copies: No space left on device"))),
    *(("health", part.value, partial(_health, part=part)) for part in Part),
    *(
        ("health", f"put_back_{state}", partial(_put_back, state=state))
        for state in ("list", "read", "none", *_LOST, "damaged", "refused", "working", "done")
    ),
    *(
        ("health", f"unreadable_{state}", partial(_put_back, state=state, broken=True))
        for state in ("list", "read", "none", "unknown", "refused")
    ),
    *(
        ("phones", state, partial(_phones, state=state))
        for state in ("off", "none", "failed", "some", "sure", "code", "ended")
    ),
    *(
        ("correct", state, partial(_correct, state=state))
        for state in (
            "what",
            "no-label",
            "bore_mm",
            "nose_mm",
            "projection_mm",
            "number",
            "place",
            "nowhere",
            "refused",
            "hot",
            "bore-refused",
            "retire",
            "retired",
            "why",
            "done",
            "done-hot",
            "pocket",
            "kept",
        )
    ),
    *(("presetter", state, partial(_presetter, state=state)) for state in ("lists", "none", "faults", "taken")),
)
