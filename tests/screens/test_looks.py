"""What is looked at keeps clear of its neighbours: lines of words, circles of circles, keys of the edge."""

from __future__ import annotations

import math
from itertools import combinations, pairwise
from typing import Any

import pytest

pytest.importorskip("kivy")


def test_a_part_that_is_folded_away_takes_no_gap_in_its_row() -> None:
    from kivy.uix.widget import Widget

    from kiosk.screens.parts.keys import Row

    for folded in (0, 1, 2):  # first, between, last
        row = Row(size=(300, 50), spacing=10)
        parts = [Widget() for _ in range(3)]
        parts[folded].size_hint_x, parts[folded].width = None, 0
        for part in parts:
            row.add_widget(part)
        row.do_layout()
        left, right = (part for part in parts if part.width)
        assert (left.x, left.right + 10, right.right) == (0, right.x, 300)
        parts[folded].width = 40
        row.do_layout()
        assert [part.right + 10 == after.x for part, after in pairwise(parts)] == [True, True]
        assert parts[-1].right == 300


def test_one_key_of_several_across_is_as_wide_as_the_row() -> None:
    from kiosk.screens.parts.choice import Choice
    from kiosk.screens.parts.keys import BigKeys

    keys = BigKeys(across_tall=2, across=4, choices=[Choice("a", "Settle")])
    assert keys.cols == 1
    keys.choices = [Choice(key, key) for key in "abcde"]
    assert keys.cols in (2, 4)


@pytest.mark.parametrize("height_mm", [18, 24, 40, 90])
def test_no_pocket_of_a_shelf_lies_on_another_however_low_it_is(height_mm: int, monkeypatch: Any) -> None:
    from kiosk.rules.fitting.magazine import Magazine, MagazineKind
    from kiosk.screens.parts.magazine import MagazineMap
    from kiosk.screens.parts.slots import Slot, SlotState
    from kiosk.screens.theme import fonts, look

    fonts()
    look.fit(480, 800)
    drawn: list[tuple[float, float, float]] = []
    shelf = Magazine(MagazineKind.SHELF, pockets=60, pitch_mm=80.0, rows=5, row_pitch_mm=90.0)
    shown = MagazineMap(
        magazine=shelf, size=(460, look.mm * height_mm), widths_mm=[0.0] * 60,
        slots=[Slot(str(at), f"{at:02}", SlotState.EMPTY) for at in range(60)],
    )  # fmt: skip
    monkeypatch.setattr(shown, "_pocket", lambda at, _slot, _tool, radius: drawn.append((*at, radius)))
    shown._draw()
    assert len(drawn) == 60
    assert all(math.dist(one[:2], two[:2]) >= one[2] + two[2] for one, two in combinations(drawn, 2))
