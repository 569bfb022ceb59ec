"""Balancing by touch: what is allowed, what was found, what to do next, and what the card and history say of it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.journeys.test_service import turn_to
from tests.journeys.window import Window


def types(kiosk: Window, figures: str) -> None:
    for figure in figures:
        kiosk.touch_key(figure)
    kiosk.touch("Enter")


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_an_assembly_is_balanced_at_another_speed_and_told_what_to_do_when_it_is_not_enough(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    kiosk = open_window(size)
    kiosk.touch("Shop")
    kiosk.touch("Measure")
    kiosk.touch("Balance")
    kiosk.sees("Scan the assembly", "at the balancer")
    kiosk.scan(kiosk.holder("T001"))
    kiosk.sees("At most 1.96\u00a0g·mm may be left", "16000\u00a01/min", "the limit of the cutter", "1.32\u00a0kg")
    kiosk.touch("16000\u00a01/min")
    kiosk.sees("how fast will it turn?")
    types(kiosk, "12000")
    kiosk.sees("At most 2.62\u00a0g·mm may be left", "12000\u00a01/min", "entered for this time")
    kiosk.picture("balance-demand")
    kiosk.touch("Enter what was measured")
    kiosk.sees("unbalance that is left")
    types(kiosk, "3.5")
    kiosk.sees("Too much", "0.88\u00a0g·mm too much", "kept up to 8989\u00a01/min", "Balance it further")
    kiosk.picture("balance-over")
    kiosk.touch("Enter it again")
    types(kiosk, "1.2")
    kiosk.sees("Good", "1.2\u00a0g·mm of 2.62\u00a0g·mm", "kept up to 12000\u00a01/min", "measure it")
    assert kiosk.history("T001")[:2] == ["balanced", "balanced"]
    assert kiosk.check() == []


def test_what_is_hot_is_refused_and_a_cool_ones_card_leads_there_and_says_the_last_balance(kiosk: Window) -> None:
    hot, cool = kiosk.holder("T001"), kiosk.holder("T002")
    kiosk.scan(hot)
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.open_screen("balance")
    kiosk.sees("Scan the assembly")
    kiosk.scan(hot)
    kiosk.sees("may be hot and is not balanced like that")
    kiosk.scan(cool)
    kiosk.sees("may be left")
    kiosk.touch("Enter what was measured")
    types(kiosk, "0.4")
    kiosk.sees("Good", "kept up to 18000\u00a01/min")
    kiosk.touch("Back")
    kiosk.touch("Shop")
    kiosk.touch("Holders")
    turn_to(kiosk, "End mill 6 R0.5")
    kiosk.touch("End mill 6 R0.5")
    kiosk.sees("Unbalance 0.4\u00a0g·mm, G 2.5 up to 18000\u00a01/min")
    kiosk.touch("Measure")
    kiosk.sees("Length or unbalance?")
    kiosk.touch("Balance")
    kiosk.sees("may be left")
    assert "balanced" not in kiosk.history("T001")
