"""A whole shift by hand, as a setter works it: badge, build-up, heat, readings, machine, tear-down, audit, labels."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.journeys.window import Window


class Hand:
    """One setter's hand at one window: scans labels, touches, waits, and looks at what it reads meanwhile."""

    def __init__(self, kiosk: Window) -> None:
        self.kiosk = kiosk

    def carry(self, key: str, place: str) -> None:
        """Scan a holder, then where it goes."""
        kiosk = self.kiosk
        kiosk.wait(8)
        kiosk.scan(kiosk.holder(key))
        kiosk.sees("Where to?")
        kiosk.wait(4)
        kiosk.scan(kiosk.place(place))

    def type_figures(self, figures: str) -> None:
        for figure in figures:
            self.kiosk.touch_key(figure)
        self.kiosk.touch("Enter")


@pytest.mark.parametrize("size", [(800, 480), (600, 1024)], ids=["800x480", "600x1024"])
def test_a_setter_works_a_whole_shift_by_hand(open_window: Callable[..., Window], size: tuple[int, int]) -> None:
    kiosk = open_window(size)
    kiosk.at_corners = True
    hand = Hand(kiosk)
    kiosk.scan(kiosk.badge("jo"))
    kiosk.sees("Hello", "Jo Reed")

    # Build up: the holder goes to the station, the cutter in, and from now on it is hot.
    hand.carry("T014", "Shrink station")
    kiosk.sees("Heating", "1 hot")
    kiosk.touch("Shop")
    kiosk.touch("Build up")
    kiosk.sees("Scan a bare holder")
    kiosk.scan(kiosk.holder("T014"))
    kiosk.sees("fits")
    kiosk.picture("shift-cutters")
    kiosk.touch("Roughing mill 10")
    kiosk.sees("Needs", "Holds at least")
    kiosk.picture("shift-fits")
    kiosk.touch("Build it in")
    kiosk.sees("Built", "to Sleeve 1")

    # Wanted too early, then to the sleeve.
    hand.carry("T014", "Cabinet A · 1-05")
    kiosk.sees("HOT", "Not to Cabinet A · 1-05")
    kiosk.picture("shift-alarm")
    kiosk.touch_corner("Understood")
    kiosk.is_on("scan")
    hand.carry("T014", "Sleeve 1")
    kiosk.sees("Moved", "In Sleeve 1 until")
    kiosk.picture("shift-in-sleeve")
    kiosk.wait(240)
    hand.carry("T014", "Rack 1")
    kiosk.sees("Moved", "→ Rack 1")

    # Readings: a slip is withdrawn, and what is still to be read is said.
    kiosk.touch_key("Hot")
    kiosk.sees("Enter a reading")
    kiosk.wait(2400)
    kiosk.touch("Enter a reading")
    kiosk.sees("to read")
    kiosk.picture("shift-to-read")
    kiosk.touch("Nose")
    hand.type_figures("95")
    kiosk.sees("Still hot", "I mistyped")
    kiosk.picture("shift-slip")
    kiosk.touch("I mistyped")
    kiosk.sees("Withdrawn", "does not count any more", "Still to read: Nose")
    kiosk.picture("shift-withdrawn")
    for _ in range(6):
        kiosk.touch("Another reading")
        kiosk.sees("read")
        words = [text[0] for text in kiosk.screen()["texts"]]
        owed = next((each for each in words if each.startswith(("Still to read: ", "Next reading: "))), "")
        spot = owed.split(": ")[1].split(",")[0] if owed else "Nose"
        if owed.startswith("Next"):
            kiosk.wait(310)
        kiosk.touch(spot)
        hand.type_figures("23")
        kiosk.sees("Another reading")
        if kiosk.hot() == []:
            break
    kiosk.sees("Cool")
    assert kiosk.hot() == [], "six readings are enough"
    kiosk.touch("Back")

    # Measured when it is good to, then to its machine.
    kiosk.wait(600.0)
    hand.carry("T014", "Presetter")
    kiosk.sees("Moved", "measure it")
    kiosk.touch("Shop")
    kiosk.touch("Measure")
    kiosk.sees("Scan the assembly")
    kiosk.scan(kiosk.holder("T014"))
    kiosk.sees("length")
    for figures in ("180.25", "9.98", "4"):
        hand.type_figures(figures)
    kiosk.sees("Measured")
    kiosk.touch("Back")
    hand.carry("T014", "Cabinet A · 1-05")
    kiosk.sees("Moved")
    kiosk.wait(8)
    kiosk.scan(kiosk.holder("T014"))
    kiosk.sees("Where to?")
    kiosk.touch("Choose a pocket")
    kiosk.touch("Mill 1")
    kiosk.sees("Put it here")
    kiosk.touch("Put it here")
    kiosk.sees("180.250", "Tool number")
    kiosk.picture("shift-card")
    kiosk.touch("Typed")

    # It comes back worn: said in one touch, with what comes next.
    kiosk.wait(1800)
    hand.carry("T014", "Bench 1")
    kiosk.sees("How is the cutter?")
    kiosk.touch("Worn")
    kiosk.sees("Worn", "to Shrink station")
    kiosk.picture("shift-worn")
    kiosk.touch("Back")
    kiosk.touch("Find")
    kiosk.scan(kiosk.badge("jo"))  # signed out by the time that went by
    kiosk.sees("Jo Reed")

    # Torn down by mistake, taken back, and then for good.
    hand.carry("T014", "Shrink station")
    kiosk.sees("Heating")
    for last in (False, True):
        kiosk.touch("Shop")
        kiosk.touch("Tear down")
        kiosk.sees("Scan the holder")
        kiosk.scan(kiosk.holder("T014"))
        kiosk.sees("How is the cutter?")
        kiosk.touch("Worn")
        kiosk.touch("Take it out")
        kiosk.sees("Torn down", "to Sleeve 1")
        if not last:
            kiosk.picture("shift-torn-down")
            kiosk.touch("Undo")
            kiosk.sees("Taken back")
    kiosk.touch("Back")
    kiosk.touch_key("Scan")
    hand.carry("T014", "Sleeve 1")
    kiosk.sees("Moved")

    # The audit of a cabinet, and a label.
    kiosk.touch("Audit")
    kiosk.sees("Scan the place to audit")
    kiosk.scan(kiosk.place("Cabinet B"))
    kiosk.sees("to see")
    for key in ("T017", "T020"):
        kiosk.wait(6)
        if str(kiosk.where(key)).startswith("Cabinet B"):
            kiosk.scan(kiosk.place(str(kiosk.where(key))))
            kiosk.sees("now scan what is in it")
            kiosk.scan(kiosk.holder(key))
            kiosk.sees("seen")
    kiosk.picture("shift-audit")
    kiosk.touch("Pause")
    kiosk.touch_key("Labels")
    kiosk.scan(kiosk.holder("T017"))
    kiosk.sees("New label, new code")
    kiosk.touch("Save")
    kiosk.sees("Label saved", "labels/")
    kiosk.picture("shift-label")
    assert kiosk.check() == []
