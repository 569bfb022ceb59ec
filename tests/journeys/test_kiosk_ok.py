"""How the kiosk is, by touch: a backup is made at once, and every entry of it read again."""

from __future__ import annotations

from pathlib import Path

from kiosk.ledger import backup
from tests.journeys.window import Window


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
