"""What the placement of a whole setup is worth: against the textbook programme, and against a hand that goes by eye.

Both peers get the same magazine, the same assemblies and the same rules about neighbours.  The textbook programme
has a column for each assembly in each pocket and a row for each two that clash, solved by the same HiGHS; the hand
puts each newcomer into the nearest pocket that takes it and takes others out where none does.  Wall seconds.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from kiosk.bench.ratio import Ratio
from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.fitting.change_plan import Aim, ChangePlan
from kiosk.rules.fitting.magazine import Loaded, Magazine, MagazineKind
from kiosk.rules.fitting.magazine_plan import plan
from kiosk.rules.fitting.obstacles import obstacles
from kiosk.rules.fitting.pockets import clashes
from kiosk.rules.fitting.proposals import NoRoom, Proposal, propose

BENCH = "magazine"
_NARROW_MM = (6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 32.0, 50.0, 63.0)
_WIDE_MM = (80.0, 100.0, 125.0, 160.0)
_PEER_S = 60.0  # the textbook programme is stopped then


def run(quick: bool = False) -> Iterator[Ratio]:
    """Rows for `bench magazine`; some minutes, quick: some seconds."""
    pockets, standing, new = (20, 12, 9) if quick else (60, 38, 28)
    for kind in (MagazineKind.CHAIN, MagazineKind.DISC, MagazineKind.SHELF):
        magazine, loaded, wanted = _shop(kind, pockets, standing, new)
        case = f"{len(wanted)} into {pockets}, {kind.value}"
        start = time.perf_counter()
        ours = plan(magazine, loaded, {}, wanted)
        ours_s = time.perf_counter() - start
        theirs_s = _textbook_s(magazine, loaded, wanted)
        yield Ratio(BENCH, f"{case}, fewest moves", "textbook programme", ours_s, theirs_s, theirs_s / ours_s, "s")
        eye_placed, eye_moves = _by_eye(magazine, loaded, wanted)
        placed, moves = _reached(ours, Aim.PLACED), _reached(ours, Aim.MOVES)
        yield Ratio(BENCH, f"{case}, placed", "nearest by eye", placed, eye_placed, placed / eye_placed, "assemblies")
        yield Ratio(BENCH, f"{case}, moves", "nearest by eye", moves, eye_moves, eye_moves / moves, "moves")


def _assembly(key: str, diameter_mm: float) -> Assembly:
    steel = Holder(f"h-{key}", key, Coupling.parse("HSK63"), Clamping.COLLET, 20.0, nose_mm=6.0, mass_kg=1.0)
    return Assembly(key, key, steel, Cutter(f"c-{key}", key, diameter_mm, 12.0, 100.0))


def _shop(kind: MagazineKind, pockets: int, standing: int, new: int) -> tuple[Magazine, list[Loaded], list[Assembly]]:
    """A magazine as a shift leaves it, and the next job: half of it stands there already."""
    chance = np.random.default_rng(3)

    def any_width() -> float:
        nominal = chance.choice(_NARROW_MM if chance.random() < 0.75 else _WIDE_MM)
        return float(nominal) + float(chance.uniform(-0.02, 0.02))

    magazine = Magazine(kind, pockets, 80.0, 5.0, change_at=int(chance.integers(1, pockets)))
    loaded: list[Loaded] = []
    for at in range(standing):
        entry = _assembly(f"old{at}", any_width())
        free = [pocket for pocket in magazine.numbers if not obstacles(magazine, loaded, {}, pocket, entry)]
        if free:
            loaded.append(Loaded(int(chance.choice(free)), entry))
    wanted = [_assembly(f"new{at}", any_width()) for at in range(new)]
    return magazine, loaded, [*wanted, *(held.assembly for held in loaded[: standing // 3])]


def _reached(answer: ChangePlan, aim: Aim) -> float:
    return next(proof.value for proof in answer.proofs if proof.aim is aim)


def _textbook_s(magazine: Magazine, loaded: Sequence[Loaded], wanted: Sequence[Assembly]) -> float:
    """Seconds for the fewest moves with every wanted one placed, as in a textbook; writing it down not counted."""
    keys = {entry.key for entry in wanted}
    now = {held.assembly.key: held.pocket - magazine.first for held in loaded}
    columns = [(entry, at) for entry in wanted for at in range(magazine.pockets)]
    columns += [(held.assembly, now[held.assembly.key]) for held in loaded if held.assembly.key not in keys]
    cost = np.array(
        [float(now.get(entry.key) != at) if entry.key in keys else -1.0 for entry, at in columns], dtype=np.float64
    )
    rows: list[tuple[int, ...]] = []
    for one, (first, at) in enumerate(columns):
        for other in range(one + 1, len(columns)):
            second, there = columns[other]
            apart = first.key != second.key
            if apart and clashes(magazine, first.diameter_mm, second.diameter_mm)[at, there]:
                rows.append((one, other))
    placed = [tuple(column for column, (other, _) in enumerate(columns) if other.key == entry.key) for entry in wanted]
    every = [*rows, *placed]
    starts = np.cumsum([0, *map(len, every)])
    matrix = csr_array(
        (np.ones(int(starts[-1])), np.concatenate([np.array(row) for row in every]), starts),
        shape=(len(every), len(columns)),
    )
    least = [0.0] * len(rows) + [1.0] * len(placed)
    start = time.perf_counter()
    milp(
        cost,
        integrality=np.ones(len(columns)),
        bounds=Bounds(0.0, 1.0),
        constraints=LinearConstraint(matrix, least, [1.0] * len(every)),
        options={"time_limit": _PEER_S, "mip_rel_gap": 0.0},
    )
    return time.perf_counter() - start


def _by_eye(magazine: Magazine, loaded: Sequence[Loaded], wanted: Sequence[Assembly]) -> tuple[float, float]:
    """Assemblies placed and moves made by a hand that goes through the list once, nearest pocket first.

    Where nothing fits it takes out what is not wanted, one after another, until something does.
    """
    inside = list(loaded)
    keys = {entry.key for entry in wanted}
    there = {held.assembly.key for held in loaded}
    moves = 0
    for entry in wanted:
        if entry.key in there:
            continue
        answer = propose(magazine, inside, {}, entry)
        while isinstance(answer, NoRoom):
            stranger = next((held for held in inside if held.assembly.key not in keys), None)
            if stranger is None:
                break
            inside.remove(stranger)
            moves += 1
            answer = propose(magazine, inside, {}, entry)
        if isinstance(answer, Proposal):
            inside.append(Loaded(answer.pocket, entry))
            moves += 1
    return float(sum(held.assembly.key in keys for held in inside)), float(moves)
