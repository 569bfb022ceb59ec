"""What a line says of the stay it ends: not what a counter counted that is not believed."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from kiosk.desk.beats import KioskBeats
from kiosk.rules import lines as L
from kiosk.rules.ages import COUNTED
from tests.ledger.kiosks import shop

DAYS_S = 40 * 86400.0


def test_a_kiosk_that_runs_fast_says_no_age_of_its_own_stays_and_of_others_what_was_told() -> None:
    _, (kiosk,) = shop()
    kiosk.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    own = int(kiosk.row("hold", "T1")["heated_line"])
    now_s = DAYS_S
    book: Any = SimpleNamespace(sharing=kiosk.sharing, line=lambda number: None)
    with kiosk:
        beats = KioskBeats(book, lambda: now_s)
        now_s += 600.0
        assert beats.said_age_s(own) == beats.age_s(own) == 600.0 * COUNTED
        beats._ages.found_fast(now_s)
        now_s += 600.0
        assert beats.said_age_s(own) is None
        assert beats.age_s(own) == 600.0 * COUNTED, "that it lasted so long at least stands"
