"""The heat refusal: fills the screen, says how hot, for how long, and what to do instead.

It goes away by one touch, or by scanning a place where the holder may stand hot, and says until then what it was
raised for, whatever else is scanned.  No other scan is taken while it shows: each sounds refused and is named when the
alarm has been understood.  What the desk was asked just before, it answers; that is shown then.  Another alarm waits
for its turn.  Nothing here ends a hold.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import kivy.core.audio  # noqa: F401  an alarm sounds: what plays it is loaded with it, on the desk's thread
from kivy.properties import BooleanProperty, NumericProperty, ObjectProperty, StringProperty

from kiosk.rules.cards import HolderCard, ProbeNext
from kiosk.rules.codes import CodeFault, CodeKind, parse
from kiosk.rules.holder_drawing import Drawing
from kiosk.rules.outcomes import Done, Refused, Step
from kiosk.screens.kv import load_beside
from kiosk.screens.questions import hot as asks_hot
from kiosk.screens.questions import scan as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import say, t, to_everybody

if TYPE_CHECKING:
    from kiosk.screens.clerk import Scanned

DRAW_EVERY_S = 10


class HeatScreen(View):
    """`left_s`: until what the words above it say; negative: there is nothing to count down."""

    name = "heat"
    covers = Covers.ALL
    forwards = True
    stays = True  # an alarm is ended by a hand, never by a pause

    about = StringProperty()
    until = StringProperty()
    left_s = NumericProperty(-1)
    place = StringProperty()
    also = StringProperty()  # the same in the shop's language, for whoever stands by, where another one is spoken
    title = StringProperty()
    remedy = StringProperty()
    measure = StringProperty()
    gap = BooleanProperty(False)
    drawing = ObjectProperty(None, allownone=True)  # how warm each part of it may be
    advice = StringProperty()  # what to do to be sooner
    first = StringProperty()  # said when something else is scanned

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._drawn_s = 0
        self._code = ""
        self._goal = ""
        self._others: list[Scanned] = []  # alarms that came while this one was up
        self._missed: list[str] = []  # texts that were scanned meanwhile and not taken
        self._waiting: list[str] = []  # those of them that the desk waits to make a pair of

    def shown(self, scanned: Scanned | None = None, **_: Any) -> None:
        if scanned is None or not isinstance(scanned.outcome, Refused):
            return
        card = scanned.outcome.holder
        if not self.holds:
            self._others, self._missed, self._waiting = [], [], []
            self._raise(scanned)
        elif card is not None and card.holder.key != self._key:
            self._others.append(scanned)
        elif (goal := scanned.outcome.goal) is not None and goal.place.code != self._goal:
            self.first = t("heat.nor_to", place=goal.name)

    def _raise(self, scanned: Scanned) -> None:
        """Say what this alarm is about, until it is understood."""
        outcome = scanned.outcome
        if not isinstance(outcome, Refused):
            return
        self.first, self.holds = "", True
        card = outcome.holder
        if card is not None:
            self._key, self._code, self.advice = card.holder.key, card.code, ""
            self.title = card.name
            self.drawing = None
            self._draw(card.holder.key)
            self._temperature(card)
        self._goal = outcome.goal.place.code if outcome.goal else ""
        self.place = _what(outcome)
        self.remedy = say(outcome.remedy)
        self.also = to_everybody(lambda: f"{t('heat.word')}: {_what(outcome)}")

    def _draw(self, key: str) -> None:
        """Ask how it looks now; the figures above it move by themselves."""
        self._drawn_s = 0

        def drawn(drawing: Drawing) -> None:
            if key == self._key:
                self.drawing = drawing

        self.clerk.ask(asks_hot.drawing(key), drawn, lambda _: None)

    def understood(self) -> None:
        """Somebody has seen it: the next alarm, or back, with what was scanned meanwhile."""
        if self._others:
            self._raise(self._others.pop(0))
            return
        self.clerk.let_go(self)
        if self._missed:
            missed = tuple(self._missed)
            self.clerk.ask(asks.not_taken(missed), lambda names: self.clerk.go_behind("scan", missed=names))

    def scanned(self, text: str) -> bool:
        if text == self._code:
            return False
        try:
            place = parse(text).kind is CodeKind.PLACE
        except CodeFault:
            place = False
        if place and not self._missed:
            return False
        self._miss(text)
        return True

    def _miss(self, text: str) -> None:
        self.first = t("heat.first")
        if text not in self._missed:
            self._missed.append(text)
        self.clerk.play(Sound.REFUSED)

    def came(self, scanned: Scanned) -> bool:
        outcome = scanned.outcome
        if isinstance(outcome, Done):
            return self._was_done(outcome)
        if isinstance(outcome, Refused) and (outcome.holder is None or outcome.holder.holder.key == self._key):
            self.first = say(outcome.why)
        elif scanned.text != self._code:
            self._waiting.append(scanned.text)
            self._miss(scanned.text)
        return True

    def _was_done(self, outcome: Done) -> bool:
        """The holder went where it may stand, or something else was done that was asked before the alarm came."""
        mine = outcome.holder is not None and outcome.holder.holder.key == self._key
        if not mine or outcome.step not in (Step.MOVED, Step.HEATING, Step.ALREADY_THERE):
            self._missed = [text for text in self._missed if text not in self._waiting]
            self._waiting = []
            self.first = t("heat.first") if self._missed else ""
            return False
        if self._others:
            self._raise(self._others.pop(0))
            return True
        self.holds = False
        return False

    def tick(self) -> None:
        card = next((card for card in self.clerk.hot if card.holder.key == self._key), None)
        if card is None:
            self.understood()
        else:
            self._temperature(card)
            self._drawn_s += 1
            if self._drawn_s >= DRAW_EVERY_S:
                self._draw(self._key)

    def _temperature(self, card: HolderCard) -> None:
        hold = card.hold
        if hold is None:
            return
        self.about = t("heat.about", hottest_c=hold.hottest_c, where=hold.where)
        self.until, self.left_s = t(hold.until.value), hold.counts_s or -1
        self.measure = t("hot.measure_in", left_s=hold.measure_in_s) if hold.measure_in_s else ""
        self.gap = hold.gap
        self._advise()

    def _advise(self) -> None:
        """What to probe, asked anew each second: the desk has it at hand unless something changed."""
        key = self._key

        def told(found: ProbeNext | None) -> None:
            if key == self._key:
                self.advice = say(found.say) if found else ""

        self.clerk.ask(asks_hot.advice(key), told)

    def read(self) -> None:
        """Enter a reading of this holder."""
        self.clerk.open_from(self, "reading", key=self._key)


def _what(outcome: Refused) -> str:
    """Where it may not go.  Without a place it is not held up on its way: it is about what was done elsewhere."""
    return t("heat.not_to", place=outcome.goal.name) if outcome.goal else say(outcome.why)


load_beside(__file__)
