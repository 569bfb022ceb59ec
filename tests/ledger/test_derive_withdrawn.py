"""A reading that was a slip counts for nothing any more, and whatever it let go is held or doubted again."""

from __future__ import annotations

import json
from typing import Any

import pytest

from kiosk.ledger.derive import MemoryState, Stamp, changes
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Family, Holder
from kiosk.rules.places import Kind, Place

BEGUN_S = (6 * 3600.0, 3 * 86400.0, 200 * 86400.0)


class Told:
    """Lines told to a state in order, each a minute after the one before."""

    def __init__(self, begun_s: float) -> None:
        self.state = MemoryState()
        self.line, self.watched_s, self.kiosk = 10, begun_s, "mill"

    def say(self, *entries: L.Entry) -> int:
        for entry in entries:
            self.line += 1
            self.watched_s += 60.0
            stamp = Stamp(self.line, 1.79e9, self.watched_s, self.kiosk, None)
            for change in changes(entry, stamp, self.state):
                self.state.apply(change)
        return self.line

    def row(self, table: str, key: str | int = "T1") -> Any:
        return self.state.get(table, key)

    def read(self, value_c: float, heating: int | None, pair: str = "") -> int:
        return self.say(L.TemperatureRead("T1", "nose", value_c, "probe", "agrees", heating=heating, pair=pair))


@pytest.fixture(params=BEGUN_S)
def told(request: pytest.FixtureRequest) -> Told:
    told = Told(request.param)
    told.say(
        L.PlaceAdded(Place("P1", "Bench", Kind.BENCH)),
        L.PlaceAdded(Place("P2", "Rack", Kind.COOLING, way="free_air")),
        L.PlaceAdded(Place("P3", "Station", Kind.SHRINK)),
        L.HolderRegistered(
            Holder("T1", "Shrink 12", Coupling(Family.HOLLOW_TAPER, 63), Clamping.SHRINK_FIT, 12.0), stood_cold=True
        ),
        L.Moved("T1", None, "P3"),
    )
    return told


def words(hold: Any) -> list[tuple[float, str, int]]:
    """Value, verdict and line of each reading of a hold."""
    return [(value_c, verdict, line) for _, _, value_c, _, verdict, line in json.loads(hold["readings"])]


def test_what_a_slip_let_go_is_held_again_and_the_slip_is_marked(told: Told) -> None:
    heating = told.say(L.Heated("T1", "P3"))
    first, slip = told.read(150.0, heating), told.read(24.0, heating)
    before = told.row("hold")
    told.say(L.HoldEnded("T1", "reading", heating))
    assert told.row("holder")["heat"] == "cool" and told.row("hold")["ended_line"] == told.line
    told.say(L.ReadingWithdrawn("T1", slip, "nose", 24.0, heating))
    hold = told.row("hold")
    assert told.row("holder")["heat"] == "held" and hold["ended_line"] is None and hold["reading_only"] == 0
    assert words(hold) == [(150.0, "agrees", first), (24.0, "withdrawn", slip)]
    assert hold == before | {"readings": hold["readings"]}, "and it is counted from when it was heated"


def test_of_a_holder_nobody_knows_the_warmth_of_the_hold_is_left_to_readings(told: Told) -> None:
    heating = told.say(L.Heated("T1", "P3"))
    slip = told.read(24.0, heating)
    told.say(L.HoldEnded("T1", "reading", heating), L.Moved("T1", "P3", None))
    assert told.row("holder")["heat"] == "unknown"
    told.say(L.ReadingWithdrawn("T1", slip, "nose", 24.0, heating))
    assert told.row("holder")["heat"] == "held" and told.row("hold")["reading_only"] == 1


def test_a_hold_that_only_readings_end_stays_one(told: Told) -> None:
    heating = told.say(L.Heated("T1", "P3", reading_only=True))
    slip = told.read(24.0, heating)
    told.say(L.ReadingWithdrawn("T1", slip, "nose", 24.0, heating))
    assert told.row("hold")["reading_only"] == 1 and told.row("hold")["ended_line"] is None


def test_a_slip_before_the_heating_that_runs_leaves_its_body_unknown_and_one_after_it_does_not(told: Told) -> None:
    heating = told.say(L.Heated("T1", "P3"))
    slip = told.read(24.0, heating)
    told.say(L.HoldEnded("T1", "reading", heating))
    later = told.say(L.Heated("T1", "P3"))
    before, holder = told.row("hold"), told.row("holder")
    assert before["body_unknown"] == 0 and later > slip
    told.say(L.ReadingWithdrawn("T1", slip, "nose", 24.0, heating))
    assert told.row("hold") == before | {"body_unknown": 1} and told.row("holder") == holder
    told.state.tables["hold"]["T1"] = before
    stray = told.read(60.0, None)
    kept = told.row("hold")
    told.say(L.ReadingWithdrawn("T1", stray, "nose", 60.0, heating))
    assert told.row("hold") == kept, "what was read of the heating that runs says nothing of the body before it"


def test_what_was_cool_by_readings_alone_is_of_unknown_warmth_again(told: Told) -> None:
    told.say(L.Moved("T1", "P3", None))
    slip = told.read(24.0, None)
    told.say(L.HoldEnded("T1", "reading"))
    assert told.row("holder")["heat"] == "cool" and told.row("hold") is None
    told.say(L.ReadingWithdrawn("T1", slip, "nose", 24.0))
    assert told.row("holder")["heat"] == "unknown" and told.row("hold") is None
    again = told.row("holder")
    told.say(L.ReadingWithdrawn("T1", slip, "nose", 24.0))
    assert told.row("holder") == again


def test_a_hold_that_was_over_before_a_slip_leaves_the_holder_in_doubt_and_is_over(told: Told) -> None:
    heating = told.say(L.Heated("T1", "P3"))
    told.say(L.HoldEnded("T1", "time", heating), L.Moved("T1", "P3", None))
    slip = told.read(24.0, None)
    told.say(L.HoldEnded("T1", "reading"))
    over = told.row("hold")
    assert told.row("holder")["heat"] == "cool" and over["ended_line"] is not None
    told.say(L.ReadingWithdrawn("T1", slip, "nose", 24.0))
    assert told.row("holder")["heat"] == "unknown" and told.row("hold") == over


def test_another_kiosks_clock_counts_the_hold_from_the_withdrawal(told: Told) -> None:
    heating = told.say(L.Heated("T1", "P3"))
    slip = told.read(24.0, heating)
    told.kiosk = "lathe"
    told.say(L.ReadingWithdrawn("T1", slip, "nose", 24.0, heating))
    hold = told.row("hold")
    assert (hold["kiosk"], hold["heated_watched_s"], hold["readings"]) == ("lathe", told.watched_s, "[]")


def test_what_a_slip_taught_is_marked_by_the_line_that_withdrew_it(told: Told) -> None:
    heating = told.say(L.Heated("T1", "P3"))
    slip, other = told.read(90.0, heating, "shrink 12 at P3"), told.read(80.0, heating, "shrink 12 at P3")
    taught = told.row("teaching", slip)
    assert taught["withdrawn"] is None and taught["line"] == slip
    told.say(L.ReadingWithdrawn("T1", slip, "nose", 90.0, heating))
    assert told.row("teaching", slip) == taught | {"withdrawn": told.line}
    assert told.row("teaching", other)["withdrawn"] is None
