"""What nobody measures about a heated holder, as distributions with their reasons.

The bound of a hold is drawn from these numbers and from nothing else; the simulation in `bench cooling` draws
its holders from the same ones.  A narrower number needs a measurement, not an opinion: readings narrow the
learnable part (`belief`), the rest stays.  Ranges: trade handbooks on shrink fitting and on film coefficients.
"""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple


class Way(Enum):
    """Ways of cooling; the value is how data files and case files write it."""

    FREE_AIR = "free_air"
    FORCED_AIR = "forced_air"
    SLEEVE = "sleeve"
    MIST = "mist"

    @property
    def wet(self) -> bool:
        return self in (Way.SLEEVE, Way.MIST)


class Film(NamedTuple):
    """How a way of cooling takes heat from the skin."""

    film_w_m2k: float
    emissivity: float


# Nominal films: near the geometric middle of the ranges a shop sees (free 5-10, blown 30-80, mist 200-500,
# wet sleeve 500-1500 W/m2K).  Emissivity 0.35: turned steel with some oxide; a wet skin does not radiate.
FILMS: dict[Way, Film] = {
    Way.FREE_AIR: Film(7.0, 0.35),
    Way.FORCED_AIR: Film(45.0, 0.35),
    Way.SLEEVE: Film(900.0, 0.0),
    Way.MIST: Film(350.0, 0.0),
}


class Spread(NamedTuple):
    """Standard deviations, in the unit the constant's name gives.

    learnt: differs between holder types and places, stays the same from heat to heat, so readings narrow it.
    fresh: differs from heat to heat, so nothing narrows it.  reason: where the number comes from.
    """

    learnt: float
    fresh: float
    reason: str

    @property
    def whole(self) -> float:
        return float((self.learnt**2 + self.fresh**2) ** 0.5)


# ln of (rise over ambient / the rise that was set)
HEAT_LEVEL = Spread(0.05, 0.035, "units reach 280-350 °C for one and the same setting; coil and seconds differ by hand")

# mm on the heated length
HEATED_LENGTH_MM = Spread(0.0, 3.0, "coil position is set by eye against the nose; the field's edge is a few mm wide")

# ln of (film / nominal film); 95 % of each covers the trade's range for that way
FILM: dict[Way, Spread] = {
    Way.FREE_AIR: Spread(0.16, 0.08, "free air 5-10 W/m2K: draught, rack, neighbours; emissivity counted in"),
    Way.FORCED_AIR: Spread(0.24, 0.10, "blown air 30-80 W/m2K: nozzle distance and pressure"),
    Way.SLEEVE: Spread(0.24, 0.12, "wet sleeve 500-1500 W/m2K: fit, scale, water temperature"),
    Way.MIST: Spread(0.22, 0.12, "mist 200-500 W/m2K: nozzle distance and flow"),
}

# ln of (heat capacity / that of the outline)
BULK_ENTERED = Spread(0.0, 0.04, "outline from four numbers: grooves, screws, channels and cutter flutes left out")
BULK_ASSUMED = Spread(0.0, 0.10, "some of the four numbers not known: the largest plausible ones were taken")

# K
AMBIENT_K = Spread(0.0, 1.5, "the shop's set ambient against the air and water a holder really stands in")
# The same where a thermometer in the shop says how warm its air is: sensors keep 0.5 K (0.3 K as a deviation), and
# between where it hangs and where a holder stands a shop differs by some tenths to a kelvin.
AMBIENT_READ_K = Spread(0.0, 0.8, "a thermometer's 0.5 K, and its wall against the rack; it says nothing of water")

# The skin of cones is counted in steps (cylinder and shoulders), up to 6 % more than the true cone: the bound
# takes that back.
SKIN = 0.95

# Share of the learnt variance that all types of a shop have in common: one unit heats them, one air line and one
# water cool them; the fit of a sleeve, the distance of a nozzle and the neighbours on a rack are a type's and place's.
COMMON = 0.6

# Share of readings that are wrong: probe held elsewhere, decimal slip, bright steel, another holder's number.
WRONG = 0.05
# Of those: at another zone of the same holder, a decimal place slipped; the rest may be anything (another holder's).
WRONG_ZONE, WRONG_PLACE = 0.35, 0.15
# Of what infrared may be besides, on bright steel instead of a matt spot, and the share of the excess it then shows.
WRONG_BRIGHT, BRIGHT = 0.6, (0.1, 0.45)


class Promise(NamedTuple):
    """The chance of being cool for good that a hold ends with if every spread is `width` times what is written."""

    width: float
    share: float


# 99 % as written, and 98 % if the writer was too sure of himself by a fifth; a hold keeps both.  What is left pays
# for the surface's error and lets each way of cooling keep the promise, not only their average.
SURE = (Promise(1.0, 0.993), Promise(1.2, 0.983))

# Upper end of the band that is shown, and what a re-soak is expected to stay under.
BAND = 0.99
