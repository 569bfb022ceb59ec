"""Questions about the shop: its things, its people, a new holder, and how the kiosk is set."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from kiosk.desk import Desk
from kiosk.desk.copies import CopyMade
from kiosk.desk.people import ROLES, PinRefused
from kiosk.desk.session import Locked
from kiosk.rules.assembly import Holder
from kiosk.rules.cards import FreshLabel, HolderCard, OperatorCard, PlaceCard, UnknownCode
from kiosk.rules.codes import CodeKind
from kiosk.rules.outcomes import Done, Refused
from kiosk.rules.say import Say
from kiosk.screens.questions import Question
from kiosk.screens.questions.common import copies_go
from kiosk.screens.questions.health import copies_made
from kiosk.settings import Settings
from kiosk.words import t

__all__ = [
    "ROLES", "CopyMade", "Door", "PinRefused", "Supervisor", "add", "add_supervisor", "bring_back",
    "change_setting", "choose_pin", "copies_go", "copies_made", "correct_figure", "correct_place", "door", "holders",
    "label_or_mark", "number", "operators", "place_of", "places", "plain_name", "register", "rename",
    "retire", "retire_label", "settings", "sign_out", "standing", "supervised", "unlock",
]  # fmt: skip

AT_ONCE = 200  # holders that are read from the book in one go


# Things ---------------------------------------------------------------------------------------------------------


def places() -> Question[tuple[tuple[PlaceCard, tuple[str, ...]], ...]]:
    """Every place, and what stands there, by name."""

    def answer(desk: Desk) -> tuple[tuple[PlaceCard, tuple[str, ...]], ...]:
        standing = desk.shop.standing()
        return tuple((card, standing.get(card.place.code, ())) for card in desk.shop.places())

    return answer


def standing(place: str) -> Question[tuple[HolderCard, ...]]:
    """What stands at a place and in everything inside it, in walking order."""
    return lambda desk: desk.shop.standing_in(place)


def holders() -> Question[tuple[HolderCard, ...]]:
    """Every holder."""

    def answer(desk: Desk) -> tuple[HolderCard, ...]:
        found: list[HolderCard] = []
        while some := desk.shop.holders(len(found), AT_ONCE):
            found += some
            if len(some) < AT_ONCE:
                break
        return tuple(found)

    return answer


def plain_name(holder: Holder) -> str:
    """What a holder is called that nobody gave a name: how it clamps, bore and reach."""
    return f"{t('clamping.' + holder.clamping.value)} {holder.bore_mm:g} x {holder.projection_mm:g}"


def correct_figure(key: str, figure: str, value: float, reason: str) -> Question[HolderCard]:
    """A holder's `figure` (a field of its facts, mm) is this; a name made of its figures follows.

    Raises Locked, OutlineError, OutOfBounds, StillHot.
    """

    def answer(desk: Desk) -> HolderCard:
        before = desk.session.holder(key).holder
        after: Holder = replace(before, **{figure: value})  # type: ignore[arg-type]  # a figure, by its field's name
        if before.name == plain_name(before):
            after = replace(after, name=plain_name(after))
        return desk.shop.correct(after, reason)

    return answer


def number(key: str, number: int | None) -> Question[None]:
    """What the controls call the assembly in a holder; None: nothing.  Raises BuildRefused, NotThere."""
    return lambda desk: desk.build.number(key, number)


def own_pockets(key: str) -> Question[tuple[PlaceCard, ...]]:
    """Pockets that are kept for a holder."""
    return lambda desk: desk.handover.own_pockets(key)


def keep_pocket(key: str, pocket: str | None) -> Question[str | None]:
    """This pocket is kept for a holder and no other is; None: none.  Whose it was.  Raises NotThere, ActRefused."""
    return lambda desk: desk.handover.keep_pocket(key, pocket)


def correct_place(key: str, place: str | None, reason: str) -> Question[HolderCard | Refused]:
    """The book follows the steel to a place, or to nowhere known.  Raises Locked, NotThere."""
    return lambda desk: desk.shop.correct_place(key, place, reason)


def retire_label(text: str, reason: str) -> Question[None]:
    """A holder's label answers for nothing any more.  Raises Locked, NotThere."""
    return lambda desk: desk.shop.retire_code(text, reason)


def place_of(text: str) -> Question[PlaceCard]:
    """The place this label is on.  Raises NotThere."""
    return lambda desk: desk.session.place(text)


def register(
    holder: Holder, text: str, place: str | None, within_a_day: bool
) -> Question[tuple[HolderCard, HolderCard | None]]:
    """A new holder; it is given a key.  text: an unknown label that is on it.  within_a_day: when it was heated.

    The second answer is a hot one that is alike, where this one is said to have stood cold.
    """

    def answer(desk: Desk) -> tuple[HolderCard, HolderCard | None]:
        new = replace(holder, key=desk.shop.fresh_key())
        if text:
            card = desk.adopting.register(new, text, place, stood_cold=not within_a_day)
        else:
            card = desk.shop.register(new, None, place, stood_cold=not within_a_day)
        return card, None if within_a_day else desk.shop.alike_and_hot(card.holder)

    return answer


