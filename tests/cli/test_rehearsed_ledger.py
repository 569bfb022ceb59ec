"""Pretended time goes only where rehearsals alone have written."""

from __future__ import annotations

from pathlib import Path

import pytest

from kiosk.cli import main
from kiosk.commands.output import DONE, WRONG
from kiosk.desk import Desk
from kiosk.ledger.book import NAME, Book
from kiosk.rules.lines import SignedOut
from tests.conftest import Shop
from tests.faults.test_restore import heat


@pytest.fixture
def steps(tmp_path: Path) -> Path:
    folder = tmp_path / "steps"
    folder.mkdir()
    (folder / "001-wait.txt").write_text("wait 90000 s")
    return folder


def test_a_rehearsal_touches_no_ledger_of_a_real_kiosk(
    shop: Shop, steps: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop.clock.forward(30 * 3600.0)
    heat(shop, "T002")
    shop.desk.close()
    stood = (shop.folder / NAME).read_bytes()
    assert main(["rehearse", str(steps), "--data", str(shop.folder)]) == WRONG
    assert "rehearsal" in capsys.readouterr().err
    assert (shop.folder / NAME).read_bytes() == stood
    assert [card.holder.key for card in shop.reopen().heat.board()] == ["T002"]


def test_a_rehearsal_goes_on_in_a_folder_of_its_own(steps: Path, tmp_path: Path) -> None:
    for _ in range(2):
        assert main(["rehearse", str(steps), "--data", str(tmp_path / "play")]) == DONE


@pytest.mark.parametrize("how", ["opened", "opened as rehearsal", "a line"])
def test_a_rehearsed_ledger_that_anything_else_wrote_to_is_no_rehearsals_any_more(
    steps: Path, tmp_path: Path, how: str
) -> None:
    play = tmp_path / "play"
    assert main(["rehearse", str(steps), "--data", str(play)]) == DONE
    if how == "opened as rehearsal":  # a shop may call its kiosk anything
        (play / "settings.toml").write_text('[kiosk]\nname = "rehearsal"\n')
    if how == "a line":
        with Book.open(play) as book:
            book.append([SignedOut("jo")])
    else:
        Desk.open(play).close()
    assert main(["rehearse", str(steps), "--data", str(play)]) == WRONG
