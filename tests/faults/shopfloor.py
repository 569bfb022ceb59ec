"""A shop floor with the real kiosk on it: every act is done at the real desk or with a real command, on real files.

Beside the book stand the holders themselves (`steel`), which only what hands really do moves or heats: an accepted
scan moves the steel, a refused one does not, an undone one took it back or never moved it, and what the kiosk believes
moves nothing.  After every act: no holder that is hot may count as cool, and none was let go anywhere but to the
station, a cooling place or nowhere known.

Facts that people enter (outline, cutter, what the unit is set to, what a place is) are taken for true when a holder
is heated or comes to a place; a change of them afterwards changes the book and not the steel.
"""

from __future__ import annotations

import csv
import io
import math
import random
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager, nullcontext, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import tomlkit

from kiosk import where
from kiosk.cli import main
from kiosk.desk import Desk
from kiosk.desk.build import BuildRefused
from kiosk.desk.heat import ReadingFault
from kiosk.desk.session import ActRefused, Locked, NeedsReason, NotThere, StillHot
from kiosk.exchange.shop import read_shop
from kiosk.ledger.book import LedgerFault, Written
from kiosk.rules import codes
from kiosk.rules.cards import Heat, HolderCard
from kiosk.rules.lines import Built, Heated, Moved, TornDown
from kiosk.rules.outcomes import Done
from kiosk.rules.places import Kind
from kiosk.settings import SettingsFault
from tests.faults.steel import Shape, Steel, World
from tests.faults.tablet import Clocks, Disk, Power

WALL_S = 1_790_000_000.0
HOLDERS = ("T001", "T008", "T002", "T014")
PLACES = (
    "Bench 1", "Shrink station", "Sleeve 1", "Rack 1", "Air blower", "Presetter", "Cabinet A · 1-01",
    "Cabinet A · 1-05", "Mill 1 · pocket 12", "Mill 1 · pocket 30", "Mill 1 · spindle", "Regrind",
)  # fmt: skip
PIN = "4711"
BADGES = ("BSXD5X3637", "B6J6BXCR66", "BH90GXPB95")
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


@dataclass
class Body:
    """A holder's steel, where it really stands, and what was set when it was heated."""

    steel: Steel
    spot: Spot | None
    limit_c: float = 43.0
    ambient_c: float = 23.0
    heated_s: float = -1e9
    before: tuple[float, Spot | None, Any] | None = None  # when, where and how warm it was before the last step
    told: list[str] = field(default_factory=list)

    @property
    def hot_by_k(self) -> float:
        return self.steel.hottest_c - self.limit_c


