"""Room is used: lists, drawings and magazines grow with the window, and what is meant is told from its neighbours."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.fitting.magazine import Magazine, MagazineKind
from kiosk.rules.holder_drawing import draw_holder
from kiosk.rules.place_drawing import Level, PlaceDrawing
from kiosk.screens import theme
from kiosk.screens.theme import look

WIDE, TALL, SMALL = (1920, 1080), (1080, 1920), (800, 480)
HOLDER = Holder("H1", "Shrink 12 x 90", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0,
                projection_mm=90.0)  # fmt: skip
BUILT = Assembly("A1", "Roughing mill 12 R1", HOLDER, Cutter("C1", "Mill 12 R1", 12.0, 12.0, 83.0, lu_mm=26.0), 47.0)
READ_FROM_TWO_METRES_MM = 3.9  # capitals of what explains a drawing that is a hand high


@pytest.fixture(autouse=True)
def panel() -> Iterator[None]:
    """The look is the window's, for every test after this one too."""
    yield
    look.fit(800, 480)


def listed(rows: int, panel: tuple[int, int], width_mm: float, height_mm: float, **how: Any) -> Any:
    """A list of so many rows in a box of the panel; lengths in millimetres of the panel."""
    from kiosk.screens.parts.choice import Choice, ChoiceRow
    from kiosk.screens.parts.paged import PagedList

    look.fit(*panel)
    made = PagedList(row_class=ChoiceRow, size=(width_mm * look.mm, height_mm * look.mm), **how)
    made.rows = [Choice(str(at), f"Mill {at}", "40 pockets") for at in range(rows)]
    made.do_layout()
    return made


def letters_mm(made: Any) -> float:
    """Largest capitals that the first row's name may have."""
    return float(made.children[-1].children[-1].largest / look.mm * theme.CAP_HEIGHT)


def empty(made: Any) -> float:
    """Share of the list's height below its lowest row."""
    return float((min(row.y for row in made.children) - made.y) / made.height)


def test_rows_that_a_wide_list_would_turn_pages_for_stand_in_two_columns_in_reading_order() -> None:
    made = listed(40, WIDE, 270, 90)
    rows = list(reversed(made.children))
    lefts = sorted({row.x for row in rows})
    assert len(lefts) == 2 and made.pages < 5
    assert [row.value.key for row in rows if row.x == lefts[0]] == [str(at) for at in range(len(rows) // 2)]
    tops = [row.top for row in rows if row.x == lefts[1]]
    assert tops == sorted(tops, reverse=True) and tops == [row.top for row in rows if row.x == lefts[0]]
    assert rows[0].right < lefts[1] and rows[-1].right <= made.right + 1 and empty(made) < 0.1


def test_a_row_of_another_column_keeps_room_for_a_name_and_what_tells_it_apart() -> None:
    for width_mm in range(60, 400, 7):
        made = listed(40, WIDE, width_mm, 90)
        assert made.children[0].width > min(width_mm * look.mm, 79 * look.text_mm) - 1
        assert all(row.height >= made.row_height for row in made.children)


@pytest.mark.parametrize(("panel", "width_mm", "height_mm"), [(WIDE, 270, 100), (TALL, 150, 180)])
def test_few_rows_on_a_large_panel_are_larger_and_read_from_further_away(
    panel: tuple[int, int], width_mm: float, height_mm: float
) -> None:
    few, many = listed(3, panel, width_mm, height_mm), listed(60, panel, width_mm, height_mm)
    assert letters_mm(few) > 1.35 * letters_mm(many) > 7
    assert few.children[0].height > 1.35 * many.children[0].height
    assert empty(few) < 0.5 and empty(many) < 0.1


def test_rows_never_shrink_below_their_least_and_a_list_that_must_not_jump_keeps_its_size() -> None:
    for rows in range(1, 12):
        for panel, width_mm, height_mm in ((SMALL, 150, 50), (WIDE, 270, 100), (TALL, 150, 180), (WIDE, 120, 17)):
            made = listed(rows, panel, width_mm, height_mm)
            assert all(row.height >= made.row_height for row in made.children)
            assert made.pages == 1 or empty(made) < 0.5
            assert min(row.y for row in made.children) >= made.y - 1 or made.height < made.row_height
    sizes = {listed(rows, WIDE, 270, 100, grows=False).children[0].grown for rows in range(1, 6)}
    assert sizes == {1.0}


def test_showing_a_row_turns_to_the_page_that_has_it_in_either_column() -> None:
    made = listed(40, WIDE, 270, 90)
    for key in ("0", "9", "10", "19", "39"):
        made.show(key)
        assert key in [row.value.key for row in made.children if row.chosen]


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, float, Any]]:
    """What drawings write: the words, the height of their capitals in mm, and where."""
    from kiosk.screens.parts import drawn, holder_drawing, magazine, place_drawing, plot, trend

    found: list[tuple[str, float, Any]] = []

    def write(
        part: Any, text: str, at: Any, anchor: Any, colour: Any, size_px: float = 0.0, bold: bool = False
    ) -> None:
        found.append((text, (size_px or look.least) / look.mm * theme.CAP_HEIGHT, at))
        drawn.write(part, text, at, anchor, colour, size_px, bold)

    for module in (holder_drawing, magazine, place_drawing, plot, trend):
        monkeypatch.setattr(module, "write", write)
    return found


