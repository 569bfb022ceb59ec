"""What to probe to be sooner stands where people wait: on the hot board, in the refusal, on the strip."""

from __future__ import annotations

from tests.journeys.window import Window


def test_who_waits_for_a_hot_holder_is_told_what_to_probe(kiosk: Window) -> None:
    kiosk.wait(3 * 86400.0)
    for place, said in (("Shrink station", "Hot"), ("Rack 1", "Moved")):
        kiosk.scan(kiosk.holder("T001"))
        kiosk.sees("Where to?")
        kiosk.wait(1.0)
        kiosk.scan(kiosk.place(place))
        kiosk.sees(said)
        kiosk.wait(1.0)
    kiosk.wait(900.0)
    kiosk.scan(kiosk.holder("T001"))
    kiosk.sees("Where to?")
    kiosk.wait(1.0)
    kiosk.scan(kiosk.place("Cabinet A · 1-05"))
    kiosk.is_on("heat")
    kiosk.sees("HOT", "Probe the")
    kiosk.picture("advice-refusal")
    kiosk.touch("Understood")
    kiosk.touch("Hot")
    kiosk.is_on("hot")
    kiosk.sees("Probe in")
    kiosk.picture("advice-board")
    kiosk.wait(900.0)
    kiosk.sees("now, else in")
    kiosk.picture("advice-strip")
    kiosk.touch("Enter a reading")
    kiosk.touch("Flange")
    kiosk.sees("Reading at the flange")
    kiosk.scan("57.4")  # a probe that types
    kiosk.sees("57.4")
    kiosk.put_away()
    kiosk.wait(40_000.0)  # nobody has read such a holder before, so only a reading ends its hold
    kiosk.scan(kiosk.holder("T001"))
    kiosk.sees("Where to?")
    kiosk.wait(1.0)
    kiosk.scan(kiosk.place("Cabinet A · 1-05"))
    kiosk.is_on("heat")
    kiosk.sees("HOT", "probe it now")
    kiosk.sees_not("00:00")
    kiosk.picture("advice-refusal-due")