def label_or_mark(key: str, text: str) -> Question[Say | None]:
    """The first scan of a holder's printed label, or a mark it has already: what was done; None: neither.

    Raises what stands against it, worded for the screen.
    """

    def answer(desk: Desk) -> Say | None:
        subject = desk.session.cards.subject(text)
        if isinstance(subject, FreshLabel):
            outcome = desk.scan(text).outcome
            return outcome.say if isinstance(outcome, Done) else None
        if not isinstance(subject, UnknownCode) or not subject.foreign:
            return None
        return Say("register.bound", (("name", desk.shop.adopt_mark(key, text).name),))

    return answer


# People ---------------------------------------------------------------------------------------------------------


class Supervisor(NamedTuple):
    """Somebody who may give a PIN.  `has_pin`: False: must choose one first."""

    key: str
    name: str
    has_pin: bool


def operators() -> Question[tuple[OperatorCard, ...]]:
    """Everybody who has or had a badge."""
    return lambda desk: desk.people.operators()


class Door(NamedTuple):
    """Who may open what a supervisor's PIN opens.  open_by: key of whoever gave one within the last minutes, or ""."""

    supervisors: tuple[Supervisor, ...]
    open_by: str

    @property
    def badge_first(self) -> bool:
        """Whether a first PIN is chosen by nobody but a supervisor who is signed in."""
        return bool(self.supervisors) and not any(one.has_pin for one in self.supervisors)


def door() -> Question[Door]:
    """The supervisors who are still here, and whether one of them has opened already."""

    def answer(desk: Desk) -> Door:
        found = tuple(
            Supervisor(card.key, card.name, desk.people.has_pin(card.key))
            for card in desk.people.operators()
            if card.role == "supervisor" and not card.retired
        )
        return Door(found, desk.session.unlocked_by() or "")

    return answer


def supervised() -> Question[bool]:
    """Whether somebody may be added now; where there is no supervisor at all, the first must be let in."""

    def answer(desk: Desk) -> bool:
        try:
            if desk.session.supervised() is not None:
                return True
        except Locked:
            return False
        return not any(card.role == "supervisor" and not card.retired for card in desk.people.operators())

    return answer


def unlock(key: str, pin: str) -> Question[str]:
    """A supervisor gives a PIN: the key of who has.  Raises PinRefused."""
    return lambda desk: desk.people.unlock(key, pin).key


def choose_pin(key: str, pin: str) -> Question[str]:
    """A supervisor's PIN from now on, first or another: the key of who answers for it.  Raises Locked.

    The shop's first one opens the door too.
    """

    def answer(desk: Desk) -> str:
        people = desk.people
        people.choose_pin(key, pin)
        return desk.session.unlocked_by() or people.unlock(key, pin).key

    return answer


def add_supervisor(name: str, pin: str) -> Question[str]:
    """Somebody new, a supervisor with a PIN at once: the key of who answers for it.  Raises Locked."""

    def answer(desk: Desk) -> str:
        code, people = desk.shop.fresh_code(CodeKind.BADGE), desk.people
        added = people.add(code.text.lower(), name, "supervisor", code.text, pin)
        return desk.session.unlocked_by() or people.unlock(added.key, pin).key

    return answer


def sign_out() -> Question[None]:
    """Whoever is at work goes."""
    return lambda desk: desk.people.sign_out()


def add(name: str, role: str, language: str = "") -> Question[OperatorCard]:
    """Somebody new, with a badge to be printed.  language: as of `speaks`.  Raises Locked."""

    def answer(desk: Desk) -> OperatorCard:
        code = desk.shop.fresh_code(CodeKind.BADGE)
        return desk.people.add(code.text.lower(), name, role, code.text, language=language)

    return answer


def rename(key: str, name: str) -> Question[OperatorCard]:
    """Somebody is called otherwise.  Raises Locked, NotThere, ThingFault."""
    return lambda desk: desk.people.rename(key, name)


def speaks(key: str, language: str) -> Question[OperatorCard]:
    """What the kiosk speaks to somebody; empty: the shop's language.  Raises Locked, NotThere."""
    return lambda desk: desk.people.speaks(key, language)


def bring_back(key: str) -> Question[OperatorCard]:
    """Somebody is here again, with a new badge to be printed.  Raises Locked, NotThere."""
    return lambda desk: desk.people.bring_back(key, desk.shop.fresh_code(CodeKind.BADGE).text)


def retire(key: str, reason: str) -> Question[None]:
    """Somebody is no longer here.  Raises Locked."""
    return lambda desk: desk.people.retire(key, reason)


# How the kiosk is set -------------------------------------------------------------------------------------------


def settings() -> Question[Settings]:
    """The settings."""
    return lambda desk: desk.session.settings


def change_setting(table: str, key: str, value: str) -> Question[Settings]:
    """This is the value from now on: all settings as they are then.  Raises SettingsFault, Locked."""
    return lambda desk: desk.people.change_setting(table, key, value, t("settings.on_screen"))
