"""Text that keeps to its box.

A word is never clipped and never broken: text wraps, and gets smaller step by step down to the smallest size
its owner allows.  It never goes below 3 mm of cap height.  Widths come from the font itself.  What is read as one (a
code in its groups, a figure and its unit) stays in one line where the box is wide enough for it.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from itertools import product
from typing import Any

from kivy.clock import Clock
from kivy.core.text import Label as CoreLabel
from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from kivy.uix.image import Image
from kivy.uix.label import Label
from kivy.uix.layout import Layout

from kiosk.screens.kv import load_beside
from kiosk.screens.theme import icon, look

_EM = 100.0
_ROUNDED_UP = 1.025  # small letters are set on whole pixels, which makes words a little wider than they were measured
# Below this font size, px, whole pixels count for more; of the smallest there is no choice.
_FINE_PX, _FINE_WIDER = 18.0, 1.04
_STEP = 0.96
_STAYS = "\u00a0"  # a space that no line ends at
_PIECES = re.compile(r"[^-_/]*[-_/]+|[^-_/]+")
_ONE = re.compile(
    " (?=·)|(?<=→) | (?=×)|(?<=×) (?=\\d)|(?<=\\d) (?=–)|(?<=\\d –) (?=\\d)"
    r"|(?<=\d) (?=(?:mm|µm|°C|K|s|min|h|d|kg|Nm|%|MB|GB|px|ms|1/min)(?!\w))"
    r"|(?<=\d) (?=(?:days?|places?|holders?|labels?|Tagen?|Plätzen?|Plätze|Platz|Halter|Etiketten?)(?!\w))"
    r"|(?<=\d) (?=(?:hours?|readings?|Stunden?|Messung(?:en)?|Fach|Fächern?|Fächer)(?!\w))"
    r"|(?<=\d) (?=x \d)|(?<=\d x) (?=\d)"
    r"|(?<=[a-zäöüß]) (?=(?:\d{1,4}|[A-Z])(?![\w.,:'’-]))"  # a place and its number or letter
    r"|(?<=\b[0-9A-Z]{4}) (?=[0-9A-Z]{4} [0-9A-Z]{2}\b)|(?<=\b[0-9A-Z]{4} [0-9A-Z]{4}) (?=[0-9A-Z]{2}\b)"
)


@lru_cache(maxsize=4096)
def _tied(text: str) -> str:
    return _ONE.sub(_STAYS, text)


@lru_cache(maxsize=4096)
def _ems(font_name: str, bold: bool, word: str) -> float:
    label = CoreLabel(font_name=font_name, bold=bold, font_size=_EM)
    label.resolve_font_name()
    return float(label.get_extents(word)[0]) / _EM * _ROUNDED_UP


def _of_size(size_px: float) -> float:
    """What an em is worth at that font size, px."""
    return size_px * (_FINE_WIDER if look.least < size_px < _FINE_PX else 1.0)


def line_px(size_px: float) -> float:
    """Height of a line: B612 has 0.965 above and 0.25 below its base line, and both are rounded up."""
    return math.ceil(1.215 * size_px) + 1


def width_px(text: str, size_px: float, bold: bool = False, font_name: str = "B612") -> float:
    """Width of one line of text, px."""
    words = sum(_ems(font_name, bold, word) for word in text.split(" "))
    return (words + text.count(" ") * _ems(font_name, bold, " ")) * _of_size(size_px)


def kept_together(text: str, size_px: float, width: float, bold: bool, font_name: str) -> str:
    """The text with spaces that stay where what is read as one fits a line of that width, px.

    A name that is wider than the line by itself (a printer's, a file's) ends one after `-`, `_` or `/`.
    """
    return _kept(text, _of_size(size_px), width, bold, font_name)


@lru_cache(maxsize=8192)  # a layout asks for the same text at the same width many times before it rests
def _kept(text: str, em: float, width: float, bold: bool, font_name: str) -> str:
    def fits(word: str) -> bool:
        return _ems(font_name, bold, word) * em + 1.0 <= width

    def fitted(word: str) -> str:
        if fits(word):
            return word
        if _STAYS in word:
            return " ".join(map(fitted, word.split(_STAYS)))
        parts = [""]
        for piece in _PIECES.findall(word):
            if parts[-1] and not fits(parts[-1] + piece):
                parts.append("")
            parts[-1] += piece
        return " ".join(parts)

    return "\n".join(" ".join(map(fitted, line.split(" "))) for line in _tied(text).split("\n"))


def lines_of(text: str, size_px: float, width: float, bold: bool, font_name: str) -> int | None:
    """Lines that the text takes in a box of that width, or None where one word is wider than the box."""
    return _lines(text, _of_size(size_px), width, bold, font_name)


@lru_cache(maxsize=8192)
def _lines(text: str, em: float, width: float, bold: bool, font_name: str) -> int | None:
    lines = 0
    gap = _ems(font_name, bold, " ") * em
    for paragraph in _kept(text, em, width, bold, font_name).split("\n"):
        lines += 1
        used = 0.0
        for word in paragraph.split(" "):
            wide = _ems(font_name, bold, word) * em + 1.0
            if wide > width:
                return None
            if used and used + gap + wide > width:
                lines += 1
                used = wide
            else:
                used += (gap if used else 0.0) + wide
    return lines


class WholeWords(CoreLabel):
    """Ends a line that is too long after a whole word, for half a number reads as another number.

    Lines end nowhere within what is read as one.
    """

    text: str

    def render(self, real: bool = False) -> Any:
        """As of Kivy's label."""
        plain, width = self.text, self.text_size[0]
        if real or width is None or self.options["shorten"]:
            return super().render(real)
        given = self.options
        room = width - given["padding"][0] - given["padding"][2]
        self.text = kept_together(plain, given["font_size"], room, bool(given["bold"]), given["font_name"])
        try:
            return super().render(real)
        finally:
            self.text = plain

    def shorten(self, text: str, margin: int = 2) -> str:
        """As of Kivy's label; a first word that is too wide by itself is cut all the same."""
        width = self.text_size[0]
        if width is None:
            return text
        measure = self.get_cached_extents()
        words = text.replace("\n", " ").split(" ")
        for count in range(len(words), 0, -1):
            kept = " ".join(words[:count])
            shown = kept if count == len(words) else kept.rstrip(" ·,:") + "…"
            if measure(shown)[0] <= width - margin:
                return shown
        return str(super().shorten(text, margin))


