"""What holds are worth against chance: holders drawn from the written distributions, judged by the solver.

Every draw is one shop's holder after one heat; the truth is the solver's with the drawn unknowns, never the
surface's or the distributions' own arithmetic.  Some readings are wrong, as in a shop.  Runs of its own with other
seeds and more draws: `python -m kiosk.bench.cooling_chance --draws 100 --seed 5 --part 0/2`.
"""

from __future__ import annotations

import argparse
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from kiosk.bench.ratio import Ratio
from kiosk.rules.assembly import Coupling
from kiosk.rules.belief import PROBE_TOLERANCE_K, Instrument, Lesson, Standing, Verdict, take
from kiosk.rules.cooling.assessment import (
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
from kiosk.rules.cooling.bound import Bound, draw_of, fresh_sd, learnt_sd, unknown_mean, unknown_sd
from kiosk.rules.cooling.flow import Course
from kiosk.rules.cooling.mesh import ZONES, Floats
from kiosk.rules.cooling.stand import course_of
from kiosk.rules.cooling.unknowns import AMBIENT_READ_K
from kiosk.rules.lessons import Heats
from kiosk.rules.outline import Profile, outline

BENCH = "cooling"
ROOM = Room()
WRONG = 0.05  # share of readings
AGAIN_S = 300.0
_TEACHING_HEATS = 6
_BRIGHT = (0.15, 0.4)  # share of the excess an infrared thermometer sees of bright steel


class Shop(NamedTuple):
    """What a shop has measured.  tolerance_k: limit of error of its probe."""

    room: Room = ROOM
    tolerance_k: float = PROBE_TOLERANCE_K


ENTERED = Shop()
MEASURED = Shop(ROOM._replace(ambient_sd_k=AMBIENT_READ_K.whole), 1.5)  # a thermometer, and a probe of class 1


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
    course: Course,
    at_s: float,
    rng: np.random.Generator,
    others: Sequence[Course],
    zone: Zone = Zone.NOSE,
    tolerance_k: float = PROBE_TOLERANCE_K,
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
    base_k, share = instrument.noise_within(tolerance_k)
    value_c = course.ambient_c + excess + (base_k + share * max(excess, 0.0)) * float(rng.standard_normal())
    if kind == 1:
        value_c /= 10.0
    return Touch(at_s, zone, instrument, round(value_c, 1), tolerance_k=tolerance_k), wrong


class Outcome(NamedTuple):
    """One drawn holder: hold over true time, whether released too early, by what was known; s and shares.

    by_reading: released by a cool reading itself, before its time.  One that was doubted asks for another: until then
    no time ends the hold.
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
    some: Sequence[Scene], each: int, seed: int, width: float = 1.0, shop: Shop = ENTERED
) -> Iterator[Outcome]:
    """Drawn holders: nothing known, then one probe reading at 30 to 70 % of the nominal time, then a second."""
    strangers = [truth(scene, unknown_mean())[0] for scene in some]
    for scene in some:
        bound = bound_of(scene.profile, scene.heat, scene.stages, shop.room)
        first = assess_bound(bound)
        spread = unknown_sd(scene.profile, shop.room.ambient_sd_k) * width
        nothing_s = first.hold_s or float("inf")
        for at in range(each):
            rng = np.random.default_rng([seed, at, zlib.crc32(scene.name.encode())])
            course, true_s = truth(scene, unknown_mean() + spread * rng.standard_normal(len(spread)))
            touches: list[Touch] = []
            last: list[Touch] = []  # doubted, until a second one says the same
            holds: list[float] = [nothing_s]
            any_wrong = doubted = early = False
            standing = Standing()
            at_s = float(rng.uniform(0.3, 0.7)) * first.touch_safe_s
            for _ in range(2):
                if at_s > holds[-1]:
                    break
                touch, is_wrong = touch_of(course, at_s, rng, strangers, tolerance_k=shop.tolerance_k)
                any_wrong |= is_wrong
                standing, word, _ = take(standing, _lesson(bound, touch, touches))
                if word is Verdict.QUESTIONED:
                    doubted, last = True, [touch]
                    holds.append(float("inf"))
                else:
                    touches += [*last, touch] if word is Verdict.CONFIRMED else [touch]
                    last = []
                    found = assess_bound(bound, touches)
                    holds.append(max(found.hold_s or float("inf"), at_s))
                    if holds[-1] <= at_s and reading_ends_hold(found, at_s, touch.zone, touch.value_c, word):
                        early |= true_s > at_s
                at_s += float(rng.uniform(1.0, 1.4)) * AGAIN_S
            two_s = holds[2] if len(holds) > 2 else None
            one_s = holds[min(1, len(holds) - 1)]
            yield Outcome(scene.name, true_s, nothing_s, one_s, two_s, any_wrong, doubted, early)


def _lesson(bound: Bound, touch: Touch, before: Sequence[Touch]) -> Lesson:
    seen = predict_bound(bound, touch.zone, touch.at_s, before)
    return Lesson(touch.at_s, touch.zone, touch.instrument, touch.value_c, seen)


class Taught(NamedTuple):
    """The seventh heat of a type at a place, six earlier ones read once each; s."""

    scene: str
    true_s: float
    before_s: float
    hold_s: float


def taught(
    some: Sequence[Scene], each: int, seed: int, width: float = 1.0, shop: Shop = ENTERED
) -> Iterator[Taught]:
    """Types with a truth of their own: six heats teach it, one reading each, and ten more are judged."""
    strangers = [truth(scene, unknown_mean())[0] for scene in some]
    for scene in some:
        first = assess_bound(bound_of(scene.profile, scene.heat, scene.stages, shop.room))
        own_sd = learnt_sd(scene.profile) * width
        fresh = fresh_sd(scene.profile, shop.room.ambient_sd_k) * width
        places: dict[Way, str | None] = {stage.way: stage.way.value for stage in scene.stages}
        for at in range(each):
            rng = np.random.default_rng([seed, at, zlib.crc32(scene.name.encode()), 6])
            own = unknown_mean() + own_sd * rng.standard_normal(len(own_sd))
            heats, standing = Heats(), Standing()
            for heating in range(_TEACHING_HEATS):
                bound = bound_of(scene.profile, scene.heat, scene.stages, shop.room, heats.known("", places))
                course, _ = truth(scene, own + fresh * rng.standard_normal(len(fresh)))
                at_s = scene.stages[-1].start_s + float(rng.uniform(0.3, 1.0)) * max(first.touch_safe_s, 60.0)
                touch, _ = touch_of(course, at_s, rng, strangers, tolerance_k=shop.tolerance_k)
                seen = predict_bound(bound, touch.zone, at_s)
                seen = replace(seen, films=tuple(replace(film, place=places.get(film.way)) for film in seen.films))
                way = scene.stages[-1].way
                lesson = Lesson(1e4 * heating, touch.zone, touch.instrument, touch.value_c, seen, way, "", heating)
                standing, _, accepted = take(standing, lesson)
                for lesson in accepted:
                    heats.add(lesson)
            bound = bound_of(scene.profile, scene.heat, scene.stages, shop.room, heats.known("", places))
            hold_s = assess_bound(bound).hold_s or float("inf")
            for _ in range(10):
                _, true_s = truth(scene, own + fresh * rng.standard_normal(len(fresh)))
                yield Taught(scene.name, true_s, first.hold_s or float("inf"), hold_s)


def taught_table(found: Sequence[Taught]) -> Iterator[str]:
    """Lines by way of cooling: median hold / true, and share released too early, in per cent."""
    yield f"{'':10} {'n':>6} {'nothing':>16} {'six heats read':>16}"
    for way in [*sorted({each.scene.rsplit("_", 1)[-1] for each in found}), "all"]:
        of_way = [each for each in found if way in ("all", each.scene.rsplit("_", 1)[-1])]
        true = np.array([each.true_s for each in of_way])
        cells = []
        for hold in (np.array([each.before_s for each in of_way]), np.array([each.hold_s for each in of_way])):
            cells.append(f"{np.median(hold / np.maximum(true, 1)):7.3f} {100 * (true > hold).mean():6.2f} %")
        yield f"{way:10} {len(of_way):6} {cells[0]:>16} {cells[1]:>16}"


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


def chances(some: Sequence[Scene], each: int, seed: int = 20_24) -> Iterator[Ratio]:
    """Rows for `bench cooling`: share released too early and median hold / true time, for each way of cooling.

    each: drawn holders of each scene; a tenth as many types are taught.
    """
    for shop, width, promised in ((ENTERED, 1.0, 1.0), (ENTERED, 1.2, 2.0), (MEASURED, 1.0, 1.0)):
        found = list(outcomes(some, each, seed, width, shop))
        after = list(taught(some, -(-each // 10), seed, width, shop))
        where = f"spreads x {width:g}" + (", thermometer and a probe of class 1" if shop is MEASURED else "")
        known: list[tuple[str, list[tuple[str, float, float]]]] = [
            ("nothing known", [(one.scene, one.nothing_s, one.true_s) for one in found]),
            ("one reading", [(one.scene, one.one_s, one.true_s) for one in found]),
            ("two readings", [(one.scene, one.two_s, one.true_s) for one in found if one.two_s is not None]),
            ("six heats read", [(one.scene, one.hold_s, one.true_s) for one in after]),
        ]
        for name, of_all in known:
            for way in sorted({scene.rsplit("_", 1)[-1] for scene, _, _ in of_all}):
                hold, true = np.array([(h, t) for scene, h, t in of_all if scene.endswith(f"_{way}")]).T
                case = f"{way}, {name}, {len(hold)} holders, {where}"
                early = 100 * float((true > hold).mean())
                kept = _kept(early, promised)
                yield Ratio(BENCH, f"{case}: too early", "promised at most", early, promised, kept, "%")
                median = float(np.median(hold / np.maximum(true, 1.0)))
                yield Ratio(BENCH, f"{case}: median hold", "true time", median, 1.0, 1.0 / median, "of it")


def _kept(share: float, promised: float) -> float:
    """How well the promise was kept; nobody released too early in a small sample proves no more than kept."""
    return promised / share if share else 1.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=20, help="holders of each scene")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--width", type=float, default=1.0, help="factor on every spread")
    parser.add_argument("--only", default="", help="scenes whose names hold this")
    parser.add_argument("--part", default="0/1", metavar="I/N", help="one of N runs side by side")
    parser.add_argument("--taught", action="store_true", help="six earlier heats instead of readings of this one")
    parser.add_argument("--measured", action="store_true", help="a shop with a thermometer and a probe of class 1")
    given = parser.parse_args()
    shop = MEASURED if given.measured else ENTERED
    part, parts = (int(number) for number in given.part.split("/"))
    some = [scene for scene in scenes() if given.only in scene.name][part::parts]
    if given.taught:
        print("\n".join(taught_table(list(taught(some, given.draws, given.seed, given.width, shop)))))
        return
    found = list(outcomes(some, given.draws, given.seed, given.width, shop))
    print("\n".join(table(found)))
    wrong = [outcome for outcome in found if outcome.wrong]
    early = [outcome for outcome in wrong if outcome.true_s > outcome.one_s]
    print(f"{len(wrong)} with a wrong reading, {len(early)} of them released too early after one")


if __name__ == "__main__":
    main()
