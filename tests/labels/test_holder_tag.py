"""The holder on a hot tag: in black and white its warmth is told by hatch alone, and no hand is let on by paper."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
import pytest

from kiosk.labels import draw
from kiosk.labels.content import hot_tag
from kiosk.labels.drawn import holder_shapes
from kiosk.labels.layout import Layout, lay_out
from kiosk.labels.sign import BLACK, WHITE, Stroke
from kiosk.labels.sizes import parse_size
from kiosk.labels.typeset import Box
from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.codes import CodeKind, make
from kiosk.rules.holder_drawing import Drawing, draw_holder
from kiosk.rules.skin_slices import SkinNow, SkinSlice, unknown_skin

HOLDER = Holder("H1", "Shrink 12 x 90", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0,
                projection_mm=90.0)  # fmt: skip
BUILT = Assembly("A1", "Mill 12", HOLDER, Cutter("C1", "Mill 12", 12.0, 12.0, 83.0, lu_mm=26.0), 47.0)


def drawing(*temperatures_c: float) -> Drawing:
    step = 158.0 / len(temperatures_c)
    slices = [SkinSlice(-36 + step * at, -36 + step * (at + 1), c, "nose") for at, c in enumerate(temperatures_c)]
    return draw_holder(HOLDER, BUILT, SkinNow(tuple(slices), 43.0, "nose", ("flange", "taper")))


def tag(drawn: Drawing | None, size: str = "100x50") -> Layout:
    content = hot_tag(make(CodeKind.HOLDER, 5), "Roughing mill 12 R1", "14:05", "14:41", drawing=drawn)
    return lay_out(content, parse_size(size))


def ink(layout: Layout) -> int:
    return int(np.count_nonzero(draw.pixels(layout) == 0))


@pytest.mark.parametrize("size", ["100x50", "100x70", "150x60"])
def test_a_tag_with_room_shows_the_holder_and_moves_no_word_for_it(size: str) -> None:
    bare, drawn = tag(None, size), tag(drawing(60.0, 200.0, 100.0, 30.0), size)
    assert len(drawn.shapes) > len(bare.shapes) + 20
    assert drawn.texts[: len(bare.texts)] == bare.texts
    assert drawn.symbol == bare.symbol
    assert {text.text for text in drawn.texts[len(bare.texts) :]} == {"43", "70", "150", "°C"}
    for text in drawn.texts:
        assert "hands" not in text.text


def test_a_tag_without_room_is_as_it_was() -> None:
    assert tag(drawing(60.0, 200.0), "60x30").shapes == tag(None, "60x30").shapes


def test_warmer_is_darker_on_paper_that_knows_only_black() -> None:
    darkness = [ink(tag(drawing(each))) for each in (30.0, 60.0, 100.0, 200.0)]
    assert darkness == sorted(darkness) and len(set(darkness)) == 4
    assert ink(tag(draw_holder(HOLDER, BUILT, unknown_skin(43.0, "nose")))) > darkness[0]
    shapes, _ = holder_shapes(drawing(60.0, 200.0, 100.0, 30.0), Box(0, 0, 40, 20))
    assert {shape.colour for shape in shapes} <= {BLACK, WHITE}


def test_nothing_is_drawn_outside_its_box_and_proportions_are_true() -> None:
    box = Box(3.0, 5.0, 60.0, 30.0)
    shapes, texts = holder_shapes(drawing(60.0, 200.0, 100.0, 30.0), box)
    for shape in shapes:
        for x, y in shape.points:
            assert box.left - 0.01 <= x <= box.left + box.width + 0.01
            assert box.top - 0.01 <= y <= box.top + box.height + 0.01
    edges = [shape for shape in shapes if isinstance(shape, Stroke) and shape.width == 0.35]
    xs = [point.x for shape in edges for point in shape.points]
    ys = [point.y for shape in edges for point in shape.points]
    assert (max(xs) - min(xs)) / (max(ys) - min(ys)) == pytest.approx(158.0 / 63.0)
    assert all(text.left_mm < box.left + box.width for text in texts)


def test_the_printed_page_shows_what_the_printers_dots_show(tmp_path: Path) -> None:
    layout = tag(drawing(60.0, 200.0, 100.0, 30.0))
    draw.pdf([layout], tmp_path / "tag.pdf")
    page = pypdfium2.PdfDocument(tmp_path / "tag.pdf")[0].render(scale=300 / 72).to_pil().convert("L")
    seen = np.asarray(page) < 128
    dots = draw.pixels(layout) == 0
    tall, wide = min(seen.shape[0], dots.shape[0]), min(seen.shape[1], dots.shape[1])
    corner = np.s_[int(tall * 0.65) : tall, : int(wide * 0.3)]
    share = seen[:tall, :wide][corner].mean() / dots[:tall, :wide][corner].mean()
    assert 0.8 < share < 1.25


def test_a_tag_of_another_holder_is_another_tag() -> None:
    stub = replace(BUILT, holder=replace(HOLDER, coupling=Coupling.parse("A40")))
    assert draw_holder(stub.holder, stub) != draw_holder(HOLDER, BUILT)