class Words(Label):
    """A text of at most `largest` px font size that shrinks to `least` (0: 3 mm) rather than leave its box.

    `lines`: how many it may take; 0 for as many as the box holds.  `elides`: the shop's own words (a name), which
    nobody can bound, become one line that ends in dots where even at `least` they need more lines than there are.
    `yields`: where a column cannot hold all its texts even at their smallest, those that yield are left out, the
    highest number first; 0: never.
    """

    largest = NumericProperty()
    least = NumericProperty()
    lines = NumericProperty(0)
    elides = BooleanProperty(False)
    yields = NumericProperty(0)
    _label: Any

    def __init__(self, **kwargs: Any) -> None:
        self._fit_soon = Clock.create_trigger(self._fit, -1)
        super().__init__(**kwargs)
        for name in ("text", "size", "largest", "least", "lines", "bold", "font_name", "padding"):
            self.fbind(name, self._fit_soon)
        self._fit()

    @property
    def smallest(self) -> float:
        """Font size, px, that it never goes below."""
        return min(self.least or look.least, self.largest)

    def height_at(self, size_px: float, width: float) -> float | None:
        """Height of the text at that font size, px; None where a word is wider or the lines are too many."""
        if not self.text:
            return 0.0
        lines = lines_of(self.text, size_px, width, self.bold, self.font_name)
        if lines is None or (self.lines and lines > self.lines):
            if not self.elides or size_px > self.smallest:
                return None
            lines = 1
        return lines * line_px(size_px) + self.padding[1] + self.padding[3]

    def _fits(self, size_px: float, width: float) -> bool:
        """Whether all of the text is seen at that font size."""
        lines = lines_of(self.text, size_px, width, self.bold, self.font_name)
        if lines is None or (self.lines and lines > self.lines):
            return False
        # the font's own rounding of one line's height hides no word
        return lines == 1 or lines * line_px(size_px) + self.padding[1] + self.padding[3] <= self.height + 0.5

    def _create_label(self) -> None:
        super()._create_label()
        made: Any = self._label
        self._label: Any = WholeWords(**made.options)

    def _fit(self, *_: object) -> None:
        least = self.smallest
        size = self.largest
        width = self.width - self.padding[0] - self.padding[2]
        while size > least:
            height = self.height_at(size, width)
            if height is not None and height <= self.height + 0.5:
                break
            size = max(least, size * _STEP)
        self.shorten = self.elides and not self._fits(size, width)
        self.font_size = size
        # The font's own rounding of line heights must not cost the last line of a long text.
        self.text_size = (self.width, self.height + 0.3 * size)