def curve(width_mm: float, height_mm: float) -> Any:
    from kiosk.screens.parts.plot import CoolingPlot

    made = CoolingPlot(size=(width_mm * look.mm, height_mm * look.mm))
    made.curve, made.readings, made.now_s = [(0, 300, 280, 320), (3600, 40, 38, 44)], [(900, 80)], 700
    return made


def holder(width_mm: float, height_mm: float) -> Any:
    from kiosk.screens.parts.holder_drawing import HolderDrawing

    return HolderDrawing(size=(width_mm * look.mm, height_mm * look.mm), drawing=draw_holder(HOLDER, BUILT))


def cabinet(width_mm: float, height_mm: float) -> Any:
    from kiosk.screens.parts.place_drawing import PlacePicture

    drawers = Level(tuple(f"Drawer {at}" for at in range(1, 7)), 3, stacked=True)
    slots = Level(tuple(f"4-{at:02}" for at in range(1, 13)), 4, stacked=False)
    made = PlacePicture()
    made.drawing = PlaceDrawing((drawers, slots))
    made.children[0].size = (width_mm * look.mm, height_mm * look.mm)
    return made.children[0]


def ring(width_mm: float, height_mm: float, kind: MagazineKind = MagazineKind.DISC, chosen: str = "14") -> Any:
    from kiosk.screens.parts.magazine import MagazineMap
    from kiosk.screens.parts.slots import Slot, SlotState

    magazine = Magazine(kind, 40, 80.0)
    made = MagazineMap(size=(width_mm * look.mm, height_mm * look.mm), magazine=magazine, chosen=chosen)
    made.slots = [Slot(str(at), str(at), SlotState.EMPTY) for at in magazine.numbers]
    made.widths_mm = [0.0] * 40
    return made


@pytest.mark.parametrize(
    ("drawing", "width_mm", "height_mm", "words"),
    [
        (curve, 160, 40, {"limit 43\xa0°C", "300", "20"}),
        (holder, 150, 60, {"depth 47 mm", "stick-out 36 mm", "projection 90 mm"}),
        (holder, 265, 46, {"depth 47 mm", "stick-out 36 mm", "projection 90 mm"}),
        (cabinet, 140, 50, {"Drawer 4", "Drawer 1", "4-05", "4-12"}),
        (ring, 120, 100, {"14"}),
    ],
)
def test_words_of_a_drawing_grow_with_it_and_stay_whole_on_a_small_panel(
    drawing: Any, width_mm: float, height_mm: float, words: set[str], written: list[tuple[str, float, Any]]
) -> None:
    look.fit(*WIDE)
    drawing(width_mm, height_mm)._draw()
    sizes = {text.replace("\xa0", " "): cap_mm for text, cap_mm, _ in written}
    wanted = {word.replace("\xa0", " ") for word in words}
    assert wanted <= set(sizes) and min(sizes.values()) >= READ_FROM_TWO_METRES_MM * 0.95, sizes
    written.clear()
    look.fit(*SMALL)
    drawing(width_mm * 0.5, height_mm * 0.6)._draw()
    assert written and min(cap_mm for _, cap_mm, _ in written) >= theme.SMALLEST_MM - 0.01


def test_depth_and_stick_out_meet_at_the_nose_in_one_row_with_their_words_outside() -> None:
    from kiosk.screens.parts.holder_drawing import Pen

    look.fit(*WIDE)
    part = holder(265, 46)
    pen = Pen(part, part.drawing)
    assert {each.name for each in pen._rows()[0]} == {"depth", "stickout"}
    by_name = {each.name: pen._words_px(each) for each in pen.wanted}
    nose = by_name["depth"][1]
    assert by_name["stickout"][0] == pytest.approx(nose)
    assert by_name["depth"][2] < nose < by_name["stickout"][2]


