"""Questions about a code: one that was typed, and a label that nobody knows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from kiosk.desk import Desk
from kiosk.desk.adopting import Likely, Origin, Stray
from kiosk.rules.cards import DamagedCode, HolderCard
from kiosk.rules.codes import slips
from kiosk.rules.offsets import Card, CardFault
from kiosk.screens.questions import Question
from kiosk.words import grouped, t

__all__ = [
    "Asked", "Card", "CardFault", "Likely", "Near", "NoHolder", "Origin", "Stray", "card_to_type", "give",
    "holder_with", "near", "not_taken", "stray",
]  # fmt: skip


class Near(NamedTuple):
    """A code of the book that is one slip away from what was typed, and whose it is."""

    code: str
    name: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What the desk says of an unknown label."""

    stray: Stray
    likely: tuple[Likely, ...]


class NoHolder(LookupError):
    """The label scanned to say whose an unknown one is, is no holder's."""

    def __init__(self) -> None:
        super().__init__(t("adopt.no_holder"))


def card_to_type(key: str) -> Question[Card | CardFault]:
    """What is typed at the control for the assembly in a holder, or why nothing may be."""

    def answer(desk: Desk) -> Card | CardFault:
        try:
            return desk.papers.card(key)
        except CardFault as fault:
            return fault

    return answer


def not_taken(texts: tuple[str, ...]) -> Question[tuple[str, ...]]:
    """What these labels are on, by its name, or by its text where nobody knows it; none of them waits for a second."""

    def answer(desk: Desk) -> tuple[str, ...]:
        desk.cancel()
        return tuple(getattr(desk.session.cards.subject(text), "name", "") or grouped(text) for text in texts)

    return answer


def near(text: str) -> Question[tuple[Near, ...]]:
    """The codes a mistyped one may have been meant for."""

    def answer(desk: Desk) -> tuple[Near, ...]:
        cards = desk.session.cards
        subject = cards.subject(text)
        codes = subject.near if isinstance(subject, DamagedCode) else tuple(code.text for code in slips(text))
        return tuple(Near(code, str(getattr(cards.subject(code), "name", ""))) for code in codes)

    return answer


def stray(text: str) -> Question[Asked]:
    """What is known of a label that nobody knows, and which holders it is most likely on."""
    return lambda desk: Asked(desk.adopting.look(text), desk.adopting.likely(text))


def holder_with(text: str) -> Question[HolderCard]:
    """The holder this other label is on.  Raises NoHolder."""

    def answer(desk: Desk) -> HolderCard:
        subject = desk.session.cards.subject(text)
        if not isinstance(subject, HolderCard):
            raise NoHolder
        return subject

    return answer


def give(text: str, key: str) -> Question[HolderCard]:
    """The label is on that holder from now on.  Raises what stands against it, worded for the screen."""
    return lambda desk: desk.adopting.give(text, key)
