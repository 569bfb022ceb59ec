"""Corrections from a shell: facts, place, label, a holder gone, and a supervisor's PIN."""

from __future__ import annotations

from pathlib import Path

import pytest

from kiosk.cli import main
from kiosk.commands.output import DONE, WANTING, WRONG
from kiosk.desk import Desk
from kiosk.desk.people import PinRefused
from kiosk.rules.cards import RetiredCode
from tests.conftest import Shop

PIN = "4711"


@pytest.fixture
def data(shop: Shop) -> Path:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    shop.desk.close()
    return shop.folder


@pytest.fixture
def kim(tmp_path: Path) -> list[str]:
    """Who answers for it."""
    pin = tmp_path / "pin.txt"
    pin.write_text(PIN)
    return ["--supervisor", "kim", "--pin-file", str(pin)]


def run(data: Path, *said: str) -> int:
    return main([*said, "--data", str(data)])


def test_facts_and_place_are_set_right_by_a_supervisor_with_a_reason(
    data: Path, kim: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    right = ("correct", "T005", "--reach", "101.5", "--name", "Shrink long", "--place", "Bench 2")
    assert run(data, *right, "--reason", "measured again") == WANTING  # nobody's PIN
    assert run(data, *right, *kim) == WANTING  # no reason
    assert run(data, *right, "--reason", "measured again", *kim) == DONE
    assert "Shrink long  Bench 2" in capsys.readouterr().out
    with Desk.open(data) as desk:
        card = desk.session.holder("T005")
        assert (card.holder.projection_mm, card.at.name if card.at else None) == (101.5, "Bench 2")
    assert run(data, "correct", "T005", "--nowhere", "--reason", "looked everywhere", *kim) == DONE
    with Desk.open(data) as desk:
        assert desk.session.holder("T005").at is None


def test_a_holder_nobody_can_make_and_a_place_nobody_knows_are_turned_away(
    data: Path, kim: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(data, "correct", "T005", "--bore", "60", "--nose", "24", "--reason", "typed", *kim) == WRONG
    assert "T005" in capsys.readouterr().err
    assert run(data, "correct", "T005", "--place", "Bench 99", "--reason", "typed", *kim) == WRONG
    assert run(data, "correct", "T005", "--reason", "typed", *kim) == WRONG
    assert "say what is wrong" in capsys.readouterr().err


def test_a_hot_holder_is_neither_put_in_the_cabinet_nor_given_other_figures(
    shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for code in (shop.holder("T001"), shop.place("Shrink station")):
        shop.desk.scan(code)
    assert shop.desk.session.holder("T001").hold
    shop.desk.close()
    for wrong in (("--place", "Cabinet A · 1-05"), ("--reach", "200")):
        assert run(shop.folder, "correct", "T001", *wrong, "--reason", "seen there") == WANTING
        assert capsys.readouterr().err
    assert run(shop.folder, "retire", "T001", "--reason", "scrapped") == DONE
    capsys.readouterr()
    assert main(["hot", "--data", str(shop.folder)]) == DONE
    assert "Shrink station" in capsys.readouterr().out  # gone from the shop's list, and hot still


def test_a_lost_label_is_read_no_more_and_only_a_holders_can_be_lost(data: Path, kim: list[str]) -> None:
    with Desk.open(data) as desk:
        text, bench = desk.session.holder("T005").code, desk.session.cards.find_place("Bench 1")
    assert bench is not None
    because = ("--reason", "lost", *kim)
    assert run(data, "retire-label", bench, *because) == WRONG
    assert run(data, "retire-label", text, *because) == DONE
    assert run(data, "retire-label", text, *because) == WRONG  # it is none any more
    with Desk.open(data) as desk:
        assert isinstance(desk.session.cards.subject(text), RetiredCode)
        assert desk.session.holder("T005").code == "T005"
        assert desk.session.book.check() == []


def test_a_pin_is_chosen_and_changed_and_the_old_one_opens_nothing(
    data: Path, kim: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    new = tmp_path / "new.txt"
    new.write_text("24")
    assert run(data, "pin", "Kim Vale", "--new-pin-file", str(new), *kim) == WRONG
    assert "4 to 9 figures" in capsys.readouterr().err
    new.write_text("2468\n")
    assert run(data, "pin", "Kim Vale", "--new-pin-file", str(new)) == WANTING  # without the old one
    assert run(data, "pin", "sam", "--new-pin-file", str(new), *kim) == WRONG  # no supervisor
    assert run(data, "pin", "Kim Vale", "--new-pin-file", str(new), *kim) == DONE
    with Desk.open(data) as desk:
        with pytest.raises(PinRefused):
            desk.people.unlock("kim", PIN)
        assert desk.people.unlock("kim", "2468").key == "kim"
