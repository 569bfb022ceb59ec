"""What holds are worth against chance: holders drawn from the written distributions, judged by the solver.

Every draw is one shop's holder after one heat; the truth is the solver's with the drawn unknowns, never the
surface's or the distributions' own arithmetic.  Some readings are wrong, as in a shop.  Runs of its own with other
seeds and more draws: `python -m kiosk.bench.cooling_chance --draws 100 --seed 5 --part 0/2`.
"""

from __future__ import annotations

import argparse
import zlib
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from kiosk.rules.assembly import Coupling
from kiosk.rules.belief import Instrument, Lesson, Verdict, judge, prior
from kiosk.rules.cooling import (
    Heat,
    Room,
    Stage,
    Touch,
    Way,
    Zone,
    assess_bound,
    bound_of,
    default_heated_mm,
    last_above_s,
    predict_bound,
    reading_ends_hold,
)
from kiosk.rules.cooling_bound import Bound, draw_of, unknown_mean, unknown_sd
from kiosk.rules.cooling_flow import Course
from kiosk.rules.cooling_mesh import ZONES, Floats
from kiosk.rules.cooling_stand import course_of
from kiosk.rules.outline import Profile, outline

ROOM = Room()
WRONG = 0.05  # share of readings
AGAIN_S = 300.0
_BRIGHT = (0.15, 0.4)  # share of the excess an infrared thermometer sees of bright steel


class Scene(NamedTuple):
    """One holder after one heat."""

    name: str
    profile: Profile
    heat: Heat
    stages: tuple[Stage, ...]

    @property
    def cooled(self) -> str:
        return self.name.rsplit("_", 1)[-1]


def scenes() -> list[Scene]:
    """Common holders, each cooled in the ways a shop has."""
    air, blown, sleeve, mist = Way.FREE_AIR, Way.FORCED_AIR, Way.SLEEVE, Way.MIST
    found = []
    for coupling, bore, nose, projection, insert, stickout in (
        ("HSK40", 6, 21, 80, 36, 30),
        ("HSK50", 10, 24, 90, 42, 40),
        ("HSK63", 12, 24, 106, 47, 40),
        ("HSK63", 20, 33, 120, 52, 60),
        ("HSK100", 25, 44, 130, 58, 80),
        ("A30", 6, 21, 70, 36, 22),
        ("A40", 20, 33, 100, 52, 60),
        ("A50", 32, 44, 120, 62, 80),
    ):
        profile = outline(Coupling.parse(coupling), bore, nose, projection, insert_mm=insert, stickout_mm=stickout)
        heat = Heat(330.0, default_heated_mm(profile))
        wet = insert + 10.0
        stays = {
            "air": (Stage(air, 0),),
            "blown300": (Stage(air, 0, 15), Stage(blown, 15, 315), Stage(air, 315)),
            "blown": (Stage(air, 0, 15), Stage(blown, 15)),
            "sleeve30": (Stage(air, 0, 20), Stage(sleeve, 20, 50, wet), Stage(air, 50)),
            "sleeve90": (Stage(air, 0, 20), Stage(sleeve, 20, 110, wet), Stage(air, 110)),
            "twice": (
                Stage(air, 0, 20),
                Stage(sleeve, 20, 40, wet),
                Stage(air, 40, 120),
                Stage(sleeve, 120, 140, wet),
                Stage(air, 140),
            ),
            "mist60": (Stage(air, 0, 15), Stage(mist, 15, 75), Stage(air, 75)),
        }
        found += [Scene(f"{coupling}_d{bore}_{name}", profile, heat, stages) for name, stages in stays.items()]
    return found


def truth(scene: Scene, unknown: Floats) -> tuple[Course, float]:
    """One drawn holder as solved, and when it is safe for good, seconds since heating."""
    course = course_of(scene.profile, scene.heat, scene.stages, ROOM, draw_of(unknown))
    return course, last_above_s(course, ROOM.limit_c - course.ambient_c)


def touch_of(
    course: Course, at_s: float, rng: np.random.Generator, others: Sequence[Course], zone: Zone = Zone.NOSE
) -> tuple[Touch, bool]:
    """A setter's reading, and whether it is wrong: held on the taper, a decimal slip, bright steel, another holder."""

    def shows(course: Course, zone: Zone, moment_s: float) -> float:
        skin = course.skin(np.array([moment_s]))[course.mesh.zone == ZONES.index(zone), 0]
        return float(skin.max())

    instrument = Instrument.PROBE
    excess, wrong = shows(course, zone, at_s), bool(rng.random() < WRONG)
    kind = int(rng.integers(4)) if wrong else -1
    if kind == 0:
        excess = shows(course, Zone.TAPER, at_s)
    elif kind == 2:
        instrument = Instrument.INFRARED
        excess *= float(rng.uniform(*_BRIGHT))
    elif kind == 3:
        excess = shows(others[int(rng.integers(len(others)))], zone, at_s * float(rng.uniform(0.5, 1.5)))
    value_c = course.ambient_c + excess + instrument.noise_k(excess) * float(rng.standard_normal())
    if kind == 1:
        value_c = value_c / 10.0 if rng.random() < 0.5 else value_c + float(rng.choice([-10.0, 10.0, -100.0]))
    return Touch(at_s, zone, instrument, round(value_c, 1)), wrong


