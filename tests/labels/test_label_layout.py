"""Where things stand on a label: whole dots, a free quiet zone, letters that can be told apart."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from kiosk.labels import draw
from kiosk.labels.content import LabelContent, Tag, bare_label, hot_tag, place_label
from kiosk.labels.faults import DpiUnknown, LetterUnknown, NeedsLargerSize, SizeTooSmall, TextTooLong, WrongUse
from kiosk.labels.layout import Layout, lay_out
from kiosk.labels.letters import Face, font
from kiosk.labels.sizes import STANDARD, LabelSize, parse_size
from kiosk.labels.symbol import INCH_MM, QUIET
from kiosk.labels.typeset import EM_LEAST_MM
from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.codes import ALPHABET, NUMBERS, CodeKind, make
from kiosk.rules.places import Kind as PlaceKind
from kiosk.rules.places import Place

DPIS = (203, 300, 600)

Labels = Callable[..., LabelContent]


def quiet_zone(layout: Layout) -> np.ndarray:
    """The dots of the quiet zone, row by row."""
    symbol = layout.symbol
    rim = QUIET * symbol.module_dots
    side = 21 * symbol.module_dots
    dots = draw.pixels(layout)
    box = dots[
        symbol.top_dots - rim : symbol.top_dots + side + rim, symbol.left_dots - rim : symbol.left_dots + side + rim
    ]
    assert box.shape == (side + 2 * rim, side + 2 * rim)
    ring = np.ones_like(box, bool)
    ring[rim : rim + side, rim : rim + side] = False
    return box[ring]


def ink_inside_margins(layout: Layout) -> bool:
    """Whether nothing is drawn on the rim; letters may grow to whole dots."""
    rows, columns = np.nonzero(draw.pixels(layout) == 0)
    margin = layout.size.margin_mm * layout.dpi / INCH_MM - 2.01
    least = min(rows.min(), columns.min(), layout.height_dots - 1 - rows.max(), layout.width_dots - 1 - columns.max())
    return bool(least >= margin)


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("size", STANDARD, ids=lambda size: size.name)
def test_every_size_at_every_printer_keeps_its_quiet_zone_and_margins(label: Labels, size: LabelSize, dpi: int) -> None:
    layout = lay_out(label(), size, dpi)
    assert np.all(quiet_zone(layout) == 255)
    assert ink_inside_margins(layout)
    assert all(text.em_mm >= EM_LEAST_MM - 1e-9 for text in layout.texts)


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("size", STANDARD, ids=lambda size: size.name)
def test_the_symbol_is_the_codes_own_in_whole_dots(label: Labels, size: LabelSize, dpi: int) -> None:
    layout = lay_out(label(), size, dpi)
    symbol = layout.symbol
    dots = draw.pixels(layout)
    side = 21 * symbol.module_dots
    drawn = dots[symbol.top_dots : symbol.top_dots + side, symbol.left_dots : symbol.left_dots + side] == 0
    blocks = drawn.reshape(21, symbol.module_dots, 21, symbol.module_dots)
    assert np.array_equal(blocks.all(axis=(1, 3)), blocks.any(axis=(1, 3)))  # no module is split
    (read,) = zxingcpp.read_barcodes(dots, formats=zxingcpp.BarcodeFormat.QRCode)
    assert read.text == layout.content.code.text
    assert read.ec_level == "H"
    assert symbol.module_dots >= 2
    assert layout.module_mm >= 0.24


@pytest.mark.parametrize("tape, most_mm", [("tape 9 mm", 7.5), ("tape 12 mm", 11.0)])
@pytest.mark.parametrize("dpi", DPIS)
def test_tape_carries_symbol_and_text_beside_each_other(label: Labels, tape: str, most_mm: float, dpi: int) -> None:
    layout = lay_out(label(), parse_size(tape), dpi)
    assert layout.symbol_mm * 29 / 21 <= most_mm
    assert not layout.left_out
    assert layout.width_mm < 60


WORDS = ("Shrink", "12", "x", "90", "Ø", "Ägidius", "HSK63", "extension", "qpgj", "WWWW", "Mill 1 · 07")


@given(
    tag=st.sampled_from(Tag),
    number=st.integers(0, NUMBERS - 1),
    name=st.lists(st.sampled_from(WORDS), max_size=5).map(" ".join),
    detail=st.lists(st.sampled_from(WORDS), max_size=4).map(" ".join),
    size=st.one_of(
        st.sampled_from(STANDARD),
        st.builds(lambda width, height: LabelSize("own", width, height), st.floats(8, 120), st.floats(8, 90)),
    ),
    dpi=st.sampled_from((180, 203, 300, 360, 600)),
)
def test_any_label_on_any_size_either_fits_whole_or_says_why(
    tag: Tag, number: int, name: str, detail: str, size: LabelSize, dpi: int
) -> None:
    kind = CodeKind.HOLDER if tag is Tag.HOT else CodeKind[tag.name]
    content = LabelContent(tag, make(kind, number), name, (detail,), heading="HOT" if tag is Tag.HOT else "")
    try:
        layout = lay_out(content, size, dpi)
    except (SizeTooSmall, TextTooLong, NeedsLargerSize) as refused:
        assert "larger" in str(refused) or "smallest" in str(refused)
        return
    assert np.all(quiet_zone(layout) == 255)
    assert ink_inside_margins(layout)
    shown = "".join(text.text for text in layout.texts).replace(" ", "")
    assert content.code.text in shown
    for line in (content.name, *content.details):
        assert line.replace(" ", "") in shown or " ".join(line.split()) in layout.left_out


def test_code_name_coupling_and_bore_stand_beside_the_symbol(label: Labels) -> None:
    layout = lay_out(label(), parse_size("25x25"))
    assert [text.text for text in layout.texts] == ["H00B", "B44B", "17", "Shrink 12 x 90", "HSK-A 63 · Ø12"]
    assert all(text.face is Face.CODE for text in layout.texts[:3])


def test_a_collet_shows_its_range() -> None:
    from kiosk.labels.content import bore

    assert bore(Holder("k", "n", Coupling.parse("A40"), Clamping.COLLET, 16.0, 2.0)) == "Ø2–16"
    assert bore(Holder("k", "n", Coupling.parse("A40"), Clamping.SHRINK_FIT, 12.5)) == "Ø12.5"


def test_the_smallest_label_carries_the_code_alone_and_says_what_it_leaves_out(label: Labels) -> None:
    layout = lay_out(label(), parse_size("12x12"))
    assert layout.left_out == ("Shrink 12 x 90", "HSK-A 63 · Ø12")
    assert "".join(text.text for text in layout.texts) == layout.content.code.text


@pytest.mark.parametrize("dpi", DPIS)
def test_a_size_too_small_names_the_smallest_that_works(label: Labels, dpi: int) -> None:
    with pytest.raises(SizeTooSmall) as refused:
        lay_out(label(), parse_size("7x40"), dpi)
    least = refused.value.smallest_mm
    assert lay_out(label(), parse_size(f"40x{least}"), dpi).symbol.module_dots >= 2
    with pytest.raises(SizeTooSmall):
        lay_out(label(), parse_size(f"40x{least - 0.2:.2f}"), dpi)


@pytest.mark.parametrize("dpi", [0, 72, -300, 10_000])
def test_a_resolution_no_printer_has_is_refused(label: Labels, dpi: int) -> None:
    with pytest.raises(DpiUnknown):
        lay_out(label(), parse_size("25x25"), dpi)


@pytest.mark.parametrize("size", ["tape 9 mm", "19x19", "25x25", "50x25"])
def test_a_name_too_long_says_how_much_of_it_fits(label: Labels, size: str) -> None:
    name = "Shrinkfit-extension-for-deep-pockets-" * 6
    with pytest.raises(TextTooLong) as refused:
        lay_out(label(name=name), parse_size(size))
    fits = refused.value.fits
    assert refused.value.field == "name"
    assert 8 <= fits < len(name)
    assert lay_out(label(name=name[:fits]), parse_size(size)).content.name == name[:fits]
    with pytest.raises(TextTooLong):
        lay_out(label(name=name[: fits + 1] + "N"), parse_size(size))


def test_letters_the_font_lacks_lose_their_accent_or_are_refused(label: Labels) -> None:
    layout = lay_out(label(name="Frēze ķīlis đ"), parse_size("60x30"))
    assert layout.content.name == "Freze kilis d"
    with pytest.raises(LetterUnknown) as refused:
        lay_out(label(name="刀柄 12"), parse_size("60x30"))
    assert refused.value.letter == "刀"


def test_the_font_tells_every_symbol_of_the_alphabet_apart_at_the_smallest_print() -> None:
    em_dots = EM_LEAST_MM * 203 / INCH_MM
    drawn = {}
    for symbol in ALPHABET:
        mask = font(Face.CODE, em_dots).getmask2(symbol, "L", anchor="ls")[0]
        width, height = mask.size
        canvas = np.zeros((20, 20), bool)
        canvas[:height, :width] = np.frombuffer(bytes(mask), np.uint8).reshape(height, width) >= 128
        drawn[symbol] = canvas
    for one, other in combinations(ALPHABET, 2):
        differing = np.count_nonzero(drawn[one] ^ drawn[other])
        assert differing >= 4, (one, other, differing)


def test_a_hot_tag_carries_sign_times_and_gloves_or_is_refused() -> None:
    code = make(CodeKind.HOLDER, 5)
    tag = hot_tag(code, "Shrink 12 x 90", "14:05", "14:41")
    for size in ("60x30", "100x50", "50x80"):
        layout = lay_out(tag, parse_size(size))
        shown = " ".join(text.text for text in layout.texts)
        for words in ("HOT", "Heated 14:05", "Safe from 14:41", "earliest", "gloves", "Shrink 12 x 90"):
            assert words in shown
        assert layout.shapes
        assert np.all(quiet_zone(layout) == 255)
    for size in ("12x12", "tape 12 mm", "25x25"):
        with pytest.raises(NeedsLargerSize):
            lay_out(tag, parse_size(size))
    assert "Safe only by a reading" in hot_tag(code, "n", "14:05", None).details


def test_a_pocket_shows_its_number_larger_than_its_name() -> None:
    place = Place("P0000002XF", "Mill 1 · 07", PlaceKind.POCKET, number=7)
    layout = lay_out(place_label(make(CodeKind.PLACE, 77), place), parse_size("50x25"))
    sizes = {text.text: text.em_mm for text in layout.texts}
    assert sizes["7"] > 1.5 * sizes["Mill 1 · 07"]


def test_a_code_of_another_kind_never_reaches_a_label() -> None:
    with pytest.raises(WrongUse, match="place code"):
        LabelContent(Tag.HOLDER, make(CodeKind.PLACE, 1), "Shrink 12")


@pytest.mark.parametrize("kind", list(CodeKind))
def test_a_code_that_is_in_no_book_yet_gets_a_label_of_its_own(kind: CodeKind) -> None:
    layout = lay_out(bare_label(make(kind, 5)), parse_size("25x25"))
    assert "".join(text.text for text in layout.texts) == make(kind, 5).text
    assert not layout.left_out


def test_a_smaller_symbol_can_be_asked_for_on_the_same_label(label: Labels) -> None:
    full = lay_out(label(), parse_size("50x25"))
    less = lay_out(label(), parse_size("50x25"), module_dots=4)
    assert less.symbol.module_dots == 4 < full.symbol.module_dots


def test_fewer_dots_a_module_than_a_printer_can_hold_are_refused(label: Labels) -> None:
    for dpi, module_dots in ((203, 1), (300, 2), (600, 0), (600, -4)):
        with pytest.raises(WrongUse, match="at least"):
            lay_out(label(), parse_size("50x25"), dpi, module_dots=module_dots)
