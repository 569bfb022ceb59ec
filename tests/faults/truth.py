"""What is true on a shop floor, whatever its kiosk believes.

Beside the book stand the holders themselves (`steel`), which only what hands really do moves or heats: an accepted
scan moves the steel, a refused one does not, an undone one took it back or never moved it, and what the kiosk believes
moves nothing.  After every act: no holder that is hot may count as cool, and none was let go anywhere but to the
station, a cooling place or nowhere known.

Facts that people enter (outline, cutter, what the unit is set to, what a place is) are taken for true when a holder
is heated or comes to a place; a change of them afterwards changes the book and not the steel.
"""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

from kiosk.desk import Desk
from kiosk.desk.session import ActRefused, Locked, NeedsReason, NotThere, StillHot
from kiosk.ledger.book import LedgerFault, Written
from kiosk.rules.assembly import Clamping
from kiosk.rules.cards import Heat, HolderCard
from kiosk.rules.lines import Built, Heated, Moved, TornDown
from kiosk.rules.places import Kind
from tests.faults.remembered import answers_kept
from tests.faults.steel import Shape, Steel, World
from tests.faults.tablet import Clocks, Disk, Power

WALL_S = 1_790_000_000.0
HOLDERS = ("T001", "T008", "T002", "T014")
PLACES = (
    "Bench 1", "Shrink station", "Sleeve 1", "Rack 1", "Air blower", "Presetter", "Cabinet A · 1-01",
    "Cabinet A · 1-05", "Mill 1 · pocket 12", "Mill 1 · pocket 30", "Mill 1 · spindle", "Regrind",
)  # fmt: skip
REFUSALS = (ActRefused, Locked, NeedsReason, NotThere, StillHot, LedgerFault)
SURE_K = 2.0  # a probe errs by as much, and so may the truth
REHEAT_S = 30.0  # scanned twice at the station within this, it was heated once


class Burnt(AssertionError):
    """A holder that is hot was let go, or is shown as cool."""


class Shortened(AssertionError):
    """A hold ends sooner than it would have, though nobody moved, read or waited."""


class Broke(AssertionError):
    """A command ended with a traceback, or the kiosk does not start any more, or its book is not whole."""


@dataclass
class Spot:
    """What a place really is."""

    name: str
    kind: Kind
    way: str
    wet_mm: float | None


class Taken(NamedTuple):
    """A holder's steel at a moment, to be put back where what followed was a touch too many."""

    true_s: float
    shape: Shape
    excess_k: Any
    heated_s: float
    unused: bool


@dataclass
class Body:
    """A holder's steel, where it really stands, and what was set when it was heated."""

    steel: Steel
    spot: Spot | None
    limit_c: float = 43.0
    ambient_c: float = 23.0
    heated_s: float = -1e9
    unused: bool = False  # heated by a scan, and no cutter went in or came out by it yet
    before: tuple[float, Spot | None, Any] | None = None  # when, where and how warm it was before the last step
    torn: Taken | None = None  # how it was before its cutter came out

    @property
    def hot_by_k(self) -> float:
        return self.steel.hottest_c - self.limit_c


