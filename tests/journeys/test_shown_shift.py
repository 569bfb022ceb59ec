"""A shift in its folder plays through in the window: every photograph, wait, key and touch, and what each comes to."""

from __future__ import annotations

import csv
from collections.abc import Callable
from itertools import pairwise

from kiosk import where
from kiosk.rehearsal import STEP_S
from tests.journeys.window import Window

SHIFT = where.demo_tags() / "shift"
LONGEST_S = 300.0  # a step that is no wait, on a machine that is very busy


def test_the_demo_shift_plays_through_in_the_window(open_window: Callable[..., Window]) -> None:
    with (SHIFT / "steps.csv").open(encoding="utf-8", newline="") as file:
        steps = list(csv.DictReader(file))
    kiosk = open_window((800, 480), camera=str(SHIFT), shift=True, dwell_s=0.4)
    kiosk.sees("Audit")
    kiosk.sees("Signed out", patience_s=120.0)
    assert kiosk.where("T001") == "Cabinet A · 1-05"
    assert kiosk.where("T011") == "Cabinet B · 1-05"
    assert kiosk.where("T003") is None and kiosk.where("T010") == "Cabinet A · 2-03"
    refused = [row["expect"].removeprefix("refused ") for row in steps if row["expect"].startswith("refused")]
    shift = kiosk.shift(0.0, 4e9)
    for reason in set(refused):
        assert shift[f"refused/{reason}"] == refused.count(reason), reason
    assert shift["audits"] == 1 and shift["readings"] == 1 and shift["undone"] == 1
    assert kiosk.check() == []
    began, told, said = kiosk.played()
    assert any("HOT" in text for text in said) and any("Not to Cabinet A · 1-05" in text for text in said), said
    assert list(told) == list(began) == [row["file"] for row in steps]
    for row, after in pairwise(steps):
        went_s = began[after["file"]] - began[row["file"]]
        if row["expect"] == "waited":
            wait_s = float(row["shows"].split()[1])
            assert went_s >= STEP_S + wait_s, row["what"]
        else:
            assert STEP_S <= went_s < LONGEST_S, row["what"]
    for row in steps:
        expected = [] if row["expect"] in ("unread", "waited") else [row["expect"]]
        expected *= len(row["shows"].split("+"))  # a drawer's photograph has a label for each
        assert told[row["file"]] == expected, (row["file"], row["what"])