@pytest.fixture
def pockets(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, float, tuple[float, float]]]:
    """Pockets as they are drawn: which, their radius in mm, and where in px."""
    from kiosk.screens.parts.magazine import MagazineMap

    found: list[tuple[str, float, tuple[float, float]]] = []
    drawn = MagazineMap._pocket

    def pocket(self: Any, point: tuple[float, float], slot: Any, tool_px: float, pocket_px: float) -> None:
        found.append((slot.key, pocket_px / look.mm, point))
        drawn(self, point, slot, tool_px, pocket_px)

    monkeypatch.setattr(MagazineMap, "_pocket", pocket)
    return found


@pytest.mark.parametrize("chosen", ["1", "2", "14", "39", "40"])
@pytest.mark.parametrize(("width_mm", "height_mm"), [(68, 28), (70, 40), (150, 20), (60, 60)])
@pytest.mark.parametrize("kind", [MagazineKind.DISC, MagazineKind.CHAIN])
def test_the_pocket_that_is_meant_and_its_neighbours_are_told_apart_in_a_low_box(
    kind: MagazineKind, width_mm: float, height_mm: float, chosen: str, pockets: Any, written: Any
) -> None:
    look.fit(*SMALL)
    made = ring(width_mm, height_mm, kind, chosen)
    made._draw()
    number = int(chosen)
    near = {str((number - 1 + off) % 40 + 1) for off in (-1, 0, 1)}
    large = {key: (radius_mm, at) for key, radius_mm, at in pockets if radius_mm >= 2.2}
    assert near <= set(large)
    names = {text: (cap_mm, at) for text, cap_mm, at in written if text != "★"}
    if set(large) != {str(at) for at in range(1, 41)}:  # the whole is drawn too, small
        assert near <= set(names)
        assert all(abs(names[key][1][0] - large[key][1][0]) < 1 for key in near)  # each number under its pocket
        assert {key for key, _, _ in pockets} == {str(at) for at in range(1, 41)}
        xs = sorted(at[0] for _, at in large.values())
        assert min(b - a for a, b in pairwise(xs)) > 2 * 2.2 * look.mm
    assert all(
        made.x - 1 <= x - radius * look.mm and x + radius * look.mm <= made.right + 1
        and made.y - 1 <= y - radius * look.mm and y + radius * look.mm <= made.top + 1
        for _, radius, (x, y) in pockets
    )  # fmt: skip


def test_neighbours_go_round_a_ring_and_end_with_a_shelf_s_row() -> None:
    from kiosk.screens.parts.magazine import neighbours

    assert neighbours(0, 40, 0, 5) == [38, 39, 0, 1, 2]
    assert neighbours(39, 40, 0, 5) == [37, 38, 39, 0, 1]
    assert neighbours(12, 60, 12, 5) == [12, 13, 14, 15, 16]
    assert neighbours(23, 60, 12, 5) == [19, 20, 21, 22, 23]
    assert neighbours(17, 60, 12, 5) == [15, 16, 17, 18, 19]
    for pockets, row in ((3, 0), (4, 2), (60, 12), (40, 0), (7, 0)):
        for pocket in range(pockets):
            shown = neighbours(pocket, pockets, row, 9)
            assert pocket in shown and len(set(shown)) == len(shown) and max(shown) < pockets


def test_a_list_that_learns_later_what_a_row_is_shows_no_other_rows() -> None:
    from kiosk.screens.parts.choice import Choice, ChoiceRow
    from kiosk.screens.parts.paged import PagedList

    made = PagedList(rows=[Choice("a", "A")], size=(400, 400), row_height=80)
    made.row_class = ChoiceRow
    assert [type(row) for row in made.children] == [ChoiceRow]


@pytest.mark.parametrize("height_mm", [60.0, 140.0])
def test_the_highest_figure_beside_a_curve_stays_under_the_words_above_it(
    height_mm: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    from kiosk.screens.parts import plot

    tops: list[float] = []

    def seen(_: Any, text: str, at: tuple[float, float], anchor: tuple[float, float], __: Any, size_px: float) -> None:
        tops.append(at[1] + (1 - anchor[1]) * plot.texture_of(text, size_px).height)

    monkeypatch.setattr(plot, "write", seen)
    made = curve(80, height_mm)
    made._draw()
    assert tops and max(tops) <= made.top + 0.5
