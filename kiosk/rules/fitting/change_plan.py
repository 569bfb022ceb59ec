"""What a change plan is: steps in working order, what finds no room, and how good it is proven to be.

Plain values between the planner, the desk and the screens; nothing here seeks or decides.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from kiosk.rules.assembly import Assembly
from kiosk.rules.fitting.obstacles import Obstacle
from kiosk.rules.say import Say, say


class Doing(Enum):
    """What is done with one assembly; the value is the tail of the message id."""

    LEAVE = "leave"
    TAKE_OUT = "take_out"
    MOVE = "move"
    PUT_IN = "put_in"


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the change plan.  `origin` None: from outside.  `goal` None: to the cabinet."""

    doing: Doing
    assembly: Assembly
    origin: int | None
    goal: int | None


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A wanted one that has no pocket it may stand in.

    obstacles: the machine's limits it is over, empty where only room was lacking.  stands_in: the pocket it stands in
    all the same once the plan is done, because nobody needed the room or it is fixed there.
    """

    assembly: Assembly
    obstacles: tuple[Obstacle, ...]
    stands_in: int | None = None

    @property
    def say(self) -> Say:
        """That there is no room, or that it stands where it must not; the obstacles say why."""
        if self.stands_in is None:
            return say("plan.no_room", name=self.assembly.name)
        return say("plan.over_limit", name=self.assembly.name, pocket=self.stands_in)


class Aim(Enum):
    """What is made best, in this order; the value is the tail of the message id."""

    PLACED = "placed"  # wanted assemblies that find a pocket
    MOVES = "moves"  # what hands do: every step of the plan but those that leave one alone
    TRAVEL = "travel"  # distances of the wanted ones from the change point added up, mm


@dataclass(frozen=True, slots=True)
class Proof:
    """How good one aim is.  `bound`: no plan can be better than this; equal to `value` where proven best."""

    aim: Aim
    value: float
    bound: float

    @property
    def proven(self) -> bool:
        return abs(self.value - self.bound) <= 1e-6 * max(1.0, abs(self.value))

    @property
    def gap(self) -> float:
        """Share of the value by which a better plan could still beat it; 0 where proven best."""
        return 0.0 if self.proven else abs(self.value - self.bound) / max(abs(self.value), 1.0)


@dataclass(frozen=True, slots=True)
class ChangePlan:
    """Steps in working order, each allowed by the magazine's rules when its turn comes.

    First what is left alone, then out, within and in.  Two that change places cost three: out, within, and in again.
    """

    steps: tuple[Step, ...]
    unplaced: tuple[Unplaced, ...]
    proofs: tuple[Proof, ...]

    @property
    def proven(self) -> bool:
        """Whether no plan can place more, move less, or with as few moves stand nearer."""
        return all(proof.proven for proof in self.proofs)

    @property
    def moves(self) -> int:
        """What hands do, each way out, within or in counted."""
        return sum(step.doing is not Doing.LEAVE for step in self.steps)

    @property
    def after(self) -> dict[int, Assembly]:
        """What of these stands in each pocket once the plan is done."""
        standing: dict[str, tuple[int | None, Assembly]] = {}
        for step in self.steps:
            standing[step.assembly.key] = (step.goal, step.assembly)
        return {pocket: entry for pocket, entry in standing.values() if pocket is not None}


Report = Callable[[Aim, float], None]  # what is sought next (MOVES: as many and as few moves), share already done
