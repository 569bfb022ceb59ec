"""What the page's style sheet promises to eyes: letters that stand out of their ground, and as large as one has set."""

from __future__ import annotations

import re

import pytest

from kiosk import where

SHEET = (where.assets() / "handheld" / "page.css").read_text("utf-8")
# Colours that letters or signs have, with the grounds they stand on.
WRITTEN = {
    "text": ("ground", "surface", "raised"), "quiet": ("ground", "surface", "raised"), "act-ink": ("act",),
    "heat-ink": ("heat-ground",), "heat": ("ground", "surface"), "done": ("surface",), "stop": ("ground", "surface"),
}  # fmt: skip


def colours(light: bool) -> dict[str, str]:
    roots = re.findall(r":root \{(.*?)\}", SHEET, re.S)
    found = dict(re.findall(r"--([\w-]+): (#\w+)", roots[0]))
    return found | dict(re.findall(r"--([\w-]+): (#\w+)", roots[1])) if light else found


def contrast(one: str, other: str) -> float:
    """Source: WCAG 2.2, relative luminance and contrast ratio."""

    def luminance(colour: str) -> float:
        digits = colour.lstrip("#")
        digits = "".join(2 * each for each in digits) if len(digits) == 3 else digits
        parts = (int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4))
        red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    dark, bright = sorted((luminance(one), luminance(other)))
    return (bright + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("light", [False, True])
def test_letters_and_signs_stand_out_of_every_ground_they_are_written_on(light: bool) -> None:
    of = colours(light)
    weak = [
        (colour, ground, round(contrast(of[colour], of[ground]), 2))
        for colour, grounds in WRITTEN.items()
        for ground in grounds
        if contrast(of[colour], of[ground]) < 4.5
    ]
    assert weak == []
    assert contrast(of["line"], of["surface"]) >= 3.0, "the frame of what is typed into"


def test_letters_grow_with_the_size_that_is_set_in_the_browser() -> None:
    assert re.findall(r"font(?:-size)?: [^;]*\dpx[^;]*;", SHEET) == []
    assert "text-size-adjust: none" not in SHEET
