"""A few hundred schedules of several kiosks: nothing hot is let go.  Many more: `python -m tests.faults.apart`."""

from __future__ import annotations

from tests.faults.apart import run


def test_several_kiosks_let_nothing_go_that_is_hot() -> None:
    counts = run(150, seed=1)
    assert counts["EARLY"] == 0, [what for what in counts if what.startswith("EARLY")]
    assert counts["let go"] > 20 and counts["ended by time"] > 5