class Truth:
    """One kiosk, its folder and the holders of its shop, as they really are."""

    def __init__(self, start: Path, world: World, watched_s: float) -> None:
        self.world = world
        self.disk = Disk()
        self.folder = self.disk.folder / "data"
        shutil.copytree(start, self.folder)
        self.clocks = Clocks(WALL_S + 40 * 86400.0)
        self.power = Power(self.folder)
        self._stack = ExitStack()
        self._stack.enter_context(self.clocks.pretended())
        self._stack.enter_context(self.power.watched())
        self._stack.enter_context(answers_kept())
        self._full_pages: int | None = None
        self.copies: list[Path] = []
        self.said = ""
        self.acts = 0
        self.desk = Desk.open(self.folder)
        found = {name: self.desk.session.cards.find_place(name) for name in PLACES}
        self.code = {name: code for name, code in found.items() if code is not None}
        self._codes = {code: name for name, code in self.code.items()}
        self.spots = {name: self._spot(name) for name in PLACES}
        self.bodies = {key: self._body(key) for key in HOLDERS}
        self.clocks.forward(watched_s)
        self.desk.tick()

    def gone(self) -> None:
        try:
            self.desk.close()
        finally:
            self._stack.close()
            self.power.over()
            self.disk.gone()

    # what is true -------------------------------------------------------------------------------------------

    def _spot(self, name: str) -> Spot:
        place = self.desk.session.place(self.code[name]).place
        return Spot(name, place.kind, place.way or "free_air", place.wet_length_mm)

    def _body(self, key: str) -> Body:
        card = self.card(key)
        name = self._codes.get(card.at.place.code) if card.at else None
        heat = self.desk.session.settings.heat
        return Body(Steel(shape_of(card), self.world, heat.ambient_c), replace(self.spots[name]) if name else None)

    def forward(self, seconds: float) -> None:
        """Time goes by, for the steel as well."""
        self.clocks.forward(seconds)
        for body in self.bodies.values():
            spot = body.spot
            body.steel.wait(seconds, spot.way if spot else "free_air", spot.wet_mm if spot else None)

    def _heats(self, key: str) -> None:
        body = self.bodies[key]
        if self.clocks.true_s - body.heated_s <= REHEAT_S + 1e-6:
            return
        heat = self.desk.session.settings.heat
        body.steel.heat(heat.temp_c, heat.ambient_c, shape_of(self.card(key)))
        body.limit_c, body.ambient_c = heat.limit_c, heat.ambient_c
        body.heated_s, body.before, body.torn = self.clocks.true_s, None, None

    def _goes(self, key: str, code: str | None) -> None:
        """The steel was really carried there, because the kiosk agreed."""
        body = self.bodies[key]
        name = self._codes.get(code or "")
        if name is None and code is not None:
            raise Broke(f"{key} went to {code}, which is none of the places here")
        spot = replace(self.spots[name]) if name else None
        if spot is None or spot.kind not in (Kind.SHRINK, Kind.COOLING, Kind.BENCH):
            body.unused = False
        body.torn = None
        body.before = (self.clocks.true_s, body.spot, body.steel.excess_k.copy())
        body.spot = spot
        may_be_hot = spot is None or spot.kind in (Kind.SHRINK, Kind.COOLING)
        if not may_be_hot and body.hot_by_k > SURE_K:
            raise Burnt(f"{key} was accepted at {name} with {body.steel.hottest_c:.0f} °C")

    def _comes_back(self, key: str, never_left: bool) -> None:
        """A step was undone: the steel is carried back, or never moved."""
        body = self.bodies[key]
        if body.before is None:
            return
        since_s, spot, excess_k = body.before
        if never_left:
            body.steel.excess_k = excess_k
            way, wet_mm = (spot.way, spot.wet_mm) if spot else ("free_air", None)
            body.steel.wait(self.clocks.true_s - since_s, way, wet_mm)
        body.spot, body.before = spot, None

    def _opens(self, key: str) -> None:
        """A cutter goes in or comes out: of a shrink fit by heat, of a collet by a spanner.

        Written down at the bench, it went in when it was hot by a scan; at the station it does now.
        """
        body = self.bodies[key]
        if self.card(key).holder.clamping is not Clamping.SHRINK_FIT:
            return
        if not body.unused or (body.spot and body.spot.name == "Shrink station"):
            self._heats(key)
        body.unused = False

    def _taken(self, key: str) -> Taken:
        body = self.bodies[key]
        return Taken(self.clocks.true_s, body.steel.shape, body.steel.excess_k.copy(), body.heated_s, body.unused)

    def _never_came_out(self, key: str, was: Taken) -> None:
        """Torn down by a touch too many: no coil was on for that, and it went on cooling where it stands."""
        body = self.bodies[key]
        body.steel.shape, body.steel.excess_k = was.shape, was.excess_k
        body.heated_s, body.unused, body.torn = was.heated_s, was.unused, None
        way, wet_mm = (body.spot.way, body.spot.wet_mm) if body.spot else ("free_air", None)
        body.steel.wait(self.clocks.true_s - was.true_s, way, wet_mm)

    def _follow(self, lines: Iterable[Written], never_left: bool = False) -> None:
        """What hands do once the book says so: carry, heat to get a shank in or out, take back."""
        for entry in (line.entry for line in lines):
            if getattr(entry, "holder", None) not in self.bodies:
                continue
            match entry:
                case Moved(holder=key, undoes=None, goal=goal):
                    self._goes(key, goal)
                    if goal == self.code["Shrink station"]:
                        self._heats(key)  # what stands at the station was put there to be heated
                case Moved(holder=key):
                    self._comes_back(key, never_left)
                case Heated(holder=key, reading_only=False):
                    self._heats(key)
                    self.bodies[key].unused = True
                case TornDown(holder=key, undoes=int()) if never_left and (was := self.bodies[key].torn):
                    self._never_came_out(key, was)
                case Built(holder=key) | TornDown(holder=key):
                    self._opens(key)

    def look(self) -> None:
        """No holder that is hot may count as cool."""
        for key, body in self.bodies.items():
            if body.hot_by_k > SURE_K:
                card = self.card(key)
                cool = card.heat is Heat.COOL if card.hold is None else card.hold.ended
                if cool:
                    at = card.at.name if card.at else "nowhere known"
                    raise Burnt(f"{key} has {body.steel.hottest_c:.0f} °C and counts as cool (at {at})")

    def _left_s(self) -> dict[str, float]:
        """How long each holder still counts as hot, s; without end where only a reading can end it."""
        left = {}
        for key in self.bodies:
            card = self.card(key)
            if card.hold is not None and not card.hold.ended:
                only_read = card.hold.needs_reading or card.hold.remaining_s is None
                left[key] = math.inf if only_read else card.hold.remaining_s or 0.0
            elif card.hold is None and card.heat is Heat.UNKNOWN:
                left[key] = math.inf
        return left

    @contextmanager
    def _shortens_nothing(self, what: str) -> Iterator[None]:
        """Files, commands and names change nothing about steel: no hold may end sooner for them."""
        before, since_s = self._left_s(), self.clocks.true_s
        yield
        after = self._left_s()
        for key, left_s in before.items():
            least_s = left_s - (self.clocks.true_s - since_s)
            if least_s > 5.0 and after.get(key, 0.0) < least_s - 2.0:
                raise Shortened(f"{what}: {key} had {least_s:.0f} s left and has {after.get(key, 0.0):.0f} s")

    # what is done ---------------------------------------------------------------------------------------------

    def card(self, key: str) -> HolderCard:
        return self.desk.session.holder(key)

    def act(
        self, do: Callable[[], Any], allowed: tuple[type[BaseException], ...] = (), *, never_left: bool = False
    ) -> Any:
        """Something at the desk, perhaps on a full disk, perhaps with the power cut in the middle, and what follows.

        None where it was refused or cut.  Whoever starts the kiosk again after a cut does what its book says.
        """
        self.acts += 1
        before, found = self.desk.session.book.last_id, None
        with self._suffering():
            try:
                found = do()
            except (*allowed, *REFUSALS) as refused:
                self.said = str(refused)
        if self.power.is_cut:
            found = None
            self.desk.close()
            self.power.cut()
            self.open()
        self.power.arm(0)
        if self.desk.session.book.last_id > before:
            self._follow(list(self.desk.session.book.lines(before)), never_left)
        return found

    @contextmanager
    def _suffering(self) -> Iterator[None]:
        pages, self._full_pages = self._full_pages, None
        if pages is None:
            yield
            return
        with self.disk.full(pages):
            yield

    def open(self) -> None:
        try:
            self.desk = Desk.open(self.folder)
        except Exception as fault:
            raise Broke(f"the kiosk does not start: {type(fault).__name__}: {fault}") from fault
        if self.desk.shop.empty:
            raise Broke("the kiosk starts with an empty book")
        self._places_anew()

    def _places_anew(self) -> None:
        """Where nobody stands, a place is what the book says it is; a pocket or slot stays what it was built as."""
        stood = {body.spot.name for body in self.bodies.values() if body.spot}
        for name, spot in self.spots.items():
            if name not in stood and spot.kind not in (Kind.POCKET, Kind.SLOT, Kind.SPINDLE):
                self.spots[name] = self._spot(name)


def shape_of(card: HolderCard) -> Shape:
    holder, built = card.holder, card.assembly
    insert = built.insert_mm if built and built.insert_mm else holder.insert_max_mm or 40.0
    stickout = max(built.cutter.oal_mm - insert, 1.0) if built else 0.0
    shank = built.cutter.dmm_mm if built else 0.0
    return Shape(
        str(holder.coupling), holder.bore_mm, holder.nose_mm or 24.0, holder.projection_mm or 90.0, shank, insert,
        stickout,
    )  # fmt: skip
