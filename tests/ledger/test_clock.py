"""Watched time: only what this kiosk saw go by counts, whatever clocks and reboots do."""

from __future__ import annotations

import ctypes
import random
import sys
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.ledger.book import Book
from kiosk.ledger.clock import WatchedClock, boot_counter_s
from kiosk.rules.cards import Moment


class Machine:
    """A tablet: a counter that runs while it is on and starts anew at a boot, and a wall clock anyone may set."""

    def __init__(self) -> None:
        self.uptime_s = 50.0
        self.wall_s = 1_790_000_000.0

    def counter(self) -> float:
        return self.uptime_s

    def wall(self) -> float:
        return self.wall_s

    def clock(self, watched_s: float = 0.0) -> WatchedClock:
        return WatchedClock(watched_s, self.counter, self.wall)


def test_watched_time_grows_with_the_counter_and_not_with_the_wall() -> None:
    machine = Machine()
    clock = machine.clock(100.0)
    machine.uptime_s += 30.0
    machine.wall_s += 86400.0
    assert clock.now() == Moment(machine.wall_s, 130.0)


def test_a_wall_clock_set_back_takes_no_watched_time_away() -> None:
    machine = Machine()
    clock = machine.clock()
    machine.uptime_s += 10.0
    machine.wall_s -= 3600.0
    assert clock.now().watched_s == 10.0


def test_time_asleep_counts_because_the_counter_runs_through_it() -> None:
    machine = Machine()
    clock = machine.clock()
    machine.uptime_s += 8 * 3600.0
    assert clock.now().watched_s == 8 * 3600.0


def test_a_counter_that_runs_backwards_is_taken_to_have_stood_still() -> None:
    machine = Machine()
    clock = machine.clock(5.0)
    machine.uptime_s -= 40.0
    assert clock.now().watched_s == 5.0
    machine.uptime_s += 1.0
    assert clock.now().watched_s == 6.0


def test_a_clock_that_never_ran_begins_at_nothing() -> None:
    machine = Machine()
    assert WatchedClock(counter=machine.counter, wall=machine.wall).now() == Moment(machine.wall_s, 0.0)


def test_the_machines_own_counter_never_runs_backwards() -> None:
    first = boot_counter_s()
    assert boot_counter_s() >= first > 0.0


