"""Draws every icon and sign of the kiosk, as SVG and as PNG, from the strokes written down here.

Run `python assets/icons/make_icons.py` after changing a drawing; it writes beside itself.  It must never read
a picture made elsewhere: all drawings are our own.  The hot-surface sign is the one that labels print, and comes
from `kiosk.labels.sign`.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

from PIL import Image, ImageDraw

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # started as a script from anywhere

from kiosk.labels import sign

GRID = 96  # all coordinates below; icons are written at this many pixels
STROKE = 7.0
FINE = 6  # sub-pixels a pixel side while drawing: edges come out smooth
WHITE = sign.WHITE

Point = tuple[float, float]


class Drawing:
    """One drawing on a square grid, kept as SVG elements and as pixels at once; colour None cuts a hole."""

    def __init__(self, size_px: int) -> None:
        self.size_px = size_px
        self._scale = size_px / GRID * FINE
        side = size_px * FINE
        self._image = Image.new("RGBA", (side, side), (0, 0, 0, 0))
        self._pen = ImageDraw.Draw(self._image)
        self._svg: list[str] = []
        self._holes: list[str] = []

    def line(self, *points: Point, width: float = STROKE, colour: str | None = WHITE) -> None:
        """A stroke through the points with round ends and corners."""
        spots = [self._at(point) for point in points]
        pixels = max(1, round(width * self._scale))
        self._pen.line([xy for spot in spots for xy in spot], fill=_ink(colour), width=pixels)
        radius = width * self._scale / 2
        for x, y in spots:
            self._pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=_ink(colour))
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        self._add(
            f'<polyline points="{path}" fill="none" stroke-width="{width:g}" stroke-linecap="round" '
            'stroke-linejoin="round" stroke="{ink}"/>',
            colour,
        )

    def loop(self, *points: Point, width: float = STROKE, colour: str | None = WHITE) -> None:
        """A closed stroke."""
        self.line(*points, points[0], width=width, colour=colour)

    def area(self, *points: Point, colour: str | None = WHITE) -> None:
        """A filled polygon."""
        self._pen.polygon([self._at(point) for point in points], fill=_ink(colour))
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        self._add(f'<polygon points="{path}" fill="{{ink}}"/>', colour)

    def box(self, left: float, top: float, right: float, bottom: float, colour: str | None = WHITE) -> None:
        """A filled rectangle."""
        self.area((left, top), (right, top), (right, bottom), (left, bottom), colour=colour)

    def disc(self, centre: Point, radius: float, colour: str | None = WHITE) -> None:
        """A filled circle."""
        x, y = self._at(centre)
        r = radius * self._scale
        self._pen.ellipse((x - r, y - r, x + r, y + r), fill=_ink(colour))
        self._add(f'<circle cx="{centre[0]:g}" cy="{centre[1]:g}" r="{radius:g}" fill="{{ink}}"/>', colour)

    def arc(
        self,
        centre: Point,
        radius: float,
        start_deg: float,
        end_deg: float,
        width: float = STROKE,
        colour: str | None = WHITE,
    ) -> None:
        """A circular stroke, angles clockwise from three o'clock."""
        steps = max(8, int(abs(end_deg - start_deg) / 4))
        turns = [math.radians(start_deg + (end_deg - start_deg) * step / steps) for step in range(steps + 1)]
        spots = [(centre[0] + radius * math.cos(turn), centre[1] + radius * math.sin(turn)) for turn in turns]
        self.line(*spots, width=width, colour=colour)

    def save(self, folder: Path, name: str) -> None:
        """Write `name`.png and `name`.svg into `folder`."""
        side = self.size_px
        self._image.resize((side, side), Image.Resampling.BOX).save(folder / f"{name}.png", optimize=True)
        box = f'viewBox="0 0 {GRID} {GRID}" width="{side}" height="{side}"'
        head = f'<svg xmlns="http://www.w3.org/2000/svg" {box}>'
        lines = [head, *self._holes, *self._svg, "</svg>", ""]
        (folder / f"{name}.svg").write_text("\n".join(lines), encoding="utf-8", newline="\n")

    def _at(self, point: Point) -> Point:
        return point[0] * self._scale, point[1] * self._scale

    def _add(self, element: str, colour: str | None) -> None:
        if colour is not None:
            self._svg.append(element.format(ink=colour))
            return
        # A hole in SVG is a mask over everything drawn so far.
        name = f"hole{len(self._holes)}"
        ground = f'<rect width="{GRID}" height="{GRID}" fill="white"/>'
        self._holes.append(f'<mask id="{name}">{ground}{element.format(ink="black")}</mask>')
        self._svg = [f'<g mask="url(#{name})">', *self._svg, "</g>"]


