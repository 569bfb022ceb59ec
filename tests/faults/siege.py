"""Any number of steps of `machine`, seeded and resumable, with figures: not part of what every change must pass.

    python -m tests.faults.siege --steps 1000000             a night's work on one core
    python -m tests.faults.siege --steps 20000 --seed 4000   other shifts

Goes through batches of about a thousand steps, one seed each, and stops at the first batch that finds something; the
same seed finds it again.  `--resume FILE` keeps how far it has come, so that it can be stopped and started.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.faults import drawn, machine

LENGTH = 50  # rules a shift
A_BATCH = 1000  # rules


def batch(number: int, *, length: int = LENGTH, shrink: bool = True) -> None:
    """About a thousand steps by one seed.  Raises what it found, as short as it can be made."""
    phases = (Phase.generate, Phase.shrink) if shrink else (Phase.generate,)
    how = settings(
        max_examples=A_BATCH // length, stateful_step_count=length, deadline=None, database=None, phases=phases,
        derandomize=False, print_blob=False, report_multiple_bugs=False,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    run_state_machine_as_test(seed(number)(machine.AnyShift), settings=how)


def run(steps: int, first_seed: int) -> int:
    """Batches until so many steps were done; the next seed."""
    number, until = first_seed, drawn.done["steps"] + steps
    while drawn.done["steps"] < until:
        batch(number)
        number += 1
    return number


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--steps", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1, help="of the first batch (1)")
    parser.add_argument("--resume", type=Path, metavar="FILE", help="go on where this file says, and keep it")
    parser.add_argument("--length", type=int, default=LENGTH, help=f"rules a shift ({LENGTH}); short ones tell more")
    parser.add_argument("--go-on", action="store_true", help="print what was found and take the next seed")
    parser.add_argument("--no-shrink", action="store_true", help="print what was found as it was found")
    given = parser.parse_args(argv)
    number, before, found = given.seed, 0, 0
    if given.resume and given.resume.exists():
        kept = json.loads(given.resume.read_text("utf-8"))
        number, before, found = kept["seed"], kept["steps"], kept["found"]
    since = time.process_time()
    while before + drawn.done["steps"] < given.steps:
        try:
            batch(number, length=given.length, shrink=not given.no_shrink)
        except Exception as fault:
            found += 1
            print(f"\nseed {number}: {type(fault).__name__}: {fault}")
            for note in getattr(fault, "__notes__", ()):
                print(note)
            if not given.go_on:
                return 1
        number += 1
        did, took_s = drawn.done["steps"], time.process_time() - since
        if given.resume:
            kept = {"seed": number, "steps": before + did, "found": found}
            given.resume.write_text(json.dumps(kept), "utf-8")
        speed = f"{did / took_s:.0f} steps a second of processor time"
        told = f"{before + did:9} steps, {drawn.done['examples']} shifts, {speed}, {found} found, next seed {number}"
        print(told, file=sys.stderr, flush=True)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
