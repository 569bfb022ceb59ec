"""The scan screen: live picture, what came of the last scan, what to scan next, undo while it lasts.

Home of the kiosk: every scan that no other screen takes is shown here.  A first scan is shown as long as its
second is taken, so that nothing moves that nobody sees; then the card steps back to its question.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from kivy.clock import Clock
from kivy.properties import BooleanProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.cards import HolderCard, Pending, PlaceCard
from kiosk.rules.outcomes import Done, Expects, Refused, Step, Wait, undo_offered_s
from kiosk.rules.say import Say
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import counts_as_hot
from kiosk.screens.parts.card import STATES
from kiosk.screens.parts.live import LivePicture
from kiosk.screens.questions import common
from kiosk.screens.view import View
from kiosk.telling import Told, asked_for, told
from kiosk.words import say, t

if TYPE_CHECKING:
    from kiosk.screens.camera import Aim
    from kiosk.screens.clerk import Scanned

MISSED = 4  # names that the card has room for
_SAID = ("title", "detail", "origin", "goal", "why", "remedy", "next")
_GO_ON = (Step.MOVED, Step.UNDONE, Step.ALREADY_THERE)  # after these it is said what comes next


class ScanScreen(View):
    """`undo_s`: how long the last step can still be taken back, as the clerk knows it."""

    name = "scan"
    rail = "scan"
    stays = True  # this is where everybody expects the window

    state = OptionProperty("idle", options=STATES)
    word = StringProperty()
    title = StringProperty()
    detail = StringProperty()
    origin = StringProperty()
    goal = StringProperty()
    why = StringProperty()
    remedy = StringProperty()
    next = StringProperty()
    undo_s = NumericProperty(0)
    undo_name = StringProperty()  # what would be taken back, where something else is shown
    offer = OptionProperty("", options=("", "pocket", "reading", "adopt"))  # what else can be done with it now
    absent = StringProperty()
    lost = BooleanProperty(False)  # there is no camera, and looking for one again may help
    hint = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._waits = False  # what is shown is the first scan of a pair
        self._shown = ("", "")  # key and title of the holder whose step is shown
        self._refused = ""  # key of the holder whose refusal is shown
        self._step_back = Clock.create_trigger(lambda _: self.step_back())
        self.ask_for_scan()

    @property
    def live(self) -> LivePicture:
        live: LivePicture = self.ids.live
        return live

    def shown(self, scanned: Scanned | None = None, anew: bool = False, missed: tuple[str, ...] = (), **_: Any) -> None:
        self._may_undo()
        if scanned is not None:
            self.show(scanned)
        elif missed:
            self.show_missed(missed)
        elif anew:
            self.ask_for_scan()

    def returned(self) -> None:
        self._may_undo()

    def _may_undo(self) -> None:
        self.undo_s, self.undo_name = undo_offered_s(self.clerk.undo_s), self.clerk.undo_name

    def tick(self) -> None:
        self._may_undo()
        if self.state == "stop":
            self.next = self._still(self.clerk.waiting)
        if self.state == "idle" or (self._waits and self.clerk.waiting is None):
            self.step_back()

    def aimed(self, aim: Aim) -> None:
        """The reader says where a symbol is."""
        if aim.corners is not None:
            self.live.close_in(aim.corners, aim.read)

    def ask_for_scan(self) -> None:
        """Step back to the question."""
        clerk = self.clerk
        if clerk is not None and clerk.empty:
            self._say("idle", title=t("scan.empty"), why=t("scan.empty_remedy"))
            return
        here = clerk.here if clerk else ""
        self._say(
            "idle",
            title=t("scan.holder") if here else t("scan.idle"),
            detail=t("scan.here", place=here) if here else "",
        )

    def show(self, scanned: Scanned) -> None:
        """Show what came of a scan."""
        outcome = scanned.outcome
        card = scanned.holder or outcome.holder
        what = told(outcome, card)
        self._show(_hot(what) if what.state == "done" and counts_as_hot(card) else what)
        if isinstance(outcome, Refused):
            self._refused = card.holder.key if card else ""
            self.next = self._still(outcome.pending or self.clerk.waiting)
        elif isinstance(outcome, Done) and card is not None and outcome.step in _GO_ON:
            self._shown = (card.holder.key, self.title)
            self.clerk.ask(common.next_step(card.holder.key), partial(self._goes_on, self._shown), lambda _: None)
        pending = getattr(outcome, "pending", None)
        self._waits = isinstance(outcome, Wait) and outcome.step is not Step.AUDIT_AT
        pair_s = float(self.clerk.settings.kiosk.pair_s)
        self._step_back.cancel()
        left_s = pending.left_s(scanned.moment, pair_s) if pending is not None else 0.0
        # a refusal may still carry a first scan whose time is over: it is shown as long as any other
        self._step_back = Clock.schedule_once(lambda _: self.step_back(), left_s if left_s > 0.0 else pair_s)

    def show_missed(self, names: tuple[str, ...]) -> None:
        """Show what was scanned while an alarm was up: nothing has been done with it."""
        self._say(
            "stop",
            t("card.word.missed"),
            title=" · ".join(names[:MISSED]) + (" …" if len(names) > MISSED else ""),
            why=t("scan.missed", count=len(names)),
            remedy=t("scan.missed_remedy"),
        )
        self._waits = False
        self._step_back.cancel()
        self._step_back = Clock.schedule_once(lambda _: self.step_back(), float(self.clerk.settings.kiosk.pair_s))

    def step_back(self) -> None:
        """To what still waits for its second scan, else to the question."""
        waiting = self.clerk.waiting
        if waiting is None:
            self._waits = False
            self.ask_for_scan()
        elif isinstance(waiting.card, HolderCard):
            self._wait(Expects.PLACE, waiting.card, None)
        else:
            self._wait(Expects.HOLDER, None, waiting.card)

    def _still(self, waiting: Pending | None) -> str:
        """What a refusal leaves to be done: the first scan that it covers may still wait for its second."""
        card = waiting.card if waiting is not None and not waiting.heat_only else None
        if isinstance(card, HolderCard):
            another = card.holder.key != self._refused
            return t("scan.still_place", name=card.name) if another else t("scan.better_place")
        return t("scan.still_holder", name=card.name) if card is not None else ""

    def _goes_on(self, shown: tuple[str, str], step: Say | None) -> None:
        """What comes next for what was moved, unless something else is shown by now."""
        if step is not None and self.state in ("done", "heat") and shown == self._shown and self.title == shown[1]:
            self.next = say(step)

    def _wait(self, expects: Expects, card: HolderCard | None, goal: PlaceCard | None) -> None:
        self._waits = True
        self._show(asked_for(expects, card, goal))

    def _show(self, what: Told) -> None:
        self._say(what.state, what.word, **{name: getattr(what, name) for name in _SAID})
        self.offer, self._key = what.offer, what.key or self._key

    def _say(self, state: str, word: str = "", **words: str) -> None:
        self.state = state
        self.offer = ""
        self.word = word
        for name in _SAID:
            setattr(self, name, words.get(name, ""))

    def choose_pocket(self) -> None:
        """Choose a machine's pocket by touch for the holder that waits."""
        self.clerk.go("machine", key=self._key, name=self.title)

    def read(self) -> None:
        """Enter a reading of a holder whose temperature nobody knows."""
        self.clerk.go("reading", key=self._key, name=self.title)

    def adopt(self) -> None:
        """Say whose the label is that nobody knows."""
        self.clerk.go("adopt", text=self._key, home="scan")

    def look_again(self) -> None:
        """Look for the camera once more."""
        if self.clerk.eye is not None:
            self.clerk.eye.again()

    def undo(self) -> None:
        """Take back the last step."""
        self.clerk.undo()


def _hot(what: Told) -> Told:
    """What was done with a holder that is hot: the word is that it is, and what was done stands below."""
    said = (what.word, what.why) if what.goal else (what.why or what.word,)
    return replace(what, state="heat", word=t("heat.word"), why=". ".join(part for part in said if part))


load_beside(__file__)
