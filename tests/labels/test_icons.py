"""Icons and signs are what their script draws today, and each can be told from the others."""

from __future__ import annotations

import re
import runpy
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from kiosk import where

KEPT = where.assets() / "icons"


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("icons")
    runpy.run_path(str(KEPT / "make_icons.py"))["write"](out)
    return out


def pixels(path: Path) -> np.ndarray:
    return np.asarray(Image.open(path).convert("RGBA")).astype(int)


def test_the_kept_drawings_are_those_of_the_script(fresh: Path) -> None:
    for path in sorted(fresh.iterdir()):
        kept = KEPT / path.name
        if path.suffix == ".svg":
            assert path.read_text() == kept.read_text(), path.name
        else:
            assert np.array_equal(pixels(path), pixels(kept)), path.name
    assert {path.name for path in KEPT.iterdir() if path.suffix != ".py" and path.is_file()} == {
        path.name for path in fresh.iterdir()
    }


def test_icons_are_white_on_nothing_fill_their_square_and_differ(fresh: Path) -> None:
    colourful = ("app", "hot-surface", "alarm")
    icons = {path.stem: pixels(path) for path in fresh.glob("*.png") if path.stem not in colourful}
    for name, drawn in icons.items():
        alpha = drawn[..., 3]
        rows, columns = np.nonzero(alpha > 128)
        assert drawn.shape == (96, 96, 4), name
        assert max(np.ptp(rows), np.ptp(columns)) >= 64, name
        assert 0.04 < np.mean(alpha > 128) < 0.7, name
        assert np.all(drawn[alpha > 200][:, :3] > 250), name
    for one, other in combinations(icons, 2):
        assert np.mean((icons[one][..., 3] > 128) ^ (icons[other][..., 3] > 128)) > 0.01, (one, other)


def test_the_hot_sign_is_black_on_yellow_with_half_its_area_in_colour(fresh: Path) -> None:
    drawn = pixels(fresh / "alarm.png")
    solid = drawn[..., 3] > 200
    yellow = solid & (drawn[..., 0] > 200) & (drawn[..., 2] < 60)
    black = solid & (drawn[..., :3].sum(axis=2) < 60)
    assert np.sum(yellow) / np.sum(solid) >= 0.5  # ISO 3864-1
    assert np.sum(yellow | black) / np.sum(solid) > 0.95


def test_every_svg_is_well_formed_and_has_no_picture_of_somebody_else(fresh: Path) -> None:
    for path in fresh.glob("*.svg"):
        root = ElementTree.parse(path).getroot()
        assert root.get("viewBox") == "0 0 96 96"
        tags = {re.sub(r"{.*}", "", element.tag) for element in root.iter()}
        assert tags <= {"svg", "g", "mask", "rect", "polyline", "polygon", "circle"}, path.name
