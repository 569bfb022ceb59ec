"""Lays every sample of every screen out at every size, touches all there is to touch, and says what is wrong.

Runs in a process of its own in a real window, because texts are measured by the window's own font engine and
touches go through its layers; nothing has to be drawn for that.  Prints one finding a line.
"""

from __future__ import annotations

import gc
import json
import os
import re
import subprocess
import sys
from itertools import pairwise
from typing import Any

REPLIES = os.fdopen(os.dup(1), "w", buffering=1)
os.dup2(2, 1)

from kiosk.screens.app import prepare_kivy  # noqa: E402 - Kivy's set-up comes before Kivy

prepare_kivy((320, 240))

from kivy.config import Config  # noqa: E402

Config.set("graphics", "maxfps", "0")  # nobody looks, so no tick need wait for a frame
Config.set("graphics", "vsync", "0")

from kivy.clock import Clock  # noqa: E402
from kivy.core.text import Label as CoreLabel  # noqa: E402
from kivy.core.window import Window  # noqa: E402
from kivy.uix.label import Label  # noqa: E402

from kiosk import words  # noqa: E402
from kiosk.labels.letters import Face, has  # noqa: E402
from kiosk.screens import theme  # noqa: E402
from kiosk.screens.clerk import Clerk  # noqa: E402
from kiosk.screens.frame import Frame  # noqa: E402
from kiosk.screens.pages import SCREENS, build  # noqa: E402
from kiosk.screens.parts.holder_drawing import HolderDrawing, Pen  # noqa: E402
from kiosk.screens.parts.marked import MarkedRow  # noqa: E402
from kiosk.screens.parts.paged import PagedList, PageKeys  # noqa: E402
from kiosk.screens.parts.photo import PhotoPicture  # noqa: E402
from kiosk.screens.parts.plot import LEAST_MM, CoolingPlot  # noqa: E402
from kiosk.screens.parts.text import WholeWords, kept_together  # noqa: E402
from kiosk.screens.parts.touch import Panel, Touchable  # noqa: E402
from kiosk.screens.sounds import Sounds  # noqa: E402
from kiosk.screens.theme import look  # noqa: E402
from tests.journeys.finger import corners, taken_by  # noqa: E402
from tests.journeys.handles import MOST_FONTS, open_files  # noqa: E402
from tests.journeys.samples import SAMPLES as FLOOR  # noqa: E402
from tests.journeys.samples_cable import SAMPLES as CABLE  # noqa: E402
from tests.journeys.samples_kiosks import SAMPLES as KIOSKS  # noqa: E402
from tests.journeys.samples_records import SAMPLES as RECORDS  # noqa: E402
from tests.journeys.samples_refused import SAMPLES as REFUSED  # noqa: E402
from tests.journeys.samples_set_up import SAMPLES as SET_UP  # noqa: E402
from tests.journeys.samples_shop import SAMPLES as SHOP  # noqa: E402

SAMPLES = (*FLOOR, *SHOP, *RECORDS, *KIOSKS, *SET_UP, *CABLE, *REFUSED)
SETTLE = 14  # layouts settle one level a tick
SLACK = 1.5
LEAST_PICTURE_MM = 12.0  # with its legend; below it a holder is a smear
LEAST_BODY_MM = 10.0  # of the steel across its axis, legend and lengths apart
HAND_MM, LEAST_WORDS_MM = 44.0, 3.0  # words of a drawing a hand high and two wide are not the smallest there are
LEAST_MARK_MM = 6.0  # of one that stands in a row beside its name, at a pocket's size
# Rows of these end in dots where they are long: touched, they show all of it.
WHOLE_ELSEWHERE = {"history", "heatings", "settings", "audit", "audits", "report"}
ENDLESS = {"front_office_label_printer", "Setting_room_laser_printer"}  # one word of any length
TORN = re.compile(
    r"\S+\n·|\b[0-9A-Z]{4}\n[0-9A-Z]{4} [0-9A-Z]{2}\b|\b[0-9A-Z]{4} [0-9A-Z]{4}\n[0-9A-Z]{2}\b"
    r"|[\d.,]*\d\n(?:mm|µm|°C|min|kg|Nm|%)(?!\w)"
)
NUMBER = re.compile(r"\d[\d:.,]*\d|\d")


class Nobody:
    """A worker that never answers: samples bring their own answers."""

    def ask(self, *_: Any) -> None:
        pass

    def reopen(self, *_: Any) -> None:
        pass


def settle() -> None:
    for _ in range(SETTLE):
        Clock.tick()


def box(widget: Any) -> tuple[float, float, float, float]:
    x, y = widget.to_window(widget.x, widget.y)
    return x, y, x + widget.width, y + widget.height


