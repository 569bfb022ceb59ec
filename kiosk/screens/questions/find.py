"""Questions about where things are, and about one holder."""

from __future__ import annotations

from kiosk.desk import Desk
from kiosk.desk.finding import Found, FoundRow, WayThere
from kiosk.rules.assembly import Condition
from kiosk.rules.cards import HolderCard
from kiosk.rules.place_drawing import PlaceDrawing
from kiosk.screens.questions import Question

__all__ = ["Found", "FoundRow", "WayThere", "find", "say_condition", "warm", "way"]


def warm() -> Question[None]:
    """Have the search ready before somebody looks for something."""
    return lambda desk: desk.finding.warm()


def find(text: str, first: int, count: int) -> Question[Found]:
    """What answers to what was typed, soonest usable first, from the row `first` on."""
    return lambda desk: desk.finding.find(text, first, count)


def way(key: str) -> Question[tuple[WayThere, tuple[str, ...], PlaceDrawing]]:
    """The way to a holder, of what kind each part of it is, from outside in, and its picture.  Raises NotThere."""

    def answer(desk: Desk) -> tuple[WayThere, tuple[str, ...], PlaceDrawing]:
        card = desk.session.holder(key)
        places = desk.session.cards.places
        kinds: list[str] = []
        code = card.at.place.code if card.at else None
        while code is not None:
            kinds.insert(0, places.place(code).kind.value)
            code = places.rows[code]["parent"]
        return desk.finding.way(key), tuple(kinds), desk.finding.picture(key)

    return answer


def say_condition(key: str, condition: Condition) -> Question[HolderCard]:
    """How a hand says the cutter is."""
    return lambda desk: desk.build.say_condition(key, condition)