class Floor:
    """One kiosk, its folder and the holders of its shop."""

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
        body.heated_s, body.before = self.clocks.true_s, None

    def _goes(self, key: str, code: str | None) -> None:
        """The steel was really carried there, because the kiosk agreed."""
        body = self.bodies[key]
        name = self._codes.get(code or "")
        if name is None and code is not None:
            raise Broke(f"{key} went to {code}, which is none of the places here")
        spot = replace(self.spots[name]) if name else None
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
                case Heated(holder=key, reading_only=False) | Built(holder=key) | TornDown(holder=key):
                    self._heats(key)

    def look(self) -> None:
        """No holder that is hot may count as cool."""
        for key, body in self.bodies.items():
            if body.hot_by_k > SURE_K:
                card = self.card(key)
                cool = card.heat is Heat.COOL if card.hold is None else card.hold.ended
                if cool:
                    at = card.at.name if card.at else "nowhere known"
                    raise Burnt(f"{key} has {body.steel.hottest_c:.0f} °C and counts as cool (at {at})")

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

    def scan(self, text: str) -> None:
        scanned = self.act(lambda: self.desk.scan(text))
        outcome = scanned.outcome if scanned else None
        if isinstance(outcome, Done) and outcome.holder and outcome.goal and self.desk.session.audit is None:
            key, code = outcome.holder.holder.key, outcome.goal.place.code
            if key in self.bodies and code == self.code["Shrink station"]:
                self._heats(key)  # told that it stands there, whoever scanned it there heats it

    def scan_holder(self, key: str) -> None:
        self.scan(self.card(key).code)

    def scan_place(self, name: str) -> None:
        self.scan(self.code[name])

    def undo(self, never_left: bool) -> None:
        self.act(self.desk.undo, never_left=never_left)

    def wait(self, seconds: float) -> None:
        parts = 1 if seconds < 60 else 4
        for _ in range(parts):
            self.forward(seconds / parts)
            self.act(self.desk.tick)

    def read(self, key: str, where_: str, noise_k: float) -> None:
        """A contact probe, held against the steel: true but for its noise."""
        value_c = min(self.bodies[key].steel.read_c(where_) + noise_k, 480.0)
        self.act(lambda: self.desk.heat.read(key, where_, value_c), (ReadingFault,))

    def build(self, key: str) -> None:
        if self.card(key).assembly is None:
            offers = [offer.cutter.key for offer in self.desk.build.offers(key) if offer.fit.ok]
            if offers:
                self.act(lambda: self.desk.build.build(key, offers[0]), (BuildRefused,))

    def tear_down(self, key: str) -> None:
        self.act(lambda: self.desk.build.tear_down(key), (BuildRefused,))

    def correct_place(self, key: str, name: str | None) -> None:
        code = self.code[name] if name else None
        self.act(lambda: self.desk.shop.correct_place(key, code, "found it"))

    def adopt(self, key: str) -> None:
        """A new label of ours goes onto the holder."""
        text = self.desk.shop.fresh_code(codes.CodeKind.HOLDER).text
        self.act(lambda: self.desk.adopting.give(text, key))

    def register(self) -> None:
        """A holder that is new to the book, and really cold, of a kind that is hot elsewhere."""
        holder = replace(self.card("T001").holder, key=f"N{self.desk.session.book.last_id}")
        text = self.desk.shop.fresh_code(codes.CodeKind.HOLDER).text
        self.act(lambda: self.desk.adopting.register(holder, text, self.code["Bench 1"], stood_cold=True))

    # audits -----------------------------------------------------------------------------------------------------

    def audit(self, name: str, seen: tuple[str, ...]) -> None:
        """Walks to a place and ticks off what is really seen there: cool ones that somebody carried, hot ones not."""
        if self.act(lambda: self.desk.audits.open(self.code[name])) is None:
            return
        self.scan_place(name)
        for key in seen:
            body = self.bodies[key]
            if body.hot_by_k < -SURE_K or (body.spot and body.spot.name == name):
                self.act(lambda key=key: self.desk.scan(self.card(key).code))

    def settle(self, key: str, action: str) -> None:
        if self.desk.session.audit is None:
            return
        open_ = [each for each in self.desk.audits.status().differences if each.text == key]
        chosen = [(each.key, known) for each in open_ for known in each.actions if known.value == action]
        if chosen:
            self.act(lambda: self.desk.audits.settle(*chosen[0], "so it is"))

    def leave_audit(self, close: bool) -> None:
        if self.desk.session.audit is not None:
            self.act(self.desk.audits.close if close else self.desk.audits.pause)

    # commands and files -------------------------------------------------------------------------------------

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

    def reopen(self, off_s: float = 0.0, boot: bool = False) -> None:
        with self._shortens_nothing("starting again"):
            self.desk.close()
            self.forward(off_s)
            if boot:
                self.clocks.boot()
            self.open()

    def command(self, *argv: str | Path) -> tuple[int, str]:
        """A command of the real command line, with the kiosk closed.  Its exit code and what it printed."""
        self.acts += 1
        words = [str(word) for word in argv]
        with self._shortens_nothing(" ".join(words[:2])):
            self.desk.close()
            told = io.StringIO()
            with self._suffering(), redirect_stdout(told), redirect_stderr(told):
                try:
                    code = main(words)
                except SystemExit as ended:
                    code = ended.code if isinstance(ended.code, int) else 1
                except Exception as fault:
                    raise Broke(f"`{' '.join(words)}` ended with {type(fault).__name__}: {fault}") from fault
            if self.power.is_cut:
                self.power.cut()
            self.power.arm(0)
            self.said = told.getvalue()
            if code not in (0, 1, 2):
                raise Broke(f"`{' '.join(words)}` ended with {code}")
            self.open()
        return code, self.said

    def backup(self) -> None:
        code, told = self.command("backup", "--data", self.folder)
        made = next((word for word in told.split() if word.endswith(".db")), None)
        if code == 0 and made and Path(made).exists():
            kept = self.disk.folder / f"copy-{len(self.copies)}" / "ledger-copy.db"
            kept.parent.mkdir()
            shutil.copyfile(made, kept)
            self.copies.append(kept)

    def restore(self, which: int) -> None:
        if self.copies:
            self.command("restore", "--data", self.folder, self.copies[which % len(self.copies)])

    def rehearse(self, seconds: float) -> None:
        shift = self.disk.folder / "shift"
        shift.mkdir(exist_ok=True)
        (shift / "1.txt").write_text(self.card("T001").code)
        (shift / "2.txt").write_text(f"wait {seconds:g} s")
        self.command("rehearse", shift, "--data", self.folder)

    def check(self) -> None:
        suffers = self._full_pages is not None
        code, told = self.command("check", "--data", self.folder)
        if code != 0 and not suffers:
            raise Broke(f"check ends with {code}: {told.strip()[:300]}")

    def ask(self, command: str) -> None:
        """A command that only asks."""
        self.command(*{"history": ("history", "T001"), "find": ("find", "12"), "hot": ("hot",)}[command], "--data",
                     self.folder)  # fmt: skip

    def bring(self, name: str, text: str) -> int:
        file = self.disk.folder / name
        file.write_text(text, "utf-8")
        return self.command("import", "--write", file, "--data", self.folder)[0]

    def import_holder(self, key: str, changes: dict[str, str]) -> None:
        """Other facts of a holder or of what is in it, from a table; the steel stays what it is."""
        with open(where.demo_tags() / "holders.csv", encoding="utf-8", newline="") as file:
            row = next(row for row in csv.DictReader(file) if row["key"] == key)
        self.bring("holders.csv", _table({**row, **changes, "code": self.card(key).code}))

    def import_cutter(self, key: str, changes: dict[str, str]) -> None:
        assembly = self.card(key).assembly
        if assembly is None:
            return
        with open(where.demo_tags() / "holders.csv", encoding="utf-8", newline="") as file:
            rows = [row for row in csv.DictReader(file) if row["key"] == key]
        with open(where.demo_tags() / "cutters.csv", encoding="utf-8", newline="") as file:
            columns = csv.DictReader(file).fieldnames or ()
        row = {column: rows[0].get(column, "") for column in columns} | {"cutter": assembly.cutter.key}
        if row.get("DC"):
            self.bring("cutters.csv", _table({**row, "cutter_name": assembly.cutter.name, **changes}))

    def import_place(self, name: str, kind: str, way: str, wet_mm: float | None) -> None:
        """Another kind or way of a place."""
        code = self.code[name]
        folder = self.disk.folder / "shop"
        folder.mkdir(exist_ok=True)
        place: dict[str, Any] = {"code": code, "name": f"{name} anew", "kind": kind}
        place |= ({"way": way} if kind == "cooling" else {}) | ({"wet_length_mm": wet_mm} if wet_mm else {})
        place["name"] = name if " · " not in name else f"Place {code}"
        (folder / "shop.toml").write_text(tomlkit.dumps({"shop": {"name": "Shop"}, "place": [place]}), "utf-8")
        self.command("import", "--write", folder, "--data", self.folder)

    def undo_import(self, reason: str) -> None:
        left = [row for row in self.desk.intake.imports() if not row.undone]
        if left:
            argv = ("import", "--undo", str(left[0].line), "--data", self.folder)
            self.command(*argv, *(("--reason", reason) if reason else ()))

    def edit_settings(self, table: str, key: str, value: Any) -> None:
        """Somebody opens settings.toml in an editor while the kiosk is closed."""
        self.acts += 1
        path = self.folder / "settings.toml"
        before = path.read_bytes() if path.exists() else None
        # Under another name another clock counts, and whoever comes back to the first is told its time again.
        with nullcontext() if table == "kiosk" else self._shortens_nothing(f"[{table}] {key} = {value!r}"):
            self.desk.close()
            document = tomlkit.parse(path.read_text("utf-8")) if path.exists() else tomlkit.document()
            document.setdefault(table, tomlkit.table())[key] = value
            path.write_text(tomlkit.dumps(document), "utf-8")
            try:
                self.desk = Desk.open(self.folder)
            except SettingsFault:  # not with these values: the editor puts back what was there
                if before is None:
                    path.unlink()
                else:
                    path.write_bytes(before)
                self.open()
            except Exception as fault:
                raise Broke(f"the kiosk does not start: {type(fault).__name__}: {fault}") from fault
        self.power.arm(0)

    def power_goes(self, steps: int) -> None:
        """The power will go that many steps into what comes next."""
        self.power.arm(steps)

    def disk_fills(self, pages: int | None) -> None:
        """What comes next finds a disk with so many pages left."""
        self._full_pages = pages