def _ink(colour: str | None) -> tuple[int, int, int, int]:
    if colour is None:
        return 0, 0, 0, 0
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16), 255


def _trace(drawing: Drawing, shapes: Iterable[sign.Shape]) -> None:
    """Shapes that labels share with the icons."""
    for shape in shapes:
        if isinstance(shape, sign.Stroke):
            drawing.line(*shape.points, width=shape.width, colour=shape.colour)
        else:
            drawing.area(*shape.points, colour=shape.colour)


def scan(d: Drawing) -> None:
    for x, y in ((10, 10), (86, 10), (86, 86), (10, 86)):
        dx, dy = (18 if x < 48 else -18), (18 if y < 48 else -18)
        d.line((x, y + dy), (x, y), (x + dx, y))
    for x, y in ((27, 27), (53, 27), (27, 53)):
        d.box(x, y, x + 16, y + 16)
        d.box(x + 5, y + 5, x + 11, y + 11, colour=None)
    d.box(53, 53, 60, 60)
    d.box(62, 62, 69, 69)


def hot(d: Drawing) -> None:
    d.loop((48, 11), (90, 84), (6, 84), width=8)
    _trace(d, sign.heat(WHITE, 5.0))


def find(d: Drawing) -> None:
    d.arc((41, 41), 27, 0, 360, width=8)
    d.line((61, 61), (85, 85), width=11)


def audit(d: Drawing) -> None:
    d.loop((18, 16), (78, 16), (78, 88), (18, 88))
    d.box(34, 7, 62, 25)
    for y in (40, 57, 74):
        d.line((28, y - 1), (33, y + 4), (41, y - 6), width=5)
        d.line((51, y), (67, y), width=5)


def label(d: Drawing) -> None:
    d.loop((8, 48), (30, 20), (88, 20), (88, 76), (30, 76))
    d.disc((31, 48), 5.5)
    for y, end in ((38, 74), (58, 64)):
        d.line((48, y), (end, y), width=6)


def shop(d: Drawing) -> None:
    d.loop((8, 86), (8, 46), (32, 28), (32, 46), (56, 28), (56, 46), (88, 26), (88, 86))
    for x in (22, 44, 66):
        d.box(x, 60, x + 10, 72)


def undo(d: Drawing) -> None:
    d.arc((50, 52), 30, -150, 120, width=9)
    d.area((10, 20), (14, 52), (42, 36))


def _speaker(d: Drawing) -> None:
    d.area((8, 36), (24, 36), (46, 16), (46, 80), (24, 60), (8, 60))


def sound(d: Drawing) -> None:
    _speaker(d)
    d.arc((48, 48), 18, -42, 42)
    d.arc((48, 48), 35, -45, 45)


def sound_off(d: Drawing) -> None:
    _speaker(d)
    d.line((60, 36), (84, 60), width=8)
    d.line((84, 36), (60, 60), width=8)


def camera_off(d: Drawing) -> None:
    d.loop((8, 30), (30, 30), (37, 20), (59, 20), (66, 30), (88, 30), (88, 78), (8, 78))
    d.arc((48, 53), 14, 0, 360)
    d.line((12, 8), (84, 90), width=19, colour=None)
    d.line((12, 8), (84, 90), width=8)


