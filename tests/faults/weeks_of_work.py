"""A shop that has worked for weeks before anybody attacks it, with and without a supervisor's PIN."""

from __future__ import annotations

import atexit
import random
import shutil
import tempfile
from functools import lru_cache
from pathlib import Path

from kiosk import where
from kiosk.desk import Desk
from kiosk.exchange.shop import read_shop
from kiosk.rules.cards import Heat
from tests.faults.steel import NOMINAL, WARM, Steel, World
from tests.faults.tablet import Clocks
from tests.faults.truth import WALL_S, shape_of

PIN = "4711"
WORLDS = {"nominal": NOMINAL, "warm": WARM}


@lru_cache
def prepared(world: str, pin: bool) -> Path:
    """The data folder of such a shop, made once a process; for copying, not for work."""
    folder = Path(tempfile.mkdtemp(prefix="kiosk-start-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    if pin:
        shutil.copytree(prepared(world, False), folder / "data")
        choose_pin(folder / "data")
    else:
        prepare(folder / "data", WORLDS[world])
    return folder / "data"


def choose_pin(folder: Path) -> None:
    """The supervisor of a prepared shop has a PIN from now on, which nobody here will give."""
    clocks = Clocks(WALL_S + 30 * 86400.0)
    with clocks.pretended(), Desk.open(folder) as desk:
        kim = next(person.key for person in desk.people.operators() if person.role == "supervisor")
        desk.people.first_pin(kim, PIN, by_owner=True)


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
