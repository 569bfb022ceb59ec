"""A job's setup sheet: what of it is there and where, the round through the cabinet, and the machine's change plan.

The round ticks what is scanned and moves nothing in the book; a holder that has become hot since is not ticked
but warned of.  Placing a whole magazine may take seconds and happens on a thread of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any

from kivy.properties import (
    BooleanProperty,
    ListProperty,
    NumericProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)

from kiosk import words
from kiosk.rules.cards import PlaceCard
from kiosk.rules.fitting.change_plan import Aim, ChangePlan, Doing, Step
from kiosk.rules.fitting.magazine_plan import plan
from kiosk.rules.fitting.setup_sheet import Met, Need, Picked, PickRound, Supply, assemblies, pick_round
from kiosk.rules.holder_drawing import draw_holder
from kiosk.rules.place_drawing import PlaceDrawing
from kiosk.rules.say import Say
from kiosk.rules.stock import BookEntry
from kiosk.screens.clerk import fault_words
from kiosk.screens.job.signs import DOINGS, SIGNS
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.marked import Marked
from kiosk.screens.press import Cancelled, Press, Progress
from kiosk.screens.questions import common
from kiosk.screens.questions import job as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.telling import file_fault_words
from kiosk.words import say, t

READY = (Supply.IN_MACHINE, Supply.IN_CABINET, Supply.ELSEWHERE)
PLAN_S = 20.0  # how long the best plan is looked for
AGAIN_BEATS = 20  # seconds after which the list is asked for again: somebody else may have moved a piece
_AIMS = (Aim.MOVES, Aim.TRAVEL)  # as `magazine_plan.plan` reports them


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    SHEETS = "sheets"
    FAULTS = "faults"
    MACHINES = "machines"
    PIECES = "pieces"
    ROUND = "round"
    BUSY = "busy"
    PLAN = "plan"


class Stopped(Exception):
    """Somebody no longer wants the plan."""


class SetupScreen(View):
    """Sheet, machine, pieces; from there the round or the plan."""

    name = "setup"
    rail = "shop"
    covers = Covers.RAIL
    signs_in = True
    page = OptionProperty(Page.SHEETS, options=list(Page))
    title = StringProperty()
    machine = StringProperty()
    trouble = StringProperty()
    folder = StringProperty()
    choices = ListProperty()  # sheets, then machines
    rows = ListProperty()  # faults, then pieces, then steps
    ready = StringProperty()
    good = NumericProperty(0)  # lines of the sheet that can be read
    stops = NumericProperty(0)  # of the round
    plannable = BooleanProperty(False)
    place = StringProperty()
    holder = StringProperty()
    detail = StringProperty()
    count = NumericProperty(0)
    answer = StringProperty()
    answer_state = StringProperty("idle")
    picture = ObjectProperty(None, allownone=True)  # where the next stop is, drawn
    over = BooleanProperty(False)  # the round is
    busy = StringProperty()
    done = NumericProperty(0)
    proven = BooleanProperty(True)
    verdict = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press = Press()
        self._needs: tuple[Need, ...] = ()
        self._machines: tuple[str, ...] = ()
        self._met: tuple[Met, ...] = ()
        self._round = PickRound(())
        self._absent: frozenset[str] = frozenset()
        self._asked = 0
        self._beats = 0

    @property
    def stays(self) -> bool:
        """Whoever fetches the tools of a job walks from place to place and touches nothing meanwhile."""
        return self.page != Page.SHEETS

    def shown(self, **_: Any) -> None:
        self.trouble = ""
        self.page = Page.SHEETS
        self.choices = []
        self.clerk.ask(asks.sheets(), self._listed, self._failed)

    def returned(self) -> None:
        if self.page == Page.PIECES:
            self._look_again()

    def left(self) -> None:
        self._drop_plan()

    def tick(self) -> None:
        self._beats += 1
        if self.page == Page.PIECES and self._beats % AGAIN_BEATS == 0:
            self._look_again()

    def back(self) -> None:
        """One state back, or out."""
        if self.page == Page.SHEETS:
            self.clerk.go("shop")
        elif self.page in (Page.FAULTS, Page.MACHINES):
            self.shown()
        elif self.page == Page.PIECES:
            self._which("")
        else:
            self._drop_plan()
            self._look_again()

    # The sheet ------------------------------------------------------------------------------------------------

    def _listed(self, found: common.Folder) -> None:
        self.folder = found.where
        self.choices = [Choice(str(paper.path), paper.name) for paper in found.papers]

    def choose_sheet(self, choice: Choice) -> None:
        """This job."""
        path = Path(choice.key)
        self.title = choice.text
        self.clerk.ask(asks.read(path), self._read, self._failed)

    def _read(self, sheet: asks.Sheet) -> None:
        self.trouble = ""
        self._needs, self._machines = sheet.read.good, sheet.machines
        self.good = len(sheet.read.good)
        if sheet.read.faults:
            self.rows = [
                Marked(str(at), *file_fault_words(fault), icon="stop", tone="stop")
                for at, fault in enumerate(sheet.read.faults)
            ]
            self.page = Page.FAULTS
            self.clerk.play(Sound.REFUSED)
        else:
            self.take_good()

    def take_good(self) -> None:
        """Go on with the lines that can be read."""
        named = sorted({need.machine for need in self._needs if need.machine})
        if len(named) == 1 and named[0] in self._machines:
            self.choose_machine(Choice(named[0], named[0]))
            return
        unknown = [name for name in named if name not in self._machines]
        self._which(t("setup_sheet.no_machine", name=unknown[0]) if unknown else "")

    def _which(self, trouble: str) -> None:
        self.trouble = trouble
        named = {need.machine for need in self._needs}
        self.choices = [Choice(name, name, t("setup_sheet.named") if name in named else "") for name in self._machines]
        self.page = Page.MACHINES

    def choose_machine(self, choice: Choice) -> None:
        """The machine the job runs on."""
        self.machine = choice.key
        self._look_again()

    def _look_again(self) -> None:
        needs = for_machine(self._needs, self.machine)
        self.clerk.ask(asks.met(needs), self.show, self._failed)

    # Pieces ---------------------------------------------------------------------------------------------------

    def show(self, met: tuple[Met, ...]) -> None:
        """Show what the desk says of each piece."""
        self._met = met
        self.rows = [_piece(one, at) for at, one in enumerate(met)]
        there = sum(one.supply in READY for one in met)
        self.ready = t("setup_sheet.ready", ready=there, count=len(met))
        self.stops = len(pick_round(met).stops)
        self.plannable = bool(assemblies(met, self.machine))
        self.page = Page.PIECES

    def touch(self, row: Marked) -> None:
        """A piece was touched: what is to be done about it has a screen of its own."""
        met = self._met[int(row.key)]
        if met.supply is Supply.BUILD and met.holder is not None:
            self.clerk.go("build", key=met.holder.holder.key)
        elif met.supply is Supply.HOT and met.entry is not None:
            self.clerk.go("hot", key=met.entry.holder.key)
        elif met.entry is not None and self.clerk.knows("holder"):
            self.clerk.go("holder", key=met.entry.holder.key)

    # The round ------------------------------------------------------------------------------------------------

    def start_round(self) -> None:
        """Walk through the cabinet."""
        self._round = pick_round(self._met)
        self._absent = frozenset()
        self.answer, self.answer_state = "", "idle"
        self.page = Page.ROUND
        self._next()

    def scanned(self, text: str) -> bool:
        """On the round a scan ticks a holder; elsewhere it is the desk's."""
        if self.page != Page.ROUND:
            return False
        self.clerk.ask(asks.held_up(text), self.pick, self._failed)
        return True

    def pick(self, scanned: asks.HeldUp) -> None:
        """A label was held up on the round."""
        if scanned.hot:
            self._say("heat", t("setup_sheet.hot_now", name=scanned.name), Sound.HOT)
            return
        self._round, picked = self._round.scan(scanned.code)
        self._absent -= {scanned.code}
        good = picked in (Picked.TAKEN, Picked.DONE)
        message = Say(f"setup.{Picked.TAKEN.value if good else picked.value}", (("name", scanned.name),))
        self._say("done" if good else "stop", say(message), Sound.DONE if good else Sound.REFUSED)
        self._next()

    def absent(self) -> None:
        """What should be here is not: go on to the next."""
        stop = self._stop()
        if stop is not None:
            self._absent |= {stop.code}
            self._say("idle", t("setup_sheet.looked", name=stop.name), None)
            self._next()

    def _drawn(self, code: str, picture: PlaceDrawing) -> None:
        stop = self._stop()
        self.picture = picture if stop is not None and stop.code == code and picture else None

    def _stop(self) -> BookEntry | None:
        gone = self._round.taken | self._absent
        return next((stop for stop in self._round.stops if stop.code not in gone), None)

    def _say(self, state: str, answer: str, sound: Sound | None) -> None:
        self.answer_state, self.answer = state, answer
        if sound is not None:
            self.clerk.play(sound)

    def _next(self) -> None:
        stop = self._stop()
        taken = len(self._round.taken)
        self.stops = len(self._round.stops)
        self.over = stop is None
        self.count = min(taken + len(self._absent) + 1, self.stops)
        self.picture = None
        if stop is not None:
            self.place, self.holder, self.detail = stop.place or "", stop.name, words.grouped(stop.code)
            self.clerk.ask(asks.picture(stop.holder.key), partial(self._drawn, stop.code), lambda _: None)
            return
        self.place = t("setup_sheet.all_taken") if not self._absent else t("setup_sheet.taken_but", count=taken)
        missing = [stop.name for stop in self._round.stops if stop.code in self._absent]
        self.holder = t("setup_sheet.not_there", names=", ".join(missing)) if missing else ""
        self.detail = t("setup_sheet.look_for") if missing else t("setup_sheet.into_pockets")

    # The plan -------------------------------------------------------------------------------------------------

    def make_plan(self) -> None:
        """Look for the change plan with the fewest moves."""
        name = self.machine
        self.clerk.ask(asks.magazine(name), self._look_for_plan, self._failed)

    def _look_for_plan(self, machine: PlaceCard) -> None:
        wanted = assemblies(self._met, self.machine)
        self._asked += 1
        asked = self._asked
        self._progress(0, len(_AIMS))
        self.page = Page.BUSY

        def job(progress: Progress, cancelled: Cancelled) -> ChangePlan:
            def report(aim: Aim, _: float) -> None:
                if cancelled():
                    raise Stopped
                if aim in _AIMS:
                    progress(_AIMS.index(aim), len(_AIMS))

            magazine = machine.magazine
            assert magazine is not None  # `_magazine` gave a machine
            return plan(magazine, machine.loaded, machine.owners, wanted, machine.returning, PLAN_S, report)

        self._press.run(
            job,
            lambda made: self.show_plan(made) if asked == self._asked else None,
            lambda error: self._plan_failed(error) if asked == self._asked else None,
            self._progress,
        )

    def _progress(self, done: int, total: int) -> None:
        self.done = done
        self.busy = t(f"plan.aim_{_AIMS[min(done, total - 1)].value}")

    def cancel(self) -> None:
        """No plan after all."""
        self._drop_plan()
        self._look_again()

    def _drop_plan(self) -> None:
        self._asked += 1
        self._press.cancel()

    def _plan_failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)
        self.show(self._met)

    def show_plan(self, made: ChangePlan) -> None:
        """Show the plan: what finds no room, then what is to be done, then what is left alone."""
        places = {met.entry.assembly.key: met.entry.place for met in self._met if met.entry and met.entry.assembly}
        rows = [
            Marked(
                f"unplaced {at}",
                t("plan.no_room", name=unplaced.assembly.name),
                next((say(Say(one.message_id, tuple(one.values.items()))) for one in unplaced.obstacles), ""),
                icon="stop",
                tone="stop",
            )
            for at, unplaced in enumerate(made.unplaced)
        ]
        ordered = sorted(made.steps, key=lambda step: step.doing is Doing.LEAVE)
        rows += [_step(step, at, places.get(step.assembly.key)) for at, step in enumerate(ordered)]
        self.rows = rows
        self.proven = made.proven
        worst = max((proof.gap for proof in made.proofs), default=0.0)
        lacking = sum(met.entry is None for met in self._met)
        self.verdict = t("plan.proven") if made.proven else t("plan.not_proven", gap_percent=100 * worst)
        if lacking:
            self.verdict += f". {t('setup_sheet.lacking', count=lacking)}"
        self.page = Page.PLAN

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble = fault_words(error)


