"""The differences of the audit: one large row each, and what may be done about it in one touch.

What can be done about a difference, and whether it may be, is the desk's; a difference that stays open is given
a reason, chosen from a few.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, ObjectProperty, OptionProperty, StringProperty

from kiosk.rules import audit as A
from kiosk.rules.outcomes import Outcome, Refused
from kiosk.rules.place_drawing import PlaceDrawing
from kiosk.screens.audit.wording import difference_words, last_seen
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import for_heat
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.lines import RowText, TouchRow
from kiosk.screens.questions import audit as asks
from kiosk.screens.questions import common
from kiosk.screens.questions.audit import AuditStatus, DifferenceCard, LookFor
from kiosk.screens.sounds import Sound
from kiosk.screens.theme import HEAT
from kiosk.screens.view import Covers, View
from kiosk.telling import found_words
from kiosk.words import grouped, say, t

IN_HEADING = 64  # letters of a refusal
HOT = (A.Difference.HOT, A.Difference.NOT_PROVEN_COOL)
READ, MEASURE, PRINT = "read", "measure", "print"
_SIGNS = {
    A.Difference.HOT: HEAT, A.Difference.NOT_PROVEN_COOL: HEAT, A.Difference.MISSING: "?",
    A.Difference.MISPLACED: "↔", A.Difference.UNEXPECTED: "↔", A.Difference.EMPTY_HOLDER: "–",
}  # fmt: skip


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    LIST = "list"
    ONE = "one"
    REASON = "reason"


class PlacesRow(TouchRow):
    """The same as wide as two places side by side: in half of a panel the second one, where it belongs, was cut off."""

    least_wide_mm = 150.0


class AuditDifferencesScreen(View):
    """The list, one of it, and the reason it is carried over with."""

    name = "audit_differences"
    rail = "audit"
    covers = Covers.RAIL
    row_class = PlacesRow
    stays = True  # whoever looks for what is missing comes back to this list

    page = OptionProperty(Page.LIST, options=list(Page))
    rows = ListProperty()
    heading = StringProperty()
    told = StringProperty()  # what was done
    trouble = StringProperty()
    for_heat = BooleanProperty(False)  # that is why
    word = StringProperty()
    sign = StringProperty()
    tone = StringProperty("plain")
    title = StringProperty()
    places = StringProperty()
    more = StringProperty()
    picture = ObjectProperty(None, allownone=True)  # its place, drawn
    actions = ListProperty()  # Choices: what can be done
    reasons = ListProperty()
    waiting = BooleanProperty(False)  # the desk writes; a second touch must not ask again

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._cards: dict[str, DifferenceCard] = {}
        self._card: DifferenceCard | None = None
        self._asked = ""  # key of the one difference that this screen was opened for
        self.reasons = [Choice(reason, t(f"auditing.reason.{reason}")) for reason in A.REASONS]

    def shown(self, trouble: str = "", key: str = "", **_: Any) -> None:
        self.told, self.trouble, self.for_heat, self._asked = "", trouble, False, key
        self.page = Page.LIST
        self.refresh()

    def returned(self) -> None:
        if self.page == Page.ONE and self._card is not None and not self._asked:
            self.page = Page.LIST  # what was done elsewhere may have closed it
        self.refresh()

    @staticmethod
    def in_heading(trouble: str, rows: list[Any]) -> bool:
        """Whether the heading has room for it: above a list, which a row of its own would take a row from."""
        return bool(rows) and len(trouble) <= IN_HEADING

    def refresh(self) -> None:
        self.clerk.ask(asks.status(), self.show, self._failed)

    def show(self, status: AuditStatus) -> None:
        """Show the differences as the desk gives them."""
        self._cards = {card.key: card for card in status.differences}
        # What was not seen may only not have been looked at yet: everything else comes before it.
        order = sorted(status.differences, key=lambda card: card.difference is A.Difference.MISSING)
        self.rows = [_line(card) for card in order]
        to_see = sum(card.difference is A.Difference.MISSING for card in order)
        counted = (("differences", len(order) - to_see), ("to_see", to_see))
        self.heading = " · ".join(t(f"auditing.{what}", count=count) for what, count in counted if count)
        self.waiting = False
        if self._asked and self.page == Page.LIST and self._asked in self._cards:
            self.choose(self._asked)
        elif self._asked and self._asked not in self._cards:
            self.clerk.go("audit")

    def scanned(self, text: str) -> bool:
        """A scan goes on with the audit: back to the walk, which shows what comes of it."""
        self.clerk.back()
        return False

    def choose(self, key: str) -> None:
        """A row was touched."""
        card = self._cards[key]
        line = _line(card)
        self._card = card
        self.word, self.sign, self.tone = difference_words(card.difference), line.sign, line.tone
        self.title, self.places, self.more = line.text, _places(card), ""
        self.told = self.trouble = ""
        self.actions = [Choice(name, t(f"auditing.do.{name}")) for name in _actions(card)]
        self.picture = None
        self.page = Page.ONE
        if place := card.booked or card.found:  # where it belongs, or was found where it belongs nowhere
            self.clerk.ask(asks.picture(place), lambda found: self.draw(card, found), lambda _: None)
        if card.difference is A.Difference.MISSING and card.holder:
            holder = card.holder
            self.clerk.ask(asks.look_for(holder), lambda found: self._where(card, found))

    def draw(self, card: DifferenceCard, picture: PlaceDrawing) -> None:
        """Draw the place of the difference in sight."""
        if self._card is card:
            self.picture = picture or None

    def _where(self, card: DifferenceCard, found: LookFor) -> None:
        if self._card is card:
            self.more = last_seen(found)
            if found.neighbours:
                self.more += " " + t("auditing.beside", names=", ".join(found.neighbours[:3]))

    def do(self, action: str) -> None:
        """A button was touched: the difference is closed so, or a reason is asked for."""
        card = self._card
        if card is None:
            return
        if action == A.Action.CARRIED_OVER.value:
            self.page = Page.REASON
        elif action == A.Action.REGISTERED.value:
            self.clerk.go("adopt", text=card.text, home="audit")
        elif action == READ and card.holder:
            self.clerk.go("reading", key=card.holder, name=card.name)
        elif action == MEASURE and card.holder:
            self.clerk.go("measure", key=card.holder)
        elif action == PRINT and card.holder:
            self.clerk.ask(common.code_of(card.holder), lambda code: self.clerk.go("labels", code=code), self._failed)
        else:
            self._settle(A.Action(action), "")

    def carry_over(self, reason: str) -> None:
        """It stays open, for this reason."""
        self._settle(A.Action.CARRIED_OVER, t(f"auditing.reason.{reason}"))

    def _settle(self, action: A.Action, reason: str) -> None:
        card = self._card
        if card is None or self.waiting:
            return
        self.waiting = True
        key = card.key
        self.clerk.ask(asks.settle(key, action, reason), self._settled, self._failed)

    def _settled(self, outcome: Outcome) -> None:
        self.waiting = False
        if isinstance(outcome, Refused):
            self.clerk.play(Sound.REFUSED)
            self.trouble, self.for_heat = f"{say(outcome.why)}. {say(outcome.remedy)}", for_heat(outcome)
            self.page = Page.ONE
            return
        self.clerk.play(Sound.DONE)
        if self._asked:
            self.clerk.go("audit", told=say(outcome.say))
            return
        self.told, self.trouble = say(outcome.say), ""
        self.page = Page.LIST
        self.refresh()

    def back(self) -> None:
        """One step back, or to the walk."""
        if self.page == Page.LIST or (self.page == Page.ONE and self._asked):
            self.clerk.back()
        else:
            self.page = Page.LIST if self.page == Page.ONE else Page.ONE

    def _failed(self, error: Exception) -> None:
        """The audit was closed elsewhere, or the difference is gone: say so and look again."""
        self.waiting = False
        self.clerk.play(Sound.REFUSED)
        self.told, self.trouble, self.for_heat = "", fault_words(error), for_heat(error)
        self.page = Page.LIST
        self.rows = []


def _actions(card: DifferenceCard) -> tuple[str, ...]:
    """What closes it, in the desk's order, and what lets it close by itself: a reading, a measurement."""
    found = [action.value for action in card.actions]
    if card.difference in HOT:
        found.append(READ)
    if card.difference is A.Difference.MEASURED_LONG_AGO:
        found.insert(0, MEASURE)
    if card.difference is A.Difference.LABEL_WORN:
        found.insert(0, PRINT)
    return tuple(found)


def _places(card: DifferenceCard) -> str:
    if card.difference is A.Difference.MISSING:
        return t("auditing.booked", place=card.booked_name)
    return found_words(card.difference, card.booked_name, card.found_name)


def _line(card: DifferenceCard) -> RowText:
    tone = "heat" if card.difference in HOT else "plain" if card.difference is A.Difference.MISSING else "stop"
    places = card.booked_name if card.difference is A.Difference.MISSING else _places(card)
    note = " · ".join(part for part in (difference_words(card.difference), places) if part)
    return RowText(card.key, grouped(card.name), note, sign=_SIGNS.get(card.difference, "×"), tone=tone)


load_beside(__file__)
