"""A hot holder's alarm stays what it was raised for until it is understood, and loses nothing scanned meanwhile."""

from __future__ import annotations

from tests.journeys.window import Window


def _hot_to_a_cabinet(kiosk: Window, key: str) -> None:
    for code in (kiosk.holder(key), kiosk.place("Shrink station"), kiosk.holder(key), kiosk.place("Cabinet A · 1-05")):
        kiosk.scan(code)
        kiosk.wait(1.0)
    kiosk.is_on("heat")
    kiosk.sees("HOT", "Not to Cabinet A · 1-05.")


def test_an_alarm_keeps_its_place_and_says_afterwards_what_was_scanned_meanwhile(kiosk: Window) -> None:
    kiosk.wait(40 * 86400.0)
    _hot_to_a_cabinet(kiosk, "T001")
    kiosk.scan(kiosk.place("Cabinet A · 1-06"))
    kiosk.sees("Not to Cabinet A · 1-05.", "Not to Cabinet A · 1-06 either.")
    kiosk.scan(kiosk.holder("T002"))
    kiosk.scan(kiosk.place("Cabinet B · 1-02"))
    kiosk.sees("Not to Cabinet A · 1-05.", "Touch 'Understood' first")
    kiosk.picture("alarm-others-scanned")
    home = kiosk.where("T002")
    kiosk.touch("Understood")
    kiosk.sees("Not taken", "End mill 6 R0.5", "Cabinet B · 1-02", "Scan again")
    kiosk.picture("alarm-missed")
    assert kiosk.where("T002") == home and kiosk.where("T001") == "Shrink station"


def test_an_alarm_is_understood_at_the_very_corner_of_its_button(kiosk: Window) -> None:
    _hot_to_a_cabinet(kiosk, "T001")
    kiosk.touch_corner("Understood")
    kiosk.is_on("scan")


def test_what_was_scanned_and_touched_just_before_an_alarm_is_answered_after_it(kiosk: Window) -> None:
    kiosk.wait(40 * 86400.0)
    hot, slot, other = kiosk.holder("T001"), kiosk.place("Cabinet A · 1-05"), kiosk.holder("T002")
    bench, presetter = kiosk.place("Bench 1"), kiosk.place("Presetter")
    kiosk.scan(hot)
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.hang_desk(True)  # it works something out: a quick hand is further
    for code in (hot, slot):
        kiosk.scan(code)
    kiosk.block(1.0)  # the window is slow to take the rest
    for code in (other, bench):
        kiosk.scan(code)
    kiosk.hang_desk(False)
    kiosk.is_on("heat")
    kiosk.sees("Not to Cabinet A · 1-05.")
    kiosk.touch("Understood")
    kiosk.sees("Moved", "End mill 6 R0.5", "→ Bench 1")
    kiosk.scan(other)
    kiosk.sees("Where to?")
    kiosk.scan(presetter)
    kiosk.sees("→ Presetter")
    kiosk.hang_desk(True)
    kiosk.scan(hot)
    kiosk.scan(slot)
    kiosk.touch("Undo")
    kiosk.hang_desk(False)
    kiosk.is_on("heat")
    kiosk.sees("Not to Cabinet A · 1-05.")
    kiosk.touch("Understood")
    kiosk.sees("Taken back", "Bench 1")
    assert kiosk.where("T002") == "Bench 1" and kiosk.where("T001") == "Shrink station"


def test_what_was_not_taken_under_an_alarm_waits_for_no_second_scan(kiosk: Window) -> None:
    _hot_to_a_cabinet(kiosk, "T001")
    kiosk.wait(30.0)  # nobody waits for a better place any more
    kiosk.scan(kiosk.place("Bench 1"))
    kiosk.sees("Touch 'Understood' first")
    kiosk.touch("Understood")
    kiosk.sees("Not taken", "Bench 1", "Scan again")
    home = kiosk.where("T002")
    kiosk.scan(kiosk.holder("T002"))
    kiosk.sees("End mill 6 R0.5", "Where to?")
    assert kiosk.where("T002") == home


def test_an_alarm_left_for_a_reading_comes_back_before_any_other_screen(kiosk: Window) -> None:
    _hot_to_a_cabinet(kiosk, "T001")
    kiosk.touch("Enter a probe reading")
    kiosk.is_on("reading")
    kiosk.scan(kiosk.holder("T002"))
    kiosk.is_on("heat")
    kiosk.sees("Not to Cabinet A · 1-05.")
    kiosk.touch("Understood")
    kiosk.sees("End mill 6 R0.5", "Where to?")


def test_hot_steel_is_told_of_while_a_name_is_typed_and_the_name_keeps_its_letters(kiosk: Window) -> None:
    kiosk.wait(40 * 86400.0)
    hot = kiosk.holder("T001")
    kiosk.scan(hot)
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.touch("Shop")
    kiosk.touch("People")
    kiosk.touch("Somebody new")
    kiosk.shows_badge("kim")
    for asked in ("choose a PIN", "repeat the PIN"):  # the first supervisor chooses a PIN, twice the same
        kiosk.sees(asked)
        for figure in "4711":
            kiosk.touch_key(figure)
        kiosk.touch("Open")
    kiosk.sees("What is the name?")
    for letter in "jan":
        kiosk.display.press(letter)
    kiosk.sees("jan")
    kiosk.scan(hot)
    kiosk.sees("Finish the name first")
    kiosk.scan(kiosk.place("Cabinet A · 1-05"))
    kiosk.is_on("heat")
    kiosk.sees("Not to Cabinet A · 1-05.")
    kiosk.touch("Understood")
    kiosk.is_on("people")
    kiosk.display.press("e")
    kiosk.sees("jane")
    assert "jane" in [text[0] for text in kiosk.screen()["texts"]], "nothing of the labels is in the name"
