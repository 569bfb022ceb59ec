"""Correcting what the book says of a holder, by touch: a figure, its place, its label; and a supervisor's new PIN."""

from __future__ import annotations

from tests.journeys.window import Window

PIN = "4711"


def enter(kiosk: Window, figures: str) -> None:
    for figure in figures:
        kiosk.touch_key(figure)


def choose_pin(kiosk: Window, pin: str) -> None:
    for _ in range(2):
        enter(kiosk, pin)
        kiosk.touch("Open")


def card_of(kiosk: Window, figures: str, name: str) -> None:
    kiosk.touch("Find")
    enter(kiosk, figures)
    kiosk.touch_key("find")
    kiosk.touch(name)
    kiosk.touch("What can be done with it")
    kiosk.sees("Take me there", "Correct")


def test_a_figure_a_place_and_a_label_are_corrected_from_the_holders_card(kiosk: Window) -> None:
    card_of(kiosk, "12", "Finishing mill 12 R0.2")
    kiosk.picture("holder-correct")
    kiosk.touch("Correct")
    kiosk.sees("What is wrong?", "Where it stands")
    kiosk.picture("correct-what")
    kiosk.touch("Where it stands")
    kiosk.shows_badge("kim")
    choose_pin(kiosk, PIN)
    kiosk.sees("Scan the place where it stands")
    kiosk.picture("correct-place")
    kiosk.scan(kiosk.place("Bench 2"))
    kiosk.sees("It stands at Bench 2", "Why?")
    kiosk.picture("correct-why")
    kiosk.touch("Seen there")
    kiosk.sees("Corrected")
    kiosk.picture("correct-done")
    kiosk.touch("To the holder")
    kiosk.sees("Bench 2")
    kiosk.touch("Correct")
    kiosk.touch_key("down")
    kiosk.touch("Gauge line to nose")
    enter(kiosk, "101.5")
    kiosk.touch("Enter")
    kiosk.sees("Gauge line to nose: 101.5")
    kiosk.touch("Measured again")
    kiosk.sees("Corrected")
    kiosk.touch("To the holder")
    kiosk.touch("Correct")
    kiosk.touch_key("down")
    kiosk.sees("Gauge line to nose", "101.5")
    kiosk.touch_key("down")
    kiosk.touch("Own pocket")
    kiosk.sees("Scan the pocket that is kept for it")
    kiosk.scan(kiosk.place("Mill 1 · pocket 09"))
    kiosk.sees("Corrected", "Mill 1 · pocket 09 is kept for it")
    kiosk.touch("To the holder")
    kiosk.touch("Correct")
    kiosk.touch_key("down")
    kiosk.touch_key("down")
    kiosk.sees("Mill 1 · pocket 09")
    kiosk.touch("Own pocket")
    kiosk.touch("No pocket is kept for it")
    kiosk.sees("Corrected")
    kiosk.touch("To the holder")
    kiosk.touch("Correct")
    kiosk.touch("Its label is lost")
    kiosk.touch("Label lost")
    kiosk.sees("Print a new label and scan it")
    kiosk.picture("correct-label-gone")
    kiosk.touch("Print a new label")
    kiosk.sees("true size")
    assert kiosk.check() == []


def test_a_supervisor_gives_another_pin_under_the_persons_name(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.touch("Settings")
    kiosk.shows_badge("kim")
    choose_pin(kiosk, PIN)
    kiosk.sees("Heat and cooling")
    kiosk.touch_key("back")
    kiosk.touch("People")
    kiosk.touch("Kim Vale")
    kiosk.touch("New PIN")
    kiosk.sees("Kim Vale: choose a PIN")
    choose_pin(kiosk, "2468")
    kiosk.sees("Kim Vale")
    kiosk.picture("pin-new-chosen")
    assert kiosk.check() == []
