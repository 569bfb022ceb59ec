"""Colours, type and sizes of every screen, as tokens that widgets bind to.

A widget takes its colours and lengths from `look` and never writes a number of its own that a hand or an eye
depends on.  Lengths are given in millimetres on the panel: a 7-inch 800x480 panel has 5.2 pixels a millimetre,
and without a density in the settings a window is taken for a panel of that size while its pixels are no finer than 7 a
millimetre, and for a larger one beyond: large panels have room for more, not for larger keys.
Facts: cap height of B612 measured from its outlines (0.763 of the font size); contrast after WCAG 2.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

from kivy.core.text import LabelBase
from kivy.event import EventDispatcher
from kivy.properties import BooleanProperty, ColorProperty, NumericProperty, StringProperty
from kivy.utils import get_color_from_hex

from kiosk import where

PX_PER_MM = 5.2  # 800 px over 154 mm
LONG_PX, SHORT_PX = 800, 480
MOST_PX_PER_MM = 7.0  # of a panel whose density nobody said: one with more pixels is taken for a larger one
CAP_HEIGHT = 0.763  # of B612's font size

TOUCH_MM = 18.0  # what a glove must hit
LIST_MM = 12.0  # rows of lists that also page by large arrows
KEY_MM = 15.0  # the 26 symbols of the code pad, which share a 7-inch panel with the heat strip
GAP_MM = 3.0  # between two targets
SMALLEST_MM = 3.0  # cap height below which nothing is written
LETTERS_GROW = 0.5  # share of a larger panel's room that goes into its letters; the rest goes into more rows
MOST_LETTERS = 1.6


@dataclass(frozen=True, slots=True)
class Colours:
    """One set of colour tokens, as `#RRGGBB`.  `…_ink` is the colour of words on that ground."""

    ground: str
    surface: str
    raised: str
    line: str
    text: str
    quiet: str
    act: str
    act_ink: str
    done: str
    done_ink: str
    stop: str
    stop_ink: str
    heat: str
    heat_ink: str
    heat_ground: str
    heat_deep: str


DARK = Colours(
    ground="#12171C", surface="#1C242B", raised="#2C3842", line="#3A4854", text="#F3F6F8", quiet="#A9B6C0",
    act="#6CC4E8", act_ink="#12171C", done="#5FB878", done_ink="#12171C", stop="#F2B134", stop_ink="#12171C",
    heat="#E23B2E", heat_ink="#FFFFFF", heat_ground="#C9281C", heat_deep="#8F1A12",
)  # fmt: skip
LIGHT = Colours(
    ground="#E9EDF0", surface="#FFFFFF", raised="#D5DDE3", line="#8A98A4", text="#12171C", quiet="#44525D",
    act="#0B6A94", act_ink="#FFFFFF", done="#006B63", done_ink="#FFFFFF", stop="#F2B134", stop_ink="#12171C",
    heat="#C9281C", heat_ink="#FFFFFF", heat_ground="#C9281C", heat_deep="#8F1A12",
)  # fmt: skip
CONTRAST = Colours(
    ground="#000000", surface="#000000", raised="#1E1E1E", line="#FFFFFF", text="#FFFFFF", quiet="#E4E4E4",
    act="#7FDBFF", act_ink="#000000", done="#7CFF9B", done_ink="#000000", stop="#FFD23F", stop_ink="#000000",
    heat="#B30E00", heat_ink="#FFFFFF", heat_ground="#B30E00", heat_deep="#600700",
)  # fmt: skip

SETS = {"dark": DARK, "light": LIGHT, "contrast": CONTRAST}


def contrast(one: str, other: str) -> float:
    """Contrast of two `#RRGGBB` colours, 1..21 (WCAG 2)."""

    def luminance(colour: str) -> float:
        parts = [
            part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
            for part in get_color_from_hex(colour)[:3]
        ]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


ROOMY_WIDE_MM = 180.0, 110.0  # least width and height
ROOMY_TALL_MM = 110.0, 170.0


class Look(EventDispatcher):
    """The tokens now in force.  Kv binds to them: `color: look.text`, `height: look.touch`.

    `mm`: pixels a millimetre.  `wide`: the window is wider than high.  `roomy`: a menu fits with a line more for each
    key.  `letters`: how much larger letters and what holds them are than on a 7-inch panel; a target keeps its size.
    `text_mm`: pixels a millimetre of such room for letters.
    `touch`, `row`, `key`, `gap`, `pad`, `corner`: lengths, px.  `outcome`, `countdown`, `title`, `body`, `small`: font
    sizes, px; `least`: the one below which nothing is written.
    """

    ground = ColorProperty(DARK.ground)
    surface = ColorProperty(DARK.surface)
    raised = ColorProperty(DARK.raised)
    line = ColorProperty(DARK.line)
    text = ColorProperty(DARK.text)
    quiet = ColorProperty(DARK.quiet)
    act = ColorProperty(DARK.act)
    act_ink = ColorProperty(DARK.act_ink)
    done = ColorProperty(DARK.done)
    done_ink = ColorProperty(DARK.done_ink)
    stop = ColorProperty(DARK.stop)
    stop_ink = ColorProperty(DARK.stop_ink)
    heat = ColorProperty(DARK.heat)
    heat_ink = ColorProperty(DARK.heat_ink)
    heat_ground = ColorProperty(DARK.heat_ground)
    heat_deep = ColorProperty(DARK.heat_deep)
    colours = StringProperty("dark")

    wide = BooleanProperty(True)
    roomy = BooleanProperty(False)
    mm = NumericProperty(PX_PER_MM)
    letters = NumericProperty(1.0)
    text_mm = NumericProperty(PX_PER_MM)
    touch = NumericProperty()
    row = NumericProperty()
    key = NumericProperty()
    gap = NumericProperty()
    pad = NumericProperty()
    corner = NumericProperty()
    strip = NumericProperty()

    outcome = NumericProperty()
    countdown = NumericProperty()
    title = NumericProperty()
    body = NumericProperty()
    small = NumericProperty()
    least = NumericProperty()

    def __init__(self) -> None:
        super().__init__()
        self.bind(mm=self._measure, wide=self._measure)
        self._measure()

    def _measure(self, *_: object) -> None:
        """Derive the lengths.

        Kv's rules for a class stay bound beside those of its users, and the last one told wins.  So what rules of
        parts use as a default (`row`, `body`) is told before what users put in its place (`touch`, `small`), and
        `mm` itself, which only users ask for, after all of them.
        """
        text_mm = self.mm * self.letters
        self._tell("pad", 2 * self.mm)
        self._tell("corner", 1.5 * self.mm)
        self._tell("strip", (10.4 if self.wide else 11.6) * text_mm)  # two lines where it is narrow
        self._tell("gap", GAP_MM * self.mm)
        self._tell("row", LIST_MM * text_mm)
        self._tell("key", KEY_MM * self.mm)
        self._tell("touch", TOUCH_MM * self.mm)
        self._tell("body", self.type_px(4))
        self._tell("small", self.type_px(SMALLEST_MM))
        self._tell("least", SMALLEST_MM * self.mm / CAP_HEIGHT)
        self._tell("countdown", self.type_px(8))
        self._tell("title", self.type_px(6))
        self._tell("outcome", self.type_px(9))
        self._tell("text_mm", text_mm)

    def _tell(self, token: str, value: float) -> None:
        """Set it, and tell even where it is the same as before: a rule that was told of another one has to yield."""
        if getattr(self, token) == value:
            self.property(token).dispatch(self)
        else:
            setattr(self, token, value)

    def type_px(self, cap_mm: float) -> float:
        """Font size, px, whose capitals stand `cap_mm` high on a 7-inch panel, and higher on one with more room."""
        return cap_mm * self.letters * self.mm / CAP_HEIGHT

    def wear(self, colours: str) -> None:
        """Put on a set of colours: `dark`, `light` or `contrast`."""
        chosen = SETS[colours]
        for token in fields(Colours):
            setattr(self, token.name, getattr(chosen, token.name))
        self.colours = colours

    def fit(self, width_px: float, height_px: float, px_per_mm: float | None = None) -> None:
        """Take the window's size; `px_per_mm` is the panel's density where the settings know it."""
        self.wide = width_px > height_px
        long_px, short_px = max(width_px, height_px), min(width_px, height_px)
        mm = px_per_mm or min(PX_PER_MM * min(long_px / LONG_PX, short_px / SHORT_PX), MOST_PX_PER_MM)
        least_wide_mm, least_high_mm = ROOMY_WIDE_MM if self.wide else ROOMY_TALL_MM
        self.roomy = width_px >= least_wide_mm * mm and height_px >= least_high_mm * mm
        room = min(long_px / LONG_PX, short_px / SHORT_PX) * PX_PER_MM / mm
        self.letters = min(max(1.0, 1.0 + LETTERS_GROW * (room - 1.0)), MOST_LETTERS)
        if mm == self.mm:
            self._measure()
            self.property("mm").dispatch(self)  # what asks `type_px` is bound to it
        self.mm = mm


def fonts() -> None:
    """Make B612 and B612 Mono known to Kivy under these names."""
    folder = where.assets() / "fonts"
    for name, stem in (("B612", "B612"), ("B612 Mono", "B612Mono")):
        LabelBase.register(name, str(folder / f"{stem}-Regular.ttf"), fn_bold=str(folder / f"{stem}-Bold.ttf"))


HEAT = "hot"  # the icon of what is hot, or not known to be cool; among signs that are characters, the one drawn


def icon(name: str) -> str:
    """Path of one of our icons, for an image's `source`; empty for no name."""
    return str(where.assets() / "icons" / f"{name}.png") if name else ""


look = Look()
