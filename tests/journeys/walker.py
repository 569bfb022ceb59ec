"""Lays every sample of every screen out at every size, touches all there is to touch, and says what is wrong.

Runs in a process of its own in a real window, because texts are measured by the window's own font engine and
touches go through its layers; nothing has to be drawn for that.  Prints one finding a line.
"""

from __future__ import annotations

import gc
import json
import os
import re
import sys
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
from kiosk.screens.parts.touch import Touchable  # noqa: E402
from kiosk.screens.sounds import Sounds  # noqa: E402
from kiosk.screens.theme import look  # noqa: E402
from tests.journeys.finger import corners, taken_by  # noqa: E402
from tests.journeys.samples import SAMPLES as FLOOR  # noqa: E402
from tests.journeys.samples_records import SAMPLES as RECORDS  # noqa: E402
from tests.journeys.samples_shop import SAMPLES as SHOP  # noqa: E402

SAMPLES = (*FLOOR, *SHOP, *RECORDS)
SETTLE = 14  # layouts settle one level a tick
SLACK = 1.5
NUMBER = re.compile(r"\d[\d:.,]*\d|\d")


class Nobody:
    """A worker that never answers: samples bring their own answers."""

    def ask(self, *_: Any) -> None:
        pass


def settle() -> None:
    for _ in range(SETTLE):
        Clock.tick()


def box(widget: Any) -> tuple[float, float, float, float]:
    x, y = widget.to_window(widget.x, widget.y)
    return x, y, x + widget.width, y + widget.height


def ink(label: Any) -> tuple[float, float, float, float]:
    """Where the text itself is: its size, placed as the label places it."""
    x, y, right, top = box(label)
    width, height = size_of(label)
    if label.halign == "right":
        x = right - width
    elif label.halign == "center":
        x += (right - x - width) / 2
    middle = (y + top) / 2
    low = top - height if label.valign == "top" else y if label.valign == "bottom" else middle - height / 2
    return x, low, x + width, low + height


def size_of(label: Any) -> tuple[float, float]:
    core = CoreLabel(
        text=label.text, font_name=label.font_name, font_size=label.font_size, bold=label.bold,
        text_size=(label.width - label.padding[0] - label.padding[2], None), halign=label.halign,
        shorten=label.shorten, shorten_from="right",
    )  # fmt: skip
    core.refresh()
    return core.content_size


def overlap(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return (
        min(one[2], other[2]) - max(one[0], other[0]) > SLACK
        and min(one[3], other[3]) - max(one[1], other[1]) > SLACK
    )


def faults(frame: Any, size: tuple[Any, ...]) -> list[str]:
    labels: list[Any] = []
    touches: list[Any] = []

    def walk(widget: Any) -> None:
        if widget.opacity == 0 or widget.height < 1 or widget.width < 1:
            return
        if isinstance(widget, Label) and widget.text.strip():
            labels.append(widget)
        if isinstance(widget, Touchable):
            touches.append(widget)
        for child in reversed(widget.children):
            walk(child)

    walk(frame)
    found = []
    for label in labels:
        said = label.text.replace("\n", " ")[:40]
        width, height = label.width - label.padding[0] - label.padding[2], label.height
        smallest = look.type_px(theme.SMALLEST_MM)
        if label.font_size < smallest - 0.6:
            found.append(f"too small ({label.font_size / look.mm * theme.CAP_HEIGHT:.1f} mm): {said}")
        for word in [] if label.shorten else label.text.split():
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
        tall = size_of(label)[1]
        if tall > height + (SLACK if tall > label.font_size * 2 else label.font_size * 0.12):
            found.append(f"clipped ({tall:.0f} px of text in {height:.0f}): {said}")
    inks = [(label, ink(label)) for label in labels]
    for at, (one, where) in enumerate(inks):
        if where[0] < -SLACK or where[1] < -SLACK or where[2] > size[0] + SLACK or where[3] > size[1] + SLACK:
            found.append(f"outside the window: {one.text[:40]}")
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
        for other in touches[at + 1 :]:
            if overlap(box(touch), box(other)):
                found.append(f"targets overlap: {named}")
        if not touch.disabled:
            for corner, point in corners(box(touch)).items():
                if taken_by(*point) is not touch:
                    found.append(f"deaf at its {corner} corner ({point[0]:.0f}, {size[1] - point[1]:.0f}): {named}")
    return found


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
        frame.show(self.screens[name])
        settle()
        fill(self.screens[name])
        settle()


def main() -> None:
    sizes = [tuple(size) for size in json.loads(sys.argv[1])]
    gc.disable()  # thousands of parts that stay: once a size is often enough to look for rubbish among them
    for language in sys.argv[2:] or words.LANGUAGES:
        stage = Stage(language, sizes[0])
        gc.freeze()
        for size in sizes:
            stage.fit(size)
            gc.collect()
            for number, (name, state, fill) in enumerate(SAMPLES):
                if name not in stage.screens:
                    continue
                stage.set(name, fill, number)
                for fault in faults(stage.frame, size):
                    REPLIES.write(f"{size[0]}x{size[1]} {language} {name}/{state}: {fault}\n")
    unsampled = sorted(set(SCREENS) - {name for name, _, _ in SAMPLES})
    for name in unsampled:
        REPLIES.write(f"no sample of the screen {name!r} in tests/journeys/samples.py\n")
    REPLIES.write("walked\n")


if __name__ == "__main__":
    main()