def done(d: Drawing) -> None:
    d.line((12, 52), (38, 78), (86, 20), width=12)


def stop(d: Drawing) -> None:
    d.line((18, 18), (78, 78), width=12)
    d.line((78, 18), (18, 78), width=12)


def missing(d: Drawing) -> None:
    for start in (12, 39, 66):
        for edge in (12, 84):
            d.line((start, edge), (start + 18, edge), width=6)
            d.line((edge, start), (edge, start + 18), width=6)
    d.arc((48, 40), 13, -180, 70, width=8)
    d.line((50, 53), (48, 60), width=8)
    d.disc((48, 72), 5)


def back(d: Drawing) -> None:
    d.line((60, 14), (26, 48), (60, 82), width=12)


def erase(d: Drawing) -> None:
    """Takes away the last letter: a key that points left, with a cross in it."""
    d.line((34, 18), (90, 18), (90, 78), (34, 78), (6, 48), (34, 18), width=9)
    d.line((46, 34), (74, 62), width=9)
    d.line((74, 34), (46, 62), width=9)


def capitals(d: Drawing) -> None:
    """Large letters: an arrow with a body, unlike the one that turns a page."""
    d.area((48, 8), (90, 50), (66, 50), (66, 70), (30, 70), (30, 50), (6, 50))
    d.box(30, 78, 66, 88)


def forward(d: Drawing) -> None:
    d.line((36, 14), (70, 48), (36, 82), width=12)


def up(d: Drawing) -> None:
    d.line((14, 62), (48, 28), (82, 62), width=12)


def down(d: Drawing) -> None:
    d.line((14, 34), (48, 68), (82, 34), width=12)


def _pocket(d: Drawing) -> None:
    d.line((12, 46), (12, 89), (84, 89), (84, 46), width=9)


def put_in(d: Drawing) -> None:
    """Into a pocket: an arrow with a body, unlike the one that turns a page."""
    _pocket(d)
    d.box(40, 5, 56, 42)
    d.area((24, 40), (72, 40), (48, 73))


def take_out(d: Drawing) -> None:
    """Out of a pocket."""
    _pocket(d)
    d.box(40, 36, 56, 73)
    d.area((24, 38), (72, 38), (48, 5))


def move_over(d: Drawing) -> None:
    """Out of one pocket and into another."""
    for left in (6, 60):
        d.line((left, 58), (left, 89), (left + 30, 89), (left + 30, 58), width=8)
    d.line((21, 72), (21, 16), (75, 16), (75, 44), width=10)
    d.area((58, 44), (92, 44), (75, 72))


def stays(d: Drawing) -> None:
    """Right where it is: a tick in a pocket."""
    _pocket(d)
    d.line((30, 48), (44, 64), (72, 22), width=11)


def happened(d: Drawing) -> None:
    """What happened when: a clock."""
    d.arc((48, 48), 38, 0, 360, width=8)
    d.line((48, 25), (48, 50), (65, 60), width=8)


def unread(d: Drawing) -> None:
    """The corners that a label is held between, and nobody knows what was in them."""
    for x, y in ((10, 10), (86, 10), (86, 86), (10, 86)):
        dx, dy = (18 if x < 48 else -18), (18 if y < 48 else -18)
        d.line((x, y + dy), (x, y), (x + dx, y))
    d.arc((48, 38), 13, -180, 70, width=8)
    d.line((50, 51), (48, 59), width=8)
    d.disc((48, 72), 5)


def sheet(d: Drawing) -> None:
    """A setup sheet: paper with a corner turned down, and a line a tool."""
    d.loop((18, 7), (58, 7), (80, 29), (80, 89), (18, 89))
    d.line((56, 9), (56, 31), (78, 31), width=5)
    for y in (46, 60, 74):
        d.box(28, y - 4, 36, y + 4)
        d.line((46, y), (69, y), width=5)


