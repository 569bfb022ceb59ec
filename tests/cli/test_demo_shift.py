"""The demo shift, played from its photographs, comes to what its list of steps promises."""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest

from kiosk import where
from kiosk.desk import Desk
from kiosk.exchange.shop import read_shop
from kiosk.reader.decode import read
from kiosk.rehearsal import Played, clock_for_now, play, steps_in

SHIFT = where.demo_tags() / "shift"


def steps() -> list[dict[str, str]]:
    with (SHIFT / "steps.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


class Shift:
    """The shift as played once: what each file came to, and where everything stood at its end."""

    def __init__(self, data: Path) -> None:
        clock = clock_for_now()
        with Desk.open(data, counter=clock.counter, wall=clock.wall) as desk:
            desk.shop.load(read_shop(where.demo_tags()))
            self.played: dict[str, list[Played]] = {}
            for played in play(desk, clock, steps_in(SHIFT)):
                self.played.setdefault(played.step, []).append(played)
            keys = {row["key"] for row in csv.DictReader((where.demo_tags() / "holders.csv").open(encoding="utf-8"))}
            cards = {key: desk.session.holder(key) for key in keys}
            self.places = {key: card.at.name if card.at else None for key, card in cards.items()}


@pytest.fixture(scope="module")
def shift(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shift]:
    yield Shift(tmp_path_factory.mktemp("shift"))


def test_every_file_of_the_shift_is_in_its_list_and_the_other_way_round() -> None:
    assert [row["file"] for row in steps()] == [path.name for path in steps_in(SHIFT)]


@pytest.mark.parametrize("row", steps(), ids=lambda row: row["file"])
def test_the_step_comes_to_what_the_list_promises(shift: Shift, row: dict[str, str]) -> None:
    for played in shift.played[row["file"]]:
        assert " ".join(filter(None, (played.outcome, played.reason))) == row["expect"], row["what"]


def test_the_shift_shows_what_a_newcomer_should_see(shift: Shift) -> None:
    reasons = [played.reason for found in shift.played.values() for played in found if played.reason]
    assert reasons.count("hot") >= 1
    assert reasons.count("pocket_blocked") >= 2
    outcomes = {played.outcome for found in shift.played.values() for played in found}
    assert outcomes == {"done", "wait", "refused", "unread", "waited"}
    says = {said.key for found in shift.played.values() for played in found for said in played.says}
    assert {"undone", "audit.misplaced"} <= says


def test_the_hot_holder_is_counted_as_hot_from_the_shrink_station_until_its_reading(shift: Shift) -> None:
    hot = {name: found[-1].hot for name, found in shift.played.items()}
    assert hot["002-holder.jpg"] == 0
    assert {hot[name] for name in hot if "003" <= name < "024"} == {1}
    assert {hot[name] for name in hot if name >= "024"} == {0}


def test_at_the_end_everything_stands_where_the_shift_left_it(shift: Shift) -> None:
    assert shift.places["T001"] == "Cabinet A · 1-05"
    assert shift.places["T006"] == "Mill 1 · pocket 01"
    assert shift.places["T011"] == "Cabinet B · 1-05"
    assert shift.places["T033"] == "Bench 2"
    assert shift.places["T008"] == "Cabinet A · 2-02"


def test_a_picture_drawn_from_the_list_shows_the_code_the_list_names(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(where.demo_tags()))
    import make_shift

    known = make_shift.marks(where.demo_tags())
    drawn = {}
    for name, style in (("T012", "steel"), ("Mill 3 · 07", "flat"), ("kim", "card")):
        packed = make_shift.step_file(name, style, 5, known)
        assert len(packed) <= 150_000
        picture = cv2.imdecode(np.frombuffer(packed, np.uint8), cv2.IMREAD_COLOR)
        assert picture is not None
        drawn[name] = [symbol.text for symbol in read(picture, None).symbols]
    assert drawn == {name: [known[name].code] for name in drawn}
    sys.modules.pop("make_shift")


def test_a_list_that_names_nothing_in_the_shop_is_refused_with_its_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(where.demo_tags()))
    import make_shift

    head = "file,shows,style,take,what,expect\n001-badge.jpg,jo,card,1,a badge,done\n"
    (tmp_path / "steps.csv").write_text(head + "002-holder.jpg,T999,steel,2,nothing,done\n", encoding="utf-8")
    with pytest.raises(make_shift.StepsFault, match=r"line 3: nothing in the shop is called 'T999'"):
        make_shift.make(tmp_path)
    sys.modules.pop("make_shift")


def test_the_pictures_are_small_enough_to_carry_along() -> None:
    sizes = [path.stat().st_size for path in SHIFT.glob("*.jpg")]
    assert max(sizes) < 150_000
    assert sum(sizes) < 6_000_000
