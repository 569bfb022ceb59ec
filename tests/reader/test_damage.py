"""How damaged a label in a stream is: told once when it comes into view, by the best of a few frames."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kiosk.bench.scene_frame import label
from kiosk.bench.scenes import Scene, draw, random_flat, random_scene
from kiosk.reader import wear
from kiosk.reader.damage import GONE_S, LOOKS, TRIES, Damage, Looks
from kiosk.reader.decode import LiveReader
from kiosk.reader.symbols import Reading, Symbol
from tests.reader.test_wear import MODULE_PX, QUIET

SQUARE = ((10.0, 10.0), (90.0, 10.0), (90.0, 90.0), (10.0, 90.0))
IMAGE = np.zeros((100, 100), np.uint8)
NOTHING = Reading((), (), 1.0)


def shown(*texts: str) -> Reading:
    return Reading(tuple(Symbol(text, "QRCode", SQUARE) for text in texts), (), 1.0)


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch) -> dict[str, list[float | None]]:
    """What the look at each label says, frame by frame; the last again and again."""
    answers: dict[str, list[float | None]] = {}

    def spent_of(_: object, symbol: Symbol) -> float | None:
        left = answers[symbol.text]
        return left.pop(0) if len(left) > 1 else left[0]

    monkeypatch.setattr(wear, "spent_of", spent_of)
    return answers


def test_a_label_is_told_of_once_by_the_best_of_a_few_frames_and_again_when_it_comes_back(
    said: dict[str, list[float | None]],
) -> None:
    looks, begun_s = Looks(), 7.2e6
    said["A"] = [0.75, None, 0.5, 0.625, 0.25]
    told = [looks.feed(shown("A"), IMAGE, begun_s + 0.1 * at) for at in range(30)]
    assert [each for each in told if each] == [(Damage("A", 0.5),)] and told[LOOKS] == (Damage("A", 0.5),)
    assert looks.feed(NOTHING, IMAGE, begun_s + 3.0 + GONE_S) == ()
    told = [looks.feed(shown("A"), IMAGE, begun_s + 10.0 + 0.1 * at) for at in range(30)]
    assert [each for each in told if each] == [(Damage("A", 0.25),)]


def test_a_whole_label_needs_one_look(said: dict[str, list[float | None]]) -> None:
    said["A"] = [0.0]
    assert Looks().feed(shown("A"), IMAGE, 5.0) == (Damage("A", 0.0),)


def test_a_label_that_is_soon_gone_is_told_of_as_it_was_seen(said: dict[str, list[float | None]]) -> None:
    looks = Looks()
    said["A"] = [0.5]
    assert looks.feed(shown("A"), IMAGE, 5.0) == looks.feed(NOTHING, IMAGE, 5.0 + 0.9 * GONE_S) == ()
    assert looks.feed(NOTHING, IMAGE, 5.0 + GONE_S) == (Damage("A", 0.5),)


def test_of_a_label_that_cannot_be_judged_nothing_is_said_and_the_looks_end(
    said: dict[str, list[float | None]],
) -> None:
    looks = Looks()
    said["A"] = [None] * TRIES + [0.0]
    assert all(looks.feed(shown("A"), IMAGE, 0.1 * at) == () for at in range(100))


def test_of_a_drawer_full_one_label_a_frame_is_looked_at(said: dict[str, list[float | None]]) -> None:
    looks, many = Looks(), [f"L{at}" for at in range(60)]
    said |= {text: [0.0] for text in many}
    told = [looks.feed(shown(*many), IMAGE, 0.1 * at) for at in range(60)]
    assert all(len(each) == 1 for each in told)
    assert {each.text for (each,) in told} == set(many)


def test_a_label_that_wears_over_weeks_is_said_to_be_worse_week_by_week() -> None:
    for seed in (74, 77):
        weeks = [damages(scene(seed), gone) for gone in (0, 4, 5, 8)]
        spent = [each.spent for each in sum(weeks, ())]
        assert len(spent) == 4 and spent == sorted(spent)
        assert spent[0] == 0.0 and spent[1] < 0.5 <= spent[2] and spent[3] == 1.0


def scene(seed: int, text: str = "") -> Scene:
    """A drawn label, every second on steel, in even light."""
    chance = np.random.default_rng([seed, 31])
    made = random_flat(chance) if seed % 2 else random_scene(chance)
    return replace(made, text=text or made.text, oil=0.0, scratches=0, glare=0.0, motion_px=0.0)


def damages(made: Scene, gone: int) -> tuple[Damage, ...]:
    """What is told of the label in a few frames, with so many rows and columns of its middle rubbed off."""
    ink, cover = label(made, np.random.default_rng(0))
    ink, first, edge = ink.copy(), (9 + QUIET) * MODULE_PX, gone * MODULE_PX
    ink[first : first + edge, first : first + edge] = ink.max()
    picture, reader, looks = draw(made, 1, (ink, cover)), LiveReader(), Looks()
    told: tuple[Damage, ...] = ()
    for at in range(LOOKS + 1):
        frame = np.clip(picture.astype(np.int16) + at, 0, 255).astype(np.uint8)  # no two frames of a camera agree
        told = looks.feed(reader.next(frame), frame, 0.1 * at)
        if told:
            break
    return told