def ink(label: Any, lines: Any) -> tuple[float, float, float, float]:
    """Where the text itself is: its size as it was laid, placed as the label places it."""
    x, y, right, top = box(label)
    width, height = lines.content_size
    if label.halign == "right":
        x = right - width
    elif label.halign == "center":
        x += (right - x - width) / 2
    middle = (y + top) / 2
    low = top - height if label.valign == "top" else y if label.valign == "bottom" else middle - height / 2
    return x, low, x + width, low + height


def laid(label: Any) -> Any:
    """The text as the label lays it in lines."""
    core = WholeWords(
        text=label.text, font_name=label.font_name, font_size=label.font_size, bold=label.bold,
        text_size=(label.width - label.padding[0] - label.padding[2], None), halign=label.halign,
        shorten=label.shorten, shorten_from="right",
    )  # fmt: skip
    core.refresh()
    return core


def torn(label: Any, core: Any, width: float) -> str:
    """What is read as one and stands in two lines, though one would hold it; empty where nothing is."""
    lines = ["".join(word.text for word in line.words).replace("\u00a0", " ").strip() for line in core._cached_lines]
    for line, following in pairwise(lines):
        if found := TORN.search(f"{line}\n{following}"):
            one = found[0].replace("\n", " ")
            if core.get_extents(one)[0] * 1.06 + 1 < width:
                return one
    return ""


def glyphs(label: Any, where: tuple[float, ...]) -> tuple[float, ...]:
    """A text's box without what every line of B612 leaves free above its capitals and below its descenders."""
    return where[0], where[1] + 0.04 * label.font_size, where[2], where[3] - 0.16 * label.font_size