def print_label(d: Drawing) -> None:
    d.line((26, 30), (26, 10), (70, 10), (70, 30))
    d.loop((10, 32), (86, 32), (86, 66), (10, 66))
    d.box(26, 50, 70, 88, colour=None)
    d.loop((27, 52), (69, 52), (69, 87), (27, 87))
    d.line((38, 65), (58, 65), width=5)
    d.line((38, 75), (52, 75), width=5)
    d.disc((74, 43), 4)


def curve(d: Drawing) -> None:
    """A cooling curve between two axes."""
    d.line((16, 12), (16, 82), (86, 82))
    d.line(*((26 + 54 * step / 12, 70 - 50 * math.exp(-step / 3.2)) for step in range(13)))


def probe(d: Drawing) -> None:
    """A contact probe: thermometer standing on a surface."""
    d.arc((48, 66), 15, -58, 238, width=7)
    d.line((40, 53), (40, 18), width=7)
    d.line((56, 53), (56, 18), width=7)
    d.arc((48, 18), 8, 180, 360, width=7)
    d.disc((48, 66), 8)
    d.line((48, 66), (48, 34), width=6)
    d.line((14, 90), (82, 90), width=7)


def words(d: Drawing) -> None:
    """Lines of writing: the same in words."""
    for y, end in ((20, 84), (48, 84), (76, 56)):
        d.line((12, y), (end, y), width=10)


def presetter(d: Drawing) -> None:
    """A presetter: a column with its scale, whose arm stands at the tip of a cutter in its holder."""
    d.line((10, 88), (86, 88), width=9)
    d.line((74, 88), (74, 10), width=8)
    d.line((74, 30), (48, 30), width=8)
    for y in (14, 46, 62):
        d.line((74, y), (86, y), width=5)
    d.box(26, 30, 36, 54)
    d.area((18, 54), (44, 54), (50, 84), (12, 84))


def holder(d: Drawing) -> None:
    """A cutter holder standing on its taper: taper, flange with its groove, nose and cutter."""
    d.area((38, 6), (58, 6), (58, 28), (38, 28))
    d.area((36, 28), (60, 28), (66, 52), (30, 52))
    d.box(18, 52, 78, 58)
    d.box(24, 58, 72, 62)
    d.box(18, 62, 78, 68)
    d.area((28, 68), (68, 68), (60, 92), (36, 92))


def machine(d: Drawing) -> None:
    """A machining centre: cabin with window, spindle and table."""
    d.loop((8, 12), (88, 12), (88, 86), (8, 86))
    d.loop((22, 26), (62, 26), (62, 70), (22, 70), width=5)
    d.box(37, 26, 47, 44)
    d.area((38, 44), (46, 44), (42, 54))
    d.line((29, 63), (55, 63), width=5)
    d.disc((75, 32), 4.5)
    d.disc((75, 48), 4.5)


def cabinet(d: Drawing) -> None:
    """A drawer cabinet."""
    d.loop((14, 10), (82, 10), (82, 86), (14, 86))
    for y in (35, 60):
        d.line((14, y), (82, y), width=5)
    for y in (23, 48, 73):
        d.line((40, y), (56, y), width=6)


def badge(d: Drawing) -> None:
    """An operator's badge."""
    d.loop((16, 22), (80, 22), (80, 88), (16, 88))
    d.line((38, 12), (58, 12), width=9)
    d.disc((48, 45), 10)
    d.arc((48, 78), 18, 180, 360, width=8)


def files(d: Drawing) -> None:
    """A sheet of paper, and the ways in and out."""
    d.loop((8, 8), (38, 8), (56, 26), (56, 88), (8, 88))
    d.line((38, 8), (38, 26), (56, 26), width=5)
    d.line((76, 44), (90, 44), width=8)
    d.area((63, 44), (79, 31), (79, 57))
    d.line((66, 74), (80, 74), width=8)
    d.area((93, 74), (77, 61), (77, 87))


