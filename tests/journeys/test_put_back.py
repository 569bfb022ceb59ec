"""A copy put back by touch: under a hold, where the book no longer opens, and with the power going in the middle."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest

from kiosk import settings
from kiosk.ledger.book import NAME
from kiosk.ledger.restore import ASIDE
from kiosk.ledger.witness import FOLDER
from tests.journeys.display import Display
from tests.journeys.update_by_touch import choose_a_pin, type_it
from tests.journeys.window import Window

PUT_BACK = "Put a backup back"


@pytest.fixture
def opens(display: Display, tmp_path: Path) -> Iterator[Callable[..., Window]]:
    """Opens the same kiosk again and again, or one in another folder."""
    opened: list[Window] = []

    def open_one(size: tuple[int, int] = (800, 480), data: str = "data", **options: Any) -> Window:
        opened.append(Window(display, size, tmp_path / data, **options))
        return opened[-1]

    yield open_one
    for window in opened:
        window.close()


def to_backups(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.touch("Kiosk OK?")
    kiosk.sees("to look at")
    kiosk.touch("backup yet" if "No backup yet" in str(kiosk.screen()["texts"]) else "Last one today")


def back_up(kiosk: Window) -> None:
    to_backups(kiosk)
    kiosk.touch("Back up now")
    kiosk.sees("read again and is right")
    kiosk.touch_key("back")
    kiosk.touch_key("back")
    kiosk.touch("Scan")
    kiosk.is_on("scan")


def heat(kiosk: Window, key: str) -> None:
    kiosk.read(kiosk.holder(key))
    kiosk.read(kiosk.place("Shrink station"))
    kiosk.waits_for(lambda: key in kiosk.hot(), f"{key} to be hot")


def spoil(data: Path) -> None:
    (data / NAME).write_bytes(b"the disk lost its head" * 4000)


def test_a_backup_is_put_back_under_a_hold_and_what_was_heated_since_stays_hot(kiosk: Window) -> None:
    choose_a_pin(kiosk)
    back_up(kiosk)
    heat(kiosk, "T001")
    to_backups(kiosk)
    kiosk.picture("put-back-key")
    kiosk.touch(PUT_BACK)
    kiosk.sees("Which backup", "on this tablet", "whole")
    kiosk.picture("put-back-list")
    kiosk.touch("on this tablet")
    kiosk.sees("will be gone", "counts as hot until it is read")
    kiosk.picture("put-back-one")
    kiosk.touch("Put it back", bounces=True)
    kiosk.is_on("pin")
    type_it(kiosk)
    kiosk.sees("is back", "counts as hot until it is read")
    kiosk.picture("put-back-done")
    kiosk.touch("See what is hot")
    kiosk.is_on("hot")
    assert "T001" in kiosk.hot() and kiosk.check() == []
    data = Path(str(kiosk._ask(do="desk", what="data")))
    assert len(list((data / ASIDE).glob("ledger-*.db"))) == 1, "once, however often it was touched"


def test_a_kiosk_whose_book_is_damaged_is_put_back_by_touch_and_works(
    opens: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = opens()
    back_up(kiosk)
    heat(kiosk, "T001")
    holder, slot = kiosk.holder("T001"), kiosk.place("Cabinet A · 1-05")
    kiosk.close()
    spoil(tmp_path / "data")

    kiosk = opens()
    kiosk.sees("everything counts as hot", "The record cannot be read", "on this tablet", "whole")
    kiosk.picture("unreadable-list")
    kiosk.read(holder)
    kiosk.sees("No scan is taken now")
    kiosk.touch_key("back")  # tries to open it once more
    kiosk.sees("damaged")
    kiosk.touch("on this tablet")
    kiosk.sees("is gone", "No shrink-fit holder counts as cool", "Ask a supervisor first")
    kiosk.picture("unreadable-one")
    kiosk.touch("Put it back")
    kiosk.sees("is back", "nobody knows how warm")
    kiosk.picture("unreadable-done")
    kiosk.touch_key("back")
    kiosk.is_on("scan")
    assert kiosk.check() == []
    kiosk.read(holder)
    kiosk.read(slot)
    kiosk.sees("Refused", "so it counts as hot")  # nobody knows how warm it is, so it goes nowhere
    kiosk.close()


def test_a_book_that_is_gone_offers_what_can_be_put_back(opens: Callable[..., Window], tmp_path: Path) -> None:
    kiosk = opens()
    back_up(kiosk)
    kiosk.close()
    for ending in ("", "-wal", "-shm"):
        (tmp_path / "data" / f"{NAME}{ending}").unlink(missing_ok=True)
    kiosk = opens((360, 640))
    kiosk.sees("The record cannot be read", "on this tablet")
    kiosk.touch("on this tablet")
    kiosk.touch("Put it back")
    kiosk.sees("is back")
    kiosk.close()


def test_a_window_that_is_killed_in_the_middle_leaves_the_one_book_or_the_other(
    opens: Callable[..., Window],
) -> None:
    kiosk = opens()
    back_up(kiosk)
    for key, said in (("T003", ""), ("T004", "The backup is put back")):
        heat(kiosk, key)
        to_backups(kiosk)
        kiosk.touch(PUT_BACK)
        kiosk.touch("on this tablet")
        kiosk.touch("Put it back")
        if said:
            kiosk.sees(said)
        kiosk.kill()
        kiosk = opens()
        assert kiosk.check() == [] and key in kiosk.hot()


def test_a_tablet_without_settings_says_what_came_of_it_before_it_speaks_as_the_backup_does(
    opens: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = opens()
    back_up(kiosk)
    kiosk.close()
    (tmp_path / "data" / "settings.toml").unlink(missing_ok=True)
    (copy,) = (tmp_path / "data" / "backups").glob("ledger-*.db")
    copy.with_suffix(".toml").write_text('[kiosk]\nlanguage = "de"\n', "utf-8")
    kiosk = opens()
    to_backups(kiosk)
    kiosk.touch(PUT_BACK)
    kiosk.touch("on this tablet")
    kiosk.touch("Put it back")
    kiosk.sees("is back")
    assert kiosk.passes(5.0) == "health"
    kiosk.sees("is back")
    kiosk.touch("See what is hot")
    kiosk.sees("Heiß")
    kiosk.close()


@pytest.mark.parametrize("language", ["", "English"])
def test_a_tablet_that_replaces_another_gets_that_ones_book_back_from_a_stick_and_is_asked_nothing_more(
    opens: Callable[..., Window], tmp_path: Path, language: str
) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / settings.NAME).write_text("[heat]\nlimit_c = 38.0\n", "utf-8")
    old = opens()
    heat(old, "T001")
    back_up(old)
    old.close()
    copytree(tmp_path / "data" / FOLDER, tmp_path / "media" / "SHOPSTICK" / "holder-kiosk")
    instead = {"data": "new", "demo": False, "media": str(tmp_path / "media")}
    new = opens((360, 640), **instead)
    new.sees("Which language?")
    if language:  # whoever did not see the key goes back to it
        new.touch(language)
        new.sees("What stands")
        new.touch_key("back")
        new.sees("Which language?")
    new.picture(f"put-back-first{language}")
    new.touch(PUT_BACK)
    new.sees("Which backup", "SHOPSTICK", "whole")
    new.touch_key("back")
    new.is_on("first")
    new.touch(PUT_BACK)
    new.touch("SHOPSTICK")
    new.sees("nothing is lost", "No shrink-fit holder counts as cool")
    new.picture(f"put-back-first-one{language}")
    new.touch("Put it back")
    new.sees("is back")
    new.touch("See what is hot")
    new.is_on("hot")
    assert "T001" in new.hot() and new.check() == []
    kept = settings.load(tmp_path / "new" / settings.NAME)
    assert kept.heat.limit_c == 38.0 or language, "what the shop had set comes along where nothing was set here"
    new.kill()
    again = opens((360, 640), **instead)
    again.read(again.holder("T002"))
    again.sees(again.name("T002"))
    again.is_on("scan")
    assert "T001" in again.hot()


def test_at_a_small_window_in_german_nothing_that_is_said_is_cut_and_touches_lead_all_the_way(
    opens: Callable[..., Window], tmp_path: Path
) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / settings.NAME).write_text('[kiosk]\nlanguage = "de"\n', "utf-8")
    kiosk = opens((360, 640))
    kiosk.at_corners = True

    def whole(*words: str) -> None:
        kiosk.sees(*words)
        assert kiosk.screen()["cut"] == [], words

    kiosk.touch("Betrieb")
    kiosk.touch("Kiosk OK?")
    kiosk.touch("Noch keine Sicherung")
    kiosk.touch("Jetzt sichern")
    kiosk.sees("stimmt")
    kiosk.touch_key("back")
    kiosk.touch("Letzte heute")
    kiosk.touch("Sicherung zurückholen")
    whole("Welche Sicherung zurückholen?", "auf diesem Tablet", "ganz", "Neu suchen")
    kiosk.touch("auf diesem Tablet")
    whole("Seither wurde nichts eingetragen", "gilt als heiß, bis gemessen ist.", "lässt sich ebenso zurückholen.")
    kiosk.touch("Zurückholen")
    whole("ist zurück", "Die Aufzeichnung von heute bleibt erhalten")
    kiosk.touch("Zeigen, was heiß ist")
    kiosk.is_on("hot")
    assert kiosk.check() == []
