"""One thing an audit has seen or misses: where it is, what differs, and what a hand can do about it.

What may be done is the desk's; this only offers it, a touch each, and leads to the difference it makes.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, ListProperty, ObjectProperty, StringProperty

from kiosk import words
from kiosk.rules import audit as A
from kiosk.rules.cards import HolderCard
from kiosk.screens.audit.wording import difference_words, last_seen, state_words
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.slots import SIGNS, SlotState
from kiosk.screens.questions import audit as asks
from kiosk.screens.questions.audit import DifferenceCard, Spoken
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t

EMPTY, FULL, TYPE, HOLDER = "empty", "full", "type", "holder"
_TONES = {
    A.Shows.SEEN: "done", A.Shows.HOT: "heat", A.Shows.MISPLACED: "stop", A.Shows.UNKNOWN: "stop",
}  # fmt: skip


class AuditSpotScreen(View):
    """A holder or label in the audit."""

    name = "audit_spot"
    rail = "audit"
    covers = Covers.RAIL
    stays = True  # whoever looks for it comes back here

    title = StringProperty()
    word = StringProperty()
    sign = StringProperty()
    tone = StringProperty("plain")
    place = StringProperty()
    more = StringProperty()
    picture = ObjectProperty(None, allownone=True)  # its place, drawn
    trouble = StringProperty()
    actions = ListProperty()
    acts = BooleanProperty(False)  # the first of them is what a hand most likely wants
    waiting = BooleanProperty(False)  # the desk writes; a second touch must not ask again

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._about = ""
        self._card: HolderCard | None = None

    def shown(self, about: str = "", **_: Any) -> None:
        self._about = about
        self.title, self.word, self.sign, self.place, self.more, self.trouble = "", "", "", "", "", ""
        self.actions, self.picture = [], None
        self.refresh()

    def returned(self) -> None:
        self.refresh()

    def refresh(self) -> None:
        about = self._about
        self.clerk.ask(asks.spoken(about), self.show, self._failed)

    def scanned(self, text: str) -> bool:
        """A scan goes on with the audit: back to the walk, which shows what comes of it."""
        self.clerk.go("audit")
        return False

    def show(self, spoken: Spoken) -> None:
        """Show what the desk says of it."""
        self.waiting = False
        self._card = spoken.card
        self.title = words.grouped(spoken.name)
        self.word = state_words(spoken.state)
        self.sign, self.tone = SIGNS[SlotState(spoken.state.value)], _TONES.get(spoken.state, "plain")
        self.place, self.picture = spoken.place, spoken.picture
        code = spoken.card.code if spoken.card else None
        self.more = last_seen(spoken.found) if spoken.found else words.grouped(code) if code else ""
        self.acts = bool(spoken.differences)
        self.actions = _actions(spoken)

    def do(self, action: str) -> None:
        """A button was touched."""
        card = self._card
        if action == TYPE:
            self.clerk.go("audit")
            self.clerk.go("typed")
        elif action == HOLDER and card is not None:
            self.clerk.go("holder", key=card.holder.key)
        elif action in (EMPTY, FULL) and card is not None:
            self._say_empty(card.holder.key, action == EMPTY)
        else:
            self.clerk.go("audit_differences", key=action)

    def _say_empty(self, holder: str, is_empty: bool) -> None:
        if self.waiting:
            return
        self.waiting = True
        self.clerk.ask(asks.empty(holder, is_empty), self._told, self._failed)

    def _told(self, difference: DifferenceCard | None) -> None:
        self.waiting = False
        self.clerk.play(Sound.DONE)
        if difference is not None:
            self.clerk.go("audit_differences", key=difference.key)
        else:
            self.refresh()

    def _failed(self, error: Exception) -> None:
        self.waiting = False
        self.clerk.play(Sound.REFUSED)
        self.trouble = fault_words(error)


def _actions(spoken: Spoken) -> list[Choice]:
    card = spoken.card
    found = [
        Choice(each.key, t("auditing.settle", word=difference_words(each.difference)))
        for each in spoken.differences[:2]
    ]
    if spoken.state is A.Shows.MISSING:
        found.append(Choice(TYPE, t("auditing.type")))
    elif card is not None and card.assembly is not None:
        said = any(each.difference is A.Difference.EMPTY_HOLDER for each in spoken.differences)
        found.append(Choice(FULL, t("auditing.full")) if said else Choice(EMPTY, t("auditing.empty")))
    if card is not None:
        found.append(Choice(HOLDER, t("find.holder")))
    return found


load_beside(__file__)
