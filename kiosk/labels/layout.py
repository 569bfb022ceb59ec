"""Where everything on a label goes: the symbol in whole printer dots, the letters in what room is left.

A layout is found by trying every symbol size that fits and keeping the one that serves camera and eye best; it is
pure arithmetic and draws nothing.  It must never shrink the quiet zone, split a dot, or drop a letter silently.
What the symbol is stands in `symbol`, how letters are set in `typeset`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from kiosk.labels import drawn, sign
from kiosk.labels.content import LabelContent, Tag
from kiosk.labels.faults import LabelError, LetterUnknown, NeedsLargerSize, SizeTooSmall, TextTooLong, WrongUse
from kiosk.labels.letters import Face, extent, written
from kiosk.labels.sizes import TAPE_LONGEST_MM, LabelSize, Stock
from kiosk.labels.symbol import INCH_MM, MODULES, QUIET, SPAN, Symbol, least_module_dots, modules_of
from kiosk.labels.typeset import Block, Box, LabelLine, Text, placed, typeset

MODULE_ENOUGH_MM = 0.6  # beyond these, more size serves neither camera nor eye
EM_ENOUGH_MM = 2.0
EM_ENOUGH_HOT_MM = 5.0  # a hot tag is read from two metres
SHORT_NAME = 8  # characters; a size without room for these carries the code alone
_SIGN_GAP_MM = 1.0  # between the hot sign and the holder drawn below it
ROUNDING_DOTS = 3  # the symbol moves to whole dots, letters grow to them, and round ones stand out by one


@dataclass(frozen=True, slots=True)
class Layout:
    """A label ready to be drawn.  `left_out`: lines this size has no room for, as they were given."""

    content: LabelContent
    size: LabelSize
    dpi: int
    width_mm: float
    height_mm: float
    symbol: Symbol
    texts: tuple[Text, ...]
    shapes: tuple[sign.Shape, ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def width_dots(self) -> int:
        return round(self.width_mm * self.dpi / INCH_MM)

    @property
    def height_dots(self) -> int:
        return round(self.height_mm * self.dpi / INCH_MM)

    @property
    def module_mm(self) -> float:
        """Edge of one module."""
        return self.symbol.module_dots * INCH_MM / self.dpi

    @property
    def symbol_mm(self) -> float:
        """Edge of the symbol without its quiet zone."""
        return MODULES * self.module_mm


def lay_out(
    content: LabelContent, size: LabelSize, dpi: int = 300, *, module_dots: int | None = None, colour: bool = False
) -> Layout:
    """The best layout of a label on a size at a printer's dots per inch.

    module_dots: no more than these a module (a smaller symbol for round steel).  colour: the printer knows
    yellow.  Raises SizeTooSmall, TextTooLong, LetterUnknown, NeedsLargerSize, DpiUnknown.
    """
    least = least_module_dots(dpi)
    content = _in_our_letters(content)
    room = _Room(size, dpi)
    if module_dots is not None and module_dots < least:
        raise WrongUse(f"a module needs at least {least} dots at {dpi} dpi, not {module_dots}")
    steps = _symbol_steps(room, least, module_dots)
    if not steps:
        least_mm = SPAN * least * INCH_MM / dpi + 2 * size.margin_mm
        raise SizeTooSmall(size.name, dpi, math.ceil(least_mm * 10) / 10)
    if content.tag is Tag.HOT:
        return _hot(content, room, steps, colour)
    lines = _lines(content, size.height_mm)
    wanted: Sequence[LabelLine]
    for wanted in (lines, [line for line in lines if line.field != "detail"]):
        if found := _best(content, room, steps, wanted):
            return found
    if any(line.field != "code" for line in lines) and _best(content, room, steps, _shortened(lines)):
        raise _too_long(content, room, steps, lines)
    if found := _best(content, room, steps, [line for line in lines if line.field == "code"]):
        return found
    raise NeedsLargerSize(content.tag.value, size.name, "12x12")


class _Room:
    """What a size offers at a resolution: the area inside the margins, in millimetres and dots."""

    def __init__(self, size: LabelSize, dpi: int) -> None:
        self.size = size
        self.dpi = dpi
        self.dot_mm = INCH_MM / dpi
        self.margin_mm = size.margin_mm
        self.height_mm = size.height_mm - 2 * size.margin_mm
        longest_mm = TAPE_LONGEST_MM if size.width_mm is None else size.width_mm
        self.width_mm = longest_mm - 2 * size.margin_mm

    def dots(self, mm: float) -> int:
        """Whole dots that fit in a length."""
        return int(mm / self.dot_mm + 1e-6)


def _in_our_letters(content: LabelContent) -> LabelContent:
    def checked(text: str) -> str:
        plain, lacking = written(Face.STRONG, text)
        if lacking:
            raise LetterUnknown(content.code.text, text, lacking)
        return plain

    return replace(
        content,
        name=checked(content.name),
        details=tuple(filter(None, map(checked, content.details))),
        number=checked(content.number),
        heading=checked(content.heading),
    )


def _lines(content: LabelContent, height_mm: float) -> list[LabelLine]:
    card = content.tag in (Tag.BADGE, Tag.COMMAND)
    code = LabelLine("code", content.code.grouped, Face.CODE, 1.0, max(3.2, (0.1 if card else 0.15) * height_mm))
    name_weight, name_most_mm = (1.6, 0.3 * height_mm) if card else (1.05, max(3.6, 0.2 * height_mm))
    name = LabelLine("name", content.name, Face.STRONG, name_weight, name_most_mm, wraps=True)
    number = LabelLine("number", content.number, Face.STRONG, 2.4, 0.45 * height_mm)
    detail_most_mm = max(2.8, 0.13 * height_mm)
    details = [LabelLine("detail", text, Face.TEXT, 0.95, detail_most_mm, wraps=card) for text in content.details]
    named = [line for line in (number, name) if line.text]
    return [*named, *details, code] if card or content.number else [code, *named, *details]


def _shortened(lines: Sequence[LabelLine]) -> list[LabelLine]:
    """The lines with a name everybody would call short."""
    return [
        line._replace(text="N" * min(SHORT_NAME, len(line.text))) if line.field == "name" else line
        for line in lines
        if line.field != "detail"
    ]


def _symbol_steps(room: _Room, least: int, most: int | None) -> Sequence[int]:
    """Dots a module that fit, largest first."""
    largest = min(room.dots(room.height_mm), room.dots(room.width_mm)) // SPAN
    return range(largest if most is None else min(most, largest), least - 1, -1)


def _best(content: LabelContent, room: _Room, steps: Sequence[int], lines: Sequence[LabelLine]) -> Layout | None:
    """The layout worth most: a symbol a camera likes times letters an eye likes; None when nothing fits."""
    best: tuple[tuple[float, int, float], int, bool, Box, Block] | None = None
    for module_dots in steps:
        span_mm = (SPAN * module_dots + ROUNDING_DOTS) * room.dot_mm
        camera = min(module_dots * room.dot_mm / MODULE_ENOUGH_MM, 1.0)
        if best is not None and (camera < best[0][0] or best[0][0] == 1.0):
            break  # smaller symbols are worth less from here on
        for beside in (True, False):
            box = _text_box(room, span_mm, beside)
            text = typeset(lines, box.width, box.height)
            if text is None:
                continue
            eye = min(text.least_em_mm / EM_ENOUGH_MM, 1.0) / text.code_rows
            worth = (round(camera * eye, 6), module_dots, text.least_em_mm)
            if best is None or worth > best[0]:
                best = worth, module_dots, beside, box, text
    return _placed(content, room, *best[1:], lines) if best else None


def _text_box(room: _Room, span_mm: float, beside: bool) -> Box:
    margin = room.margin_mm
    if beside:
        return Box(margin + span_mm, margin, room.width_mm - span_mm, room.height_mm)
    if room.size.stock is Stock.TAPE:
        return Box(margin, margin + span_mm, 0, 0)
    return Box(margin, margin + span_mm, room.width_mm, room.height_mm - span_mm)


def _placed(
    content: LabelContent,
    room: _Room,
    module_dots: int,
    beside: bool,
    box: Box,
    text: Block,
    lines: Sequence[LabelLine],
) -> Layout:
    span_mm = (SPAN * module_dots + ROUNDING_DOTS) * room.dot_mm
    width_mm = room.size.width_mm
    if width_mm is None:
        width_mm = math.ceil(2 * room.margin_mm + span_mm + text.width_mm)
    # The symbol with its quiet zone stands in the middle of what the text leaves.
    if beside:
        symbol_left = room.margin_mm
        symbol_top = (room.size.height_mm - span_mm) / 2
        rows = placed(text, Box(box.left, box.top, text.width_mm, box.height), centred=False)
    else:
        symbol_left = (width_mm - span_mm) / 2
        symbol_top = room.margin_mm + max(0.0, (box.height - text.height_mm) / 2)
        rows = placed(text, Box(box.left, symbol_top + span_mm, box.width, text.height_mm), centred=True)
    shown = {line.text for line in lines}
    wanted = (content.number, content.name, *content.details)
    return Layout(
        content,
        room.size,
        room.dpi,
        width_mm,
        room.size.height_mm,
        _symbol(content, room, module_dots, symbol_left, symbol_top),
        rows,
        left_out=tuple(line for line in wanted if line and line not in shown),
    )


def _symbol(content: LabelContent, room: _Room, module_dots: int, left_mm: float, top_mm: float) -> Symbol:
    """The symbol whose quiet zone starts at a point; rounded inwards to whole dots."""
    quiet = QUIET * module_dots
    left, top = (math.ceil(mm / room.dot_mm - 1e-6) + quiet for mm in (left_mm, top_mm))
    return Symbol(left, top, module_dots, modules_of(content.code.text))


def _too_long(content: LabelContent, room: _Room, steps: Sequence[int], lines: Sequence[LabelLine]) -> LabelError:
    """Which line is to blame, and how many of its characters would fit."""
    named = [line for line in lines if line.field != "detail"]
    blamed = max((line for line in named if line.field != "code"), key=lambda line: len(line.text))
    low, high = 1, len(blamed.text)
    while high - low > 1:
        middle = (low + high) // 2
        tried = [line._replace(text=line.text[:middle].strip()) if line is blamed else line for line in named]
        if _best(content, room, steps, tried):
            low = middle
        else:
            high = middle
    return TextTooLong(content.code.text, blamed.field, blamed.text, low, room.size.name)


def _hot(content: LabelContent, room: _Room, steps: Sequence[int], colour: bool) -> Layout:
    """A hot tag: sign, the word, since when, safe from when, gloves; every line of it or none."""
    size = room.size
    too_small = NeedsLargerSize(content.tag.value, size.name, "60x30")
    if size.width_mm is None:
        raise too_small
    wanted = [
        LabelLine("heading", content.heading, Face.STRONG, 2.2, 0.3 * size.height_mm),
        LabelLine("name", content.name, Face.STRONG, 1.1, 0.15 * size.height_mm, wraps=True),
        *(LabelLine("detail", text, Face.TEXT, 1.0, 0.1 * size.height_mm, wraps=True) for text in content.details),
        LabelLine("code", content.code.grouped, Face.CODE, 0.9, 0.08 * size.height_mm),
    ]
    lines = [line for line in wanted if line.text]
    wide = size.width_mm >= 1.5 * size.height_mm
    best: tuple[float, Layout] | None = None
    enough = [dots for dots in steps if dots * room.dot_mm < MODULE_ENOUGH_MM + room.dot_mm]
    for module_dots in enough:
        span_mm = (SPAN * module_dots + ROUNDING_DOTS) * room.dot_mm
        side_mm = min(0.9 * room.height_mm, 0.3 * room.width_mm) if wide else min(span_mm, room.width_mm - span_mm)
        gap_mm = 0.03 * room.width_mm
        if wide:
            left = room.margin_mm + side_mm + gap_mm
            box = Box(left, room.margin_mm, room.width_mm - side_mm - gap_mm - span_mm, room.height_mm)
        else:
            top = room.margin_mm + span_mm + gap_mm / 2
            box = Box(room.margin_mm, top, room.width_mm, room.height_mm - span_mm - gap_mm / 2)
        text = typeset(lines, box.width, box.height) if side_mm >= 5 else None
        if text is None:
            continue
        camera = min(module_dots * room.dot_mm / MODULE_ENOUGH_MM, 1)
        worth = camera * min(text.least_em_mm / EM_ENOUGH_HOT_MM, 1)
        if best is not None and worth < best[0]:
            continue
        symbol_left = size.width_mm - room.margin_mm - span_mm
        symbol_top = (size.height_mm - span_mm) / 2 if wide else room.margin_mm
        sign_top = (size.height_mm - side_mm) / 2 if wide else room.margin_mm + (span_mm - side_mm) / 2
        letters = placed(text, box, centred=False)
        if wide:
            below_mm = room.height_mm - side_mm - _SIGN_GAP_MM
            free = Box(room.margin_mm, room.margin_mm + side_mm + _SIGN_GAP_MM, side_mm, below_mm)
        else:
            right = max(each.left_mm + extent(each.face, each.text).width * each.em_mm for each in letters) + gap_mm
            free = Box(right, box.top, size.width_mm - room.margin_mm - right, box.height)
        holder: tuple[tuple[sign.Shape, ...], tuple[Text, ...]] = ((), ())
        if content.drawing is not None and free.height >= drawn.LEAST_MM and free.width >= drawn.LEAST_WIDE_MM:
            sign_top = room.margin_mm if wide else sign_top
            holder = drawn.holder_shapes(content.drawing, free)
        warning = sign.hot_surface(sign.WARNING if colour else sign.WHITE)
        layout = Layout(
            content,
            size,
            room.dpi,
            size.width_mm,
            size.height_mm,
            _symbol(content, room, module_dots, symbol_left, symbol_top),
            (*letters, *holder[1]),
            (*sign.placed(warning, room.margin_mm, sign_top, side_mm), *holder[0]),
        )
        best = worth, layout
    if best is None:
        raise too_small
    return best[1]
