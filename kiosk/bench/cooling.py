"""What the cooling model is worth: its speed against a general solver, its holds against chance.

Speed is measured against scipy's BDF on the same mesh, as a user would call it and with our Jacobian handed
to it; safety in `cooling_chance`.  All cases are outlines of our own; processor seconds, one core.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from scipy import sparse
from scipy.integrate import solve_ivp

from kiosk.bench.cooling_chance import ROOM as _ROOM
from kiosk.bench.cooling_chance import Scene, chances, scenes
from kiosk.bench.ratio import Ratio
from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.belief import Instrument
from kiosk.rules.cooling.assessment import Now, Touch, Way, Zone, assess, bound_of, touch_safe_s
from kiosk.rules.cooling.mesh import Floats
from kiosk.rules.cooling.stand import Draw, course_of, excess_at_start, exchanges, mesh_for
from kiosk.rules.hold_cases import assessment, solved, weighed
from kiosk.rules.hold_facts import Earlier, HoldFacts, HoldRules, Reading, Stay, cooling_from_s

BENCH = "cooling"
_BOARD = 500
_BOARD_BUDGET_MS = 50.0
_ASSESSMENT_MS = 60.0


def run(quick: bool = False) -> Iterator[Ratio]:
    """Rows for `bench cooling`; about a quarter of an hour, quick: half a minute."""
    yield from _speed(quick)
    yield from _assessments(1 if quick else 8)
    yield from _heated_again(1 if quick else 5)
    yield _board()
    yield from chances(scenes()[:7], 5) if quick else chances(scenes(), 75)


def _best_ms(works: Sequence[Callable[[], object]], rounds: int) -> list[float]:
    """Processor time of each, the best of some rounds in which they take turns."""
    best = [float("inf")] * len(works)
    for _ in range(rounds):
        for at, work in enumerate(works):
            start = time.process_time()
            work()
            best[at] = min(best[at], time.process_time() - start)
    return [each * 1e3 for each in best]


def _by_bdf(scene: Scene, until_s: float, with_jacobian: bool, rtol: float, atol: float) -> tuple[Floats, Floats]:
    """Times and hottest excess by scipy's BDF on our own mesh and films."""
    mesh = mesh_for(scene.profile, scene.heat, scene.stages)
    n, count = len(mesh.root), mesh.bands.shape[0]
    lower = [mesh.bands[row, : n - row] * mesh.root[: n - row] * mesh.root[row:] for row in range(count)]
    conducts = sparse.diags(lower + lower[1:], [-row for row in range(count)] + list(range(1, count))).tocsr()
    conducts.eliminate_zeros()
    capacity = mesh.root**2
    absolute = _ROOM.ambient_c + 273.15
    excess = excess_at_start(mesh, scene.heat, _ROOM, Draw())
    times, hottest = [], []
    for exchange in exchanges(mesh, scene.stages, _ROOM, Draw()):
        film, radiant = exchange.film_w_k, exchange.radiant_w_k4
        radiant = np.zeros(n) if radiant is None else radiant

        def change(_: float, u: Floats, film: Floats = film, radiant: Floats = radiant) -> Floats:
            lost: Floats = conducts @ u + film * u + radiant * ((u + absolute) ** 4 - absolute**4)
            return -lost / capacity

        def slope(_: float, u: Floats, film: Floats = film, radiant: Floats = radiant) -> object:
            return -(
                sparse.diags(1 / capacity) @ (conducts + sparse.diags(film + 4 * radiant * (u + absolute) ** 3))
            ).tocsc()

        jacobian = {"jac": slope} if with_jacobian else {}
        span = (exchange.start_s, min(exchange.end_s, until_s))
        solved = solve_ivp(change, span, excess, method="BDF", rtol=rtol, atol=atol, **jacobian)
        excess = solved.y[:, -1]
        times.append(solved.t)
        hottest.append(solved.y[mesh.skin].max(axis=0))
    return np.concatenate(times), np.concatenate(hottest)


def _worst_k(times: Floats, hottest: Floats, exact: tuple[Floats, Floats]) -> float:
    """Largest error from 60 s on, where a board begins to matter."""
    late = times > 60
    return float(np.abs(hottest[late] - np.interp(times[late], *exact)).max())


def _speed(quick: bool) -> Iterator[Ratio]:
    names = ("HSK63_d12_air", "HSK63_d12_sleeve30", "A40_d20_sleeve90", "A30_d6_blown300")
    for scene in (scene for scene in scenes() if scene.name in names[: 2 if quick else None]):
        until_s = assess(scene.profile, scene.heat, scene.stages, _ROOM).measure_ready_s
        exact = _by_bdf(scene, until_s, True, 1e-8, 1e-6)
        course = course_of(scene.profile, scene.heat, scene.stages, _ROOM)
        ours_k = _worst_k(exact[0], course.hottest(exact[0]), exact)
        # The loosest tolerance at which the peer is as right as we are, and at least right to 0.5 K.
        for rtol, atol in ((1e-2, 0.3), (1e-3, 0.1), (1e-4, 0.01), (1e-5, 1e-3)):
            if _worst_k(*_by_bdf(scene, until_s, True, rtol, atol), exact) <= min(max(ours_k, 0.05), 0.5):
                break
        runs = bound_of(scene.profile, scene.heat, scene.stages, _ROOM).runs
        once_ms, whole_ms, plain_ms, given_ms = _best_ms(
            [
                partial(touch_safe_s, scene.profile, scene.heat, scene.stages, _ROOM),
                partial(assess, scene.profile, scene.heat, scene.stages, _ROOM),
                partial(_by_bdf, scene, until_s, False, rtol, atol),
                partial(_by_bdf, scene, until_s, True, rtol, atol),
            ],
            3 if quick else 8,
        )
        for peer, theirs_ms in (("solve_ivp BDF", plain_ms), ("solve_ivp BDF with our sparse Jacobian", given_ms)):
            case = f"{scene.name}, one solution to {ours_k:.2f} K"
            yield Ratio(BENCH, case, peer, once_ms, theirs_ms, theirs_ms / once_ms, "ms")
            case = f"{scene.name}, full assessment ({runs} solutions)"
            yield Ratio(BENCH, case, peer, whole_ms, runs * theirs_ms, runs * theirs_ms / whole_ms, "ms")