def for_machine(needs: Sequence[Need], machine: str) -> tuple[Need, ...]:
    """What of a sheet is meant for a machine; a sheet that names one machine only is moved to this one whole."""
    named = {need.machine for need in needs if need.machine}
    if len(named) <= 1:
        return tuple(replace(need, machine=machine) for need in needs)
    return tuple(replace(need, machine=machine) for need in needs if need.machine in ("", machine))


def wish(need: Need) -> str:
    """What a line of the sheet asks for, as a setter says it: `Roughing mill 12`, or `Ø12 R1 LU 30 z4`."""
    number = words.catalogue(words.language()).number
    data = (("Ø", need.dc_mm), ("R", need.re_mm), ("LU ", need.lu_mm), ("z", need.zefp))
    sizes = [f"{sign}{number(value, 3)}" for sign, value in data if value is not None]
    return " ".join([need.name, *sizes]).strip()


def _piece(met: Met, at: int) -> Marked:
    icon, tone = SIGNS[met.supply]
    text = met.entry.name if met.entry and not met.need.name else wish(met.need)
    several = met.need.quantity > 1
    return Marked(str(at), text, say(met.say), f"{met.piece}/{met.need.quantity}" if several else "", icon, tone)


def _step(step: Step, at: int, place: str | None) -> Marked:
    words_of = t(f"plan.{step.doing.value}")
    if step.doing is Doing.PUT_IN and place:
        words_of = t("setup_sheet.put_in_from", place=place)
    ends = (step.goal,) if step.doing is Doing.LEAVE else (step.origin, step.goal)
    way = " → ".join("" if pocket is None else f"{pocket:02}" for pocket in ends).strip()
    tone = "done" if step.doing is Doing.LEAVE else "plain"
    drawn = draw_holder(step.assembly.holder, step.assembly)
    return Marked(f"step {at}", step.assembly.name, words_of, way, DOINGS[step.doing], tone, drawn)


load_beside(__file__)
