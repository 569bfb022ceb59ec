"""Schedules of two to five kiosks against the steel itself: is anything let go that is hot, and what waits too long?

    nice -n 19 python -m tests.faults.apart --schedules 1000000 --seed 1 --resume counts.json
    python -m tests.faults.apart --shrink SEED          # one story without what does not matter for what is wrong in it

What decides is the product's: `rules.ages`, `rules.hearing`, `rules.apart`, `rules.merge`; the tables are folded by
`Book`, which keeps of `ledger.fold` what one holder needs.  Beside that it is looked whether a stay that lasted longer
than was counted is said to have, for heat goes deeper meanwhile.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from pathlib import Path

from tests.faults.apart_story import Schedule

SAVED_EVERY_S = 20.0


def wrong(schedule: Schedule) -> str:
    """What is wrong with a story that was played: "" where nothing is."""
    if schedule.counts["EARLY"]:
        return "EARLY"
    return "UNTOLD" if schedule.server.longer["UNTOLD"] else ""


def played(seed: int, without: frozenset[int] = frozenset()) -> Schedule:
    schedule = Schedule(seed, Counter(), without)
    schedule.play()
    return schedule


def shrunk(seed: int) -> Schedule:
    """A story in which something is wrong without the acts that do not matter for it."""
    whole = played(seed)
    found, what = whole, wrong(whole)
    left = [number for number, _ in whole.told]
    for number in reversed(left):
        tried = played(seed, found.without | {number})
        if wrong(tried) == what:
            found = tried
    return found


def tell(schedule: Schedule) -> None:
    """The story's lines and what its hands did, for people."""
    network = "bad" if schedule.bad else "good"
    print(f"seed {schedule.seed}: {wrong(schedule)}; network {network}; needs {schedule.need:.0f} s in free air")
    for kiosk in schedule.kiosks:
        print(f"  {kiosk.name}: heats {kiosk.heats}, runs {kiosk.rate}, stops asleep {kiosk.stops_asleep}")
    print("  acts:", *(f"{number} {name}" for number, name in schedule.told))
    waiting = [line for kiosk in schedule.kiosks for line in kiosk.waiting]
    for line in sorted([*schedule.server.lines, *waiting], key=lambda each: each.true_s):
        print(f"  {line.true_s:9.1f}  {line.chain} {line.kind} {line.goal or ''}, n {line.n}, had seen {line.seen}, "
              f"stay {line.stay} {line.age_s} s")  # fmt: skip


def run(schedules: int, seed: int, kept: Path | None = None) -> Counter[str]:
    """So many schedules from a seed on.  kept: where counts are saved, and from where a run that was cut goes on."""
    counts: Counter[str] = Counter(json.loads(kept.read_text())) if kept is not None and kept.exists() else Counter()
    saved_s = time.monotonic()
    for at in range(counts["schedules"], schedules):
        schedule = played(seed + at)
        counts += schedule.counts
        counts["schedules"] += 1
        for what, count in schedule.server.longer.items():
            counts[f"stays longer than counted: {what}"] += count
        if found := wrong(schedule):
            counts[f"{found}: seed {seed + at}"] += 1
        if kept is not None and time.monotonic() - saved_s > SAVED_EVERY_S:
            kept.write_text(json.dumps(counts))
            saved_s = time.monotonic()
    if kept is not None:
        kept.write_text(json.dumps(counts))
    return counts


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--schedules", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--resume", type=Path, metavar="FILE", help="counts are saved there; what was cut goes on")
    parser.add_argument("--shrink", type=int, metavar="SEED", help="tell one story without what does not matter")
    asked = parser.parse_args()
    if asked.shrink is not None:
        tell(shrunk(asked.shrink))
        return
    for what, count in sorted(run(asked.schedules, asked.seed, asked.resume).items()):
        print(f"{what:45} {count}")


if __name__ == "__main__":
    main()
