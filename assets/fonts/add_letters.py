"""Gives the four B612 files the letters of Polish, Czech, Turkish and their neighbours, from the font's own parts.

Run `python assets/fonts/add_letters.py` (needs fontTools) on files that lack them; it writes them back.  A letter is
the font's own base with the font's own accent, placed as `á` and `Á` have theirs; only the bar of `ł` and the missing
dot of `ı` are not taken over whole.  B612 has no instructions for screens (hinting) and these letters have none either.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

FILES = ("B612-Regular", "B612-Bold", "B612Mono-Regular", "B612Mono-Bold")
ABOVE = {
    "\u00b4": "ćĆńŃśŚźŹŕŔ",
    "\u02c7": "čČěĚňŇřŘžŽĎŤ",
    "\u02d8": "ğĞăĂ",
    "\u02d9": "żŻİ",
    "\u02da": "ůŮ",
    "\u02dd": "őŐűŰ",
}
BELOW = {"\u02db": "ąĄęĘ", "\u00b8": "şŞţŢ"}
BESIDE = "ďťľĽ"  # the caron of tall letters is a comma at their shoulder
BASE = dict(zip("ćńśźŕčěňřžğăżůőűąęşţďťľ", "cnszrcenrzgazuouaestdtl", strict=True)) | {"ı": "i", "ł": "l"}
LEAN = 0.45  # of the bar of an l


class Letters:
    """One font file and what is drawn into it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._font = TTFont(path)
        self._glyphs, self._names = self._font.getGlyphSet(), self._font.getBestCmap()
        self._table, self._widths = self._font["glyf"], self._font["hmtx"]
        self._mono = len({self._widths[self._names[ord(each)]][0] for each in "iMW"}) == 1
        self._hung = {True: self._placed("Á", "A"), False: self._placed("á", "a")}

    def box(self, letter: str) -> tuple[float, float, float, float]:
        """Left, foot, right and top of the ink."""
        glyph = self._table[self._names[ord(letter)]]
        return glyph.xMin, glyph.yMin, glyph.xMax, glyph.yMax

    def _placed(self, whole: str, base: str) -> tuple[float, float]:
        """How far the font moves its acute: across from the middle of a base, and up."""
        left, _, right, _ = self.box(base)
        ends = self._table[self._names[ord(whole)]]
        points, last, _ = ends.getCoordinates(self._table)
        parts, begin = [], 0
        for end in last:
            parts.append(points[begin : end + 1])
            begin = end + 1
        accent = max(parts, key=lambda part: min(y for _, y in part))
        acute = self.box("\u00b4")
        across = (min(x for x, _ in accent) + max(x for x, _ in accent)) / 2 - (left + right) / 2
        return across, max(y for _, y in accent) - acute[3]

    def add(self) -> int:
        """Draw every letter the file lacks; how many."""
        made = 0
        for accent, letters in (ABOVE | BELOW).items():
            for letter in letters:
                made += self._put(letter, lambda pen, letter=letter, accent=accent: self._with(pen, letter, accent))
        for letter in BESIDE:
            made += self._put(letter, lambda pen, letter=letter: self._shouldered(pen, letter))
        for letter in "łŁ":
            made += self._put(letter, lambda pen, letter=letter: self._barred(pen, letter))
        made += self._put("ı", self._dotless)
        if made:
            self._font["OS/2"].ulUnicodeRange1 |= 1 << 2  # Latin Extended-A
            self._font["OS/2"].ulCodePageRange1 |= 1 << 1 | 1 << 4  # Latin 2, Turkish
            self._font.save(self._path)
        return made

    def _put(self, letter: str, draw: Any) -> bool:
        if ord(letter) in self._names:
            return False
        pen = TTGlyphPen(None)
        wider = draw(pen) or 0
        name = f"uni{ord(letter):04X}"
        base = self._names[ord(_base(letter))]
        self._font.setGlyphOrder([*self._font.getGlyphOrder(), name])
        self._table[name] = pen.glyph()
        self._table[name].recalcBounds(self._table)
        self._widths[name] = (self._widths[base][0] + (0 if self._mono else round(wider)), self._table[name].xMin)
        for table in self._font["cmap"].tables:
            if table.isUnicode():
                table.cmap[ord(letter)] = name
        return True

    def _draw(self, pen: Any, letter: str, across: float = 0, up: float = 0, size: float = 1.0) -> None:
        self._glyphs[self._names[ord(letter)]].draw(TransformPen(pen, (size, 0, 0, size, across, up)))

    def _with(self, pen: Any, letter: str, accent: str) -> None:
        base = _base(letter)
        left, _, right, top = self.box(base)
        x0, _, x1, _ = self.box(accent)
        self._draw(pen, base)
        middle = (left + right) / 2 - (x0 + x1) / 2
        if accent in ABOVE:
            tall = top > self.box("x")[3] * 1.2
            across, up = self._hung[tall]
            self._draw(pen, accent, middle + (across if accent == "\u00b4" else 0), up)
        elif accent == "\u02db":  # hangs at the right foot
            self._draw(pen, accent, right - x1 + (x1 - x0) * 0.2, 0)
        else:
            self._draw(pen, accent, middle, 0)

    def _shouldered(self, pen: Any, letter: str) -> float:
        base = _base(letter)
        right, top = self.box(base)[2], self.box("l")[3]
        x0, _, x1, y1 = self.box("\u2019")
        size = 0.7 if self._mono else 0.85
        gap = 0.06 * (x1 - x0) if self._mono else 0.2 * (x1 - x0)
        stem = right if base in "dL" and not self._mono else min(right, self.box(base)[0] + (x1 - x0) * 2)
        at = stem + gap
        if base == "L":
            at = self.box("L")[0] + (x1 - x0) * 1.8
        self._draw(pen, base)
        self._draw(pen, "\u2019", at - x0 * size, top - y1 * size, size)
        return max(0.0, at + (x1 - x0) * size - right)

    def _barred(self, pen: Any, letter: str) -> None:
        base = _base(letter)
        left, _, _, top = self.box(base)
        parts = self.box("i")
        stem = self._stem()
        middle = left + stem / 2 if base == "L" or not self._mono else (parts[0] + parts[2]) / 2
        half, thick = stem * 1.35, (self.box("-")[3] - self.box("-")[1]) * 0.9
        foot = top * 0.5 - thick / 2
        self._draw(pen, base)
        for step, (x, y) in enumerate(
            ((middle + half, foot + half * LEAN), (middle + half, foot + half * LEAN + thick),
             (middle - half, foot - half * LEAN + thick), (middle - half, foot - half * LEAN))
        ):  # fmt: skip
            (pen.lineTo if step else pen.moveTo)((round(x), round(y)))
        pen.closePath()

    def _stem(self) -> float:
        """How wide an upright is: the bar `|` of the font is as wide as its I where it has no feet."""
        left, _, right, _ = self.box("I" if not self._mono else "|")
        return right - left

    def _dotless(self, pen: Any) -> None:
        whole = DecomposingRecordingPen(self._glyphs)
        self._glyphs[self._names[ord("i")]].draw(whole)
        part: list[Any] = []
        for step in whole.value:
            part.append(step)
            if step[0] in ("closePath", "endPath"):
                if min(point[1] for _, points in part for point in points) < self.box("x")[3] / 2:  # not the dot
                    for name, points in part:
                        getattr(pen, name)(*points)
                part = []


def _base(letter: str) -> str:
    small = BASE.get(letter) or BASE.get(letter.lower(), "i")
    return small if letter in BASE else small.upper()


if __name__ == "__main__":
    for name in sys.argv[1:] or FILES:
        path = Path(__file__).with_name(f"{name}.ttf")
        print(f"{path.name}: {Letters(path).add()} letters added")