def overlap(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return (
        min(one[2], other[2]) - max(one[0], other[0]) > SLACK
        and min(one[3], other[3]) - max(one[1], other[1]) > SLACK
    )


def misplaced(where: tuple[float, ...], widget: Any, grounds: list[Any]) -> str:
    """How what is shown at `where` leaves the box that it was given or lies on a neighbour; empty where it does not.

    A part may fit its own box while the box itself was pushed out of what holds it: then neighbours are drawn over it.
    What is drawn on a photograph lies where the photograph has it.
    """
    holders = []
    holder = widget.parent
    while holder is not None and holder is not holder.parent and not isinstance(holder, PhotoPicture):
        holders.append(holder)
        x, y, right, top = box(holder)
        over = max(x - where[0], y - where[1], where[2] - right, where[3] - top)
        if over > (SLACK if isinstance(holder, Panel | Touchable) else look.mm):
            return f"{over:.0f} px out of its {type(holder).__name__}"
        holder = holder.parent
    for ground, there in grounds:
        if overlap(where, there) and ground not in holders and not isinstance(ground, PhotoPicture):
            return f"on a {type(ground).__name__} that it does not belong to"
    return ""


def too_small(picture: Any) -> str:
    """What is wrong with the size of a curve or holder that is shown; empty where it can be seen from two metres."""
    if isinstance(picture, CoolingPlot) and len(picture.curve) > 1 and picture.height < LEAST_MM * look.mm:
        return f"curve given {picture.height / look.mm:.1f} mm of height, wants {LEAST_MM:.0f}"
    if isinstance(picture, HolderDrawing) and picture.drawing is not None:
        pen = Pen(picture, picture.drawing)
        across_mm = 2 * picture.drawing.radius_mm * pen.scale / look.mm
        cap_mm = pen.letters * theme.CAP_HEIGHT / look.mm
        wants_mm = LEAST_WORDS_MM * min(look.letters, 1.2) - 0.1
        hands = min(picture.height, picture.width / 2) / HAND_MM / look.mm
        if picture.told and hands > 1 and cap_mm < wants_mm:
            return f"{cap_mm:.1f} mm letters in a drawing {picture.height / look.mm:.0f} mm high"
        least_mm = LEAST_MARK_MM if isinstance(picture.parent, MarkedRow) else LEAST_BODY_MM
        if across_mm < least_mm:
            return f"holder drawn only {across_mm:.1f} mm across, wants {least_mm:.0f}"
    return ""


def faults(frame: Any, size: tuple[Any, ...], screen: str) -> list[str]:
    labels: list[Any] = []
    touches: list[Any] = []
    pictures: list[Any] = []
    grounds: list[Any] = []
    lists: list[Any] = []
    arrows: list[Any] = []
    found: list[str] = []

    def walk(widget: Any) -> None:
        if widget.opacity and (small := too_small(widget)):
            found.append(small)
        if widget.opacity == 0 or widget.height < 1 or widget.width < 1:
            if isinstance(widget, Touchable) and widget.opacity and not widget.disabled and widget.width > look.touch:
                found.append(f"no height left for a target: {getattr(widget, 'text', type(widget).__name__)}")
            return
        if isinstance(widget, Label) and widget.text.strip():
            labels.append(widget)
        if isinstance(widget, Touchable):
            touches.append(widget)
        if isinstance(widget, PagedList) and widget.pages > 1:
            lists.append(widget)
        if isinstance(widget, PageKeys) and widget.several:
            arrows.append(widget)
        if isinstance(widget, HolderDrawing) and widget.drawing is not None and widget.told:
            pictures.append(widget)
        if isinstance(widget, Panel | HolderDrawing) or (isinstance(widget, Touchable) and widget.children):
            grounds.append((widget, box(widget)))
        for child in reversed(widget.children):
            walk(child)

    walk(frame)
    if len(lists) > len(arrows):
        rows = ", ".join(f"{len(each.rows)} rows in {each.pages} pages" for each in lists)
        found.append(f"{rows}, and only {len(arrows)} pairs of arrows to turn them")
    for each in lists:
        if each.row_class.least_wide_mm * 2 * look.text_mm + each.spacing < each.width == each.children[0].width:
            found.append(f"{len(each.rows)} rows in {each.pages} pages, each {each.width / look.mm:.0f} mm wide")
    for picture in pictures:
        if picture.height < (LEAST_PICTURE_MM - 0.15) * look.mm:
            found.append(f"drawing only {picture.height / look.mm:.1f} mm high, wants {LEAST_PICTURE_MM:.0f}")
        if over := misplaced(box(picture), picture, []):
            found.append(f"drawing {over}")
    texts = [(label, laid(label)) for label in labels]
    for label, lines in texts:
        said = label.text.replace("\n", " ")[:40]
        width, height = label.width - label.padding[0] - label.padding[2], label.height
        smallest = look.least
        if label.font_size < smallest - 0.6:
            found.append(f"too small ({label.font_size / look.mm * theme.CAP_HEIGHT:.1f} mm): {said}")
        core = CoreLabel(font_name=label.font_name, font_size=label.font_size, bold=label.bold)
        whole_elsewhere = screen in WHOLE_ELSEWHERE or label.text in ENDLESS
        counted = label.text.split(" · ")[0]
        least = label.text if NUMBER.fullmatch(counted) else counted  # a time by itself does not say what it is of
        if label.shorten and not whole_elsewhere and core.get_extents(least)[0] > width:
            found.append(f"ends early ({width / look.mm:.0f} mm): {said}")
        kept = kept_together(label.text, label.font_size, width, label.bold, label.font_name)
        for word in [] if label.shorten else kept.replace("\u00a0", " ").split():
            core = CoreLabel(font_name=label.font_name, font_size=label.font_size, bold=label.bold)
            if core.get_extents(word)[0] > width + SLACK:
                found.append(f"word wider than its box ({width / look.mm:.0f} mm): {word}")
        if NUMBER.search(label.text) and not label.shorten:
            longest = max(NUMBER.findall(label.text), key=len)
            core = CoreLabel(font_name=label.font_name, font_size=label.font_size, bold=label.bold)
            if core.get_extents(longest)[0] > width:
                found.append(f"number broken in two lines: {longest}")
        if lacking := {letter for letter in label.text if letter.strip() and not has(Face.TEXT, letter)}:
            found.append(f"letters the font lacks ({''.join(sorted(lacking))}): {said}")
        tall = lines.content_size[1]
        if not label.shorten and (one := torn(label, lines, width)):
            found.append(f"{one!r} is read as one and stands in two lines: {said}")
        if tall > height + (SLACK if tall > label.font_size * 2 else label.font_size * 0.12):
            found.append(f"clipped ({tall:.0f} px of text in {height:.0f}): {said}")
    inks = [(label, ink(label, lines)) for label, lines in texts]
    for at, (one, where) in enumerate(inks):
        if where[0] < -SLACK or where[1] < -SLACK or where[2] > size[0] + SLACK or where[3] > size[1] + SLACK:
            found.append(f"outside the window: {one.text[:40]}")
        if over := misplaced(glyphs(one, where), one, grounds):
            found.append(f"text {over}: {one.text[:40]}")
        for other, there in inks[at + 1 :]:
            if overlap(where, there):
                found.append(f"overlap: {one.text[:30]!r} and {other.text[:30]!r}")
    for at, touch in enumerate(touches):
        said = (w.text for w in touch.walk(restrict=True) if isinstance(w, Label) and w.text)
        named = next(said, getattr(touch, "icon", type(touch).__name__))
        short = min(touch.width, touch.height) / look.mm
        if short < touch.least_mm - 0.15:
            found.append(f"target {short:.1f} mm, wants {touch.least_mm:.0f}: {named}")
        x, y, right, top = box(touch)
        if x < -SLACK or y < -SLACK or right > size[0] + SLACK or top > size[1] + SLACK:
            found.append(f"target outside the window: {named}")
        if touch.children and (over := misplaced((x, y, right, top), touch, [])):
            found.append(f"target {over}: {named}")
        for other in touches[at + 1 :]:
            if overlap(box(touch), box(other)):
                found.append(f"targets overlap: {named}")
        if not touch.disabled:
            for corner, point in corners(box(touch)).items():
                if taken_by(*point) is not touch:
                    found.append(f"deaf at its {corner} corner ({point[0]:.0f}, {size[1] - point[1]:.0f}): {named}")
    return found


def restless(screen: Any, frame: Any) -> list[str]:
    """What gets out from under a finger while a counter on the screen goes on by a second.

    A layout puts it back in the next frame, but a finger that lifts before is not felt.  And what is laid out again
    in every frame though nothing changes, seen or not: it costs the machine a share of a core for ever.
    """
    never = [f"laid out for ever: {event!r}" for event in Clock.get_events() if "do_layout" in repr(event)]
    touches = [widget for widget in frame.walk(restrict=True) if isinstance(widget, Touchable) and not widget.disabled]
    before = [box(touch) for touch in touches]
    for name in [name for name in screen.properties() if name.endswith("_s")]:
        left_s = getattr(screen, name)
        if isinstance(left_s, int | float) and left_s > 1:
            setattr(screen, name, left_s - 1)
    return never + [
        f"moved under the finger by a counter: {next((w.text for w in touch.walk() if isinstance(w, Label)), touch)}"
        for touch, where in zip(touches, before, strict=True)
        if box(touch) != where
    ]


class Stage:
    """The frame with every screen in it, at one size and in one language, ready to be filled."""

    def __init__(self, language: str, size: tuple[Any, ...]) -> None:
        """size: pixels across and down, and where the settings know it the panel's pixels a millimetre."""
        theme.fonts()
        words.speak(language)
        clerk = Clerk(Nobody(), Sounds(), lambda _: None)
        self.screens = {name: build(name) for name in SCREENS}
        self.frame = Frame()
        for child in list(Window.children):
            Window.remove_widget(child)
        Window.add_widget(self.frame)
        for screen in self.screens.values():
            clerk.take(screen)
        self.fit(size)

    def fit(self, size: tuple[Any, ...]) -> None:
        """Take another size."""
        Window.size = size[:2]
        frame = self.frame
        frame.size_hint, frame.size, frame.pos = (None, None), size[:2], (0, 0)
        look.fit(size[0], size[1], size[2] if len(size) > 2 else None)

    def set(self, name: str, fill: Any, number: int = 1) -> None:
        """Show a screen filled as a sample says.  number: odd with heat on the strip, and mostly with a name."""
        frame = self.frame
        frame.hot, frame.next_s = (12, 372) if number % 2 else (0, -1)
        frame.note = "Sam Porter · Cabinet A" if number % 3 else ""
        advised = number % 4 == 1  # of the one that is free first; as long a name as the window gives it
        frame.probe_of = "Shrink 10 x 120 long" if advised else ""
        frame.probe = words.t("strip.advice", name=frame.probe_of) if advised else ""
        frame.show(self.screens[name])
        settle()
        fill(self.screens[name])
        settle()


def walk(language: str, size: tuple[Any, ...]) -> None:
    """One size in one language, a finding a line."""
    stage = Stage(language, size)
    gc.freeze()
    for number, (name, state, fill) in enumerate(SAMPLES):
        if name not in stage.screens:
            continue
        stage.set(name, fill, number)
        for fault in (*faults(stage.frame, size, name), *restless(stage.screens[name], stage.frame)):
            REPLIES.write(f"{size[0]}x{size[1]} {language} {name}/{state}: {fault}\n")
    for name in sorted(set(SCREENS) - {name for name, _, _ in SAMPLES}):
        REPLIES.write(f"no sample of the screen {name!r} in tests/journeys/samples.py\n")
    if sys.platform == "linux" and not 0 < (fonts := open_files(os.getpid())[0]) <= MOST_FONTS:
        REPLIES.write(f"{fonts} font files are open\n")
    REPLIES.write("walked\n")


def main() -> None:
    """Each size in a process of its own: what a sample leaves on a screen would else be walked instead of another."""
    sizes = [tuple(size) for size in json.loads(sys.argv[1])]
    languages = sys.argv[2:] or list(words.LANGUAGES)
    gc.disable()  # thousands of parts that stay
    if len(sizes) == len(languages) == 1:
        walk(languages[0], sizes[0])
        return
    for language in languages:
        for size in sizes:
            command = [sys.executable, __file__, json.dumps([size]), language]
            found = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True).stdout.splitlines()
            if found[-1:] != ["walked"]:
                raise RuntimeError(f"the walk of {size} in {language} ended early: {found}")
            REPLIES.write("".join(f"{line}\n" for line in found[:-1]))
    REPLIES.write("walked\n")


if __name__ == "__main__":
    main()
