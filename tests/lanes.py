"""Which worker runs which file: a third of all the tests' time is waiting, and others reckon meanwhile.

Half of the workers take what waits first (windows for frames, servers for beats, browsers for pages), the other half
what reckons, with less of a claim on the processors: a window that has waited for its frame gets it at once.  Who has
no file of its kind left takes one of the other.  A file stays on one worker, with what its tests share; what takes
longest begins first, so that nobody stands idle at the end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from xdist.scheduler.loadfile import LoadFileScheduling

if TYPE_CHECKING:
    from xdist.workermanage import WorkerController

WAITING = ("tests/journeys/", "tests/link/", "tests/handheld/")
RECKONS_ALL_THE_SAME = "tests/journeys/test_every_size.py"
APART = (RECKONS_ALL_THE_SAME,)  # tests that share nothing, each long: they may run beside each other
LONGEST = (
    *(RECKONS_ALL_THE_SAME, "tests/faults/test_shopfloor.py", "tests/cli/test_any_input.py"),
    *("tests/journeys/test_whole_shift.py", "tests/journeys/test_shop.py", "tests/journeys/test_bare_tablet.py"),
    *("tests/journeys/test_setup.py", "tests/journeys/test_scan.py", "tests/journeys/test_any_screen.py"),
    *("tests/journeys/test_records.py", "tests/journeys/test_audit_differences.py", "tests/link/test_link.py"),
    *("tests/link/test_copied_folder.py", "tests/link/test_switched_off.py", "tests/link/test_killed.py"),
    *("tests/journeys/test_shift.py", "tests/journeys/test_by_hand.py", "tests/journeys/test_shown_shift.py"),
    *("tests/journeys/test_correct.py", "tests/journeys/test_update_by_touch.py", "tests/journeys/test_away.py"),
    *("tests/faults/test_restore_cut_short.py", "tests/cli/test_rehearsed_ledger.py", "tests/test_recipes.py"),
    *("tests/desk/test_shop_round_trip.py", "tests/desk/test_truth_about_heat.py"),
)
LESS_URGENT = 10  # as `nice` counts


def waits(scope: str) -> bool:
    """Whether a file's tests wait more than they reckon."""
    return scope.startswith(WAITING) and not scope.startswith(RECKONS_ALL_THE_SAME)


def takes_what_waits(worker: str, workers: int) -> bool:
    """Which workers take what waits.  worker: its name, `gw0` and up."""
    return int(worker.removeprefix("gw")) < workers // 2


class Lanes(LoadFileScheduling):
    """Hands out files as said above."""

    def __init__(self, config: pytest.Config, log: object) -> None:
        super().__init__(config, log)  # type: ignore[arg-type]

    def _split_scope(self, nodeid: str) -> str:
        return nodeid if nodeid.startswith(APART) else super()._split_scope(nodeid)

    def _assign_work_unit(self, node: WorkerController) -> None:
        waiting = takes_what_waits(node.gateway.id, self.numnodes)

        def wanted(scope: str) -> tuple[bool, int, int]:
            at = next((len(LONGEST) - at for at, path in enumerate(LONGEST) if scope.startswith(path)), 0)
            return waits(scope) == waiting, at, len(self.workqueue[scope])

        self.workqueue.move_to_end(max(self.workqueue, key=wanted), last=False)
        super()._assign_work_unit(node)
