"""A kiosk in the middle of a scan storm, to be killed: prints the number of every line it has acknowledged."""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

from kiosk.desk import Desk


def main(folder: Path, stop_after: int) -> None:
    with Desk.open(folder) as desk:
        codes = [desk.session.holder(key).code for key in ("T002", "T003", "T004", "T005")]
        benches = [code for code in map(desk.session.cards.find_place, ("Bench 1", "Bench 2")) if code]
        for step in itertools.islice(itertools.count(), stop_after):
            desk.scan(codes[step % len(codes)])
            for line in desk.scan(benches[(step // len(codes)) % len(benches)]).lines:
                print(line.id, line.hash, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