def shape_of(card: HolderCard) -> Shape:
    holder, built = card.holder, card.assembly
    insert = built.insert_mm if built and built.insert_mm else holder.insert_max_mm or 40.0
    stickout = max(built.cutter.oal_mm - insert, 1.0) if built else 0.0
    shank = built.cutter.dmm_mm if built else 0.0
    return Shape(
        str(holder.coupling), holder.bore_mm, holder.nose_mm or 24.0, holder.projection_mm or 90.0, shank, insert,
        stickout,
    )  # fmt: skip


def _table(row: dict[str, str]) -> str:
    told = io.StringIO()
    writer = csv.DictWriter(told, list(row))
    writer.writeheader()
    writer.writerow(row)
    return told.getvalue()


def choose_pin(folder: Path) -> None:
    """The supervisor of a prepared shop has a PIN from now on, which nobody here will give."""
    clocks = Clocks(WALL_S + 30 * 86400.0)
    with clocks.pretended(), Desk.open(folder) as desk:
        kim = next(person.key for person in desk.people.operators() if person.role == "supervisor")
        desk.people.first_pin(kim, PIN)


def prepare(folder: Path, world: World) -> None:
    """A shop that has worked for weeks: its kiosk has learnt from true readings how such holders cool where."""
    clocks = Clocks(WALL_S)
    chance = random.Random(7)
    with clocks.pretended(), Desk.open(folder) as desk:
        desk.shop.load(read_shop(where.demo_tags()))
        for key in ("T001", "T002", "T014"):
            _teach(desk, clocks, key, world, chance)


