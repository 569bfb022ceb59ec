"""How the kiosk is, by touch: a backup is made at once, and every entry of it read again."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from kiosk import where
from kiosk.desk import Desk
from kiosk.exchange.shop import read_shop
from kiosk.ledger import backup
from kiosk.rehearsal import PretendedTime
from tests.journeys.window import Window

OPENED_UTC_S = 1_790_000_000.0  # when the pretended clock of a window begins


def test_a_backup_is_made_by_touch_and_every_line_of_it_is_read_again(kiosk: Window) -> None:
    data = Path(str(kiosk._ask(do="desk", what="data")))
    kiosk.touch("Shop")
    kiosk.touch("Kiosk OK?")
    kiosk.touch("No backup yet")
    kiosk.touch("Back up now")
    kiosk.sees("entries are backed up", "read again and is right")
    kiosk.picture("health-copied")
    (copy,) = backup.copies(data / "backups")
    assert backup.look(copy)[0] == []
    kiosk.touch_key("back")
    kiosk.sees("Last one today")


def older(folder: Path, days: float) -> None:
    """The demo shop as it was entered so many days before the window opens."""
    clock = PretendedTime(OPENED_UTC_S - days * 86400.0)
    desk = Desk.open(folder, counter=clock.counter, wall=clock.wall)
    desk.shop.load(read_shop(where.demo_tags()))
    desk.close()


def test_a_quiet_mark_says_that_backups_have_stopped_until_one_comes_again(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    older(tmp_path / "data-0", days=20.0)
    in_the_way = tmp_path / "data-0" / "backups"
    in_the_way.touch()  # a file where the folder should be
    kiosk = open_window(demo=False)
    kiosk.looks_for_copies()
    kiosk.sees("! No backup")
    kiosk.picture("strip-no-backup")
    kiosk.scan(kiosk.holder("T002"))  # it says so and stops nothing
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Bench 1"))
    kiosk.sees("Moved", "! No backup")
    kiosk.touch("Shop")
    kiosk.touch("Kiosk OK?")
    kiosk.sees("No backup yet")
    in_the_way.unlink()
    kiosk.touch("No backup yet")
    kiosk.touch("Back up now")
    kiosk.sees("read again and is right")
    kiosk.sees("! No backup")  # until it is looked again
    for copy in backup.copies(in_the_way):  # the disk dates it by the true clock, the window goes by a pretended one
        os.utime(copy, (OPENED_UTC_S, OPENED_UTC_S))
    kiosk.looks_for_copies()
    kiosk.waits_for(lambda: not marked(kiosk), "the mark to go")


def marked(kiosk: Window) -> bool:
    return any("! No backup" in str(text[0]) for text in kiosk.screen()["texts"])
