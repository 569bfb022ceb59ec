"""What nobody measures about a heated holder: the figures, written a second time, so that none changes by a slip."""

from kiosk.rules.cooling import unknowns as U
from kiosk.rules.cooling.unknowns import Way

FILMS = {"free_air": (7.0, 0.35), "forced_air": (45.0, 0.35), "sleeve": (900.0, 0.0), "mist": (350.0, 0.0)}
SPREADS = {"free_air": (0.16, 0.08), "forced_air": (0.24, 0.10), "sleeve": (0.24, 0.12), "mist": (0.22, 0.12)}


def test_films_and_their_spreads_are_those_of_the_trade() -> None:
    assert {way.value: tuple(film) for way, film in U.FILMS.items()} == FILMS
    assert {way.value: (each.learnt, each.fresh) for way, each in U.FILM.items()} == SPREADS
    assert [way for way in Way if way.wet] == [Way.SLEEVE, Way.MIST]


def test_what_else_is_not_known_is_as_wide_as_is_written_here() -> None:
    spreads = (U.HEAT_LEVEL, U.HEATED_LENGTH_MM, U.BULK_ENTERED, U.BULK_ASSUMED, U.AMBIENT_K)
    assert (U.AMBIENT_READ_K.learnt, U.AMBIENT_READ_K.fresh) == (0, 0.8)
    assert [(each.learnt, each.fresh) for each in spreads] == [(0.05, 0.035), (0, 3.0), (0, 0.04), (0, 0.10), (0, 1.5)]
    assert U.HEAT_LEVEL.whole == (0.05**2 + 0.035**2) ** 0.5
    assert (U.SKIN, U.COMMON, U.BAND) == (0.95, 0.6, 0.99)
    assert (U.WRONG, U.WRONG_ZONE, U.WRONG_PLACE, U.WRONG_BRIGHT, U.BRIGHT) == (0.05, 0.35, 0.15, 0.6, (0.1, 0.45))
    assert [tuple(each) for each in U.SURE] == [(1.0, 0.993), (1.2, 0.983)]