def _teach(desk: Desk, clocks: Clocks, key: str, world: World, chance: random.Random) -> None:
    def go(name: str) -> None:
        desk.scan(desk.session.holder(key).code)
        code = desk.session.cards.find_place(name)
        assert code is not None
        desk.scan(code)

    home = desk.session.holder(key).at
    assert home is not None
    go("Bench 1")
    for name, apart_s in (("Shrink station", 120.0), ("Sleeve 1", 9.0), ("Air blower", 40.0), ("Rack 1", 120.0),
                          (None, 120.0)):  # fmt: skip
        steel = Steel(shape_of(desk.session.holder(key)), world, 23.0)
        steel.heat(330.0, 23.0)
        go("Shrink station")
        way, wet_mm = "free_air", None
        if name is None:
            desk.shop.correct_place(key, None, "lost")
        elif name != "Shrink station":
            go(name)
            code = desk.session.cards.find_place(name)
            place = desk.session.place(code or "").place
            way, wet_mm = place.way or "free_air", place.wet_length_mm
        for _ in range(4):
            clocks.forward(apart_s)
            steel.wait(apart_s, way, wet_mm)
            hold = desk.session.holder(key).hold
            if hold is not None:
                desk.heat.read(key, hold.where, steel.read_c(hold.where) + chance.gauss(0.0, 0.5))
        clocks.forward(9 * 3600.0)
        desk.tick()
        for where_ in ("nose", "flange", "shank", "nose"):
            card = desk.session.holder(key)
            if card.hold is not None or card.heat is Heat.UNKNOWN:
                clocks.forward(160.0)
                desk.heat.read(key, where_, 23.0 + chance.gauss(0.0, 0.3))
        go("Bench 1")
    go(home.name)
