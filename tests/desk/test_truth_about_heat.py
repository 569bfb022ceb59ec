"""Beside the desk runs the truth: a holder, when it was heated last, and where it really stood since.

Whatever is scanned, taken back, heated again, restarted, renamed or set on the wall clock: nothing is let go before
even the nominal holder, heated once and cold before, is safe to touch.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.cooling.assessment import Heat, Stage, Way, default_heated_mm, touch_safe_s
from kiosk.rules.outcomes import Done
from kiosk.rules.outline import outlines_of
from tests.conftest import Shop

STATION = "Shrink station"
WAYS = {STATION: Way.FREE_AIR, "Rack 1": Way.FREE_AIR, "Air blower": Way.FORCED_AIR, "Sleeve 1": Way.SLEEVE}
TOUCHED = ("Bench 1", "Cabinet A · 1-05")
KEYS = ("T001", "T003")


@dataclass
class Steel:
    """What a thermometer would know.  stays: place and true time; heated_s None: cold."""

    place: str
    heated_s: float | None = None
    stays: list[tuple[str, float]] = field(default_factory=list)

    def heat(self, at_s: float) -> None:
        self.place, self.heated_s, self.stays = STATION, at_s, [(STATION, 0.0)]

    def carry(self, place: str, at_s: float) -> None:
        if place != self.place and self.heated_s is not None:
            self.stays.append((place, at_s - self.heated_s))
        self.place = place


class World:
    """The desk, the steel and the time that really went by."""

    def __init__(self, shop: Shop, begin_s: float) -> None:
        self.shop = shop
        shop.clock.forward(begin_s)
        self.wall_s = 0.0
        self.steel = {key: Steel("elsewhere") for key in KEYS}
        shop.clock.wall = lambda: 1.79e9 + shop.clock.counter_s + self.wall_s  # type: ignore[method-assign]
        shop.reopen()
        for place in WAYS:
            self.trust(place)

    def trust(self, place: str) -> None:
        """Three readings that fit, so that time alone may end holds here."""
        self.heat("T001")
        self.carry("T001", place)
        for _ in range(3):
            self.shop.clock.forward(20.0)
            hold = self.shop.desk.session.holder("T001").hold
            assert hold is not None
            self.shop.desk.heat.read("T001", hold.where, hold.hottest_c)

    @property
    def now_s(self) -> float:
        return self.shop.clock.counter_s

    def scan(self, key: str, place: str) -> bool:
        self.shop.desk.scan(self.shop.holder(key))
        return isinstance(self.shop.desk.scan(self.shop.place(place)).outcome, Done)

    def heat(self, key: str) -> None:
        """A hand heats it at the station and scans it there."""
        if self.scan(key, STATION):
            self.steel[key].heat(self.now_s)

    def carry(self, key: str, place: str) -> None:
        """A hand carries it where the kiosk lets it go."""
        if self.scan(key, place):
            if place in TOUCHED:
                self.is_safe(key)
            self.steel[key].carry(place, self.now_s)

    def mistake(self, key: str, place: str, seconds: float) -> None:
        """A wrong place is scanned, noticed a little later and taken back; the steel never moved."""
        before = self.shop.desk.session.holder(key).at
        if self.steel[key].place in TOUCHED or not self.scan(key, place):
            return
        self.shop.clock.forward(seconds)
        if not isinstance(self.shop.desk.undo().outcome, Done):
            self.carry(key, place)  # a step that counts and cannot be taken back: then the steel follows the book
            if place == STATION:
                self.steel[key].heat(self.now_s)
        else:
            assert self.shop.desk.session.holder(key).at == before or before is None

    def is_safe(self, key: str) -> None:
        steel = self.steel[key]
        if steel.heated_s is None:
            return
        card = self.shop.desk.session.holder(key)
        heat, profile = self.shop.desk.session.settings.heat, outlines_of(card.holder, card.assembly)[0]
        stages: list[Stage] = []
        for place, since_s in steel.stays:
            if stages:
                stages[-1] = stages[-1]._replace(end_s=since_s)
            wet_mm = self.shop.desk.session.place(self.shop.place(place)).place.wet_length_mm
            stages.append(Stage(WAYS.get(place, Way.FREE_AIR), since_s, None, wet_mm))
        gone_s = self.now_s - steel.heated_s
        room = self.shop.desk.session.holds.rules.room
        needed_s = touch_safe_s(profile, Heat(heat.temp_c, default_heated_mm(profile)), stages, room)
        assert gone_s >= needed_s - 1.0, f"{key} let go after {gone_s:g} s, needs {needed_s:g} s: {steel.stays}"

    def rename(self) -> None:
        name = "second" if self.shop.desk.session.book.kiosk == "kiosk" else "kiosk"
        self.shop.desk.close()
        (self.shop.folder / "settings.toml").write_text(f'[kiosk]\nname = "{name}"\n')
        self.shop.reopen()


keys = st.sampled_from(KEYS)
steps = st.one_of(
    st.tuples(st.just("heat"), keys, st.just("")),
    st.tuples(st.just("heat"), keys, st.just("")),
    st.tuples(st.just("carry"), keys, st.sampled_from((*WAYS, *TOUCHED))),
    st.tuples(st.just("mistake"), keys, st.sampled_from(tuple(WAYS))),
    st.tuples(st.just("mistake"), keys, st.just("Sleeve 1")),
    st.tuples(st.just("wait out"), keys, st.just(5.0)),
    st.tuples(st.just("wait"), st.sampled_from((2.0, 20.0, 58.0, 300.0, 1200.0, 4000.0)), st.just("")),
    st.tuples(st.just("wait out"), keys, st.sampled_from((-5.0, 5.0))),
    st.tuples(st.just("wall"), st.floats(-1e6, 1e6), st.just("")),
    st.tuples(st.just("restart"), st.just(""), st.just("")),
    st.tuples(st.just("rename"), st.just(""), st.just("")),
    st.tuples(st.just("try"), keys, st.sampled_from(TOUCHED)),
)


def take(world: World, step: tuple[str, object, object]) -> None:
    match step:
        case ("heat", str(key), _):
            world.heat(key)
        case ("carry" | "try", str(key), str(place)):
            world.carry(key, place)
        case ("mistake", str(key), str(place)):
            world.mistake(key, place, 40.0)
        case ("wait", float(seconds), _):
            world.shop.clock.forward(seconds)
        case ("wait out", str(key), float(more_s)):
            hold = world.shop.desk.session.holder(key).hold
            if hold is not None and hold.remaining_s is not None:
                world.shop.clock.forward(max(hold.remaining_s + more_s, 0.0))
            world.carry(key, TOUCHED[0])
        case ("wall", float(seconds), _):
            world.wall_s += seconds
        case ("restart", _, _):
            world.shop.reopen()
        case ("rename", _, _):
            world.rename()
    world.shop.desk.tick()
    for key in KEYS:
        card = world.shop.desk.session.holder(key)
        if card.hold is not None and not card.hold.ended:
            assert card.at is None or card.at.place.kind.may_be_hot


@settings(max_examples=12)
@given(st.floats(3600.0, 2e7), st.lists(steps, min_size=6, max_size=16))
def test_nothing_is_let_go_before_the_truth_allows_it(begin_s: float, taken: list[tuple[str, object, object]]) -> None:
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        shop = Shop(Path(folder))
        try:
            world = World(shop, begin_s)
            for step in taken:
                take(world, step)
            for key in KEYS:  # whatever was done, in the end time is enough
                hold = shop.desk.session.holder(key).hold
                if hold is not None and hold.remaining_s is not None and not hold.needs_reading:
                    shop.clock.forward(hold.remaining_s + 1.0)
                    shop.desk.tick()
                    assert shop.desk.session.holder(key).hold is None
                world.carry(key, "Bench 1")
            assert shop.desk.session.book.check() == []
        finally:
            shop.desk.close()
