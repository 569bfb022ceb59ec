"""People: who has a badge, somebody new, and somebody who is no longer here.

Only a supervisor who has given a PIN adds or retires anybody, and no one is ever deleted: what somebody did
stays in the book under their name.  A new supervisor chooses a PIN when it is first asked for.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, OptionProperty, StringProperty

from kiosk.rules.cards import OperatorCard
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import common
from kiosk.screens.questions import shop as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import LANGUAGES, own_name, t

ADD, RETIRE, PIN, RENAME, BACK, SPEAKS, LIKE = "add", "retire", "pin", "rename", "back", "speaks", "like"
REASONS = ("left_shop", "badge_lost", "entered_twice", "other_work")


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    LIST = "list"
    PERSON = "person"
    NAME = "name"
    ROLE = "role"
    REASON = "reason"
    LANGUAGE = "language"
    ANSWER = "answer"


class PeopleScreen(View):
    """The list; one person; somebody new in two answers; a reason; what was done."""

    name = "people"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.LIST, options=list(Page))
    people = ListProperty()
    options = ListProperty()
    title = StringProperty()
    role = StringProperty()
    actions = ListProperty()
    entered = StringProperty()
    done = StringProperty()
    can_print = BooleanProperty(False)
    trouble = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._renaming = False  # the name typed is another one for somebody
        self._like: OperatorCard | None = None  # whose role and language somebody new gets
        self._cards: dict[str, OperatorCard] = {}

    @property
    def stays(self) -> bool:
        """A name that somebody began to type is not thrown away."""
        return self.page == Page.ROLE or (self.page == Page.NAME and bool(self.ids.name.text.strip()))

    def shown(self, act: str = "", key: str = "", **_: Any) -> None:
        """`act`: what was asked for before the PIN, or what to show, about the person `key`."""
        self.trouble = ""
        self.page = Page.LIST
        self.clerk.ask(asks.operators(), lambda found: self._listed(found, act, key))

    def left(self) -> None:
        self.ids.name.end()

    def returned(self) -> None:
        if self.page == Page.NAME:
            self.ids.name.take_keys()

    def scanned(self, text: str) -> bool:
        """While somebody types a name nothing else is taken in."""
        if self.page != Page.NAME:
            return False
        self.trouble = t("people.name_first")
        self.clerk.play(Sound.REFUSED)
        return True

    def back(self) -> None:
        """One state back, or out."""
        self.ids.name.end()
        self.trouble = ""
        if self.page == Page.LIST:
            self.clerk.go("shop")
        elif self.page == Page.NAME and (self._renaming or self._like is not None):
            self.page = Page.PERSON
        else:
            before = {Page.ROLE: Page.NAME, Page.REASON: Page.PERSON, Page.LANGUAGE: Page.PERSON}
            self.page = before.get(self.page, Page.LIST)

    def _listed(self, found: tuple[OperatorCard, ...], act: str = "", key: str = "") -> None:
        self._cards = {card.key: card for card in found}
        ordered = sorted(found, key=lambda card: card.retired)
        self.people = [Choice(card.key, card.name, _note(card)) for card in ordered]
        if act == ADD:
            self._begin()
        elif act and key in self._cards:
            self.choose(Choice(key, self._cards[key].name))
            if act == RETIRE:
                self._why()
            elif act == RENAME:
                self._begin_renaming()
            elif act == BACK:
                self._bring_back()
            elif act == SPEAKS:
                self._which_language()
            elif act == LIKE:
                self._begin_like()
            elif act == PIN:
                self._answer(t("people.pin_chosen", name=self.title), can_print=False)

    def choose(self, choice: Choice) -> None:
        """One person."""
        card = self._cards[choice.key]
        self._key, self.title = card.key, card.name
        self.role = _note(card)
        at_work = self.clerk.operator is not None and self.clerk.operator.key == card.key
        self.actions = [Choice(name, t(f"people.{name}")) for name in _actions(card, at_work)]
        self.page = Page.PERSON

    def do(self, action: str) -> None:
        """A button of the person's was touched."""
        match action:
            case "sign_out":
                self.clerk.ask(asks.sign_out(), lambda _: self._signed_out(), self._failed)
            case "pin":
                self.clerk.go("pin", goal=self.name, chooser=self._key, act=PIN, key=self._key)
            case "badge":
                self.badge()
            case "rename":
                self._supervised(RENAME, self._begin_renaming)
            case "speaks":
                self._supervised(SPEAKS, self._which_language)
            case "back":
                self._supervised(BACK, self._bring_back)
            case "like":
                self._supervised(LIKE, self._begin_like)
            case "retire":
                self.retire()

    def _signed_out(self) -> None:
        self._answer(t("people.signed_out", name=self.title), can_print=False)

    def badge(self) -> None:
        """The badge of the person shown."""
        key = self._key
        self.clerk.ask(common.code_of(key), self._label, self._failed)

    def _label(self, code: str) -> None:
        self.clerk.go("labels", code=code)

    # Somebody new -------------------------------------------------------------------------------------------

    def add(self) -> None:
        """Somebody new, if a supervisor is there."""
        self._supervised(ADD, self._begin)

    def _begin_renaming(self) -> None:
        self._renaming, self.trouble = True, ""
        self.page = Page.NAME
        self.ids.name.begin(self.title)

    def _renamed(self, card: OperatorCard) -> None:
        self._answer(t("people.renamed", name=card.name), can_print=True)

    def _bring_back(self) -> None:
        """Here again: the old badge stays worth nothing."""
        self.clerk.ask(asks.bring_back(self._key), self._added, self._failed)

    def _begin_like(self) -> None:
        """Somebody new who may do what the person shown may, and is spoken to alike."""
        like = self._cards[self._key]
        self._begin()
        self._like = like

    def _begin(self) -> None:
        self._renaming, self._like = False, None
        self.entered = ""
        self.trouble = ""
        self.page = Page.NAME
        self.ids.name.begin()

    def named(self, text: str) -> None:
        """The name is whole."""
        name = text
        if not name:
            self.trouble = t("people.no_name")
            return
        others = [card for card in self._cards.values() if not (self._renaming and card.key == self._key)]
        if any(card.name.casefold() == name.casefold() and not card.retired for card in others):
            self.trouble = t("people.same_name")
            return
        self.ids.name.end()
        self.trouble = ""
        if self._renaming:
            self.clerk.ask(asks.rename(self._key, name), self._renamed, self._failed)
            return
        if self._like is not None:
            self.clerk.ask(asks.add(name, self._like.role, self._like.language), self._added, self._failed)
            return
        self.entered = name
        self.options = [Choice(role, t(f"role.{role}"), t(f"people.may.{role}")) for role in asks.ROLES]
        self.page = Page.ROLE

    def take_role(self, choice: Choice) -> None:
        """What the person may do: now there is a badge to print."""
        name, role = self.entered, choice.key
        self.clerk.ask(asks.add(name, role), self._added, self._failed)

    def _added(self, card: OperatorCard) -> None:
        self._key = card.key
        self._answer(t("people.added", name=card.name), can_print=True)

    # What the kiosk speaks to somebody ----------------------------------------------------------------------

    def _which_language(self) -> None:
        self.trouble = ""
        shops = own_name(self.clerk.settings.kiosk.language)
        used = self._cards[self._key].language
        named = [("", t("people.shops_language"), shops), *((each, own_name(each), "") for each in LANGUAGES)]
        self.options = [Choice(key, name, f"✓ {note}".rstrip() if key == used else note) for key, name, note in named]
        self.page = Page.LANGUAGE

    def take_language(self, language: str) -> None:
        """This one, from now on."""
        choice = next(each for each in self.options if each.key == language)
        self.clerk.ask(asks.speaks(self._key, language), lambda _: self._speaks(choice), self._failed)

    def _speaks(self, choice: Choice) -> None:
        language = choice.note or choice.text
        self._answer(t("people.speaks_now", name=self.title, language=language), can_print=False)

    # No longer here -----------------------------------------------------------------------------------------

    def retire(self) -> None:
        """The person shown is no longer here, if a supervisor says so."""
        self._supervised(RETIRE, self._why)

    def _why(self) -> None:
        self.trouble = ""
        self.options = [Choice(reason, t(f"people.reason.{reason}")) for reason in REASONS]
        self.page = Page.REASON

    def take_reason(self, choice: Choice) -> None:
        """Why: written down with who said so."""
        key, reason, name = self._key, choice.text, self.title
        self.clerk.ask(
            asks.retire(key, reason),
            lambda _: self._answer(t("people.retired", name=name), can_print=False),
            self._failed,
        )

    def _answer(self, done: str, *, can_print: bool) -> None:
        self.clerk.play(Sound.DONE)
        self.done, self.can_print = done, can_print
        self.page = Page.ANSWER

    def _supervised(self, act: str, then: Any) -> None:
        key = self._key
        self.clerk.ask(
            asks.supervised(),
            lambda open_: then() if open_ else self.clerk.go("pin", goal=self.name, act=act, key=key),
            self._failed,
        )

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble = fault_words(error)


def _actions(card: OperatorCard, at_work: bool) -> tuple[str, ...]:
    """What can be asked for about a person; whether it may be done is judged where it is done."""
    if card.retired:
        return (BACK,)
    first = (*(("sign_out",) if at_work else ()), *(("pin",) if card.role == "supervisor" else ()))
    return (*first, "badge", RENAME, SPEAKS, LIKE, "retire")


def _note(card: OperatorCard) -> str:
    return t("shop.retired") if card.retired else t(f"role.{card.role}")


load_beside(__file__)