class Outcome(NamedTuple):
    """One drawn holder: hold over true time, whether released too early, by what was known; s and shares.

    by_reading: released by a cool reading itself, before its time.
    """

    scene: str
    true_s: float
    nothing_s: float
    one_s: float
    two_s: float | None
    wrong: bool
    doubted: bool
    by_reading: bool


def outcomes(
    some: Sequence[Scene], each: int, seed: int, width: float = 1.0, wrong: bool = True
) -> Iterator[Outcome]:
    """Drawn holders: nothing known, then one probe reading at 30 to 70 % of the nominal time, then a second."""
    strangers = [truth(scene, unknown_mean())[0] for scene in some]
    for scene in some:
        bound = bound_of(scene.profile, scene.heat, scene.stages, ROOM)
        first = assess_bound(bound)
        spread = unknown_sd(scene.profile) * width
        nothing_s = first.hold_s or float("inf")
        for at in range(each):
            rng = np.random.default_rng([seed, at, zlib.crc32(scene.name.encode())])
            course, true_s = truth(scene, unknown_mean() + spread * rng.standard_normal(len(spread)))
            touches: list[Touch] = []
            holds: list[float] = [nothing_s]
            any_wrong = doubted = early = False
            at_s = float(rng.uniform(0.3, 0.7)) * first.touch_safe_s
            for _ in range(2):
                if at_s > holds[-1]:
                    break
                touch, is_wrong = touch_of(course, at_s, rng, strangers)
                any_wrong |= is_wrong
                word = _word(bound, touch, touches)
                if word is Verdict.QUESTIONED:
                    doubted = True
                    holds.append(holds[-1])
                else:
                    touches.append(touch)
                    found = assess_bound(bound, touches)
                    holds.append(max(found.hold_s or float("inf"), at_s))
                    if holds[-1] <= at_s and reading_ends_hold(found, at_s, touch.zone, touch.value_c, word):
                        early |= true_s > at_s
                at_s += float(rng.uniform(1.0, 1.4)) * AGAIN_S
            two_s = holds[2] if len(holds) > 2 else None
            one_s = holds[min(1, len(holds) - 1)]
            yield Outcome(scene.name, true_s, nothing_s, one_s, two_s, any_wrong, doubted, early)


def _word(bound: Bound, touch: Touch, before: Sequence[Touch]) -> Verdict:
    seen = predict_bound(bound, touch.zone, touch.at_s, before)
    return judge(prior(Way.FREE_AIR), Lesson(touch.at_s, touch.zone, touch.instrument, touch.value_c, seen))


def table(found: Sequence[Outcome]) -> Iterator[str]:
    """Lines by way of cooling: median hold / true, and share released too early, in per cent."""
    ways = sorted({outcome.scene.rsplit("_", 1)[-1] for outcome in found})
    yield f"{'':10} {'n':>6} {'nothing':>16} {'one reading':>16} {'two':>16} {'by reading':>10} {'doubted':>8}"
    for way in [*ways, "all"]:
        of_way = [outcome for outcome in found if way in ("all", outcome.scene.rsplit("_", 1)[-1])]
        cells = []
        for name in ("nothing_s", "one_s", "two_s"):
            pairs = [(getattr(each, name), each.true_s) for each in of_way if getattr(each, name) is not None]
            if not pairs:
                cells.append(f"{'':16}")
                continue
            hold, true = np.array(pairs).T
            cells.append(f"{np.median(hold / np.maximum(true, 1)):7.3f} {100 * (true > hold).mean():6.2f} %")
        by = 100 * np.mean([each.by_reading for each in of_way])
        doubted = 100 * np.mean([each.doubted for each in of_way])
        yield f"{way:10} {len(of_way):6} {cells[0]:>16} {cells[1]:>16} {cells[2]:>16} {by:8.2f} % {doubted:6.1f} %"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=20, help="holders of each scene")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--width", type=float, default=1.0, help="factor on every spread")
    parser.add_argument("--only", default="", help="scenes whose names hold this")
    parser.add_argument("--part", default="0/1", metavar="I/N", help="one of N runs side by side")
    given = parser.parse_args()
    part, parts = (int(number) for number in given.part.split("/"))
    some = [scene for scene in scenes() if given.only in scene.name][part::parts]
    found = list(outcomes(some, given.draws, given.seed, given.width))
    print("\n".join(table(found)))
    wrong = [outcome for outcome in found if outcome.wrong]
    early = [outcome for outcome in wrong if outcome.true_s > outcome.one_s]
    print(f"{len(wrong)} with a wrong reading, {len(early)} of them released too early after one")


if __name__ == "__main__":
    main()