def update(d: Drawing) -> None:
    """What comes into this computer: an arrow down into a tray."""
    d.line((48, 10), (48, 60), width=10)
    d.line((26, 40), (48, 62), (70, 40), width=10)
    d.line((10, 60), (10, 86), (86, 86), (86, 60), width=9)


def add(d: Drawing) -> None:
    """The first of something: a plus in a frame."""
    d.loop((10, 10), (86, 10), (86, 86), (10, 86))
    d.line((48, 28), (48, 68), width=10)
    d.line((28, 48), (68, 48), width=10)


def phone(d: Drawing) -> None:
    """A telephone, upright."""
    d.loop((24, 7), (72, 7), (72, 89), (24, 89), width=8)
    d.line((40, 19), (56, 19), width=5)
    d.disc((48, 76), 6)


def stick(d: Drawing) -> None:
    """A memory stick: its body, and the plug with two holes."""
    d.loop((28, 38), (68, 38), (68, 89), (28, 89), width=8)
    d.line((36, 36), (36, 8), (60, 8), (60, 36), width=7)
    for x in (43, 53):
        d.box(x - 3, 18, x + 3, 26)
    d.line((40, 76), (56, 76), width=6)


ICONS: dict[str, Callable[[Drawing], None]] = {
    "scan": scan,
    "hot": hot,
    "find": find,
    "audit": audit,
    "label": label,
    "shop": shop,
    "undo": undo,
    "sound": sound,
    "sound-off": sound_off,
    "camera-off": camera_off,
    "done": done,
    "stop": stop,
    "missing": missing,
    "back": back,
    "erase": erase,
    "capitals": capitals,
    "forward": forward,
    "up": up,
    "down": down,
    "put-in": put_in,
    "take-out": take_out,
    "move-over": move_over,
    "stays": stays,
    "happened": happened,
    "unread": unread,
    "sheet": sheet,
    "print": print_label,
    "probe": probe,
    "presetter": presetter,
    "curve": curve,
    "words": words,
    "holder": holder,
    "machine": machine,
    "cabinet": cabinet,
    "badge": badge,
    "files": files,
    "update": update,
    "add": add,
    "phone": phone,
    "stick": stick,
}


ALARM_PX = 320  # the alarm shows it 135 to 304 px large, which needs no smaller copies of it to be made in the window


def hot_surface(d: Drawing) -> None:
    """The hot-surface sign in colour."""
    _trace(d, sign.hot_surface())


def app(d: Drawing) -> None:
    """The window's own icon: a holder in aiming corners on a dark ground."""
    d.area((6, 0), (90, 0), (96, 6), (96, 90), (90, 96), (6, 96), (0, 90), (0, 6), colour="#12171c")
    for x, y in ((13, 13), (83, 13), (83, 83), (13, 83)):
        dx, dy = (15 if x < 48 else -15), (15 if y < 48 else -15)
        d.line((x, y + dy), (x, y), (x + dx, y), width=6, colour="#6cc4e8")
    d.area((41, 18), (55, 18), (55, 34), (41, 34))
    d.area((39, 34), (57, 34), (61, 51), (35, 51))
    d.box(27, 51, 69, 56)
    d.box(31, 56, 65, 59)
    d.box(27, 59, 69, 64)
    d.area((34, 64), (62, 64), (57, 79), (39, 79))


def write(folder: Path) -> None:
    """Every drawing into a folder, as SVG and PNG."""
    for name, draw in ICONS.items():
        drawing = Drawing(GRID)
        draw(drawing)
        drawing.save(folder, name)
    for name, draw, size_px in (("hot-surface", hot_surface, 96), ("alarm", hot_surface, ALARM_PX), ("app", app, 256)):
        drawing = Drawing(size_px)
        draw(drawing)
        drawing.save(folder, name)


if __name__ == "__main__":
    write(Path(__file__).resolve().parent)