def _assessments(rounds: int) -> Iterator[Ratio]:
    """What one assessment costs whose facts have changed: solved, drawn, so many readings counted."""
    for count in (0, 2, 8):
        spent_ms = []
        for scene in scenes():
            first = assess(scene.profile, scene.heat, scene.stages, _ROOM)
            touches = []
            for at in range(count):
                zone, at_s = (Zone.NOSE, Zone.FLANGE)[at % 2], 0.4 * first.touch_safe_s + 150.0 * at
                touches.append(Touch(at_s, zone, Instrument.PROBE, first.now(at_s).hottest_c - 2.0))
            for _ in range(rounds):
                start = time.process_time()
                assess(scene.profile, scene.heat, scene.stages, _ROOM, None, touches)
                spent_ms.append((time.process_time() - start) * 1e3)
        yield from _quantiles(f"full assessment with {count} readings", spent_ms)


def _quantiles(what: str, spent_ms: Sequence[float]) -> Iterator[Ratio]:
    for name, share in (("median", 0.5), ("99 of 100 within", 0.99), ("at most", 1.0)):
        ours_ms = float(np.quantile(spent_ms, share))
        case = f"{what}, {len(spent_ms)} of them, {name}"
        yield Ratio(BENCH, case, "what it may cost", ours_ms, _ASSESSMENT_MS, _ASSESSMENT_MS / ours_ms, "ms")


def _heated_again(rounds: int) -> Iterator[Ratio]:
    """The same of holders heated again before they were cool, all cases of a hold together: unread, with a reading
    more where it was solved before as a desk has it, and with a reading where nothing was."""
    rules = HoldRules(_ROOM, 330.0)
    spent_ms: dict[tuple[bool, str], list[float]] = {}
    for asked in _again_facts(rules):
        in_water = asked.stays[-1].way == Way.SLEEVE.value
        for _ in range(rounds):
            start = time.process_time()
            cases = solved(asked, rules, None)
            unread = weighed(cases, asked, rules).found
            unread_ms = (time.process_time() - start) * 1e3
            at_s = 0.4 * unread.touch_safe_s
            value_c = round(unread.now(at_s).hottest_c - 2.0, 1)
            seen = Reading(cooling_from_s(asked, rules) + at_s, "nose", value_c, "probe", "agrees")
            read = replace(asked, readings=(seen,))
            start = time.process_time()
            weighed(cases, read, rules)
            more_ms = (time.process_time() - start) * 1e3
            start = time.process_time()
            assessment(read, rules, None)
            anew_ms = (time.process_time() - start) * 1e3
            names = ("unread", "a reading more", "a reading, from nothing")
            for name, each_ms in zip(names, (unread_ms, more_ms, anew_ms), strict=True):
                spent_ms.setdefault((in_water, name), []).append(each_ms)
    for (in_water, name), each in sorted(spent_ms.items()):
        yield from _quantiles(f"heated again, {'its nose in water' if in_water else 'in air'}, {name}", each)


def _again_facts(rules: HoldRules) -> Iterator[HoldFacts]:
    """Holders heated two to four times, 40 or 600 s apart, which then come to each way of cooling."""
    for coupling, bore, nose, projection, insert_mm, oal_mm in (
        ("HSK63", 6.0, 21.0, 80.0, 36.0, 58.0),
        ("HSK63", 20.0, 33.0, 120.0, 52.0, 112.0),
        ("HSK100", 25.0, 44.0, 130.0, 58.0, 138.0),
    ):
        held_by = Coupling.parse(coupling), Clamping.SHRINK_FIT
        holder = Holder("h", "h", *held_by, bore, nose_mm=nose, projection_mm=projection)
        built = Assembly("a", "a", holder, Cutter("c", "c", bore, bore, oal_mm), insert_mm)
        station = Stay("station", 0.0)
        for gaps_s in ((40.0,), (600.0,), (40.0,) * 3):
            earlier = tuple(
                Earlier(None, None, None, (rules.values,), (station,), gap_s, 0.0, built.key) for gap_s in gaps_s
            )
            for way in (Way.FREE_AIR, Way.FORCED_AIR, Way.SLEEVE):
                yield HoldFacts(
                    holder, built, 0.0, 0.0, None, None, (station, Stay("place", 20.0, way.value)),
                    body_c=300.0, heats=1 + len(gaps_s), earlier=earlier,
                )  # fmt: skip


def _board() -> Ratio:
    some = [assess(scene.profile, scene.heat, scene.stages, _ROOM) for scene in scenes()[:10]]
    board = [some[index % len(some)] for index in range(_BOARD)]

    def refresh() -> list[Now]:
        return sorted(assessment.now(0.7 * index + 30.0) for index, assessment in enumerate(board))

    (ours_ms,) = _best_ms([refresh], 10)
    case = f"board of {_BOARD} hot holders, one refresh"
    return Ratio(BENCH, case, "what a second may cost", ours_ms, _BOARD_BUDGET_MS, _BOARD_BUDGET_MS / ours_ms, "ms")