def test_each_system_is_asked_for_the_counter_that_runs_through_sleep(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(time, "CLOCK_BOOTTIME", 7, raising=False)
    monkeypatch.setattr(time, "clock_gettime", {7: 111.0, time.CLOCK_MONOTONIC: 222.0}.__getitem__)
    windows = SimpleNamespace(kernel32=SimpleNamespace(GetTickCount64=lambda: 333_250))
    monkeypatch.setattr(ctypes, "windll", windows, raising=False)
    told = {}
    for system in ("linux", "darwin", "win32"):
        monkeypatch.setattr(sys, "platform", system)
        told[system] = boot_counter_s()
    assert told == {"linux": 111.0, "darwin": 222.0, "win32": 333.25}


@given(st.lists(st.tuples(st.floats(-5000.0, 5000.0), st.floats(-1e6, 1e6)), max_size=30), st.floats(0.0, 3e7))
def test_every_look_adds_what_the_counter_went_on_and_nothing_else(
    jumps: list[tuple[float, float]], watched_s: float
) -> None:
    machine = Machine()
    clock = machine.clock(watched_s)
    for counter_s, wall_s in jumps:
        machine.uptime_s += counter_s
        machine.wall_s += wall_s
        watched_s += max(counter_s, 0.0)
        assert clock.now() == Moment(machine.wall_s, pytest.approx(watched_s, abs=1e-5))


def test_a_reboot_goes_on_from_what_was_written_down(tmp_path: Path) -> None:
    machine = Machine()
    with Book.open(tmp_path, counter=machine.counter, wall=machine.wall) as book:
        machine.uptime_s += 600.0
        assert book.now().watched_s == 600.0
    machine.uptime_s = 3.0  # rebooted, and stood switched off for a day
    machine.wall_s += 86400.0
    with Book.open(tmp_path, counter=machine.counter, wall=machine.wall) as book:
        assert book.now().watched_s == 600.0
        machine.uptime_s += 1.0
        assert book.now().watched_s == 601.0


def test_a_power_cut_costs_only_what_was_watched_since_the_last_beat(tmp_path: Path) -> None:
    machine = Machine()
    book = Book.open(tmp_path, counter=machine.counter, wall=machine.wall)
    machine.uptime_s += 60.0
    book.beat()
    machine.uptime_s += 9.0
    book.beat = lambda: None  # type: ignore[method-assign]  # the power goes before anything more is written
    book.close()
    with Book.open(tmp_path, counter=machine.counter, wall=machine.wall) as again:
        assert again.now().watched_s == 60.0


HELD_S = 1200.0


def play(schedule: list[tuple[str, float]]) -> None:
    """Plays a schedule with one hold in it, heated at the first `heat`, and looks at every step."""
    machine = Machine()
    written_s, seen_s = 0.0, 0.0
    heated: tuple[float, float] | None = None  # watched and really seen time then
    clock: WatchedClock | None = machine.clock()
    for what, amount in schedule:
        if what in ("run", "asleep"):  # the counter runs through both
            machine.uptime_s += amount
            machine.wall_s += amount if what == "run" else 0.0
            seen_s += amount if clock else 0.0
        elif what == "wall":
            machine.wall_s += amount
        elif what in ("boot", "kill"):
            machine.uptime_s = 1.0 if what == "boot" else machine.uptime_s
            clock = None
        elif what == "start" and clock is None:
            clock = machine.clock(written_s)
        if clock is None:
            continue
        watched_s = clock.now().watched_s
        assert watched_s <= seen_s + 1e-6, schedule
        if what == "beat":
            written_s = watched_s
        elif what == "heat" and heated is None:
            heated = (watched_s, seen_s)
            written_s = watched_s  # a line holds the time
        if heated is not None and watched_s - heated[0] >= HELD_S:
            assert seen_s - heated[1] >= HELD_S - 1e-6, schedule


KINDS = ("run", "run", "asleep", "wall", "boot", "kill", "start", "start", "beat", "heat")


def test_a_hundred_thousand_schedules_never_release_before_the_time_was_watched() -> None:
    rng = random.Random(20)
    for _ in range(100_000):
        schedule = [(rng.choice(KINDS), rng.uniform(-4000.0, 4000.0)) for _ in range(rng.randrange(4, 10))]
        play([(what, amount if what == "wall" else abs(amount)) for what, amount in schedule])


amounts = st.floats(0.0, 5000.0)
steps = st.one_of(
    st.tuples(st.just("run"), amounts),
    st.tuples(st.just("wall"), st.floats(-1e6, 1e6)),
    st.tuples(st.just("restart"), st.booleans()),
    st.tuples(st.just("reboot"), amounts),
)


@settings(max_examples=25)
@given(st.lists(steps, max_size=12))
def test_the_book_never_watches_more_than_went_by(schedule: list[tuple[str, float | bool]]) -> None:
    machine, seen_s = Machine(), 0.0
    with tempfile.TemporaryDirectory() as folder:
        book = Book.open(Path(folder), counter=machine.counter, wall=machine.wall)
        for what, amount in schedule:
            if what == "run":
                machine.uptime_s += amount
                seen_s += amount
            elif what == "wall":
                machine.wall_s += amount
            else:
                book.close()
                if what == "reboot":
                    machine.uptime_s = float(amount)
                book = Book.open(Path(folder), counter=machine.counter, wall=machine.wall)
            assert book.now().watched_s <= seen_s + 1e-6
        book.close()
