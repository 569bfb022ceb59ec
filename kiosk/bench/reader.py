"""Reading rates and costs beside zxing-cpp and pyzbar, on the same pixels in one run.

Live frames of our own labels on round steel, the same stream without a label, drawer photographs, and a folder of
photographs with outlines where one is given.  A symbol counts as read when its text is right, or, for photographs,
when its centre lies in the outline.  It never counts a remedy's time out; processor time on one thread unless said.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from statistics import mean

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray
from pyzbar import pyzbar

from kiosk.bench import scenes
from kiosk.bench.ratio import Ratio
from kiosk.bench.scene_marks import Way, random_mark
from kiosk.reader.decode import LiveReader, read
from kiosk.reader.files import load
from kiosk.reader.search import OTHERS, QR
from kiosk.reader.stream import Tracker

BENCH = "reader"
COUNTED = 110  # frames that a cost is the mean of: every remedy has its turn
FRAMES = 3  # a label held before the camera must be read within so many
BUDGET_MS = 400.0
Grey = NDArray[np.uint8]
Found = list[tuple[str, tuple[float, float]]]


def run(quick: bool = False, photos: Path | None = None) -> Iterator[Ratio]:
    """Rows for `bench reader`; about four minutes, quick: half a minute.

    photos: folder with `truth.json`, {picture: [outline, ...]} in pixels of the stored pictures.
    """
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield from _live(20 if quick else 200)
        yield from _without_label(15 if quick else 60)
        yield from _on_the_wall(2 if quick else 12)
        yield from _in_steel(12 if quick else 90)
        yield from _drawers(1 if quick else 5)
        if photos is not None:
            yield from _photographs(photos, quick)
    finally:
        cv2.setNumThreads(threads)


def _row(case: str, peer: str, ours: float, theirs: float, unit: str, smaller_is_better: bool = False) -> Ratio:
    over, under = (theirs, ours) if smaller_is_better else (ours, theirs)
    least = 1.0 if unit == "labels" else 0.001  # a peer that reads nothing at all still has a ratio
    return Ratio(BENCH, case, peer, ours, theirs, over / max(under, least), unit)


def _by_zxing(grey: Grey) -> Found:
    """zxing-cpp bare, on the formats that we read."""
    found = []
    for barcode in zxingcpp.read_barcodes(grey, formats=(QR, *OTHERS)):
        place = barcode.position
        corners = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
        found.append((barcode.text, (mean(p.x for p in corners), mean(p.y for p in corners))))
    return found


def _by_pyzbar(grey: Grey) -> Found:
    found = []
    for symbol in pyzbar.decode(grey, symbols=[pyzbar.ZBarSymbol.QRCODE]):
        middle = (mean(p.x for p in symbol.polygon), mean(p.y for p in symbol.polygon))
        found.append((symbol.data.decode(errors="replace"), middle))
    return found


PEERS: tuple[tuple[str, Callable[[Grey], Found]], ...] = (("zxing-cpp", _by_zxing), ("pyzbar", _by_pyzbar))


def _grey(picture: Grey) -> Grey:
    return picture if picture.ndim == 2 else np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)


def _live(labels: int) -> Iterator[Ratio]:
    """Labels read within the first and within three frames; the scenes are numbered, so they are always the same."""
    ours, first, frames_ms = 0, 0, []
    theirs = dict.fromkeys((name for name, _ in PEERS), 0)
    theirs_first = dict(theirs)
    false = 0
    for number in range(labels):
        held = scenes.live(number, FRAMES)
        frames = [_grey(frame) for frame in held.frames]
        reader = LiveReader()
        readings = [reader.next(frame) for frame in frames]
        frames_ms += [reading.ms for reading in readings]
        texts = [{symbol.text for symbol in reading.symbols} for reading in readings]
        ours += any(held.scene.text in seen for seen in texts)
        first += held.scene.text in texts[0]
        false += sum(len(seen - {held.scene.text}) for seen in texts)
        for name, peer in PEERS:
            hits = [any(text == held.scene.text for text, _ in peer(frame)) for frame in frames]
            theirs[name] += any(hits)
            theirs_first[name] += hits[0]
    for name, _ in PEERS:
        yield _row(f"label read within {FRAMES} frames", name, ours / labels, theirs[name] / labels, "share")
        yield _row("label read in the first frame", name, first / labels, theirs_first[name] / labels, "share")
    budget = LiveReader().budget_ms
    yield _row("slowest frame against its budget", "budget", max(frames_ms), budget, "ms", smaller_is_better=True)
    yield Ratio(BENCH, "false texts on live frames", "none", float(false), 0.0, 1.0 if not false else 0.0, "texts")


def _cpu_ms(work: Callable[[Grey], object], picture: Grey) -> float:
    began = time.thread_time()
    work(picture)
    return (time.thread_time() - began) * 1e3


def _without_label(frames: int) -> Iterator[Ratio]:
    """What a frame without a label costs, remedies in turn."""
    pictures = [_grey(scenes.draw_empty(number)) for number in range(frames)]
    reader = LiveReader()
    ours, false = [], 0
    bare: dict[str, list[float]] = {
        "zxing-cpp, every format": [], "zxing-cpp, the same formats": [], "zxing-cpp, QR alone": [], "pyzbar": [],
    }  # fmt: skip
    for picture in pictures:
        ours.append(_cpu_ms(reader.next, picture))
        false += len(read(picture, BUDGET_MS).symbols)
        bare["zxing-cpp, the same formats"].append(_cpu_ms(_by_zxing, picture))
        bare["zxing-cpp, every format"].append(_cpu_ms(zxingcpp.read_barcodes, picture))
        bare["zxing-cpp, QR alone"].append(_cpu_ms(partial(zxingcpp.read_barcodes, formats=QR), picture))
        bare["pyzbar"].append(_cpu_ms(_by_pyzbar, picture))
    for name, costs in bare.items():
        yield _row("frame without a label", name, mean(ours), mean(costs), "ms", smaller_is_better=True)
    yield Ratio(BENCH, "false texts without a label", "none", float(false), 0.0, 1.0 if not false else 0.0, "texts")


def _look(reader: LiveReader, tracker: Tracker, at_s: float, grey: Grey) -> None:
    tracker.feed(reader.next(grey, tracker.keen), grey, at_s)


def _on_the_wall(benches: int) -> Iterator[Ratio]:
    """What an open kiosk costs at 15 frames a second while nobody is there, and while a hand works in its view."""
    ours: dict[str, list[float]] = {"a still picture": [], "a hand that moves in it": []}
    theirs = {case: list[float]() for case in ours}
    for number in range(benches):
        rng = np.random.default_rng([number, 5])
        still = _grey(scenes.draw_empty(number)).astype(np.float32)
        noise = rng.normal(0, 3, still.shape).astype(np.float32)
        hand = cv2.GaussianBlur(rng.normal(0, 200, (300, 220)).astype(np.float32), (0, 0), 9) + 120
        reader, tracker = LiveReader(), Tracker()
        for frame in range(150 + 2 * COUNTED):
            moves = frame >= 150 + COUNTED
            picture = still + np.roll(noise, rng.integers(0, 700, 2), (0, 1))
            if moves:
                x, y = (int(200 + 9 * (frame % 80)), 200 + frame % 60)
                picture[y : y + 300, x : x + 220] = hand
            grey = np.clip(picture, 0, 255).astype(np.uint8)
            cost = _cpu_ms(partial(_look, reader, tracker, frame / 15), grey)
            if frame >= 150:
                case = "a hand that moves in it" if moves else "a still picture"
                ours[case].append(cost)
                theirs[case].append(_cpu_ms(partial(zxingcpp.read_barcodes, formats=QR), grey))
    for case, costs in ours.items():
        bare = mean(theirs[case])
        yield _row(f"a frame of {case}", "zxing-cpp, QR alone", mean(costs), bare, "ms", smaller_is_better=True)
        yield _row(
            f"share of a core at 15 frames a second, {case}", "zxing-cpp, QR alone",
            mean(costs) * 15e-3, bare * 15e-3, "of a core", smaller_is_better=True,
        )  # fmt: skip


def _in_steel(count: int) -> Iterator[Ratio]:
    """Data Matrix symbols marked into steel, by the way they were made; scenes that were not tuned on."""
    ours: dict[str, list[bool]] = {way.value: [] for way in Way}
    theirs: dict[str, list[bool]] = {way.value: [] for way in Way}
    false = 0
    for number in range(5000, 5000 + count):
        marked = random_mark(number)
        grey = _grey(marked.picture)
        seen = {symbol.text for symbol in read(grey, BUDGET_MS).symbols}
        ours[marked.way.value].append(marked.text in seen)
        false += len(seen - {marked.text})
        theirs[marked.way.value].append(any(text == marked.text for text, _ in _by_zxing(grey)))
    for way in ours:
        if ours[way]:
            yield _row(f"Data Matrix {way} in steel", "zxing-cpp", mean(ours[way]), mean(theirs[way]), "share")
    every = [[hit for hits in side.values() for hit in hits] for side in (ours, theirs)]
    yield _row("Data Matrix in steel", "zxing-cpp", mean(every[0]), mean(every[1]), "share")
    yield Ratio(BENCH, "false texts in steel", "none", float(false), 0.0, 1.0 if not false else 0.0, "texts")


def _drawers(photos: int) -> Iterator[Ratio]:
    """60 labels in a 12-megapixel photograph: how many, and how long by the clock on the wall."""
    ours, seconds = 0, []
    theirs = dict.fromkeys((name for name, _ in PEERS), 0)
    for number in range(photos):
        rng = np.random.default_rng([number, 60])
        codes = {scenes.random_code(rng) for _ in range(60)}
        picture = _grey(scenes.drawer_photo(sorted(codes), number).picture)
        began = time.perf_counter()
        ours += len(codes & {symbol.text for symbol in read(picture, None).symbols})
        seconds.append(time.perf_counter() - began)
        for name, peer in PEERS:
            theirs[name] += len(codes & {text for text, _ in peer(picture)})
    for name, _ in PEERS:
        yield _row("labels of a drawer", name, ours / photos, theirs[name] / photos, "labels")
    yield _row("drawer photograph", "one second", mean(seconds), 1.0, "s", smaller_is_better=True)


def _photographs(folder: Path, quick: bool) -> Iterator[Ratio]:
    """Photographs with marked codes, a row for each folder of trouble and one for their mean."""
    truth: dict[str, list[list[list[float]]]] = json.loads((folder / "truth.json").read_text())
    names = sorted(truth)[:: 6 if quick else 1]
    kinds = sorted({name.split("/")[0] for name in names})
    rates: dict[str, list[float]] = {name: [] for name in ("ours", *(name for name, _ in PEERS))}
    for kind in kinds:
        marked = 0
        hits = dict.fromkeys(rates, 0)
        for name in (name for name in names if name.split("/")[0] == kind):
            picture = load(folder / name)
            centres = {"ours": [symbol.centre for symbol in read(picture, BUDGET_MS).symbols]}
            centres |= {peer: [middle for _, middle in look(picture)] for peer, look in PEERS}
            marked += len(truth[name])
            for who, points in centres.items():
                hits[who] += sum(_within(outline, points) for outline in truth[name])
        for who, count in hits.items():
            rates[who].append(count / marked)
        for name, _ in PEERS:
            yield _row(f"photographs: {kind}", name, rates["ours"][-1], rates[name][-1], "share")
    for name, _ in PEERS:
        yield _row("photographs: mean of kinds", name, mean(rates["ours"]), mean(rates[name]), "share")


def _within(outline: list[list[float]], points: list[tuple[float, float]]) -> bool:
    quad = np.array(outline, np.float32)
    return any(cv2.pointPolygonTest(quad, point, False) >= 0 for point in points)
