"""Where a thing stands, drawn: nothing is left out, nothing lies on another, one thing is marked."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.place_drawing import Level, PlaceDrawing, cells


@given(
    count=st.integers(1, 80), stacked=st.booleans(), wide=st.floats(10.0, 2000.0), tall=st.floats(10.0, 2000.0)
)
def test_every_place_has_a_cell_in_the_box_and_none_lies_on_another(
    count: int, stacked: bool, wide: float, tall: float
) -> None:
    level = Level(tuple(str(at) for at in range(count)), count - 1, stacked)
    found = cells(level, wide, tall)
    assert len(found) == count
    for cell in found:
        assert cell.x >= -1e-6 and cell.x + cell.wide <= wide * (1 + 1e-9) + 1e-6
        assert cell.y >= -1e-6 and cell.y + cell.tall <= tall * (1 + 1e-9) + 1e-6
    for one, two in combinations(found[:12], 2):
        apart_x = min(one.x + one.wide, two.x + two.wide) - max(one.x, two.x)
        apart_y = min(one.y + one.tall, two.y + two.tall) - max(one.y, two.y)
        assert min(apart_x, apart_y) <= 1e-6 * max(wide, tall)
    assert found[0].y + found[0].tall == pytest.approx(tall) and found[0].x == 0  # counting begins on top, on the left


def test_drawers_are_stacked_and_slots_lie_in_rows() -> None:
    drawers = cells(Level(("1", "2", "3"), 1, True), 100.0, 60.0)
    assert [cell.y for cell in drawers] == [40.0, 20.0, 0.0] and {cell.wide for cell in drawers} == {100.0}
    slots = cells(Level(tuple("abcdef"), 1, False), 150.0, 100.0)
    assert len({cell.y for cell in slots}) == 2 and slots[1].x > slots[0].x


def test_a_mark_outside_is_refused_and_a_place_alone_draws_nothing() -> None:
    with pytest.raises(ValueError, match="none of 2 places"):
        Level(("1", "2"), 2, True)
    assert not PlaceDrawing() and PlaceDrawing((Level(("1", "2"), 0, True),))
