"""How warm the shop is, by a thermometer: whether what it says can be, whether it is news, and what counts without it.

The shop's temperature, and how well it is known, are settings that a hold keeps the strictest of since it began; a
thermometer only sets them.  Its own error is in how well the air is known, and in nothing else.  It must never make a
shop colder than is known: a thermometer that says nothing, or nothing lately, or what cannot be, leaves the warmer of
what was set and what counts where nobody knows, known no better than by hand.
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from kiosk.rules.bounds import SETTINGS
from kiosk.rules.codes import CodeFault, parse
from kiosk.rules.cooling.unknowns import AMBIENT_K, AMBIENT_READ_K

AGE_S = 900.0  # a shop does not warm by more than the thermometer's error in that
_COLDER_K = 2.0  # less is no news: every value that is set while a hold runs is one more case it is worked out for
_HOTTEST_C = 60.0  # what a thermometer shows that hangs in no shop
WARMER_K = 5.0  # a touch limit nearer to the shop's own temperature is never reached for certain
TOO_WARM_K = 4.9  # how well the air is known where it cannot be set so warm as it is: then a reading alone ends a hold
_JUMP_K, _JUMP_S = 4.0, 120.0  # what a shop cannot do in that time, and a hand on the thermometer can


TYPED = "typed:"  # the source that types like a keyboard
_LONGEST = 64  # characters of what one types


class AirReading(NamedTuple):
    """What a thermometer showed, and when, seconds of any clock that does not jump."""

    value_c: float
    at_s: float


def can_be(reading: AirReading, before: AirReading | None) -> bool:
    """Whether a shop can be so warm, after what was read before."""
    if not SETTINGS["heat.ambient_c"].least <= reading.value_c <= _HOTTEST_C:  # what is no number lies nowhere
        return False
    if before is None or reading.at_s - before.at_s > _JUMP_S:
        return True
    return abs(reading.value_c - before.value_c) <= _JUMP_K


def to_set_c(set_c: float, reading: AirReading | None, now_s: float, unknown_c: float, most_c: float) -> float | None:
    """What the shop's temperature is to be set to, whole °C; None: it stays.

    set_c: as it is set.  reading: the last that can be; None: there was none.  unknown_c: where nobody knows.
    most_c: as warm as it may be set beside the touch limit.
    """
    bound = SETTINGS["heat.ambient_c"]
    most_c = _most_c(most_c)
    if reading is None or now_s - reading.at_s > AGE_S:
        return min(unknown_c, most_c) if min(unknown_c, most_c) > set_c else None
    wanted_c = min(max(float(math.ceil(reading.value_c)), bound.least), most_c)
    if wanted_c > set_c or wanted_c <= set_c - _COLDER_K:
        return wanted_c
    return None


def is_too_warm(reading: AirReading | None, now_s: float, unknown_c: float, most_c: float) -> bool:
    """Whether the air is, or where nobody knows may be, warmer than it may be set beside the touch limit."""
    old = reading is None or now_s - reading.at_s > AGE_S
    return (unknown_c if reading is None or old else reading.value_c) > _most_c(most_c)


def _most_c(most_c: float) -> float:
    return min(float(math.floor(most_c)), SETTINGS["heat.ambient_c"].most)


def to_know_k(
    set_k: float, reading: AirReading | None, now_s: float, too_warm: bool = False, *, gone: bool = False
) -> float | None:
    """What the standard deviation of the air is to be set to, K; None: it stays.

    Narrower than by hand only while there is a reading that can be and is not old; where a hand set it wider, it stays.
    too_warm: it is warmer than it is set; then so little is known of it that no time ends a hold.  gone: there is no
    thermometer any more; one that is only silent leaves it so.
    """
    if too_warm:
        return TOO_WARM_K if set_k < TOO_WARM_K else None
    if reading is None or now_s - reading.at_s > AGE_S:  # silence is no cooler air
        return AMBIENT_K.whole if set_k < AMBIENT_K.whole or (gone and set_k == TOO_WARM_K) else None
    return AMBIENT_READ_K.whole if set_k in (AMBIENT_K.whole, TOO_WARM_K) else None


def of_burst(text: str, pattern: str) -> float | None:
    """°C of what came as fast as a scanner types, where all of it is the shop's thermometer's.

    None: it is a scan, or a probe's bare figure.  One of our codes is never taken for a temperature.
    """
    if len(text) > _LONGEST:
        return None
    found = re.fullmatch(pattern, text)
    try:
        parse(text)
    except CodeFault:
        return celsius(found)
    return None


def is_a_bare_figure(pattern: str) -> bool:
    """Whether a pattern also takes what a probe types, or a hand: of those nobody could tell the shop's thermometer."""
    return any(re.fullmatch(pattern, figure + unit) for figure in ("23", "23.4", "23,45") for unit in ("", "C", " °C"))


def celsius(found: re.Match[str] | None) -> float | None:
    """°C of a match: its first group is the number, its second, if it has one, C or F."""
    if found is None or not found.groups() or not found[1]:
        return None
    try:
        value = float(found[1].replace(",", "."))
    except ValueError:
        return None
    unit = found[2] if len(found.groups()) > 1 else None
    return round((value - 32.0) / 1.8, 2) if unit == "F" else value