class Column(Layout):
    """Texts one below the other from the top, each at its full size while the column holds them all.

    Where it does not, all shrink together, none below its own `least`, and where that is not enough the least important
    are left out (`Words.yields`), for a text cut in half says less than none.  An empty text takes no room.  Other
    children keep their height (`size_hint_y: None`) or share what is left over by their `size_hint_y`.
    `spacing`, px, stands between what is shown.  `spared`, px, is left for those that share, a picture mostly: texts
    shrink and yield for it, and only where all that yields is not enough the share is smaller.
    """

    spacing = NumericProperty()
    spared = NumericProperty()
    centred = BooleanProperty(False)  # what is left over stands half above

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("children", "size", "pos", "spacing", "spared", "centred"):
            self.fbind(name, self._trigger_layout)

    def add_widget(self, widget: Any, *args: Any, **kwargs: Any) -> None:
        if isinstance(widget, Words):
            for name in ("text", "largest", "least", "lines", "bold", "yields", "padding"):
                widget.fbind(name, self._trigger_layout)
        else:
            for name in ("height", "size_hint_y"):
                widget.fbind(name, self._trigger_layout)
        super().add_widget(widget, *args, **kwargs)

    def remove_widget(self, widget: Any, *args: Any, **kwargs: Any) -> None:
        for name in ("text", "largest", "least", "lines", "bold", "yields", "padding", "height", "size_hint_y"):
            widget.funbind(name, self._trigger_layout)
        super().remove_widget(widget, *args, **kwargs)

    def _heights(self, scale: float, least_yielding: float = math.inf, one_line: bool = False) -> list[float]:
        """Height of each child from the top at a share of its largest size; sharing children have none yet.

        Texts that yield at `least_yielding` or sooner have none at all; `one_line`: those that elide have no second.
        """
        heights = []
        for child in reversed(self.children):
            if isinstance(child, Words) and child.yields >= least_yielding:
                heights.append(0.0)
                continue
            if not isinstance(child, Words):
                heights.append(0.0 if child.size_hint_y is not None else child.height)
                continue
            heights.append(self._height_of(child, scale, one_line))
        return heights

    def _height_of(self, child: Any, scale: float, one_line: bool) -> float:
        """Of a text at that share of its largest size, or at the next smaller size whose words fit its width."""
        least = child.smallest
        inside = self.width - child.padding[0] - child.padding[2]
        if one_line and child.elides and child.text:
            return line_px(least)
        size = max(child.largest * scale, least)
        while True:
            height = child.height_at(size, inside)
            if height is not None or size <= least:
                return line_px(least) if height is None else float(height)
            size = max(least, size * _STEP)

    def do_layout(self, *_: object) -> None:
        ranks = {child.yields for child in self.children if isinstance(child, Words) and child.yields and child.text}
        left_outs = (math.inf, *sorted(ranks, reverse=True))
        sharing = [c.size_hint_y for c in self.children if not isinstance(c, Words) and c.size_hint_y]
        shares = sum(sharing)
        spared = (self.spared + self.spacing, 0.0) if self.spared and shares else (0.0,)
        for kept, one_line, left_out in product(spared, (False, True), left_outs):
            room = self.height - kept
            scale = 1.0
            heights = self._heights(scale, left_out, one_line)
            while scale > 0.3 and self._total(heights) > room:
                scale *= _STEP
                heights = self._heights(scale, left_out, one_line)
            if self._total(heights) <= room + 1.0:
                break
        spare = max(0.0, self.height - self._total(heights) - self.spacing * (len(sharing) if any(heights) else 0))
        top = self.top - (spare / 2 if self.centred and not shares else 0.0)
        for child, height in zip(reversed(self.children), heights, strict=True):
            child.width = self.width
            if isinstance(child, Words):
                child.height = height
                if child.yields:
                    child.opacity = 1 if height else 0
            elif child.size_hint_y is not None:
                height = spare * child.size_hint_y / shares if shares else 0.0
                child.height = height
            child.pos = (self.x, top - height)
            top -= height + (self.spacing if height else 0.0)

    def _total(self, heights: list[float]) -> float:
        shown = [height for height in heights if height]
        return sum(shown) + self.spacing * max(0, len(shown) - 1)


class Countdown(Words):
    """Minutes and seconds left, large, in figures that do not dance.  Negative: not known."""

    left_s = NumericProperty(-1)


class Icon(Image):
    """One of our own drawings by its name, in the colour of `color`; no name takes no room."""

    name = StringProperty()

    def on_name(self, _: object, name: str) -> None:
        self.source = icon(name)


load_beside(__file__)
