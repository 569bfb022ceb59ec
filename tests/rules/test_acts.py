"""Whose work a line is, when a shop would be open to everybody, and how long nobody may try a PIN."""

from __future__ import annotations

import pytest

from kiosk.rules import lines as L
from kiosk.rules.acts import Person, from_presetter, loses_its_pin, of_itself
from kiosk.rules.assembly import Measured
from kiosk.rules.audit import Action
from kiosk.rules.tries import wait_s


@pytest.mark.parametrize(
    ("entry", "itself"),
    [
        (L.HoldEnded("H1", "time"), True),
        (L.HoldEnded("H1", "reading"), False),
        (L.DifferenceSettled("a", "H1", "hot_here", Action.COOLED.value), True),
        (L.DifferenceSettled("a", "H1", "hot_here", Action.TO_COOLING.value), False),
        (L.SettingChanged("heat.limit_c", "43", reason=L.OUTSIDE), True),
        (L.SettingChanged("heat.limit_c", "43"), False),
        (L.SignedIn("jo"), True),
        (L.SignedOut("jo"), True),
        (L.PinGiven("kim"), True),
        (L.TurnedAway("H1", "hot"), True),
        (L.AuditPaused("a"), True),
        (L.KioskStarted("2"), True),
        (L.Restored("b", ()), True),
        (L.Moved("H1", None, "P1"), False),
        (L.Heated("H1", "P1"), False),
        (L.MeasuredLine("H1", "A1", Measured(100.0, 12.0)), False),
    ],
)
def test_a_line_without_a_hand_is_one_that_time_or_the_program_wrote(entry: L.Entry, itself: bool) -> None:
    assert of_itself(entry) is itself
    assert from_presetter(entry) is isinstance(entry, L.MeasuredLine)


PIN = Person(supervisor=True, has_pin=True)
AWAY = L.OperatorRetired("kim")


def named(key: str, role: str, pin: str | None = None) -> L.OperatorAdded:
    return L.OperatorAdded(key, key, role, pin)


@pytest.mark.parametrize(
    ("people", "entries", "loses"),
    [
        ({"kim": PIN}, [AWAY], True),
        ({"kim": PIN, "sam": PIN}, [AWAY], False),
        ({"kim": PIN, "sam": Person(True, True, retired=True)}, [AWAY], True),
        ({"kim": PIN, "sam": Person(True, False)}, [AWAY], True),
        ({"kim": PIN, "sam": Person(False, True)}, [AWAY], True),
        ({"kim": PIN}, [named("kim", "setter")], True),
        ({"kim": PIN}, [named("kim", "setter", "hash")], True),
        ({"kim": PIN}, [named("kim", "supervisor")], False),
        ({"kim": PIN}, [named("kim", "supervisor", "hash")], False),
        ({"kim": PIN}, [AWAY, named("sam", "supervisor", "hash")], False),
        ({"kim": PIN}, [named("sam", "supervisor"), AWAY], True),
        ({"kim": PIN}, [AWAY, named("kim", "supervisor")], False),
        ({"kim": PIN}, [L.OperatorRetired("nobody"), L.SignedIn("kim")], False),
        ({"kim": Person(True, False)}, [AWAY], False),
        ({"kim": Person(False, True)}, [AWAY], False),
        ({}, [named("kim", "setter")], False),
        ({"kim": PIN, "sam": Person(True, False)}, [named("sam", "supervisor"), AWAY], True),
    ],
)
def test_the_last_supervisor_with_a_pin_is_not_lost(
    people: dict[str, Person], entries: list[L.Entry], loses: bool
) -> None:
    assert loses_its_pin(people, entries) is loses


def test_waits_after_wrong_pins_are_as_long_as_is_written_here() -> None:
    minute, quarter = 60.0, 900.0
    one = [0.0, 0.0, 0.0, 0.0, 0.0, minute, 300.0, quarter, 3600.0, 3600.0, 3600.0]
    assert [wait_s(wrong, wrong) for wrong in range(11)] == one
    of_all = [0.0, minute, 300.0, quarter, 3600.0, 3600.0]
    assert [wait_s(0, wrong) for wrong in range(14, 20)] == of_all
    assert wait_s(4, 14) == 0.0 and wait_s(5, 17) == quarter and wait_s(8, 15) == 3600.0
