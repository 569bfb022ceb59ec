"""Questions about building up, measuring and tearing down."""

from __future__ import annotations

from kiosk.desk import Desk
from kiosk.desk.build import BuildRefused, MeasureTaken, Offer
from kiosk.rules.assembly import Condition, Measured
from kiosk.rules.cards import HolderCard
from kiosk.rules.fitting.fits import Fit
from kiosk.screens.questions import Question

__all__ = [
    "BuildRefused", "MeasureTaken", "Offer", "build", "fit", "holder_labelled", "may_tear_down", "measure", "offers",
    "tear_down",
]  # fmt: skip


def holder_labelled(text: str) -> Question[HolderCard]:
    """The holder this label is on.  Raises BuildRefused."""
    return lambda desk: desk.build.holder_labelled(text)


def offers(key: str) -> Question[tuple[HolderCard, tuple[Offer, ...], BuildRefused | None]]:
    """A holder, the cutters it could be built up with, and why nothing can be built into it where it stands now."""

    def answer(desk: Desk) -> tuple[HolderCard, tuple[Offer, ...], BuildRefused | None]:
        card = desk.session.holder(key)
        not_here = desk.build.not_here(card)
        return card, () if not_here else desk.build.offers(key), not_here

    return answer


def fit(holder: str, cutter: str, depth_mm: float | None) -> Question[Fit]:
    """How a cutter sits in a holder.  depth_mm: of the shank; None: as deep as is usual.  Raises BuildRefused.

    What another hand did to either meanwhile is said before anything is said to speak for it.
    """

    def answer(desk: Desk) -> Fit:
        desk.build.may_build(holder, cutter)
        return desk.build.fit(holder, cutter, depth_mm)

    return answer


def build(holder: str, cutter: str, depth_mm: float | None) -> Question[HolderCard]:
    """Build the cutter in.  Raises BuildRefused."""
    return lambda desk: desk.build.build(holder, cutter, depth_mm)


def may_tear_down(key: str) -> Question[HolderCard]:
    """The holder, if its cutter may come out where it stands.  Raises BuildRefused."""
    return lambda desk: desk.build.may_tear_down(key)


def tear_down(key: str, condition: Condition) -> Question[tuple[HolderCard, float]]:
    """Take the cutter out, which came back like this; and until when (watched time) that can be taken back.

    Raises BuildRefused.
    """

    def answer(desk: Desk) -> tuple[HolderCard, float]:
        card = desk.build.tear_down(key, condition)
        return card, desk.now().watched_s + desk.session.settings.kiosk.undo_s

    return answer


def measure(key: str, values: Measured) -> Question[MeasureTaken]:
    """Write a measurement down."""
    return lambda desk: desk.build.measure(key, values)
