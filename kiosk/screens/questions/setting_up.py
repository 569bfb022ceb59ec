"""Questions of setting a shop up by hand: what there is, what is added, changed, copied, retired, brought back."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from kiosk.desk import Desk
from kiosk.desk.setting_up import Entered, Listed
from kiosk.rules.shop_things import making
from kiosk.rules.shop_things.forms import Draft, Thing
from kiosk.screens.questions import Question
from kiosk.screens.questions.shop import plain_name
from kiosk.words import t

__all__ = [
    "Entered", "Known", "Listed", "Ready", "add", "bring_back", "change", "copy", "door", "draft", "gone", "known",
    "listed", "named", "ready", "reground", "retire",
]  # fmt: skip


class Known(NamedTuple):
    """Things of a list.

    locked: a supervisor gives a PIN before one of them is added.  gone: how many are out of use.
    """

    found: tuple[Listed, ...]
    locked: bool
    gone: int = 0


class Ready(NamedTuple):
    """What a form needs to begin.

    answers: those there are already.  locked: a PIN comes before the form.  why: a change needs a reason.
    """

    answers: dict[str, Any]
    locked: bool
    why: bool


def listed(things: Iterable[Thing]) -> Question[Known]:
    """Everything in use of these kinds."""
    wanted = tuple(things)

    def answer(desk: Desk) -> Known:
        counter = desk.shop.setting_up
        locks = any(thing.is_place for thing in wanted)
        return Known(counter.listed(wanted), locks and counter.needs_supervisor, len(counter.gone(wanted)))

    return answer


def known(thing: Thing, key: str) -> Question[Ready]:
    """A thing that is to be changed.  Raises NotThere."""

    def answer(desk: Desk) -> Ready:
        counter = desk.shop.setting_up
        return Ready(counter.draft(thing, key), counter.needs_supervisor, counter.has_pin)

    return answer


def draft(thing: Thing, key: str) -> Question[dict[str, Any]]:
    """What is known of a thing.  Raises NotThere."""
    return lambda desk: desk.shop.setting_up.draft(thing, key)


def ready(thing: Thing) -> Question[Ready]:
    """A new thing, with a name of its own where it is a place."""

    def answer(desk: Desk) -> Ready:
        counter = desk.shop.setting_up
        locked = thing.is_place and counter.needs_supervisor
        if not thing.is_place:
            return Ready({}, locked, False)
        taken = counter.names()
        first = t(f"kind.{thing.value}")
        name = first if first.casefold() not in taken else making.next_names(first, taken, 1)[0]
        return Ready({"name": name}, locked, False)

    return answer


def named(thing: Thing, answers: Draft) -> str:
    """What a cutter or holder is called that nobody gave a name."""
    if thing is Thing.CUTTER:
        return t("enter.cutter_name", dc_mm=float(answers["dc_mm"]))  # type: ignore[arg-type]  # a figure
    return plain_name(making.holder({**answers, "name": "x"}, ""))


def add(thing: Thing, answers: Draft, stood_cold: bool) -> Question[Entered]:
    """A new thing.  Raises ThingFault, Locked, ActRefused."""
    return lambda desk: desk.shop.setting_up.add(thing, answers, stood_cold=stood_cold)


def change(thing: Thing, key: str, answers: Draft, reason: str) -> Question[Entered]:
    """Other facts of a thing.  Raises ThingFault, Locked, NeedsReason, NotThere."""
    return lambda desk: desk.shop.setting_up.change(thing, key, answers, reason)


def copy(thing: Thing, key: str, count: int, stood_cold: bool) -> Question[Entered]:
    """More like this one.  Raises ThingFault, Locked, NotThere."""
    return lambda desk: desk.shop.setting_up.copy(thing, key, count, stood_cold=stood_cold)


def reground(key: str, dc_mm: float | None, oal_mm: float | None) -> Question[str]:
    """A cutter came back from regrinding: its name.  None: that figure is as it was.  Raises StillHot, NotThere."""
    return lambda desk: desk.build.reground(key, dc_mm, oal_mm).name


def gone(things: Iterable[Thing]) -> Question[tuple[Listed, ...]]:
    """Everything out of use of these kinds."""
    wanted = tuple(things)
    return lambda desk: desk.shop.setting_up.gone(wanted)


def door() -> Question[Ready]:
    """Whether a PIN comes before something that is gone is brought back, and whether it needs a reason."""
    return lambda desk: Ready({}, desk.shop.setting_up.needs_supervisor, desk.shop.setting_up.has_pin)


def bring_back(thing: Thing, key: str, reason: str) -> Question[Entered]:
    """In use again.  Raises ThingFault, Locked, NeedsReason, NotThere."""
    return lambda desk: desk.shop.setting_up.bring_back(thing, key, reason)


def retire(thing: Thing, key: str, reason: str) -> Question[None]:
    """A thing that is gone for good.  Raises ThingFault, Locked, NeedsReason, NotThere."""
    return lambda desk: desk.shop.setting_up.retire(thing, key, reason)
