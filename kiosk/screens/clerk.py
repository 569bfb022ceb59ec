"""The clerk: carries what a screen asks to the desk and brings the answer back.

Screens know the clerk and nothing behind it.  He never decides: what a scan means, what may move and what is hot
is the desk's.  What he keeps is what the frame shows: what is hot, who is at work, what is wrong with the kiosk.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from kivy.clock import Clock
from kivy.properties import BooleanProperty, NumericProperty, ObjectProperty, StringProperty

from kiosk.rules.cards import Command
from kiosk.rules.codes import CodeFault, CodeKind, parse
from kiosk.rules.outcomes import ABOUT_LABEL, Done, Refused, Step
from kiosk.rules.places import Kind
from kiosk.screens.asked import asked
from kiosk.screens.outcomes_shown import asks_for_pocket, came_back, found_hot, is_about_heat, waiting_for_place
from kiosk.screens.pulse import Pulse, pulse
from kiosk.screens.questions import Question, common
from kiosk.screens.sounds import Sound, Sounds
from kiosk.screens.view import View
from kiosk.screens.way import Way
from kiosk.settings import Settings
from kiosk.telling import coupling_words as coupling_words
from kiosk.telling import fault_words as fault_words
from kiosk.words import t

if TYPE_CHECKING:  # the desk is loaded on its own thread
    from kiosk.desk.desk import Scanned as Scanned

A = TypeVar("A")
Failed = Callable[[Exception], Any] | None

AWAY_S = 120.0  # without a touch or a scan, then the window goes back to where everybody expects it
SAID_S = 6.0  # that a label was not taken, in the place of what the screen asks
TROUBLE_BEATS = 15  # how many good seconds a trouble stays in the strip
CLOCK_SET_S = 30.0  # a wall clock that moved so far beside the watched one was set

log = logging.getLogger("kiosk.window")


class Asks(Protocol):
    """What the clerk needs of the worker thread."""

    def ask(
        self,
        question: Question[A],
        then: Callable[[A], Any] | None = None,
        failed: Failed = None,
        *,
        patient: bool = False,
    ) -> None:
        """Put a question to the desk; the answer comes back on Kivy's thread.  patient: nobody waits for it."""

    def reopen(self, meanwhile: Callable[[], object], then: Callable[[], Any], failed: Failed) -> None:
        """Close the desk, do that, and open it again."""


# What a printed command card does on a screen: the screen it leads to.
_LEADS = {
    Command.SHOW_HOT: "hot",
    Command.START_AUDIT: "audit",
    Command.CLOSE_AUDIT: "audit",
    Command.PRINT_LABEL: "labels",
    Command.PRINT_HOT_TAG: "hot",
    Command.TEAR_DOWN: "tear_down",
}


class Clerk(Way):
    """One for the window.  `hot` and `warm` are HolderCards, most dangerous first, a second old at most.

    `heat_known`: the desk has said what is hot; before, empty `hot` and `warm` mean nothing.
    `field`: the text field that has the keyboard, and `keys` what its keys are told to, because a scanner types them
    too; None: there is none.  `trouble`: what is wrong, in words.
    `eye`: the camera, for screens that take photographs.
    """

    hot = ObjectProperty(())
    warm = ObjectProperty(())
    heat_known = BooleanProperty(False)
    link = ObjectProperty(None, allownone=True)  # `LinkSeen`: how this kiosk stands to the shop's others, if any
    advice = ObjectProperty(None, allownone=True)  # what to probe of the one that is free first: card and `ProbeNext`
    operator = ObjectProperty(None, allownone=True)
    here = StringProperty()
    settings = ObjectProperty(Settings())
    empty = BooleanProperty(False)
    waiting = ObjectProperty(None, allownone=True)  # `Pending`: the first scan of a pair, while its second is taken
    undo_s = NumericProperty(0.0)  # how long the last step can still be taken back, by the desk's clock
    undo_name = StringProperty()  # and what it was about
    trouble = StringProperty()
    mark = StringProperty()  # what is wrong with the kiosk for longer, in a word: quiet, and there until it is seen to
    field = ObjectProperty(None, allownone=True)
    keys = ObjectProperty(None, allownone=True)
    leave = ObjectProperty(None, allownone=True)  # closes a window that the service keeps; None: nobody keeps it
    untold = ObjectProperty(None, allownone=True)  # how joining went (words, or an Exception), where nobody read it yet
    restart = ObjectProperty(None, allownone=True)  # closes the window and opens it again; None: a shift is shown
    look_around = ObjectProperty(None, allownone=True)  # opens the demo shop instead of this one
    begin_own = ObjectProperty(None, allownone=True)  # in the demo shop: opens the shop's own again
    eye = ObjectProperty(None, allownone=True)  # `camera.Eye`, once there is one
    speaks = ObjectProperty(None, allownone=True)  # before a screen is shown: to whom the window speaks
    phones = ObjectProperty(None, allownone=True)  # `handheld.phones.Phones`, whose questions a screen asks; None: off

    def __init__(self, worker: Asks, sounds: Sounds, show: Callable[[View], None]) -> None:
        super().__init__(show)
        self._worker, self._sounds = worker, sounds
        self._taken_out: set[str] = set()
        self._link_state = ""
        self._troubled_beats = 0
        self._taking = False  # what other kiosks did is coming in
        self._untold = ""  # a trouble that stays in the strip until somebody is there
        self._undoing = False  # it was asked to take the last step back
        self._now_s = 0.0  # watched time of the last beat
        self._ahead_s: float | None = None  # by how much the wall clock is ahead of the watched one
        self._quiet_since_s: float | None = None  # watched time of the last touch or scan; None: just now

    def ask(
        self,
        question: Question[A],
        then: Callable[[A], Any] | None = None,
        failed: Callable[[Exception], Any] | None = None,
    ) -> None:
        """Ask the desk something.  An error that nobody waits for is shown in the strip."""

        def answered(answer: A) -> None:
            asked.done(number)
            if then is not None:
                then(answer)

        def could_not(error: Exception) -> None:
            asked.done(number)
            (failed or self.fault)(error)

        number = asked.put()
        self._worker.ask(question, answered, could_not)

    def go(self, name: str, /, **about: Any) -> None:
        """Show a screen, in the words of whoever is at work."""
        if self.speaks is not None:
            self.speaks(name)
        super().go(name, **about)

    def reopen(self, meanwhile: Callable[[], object], then: Callable[[], Any], failed: Failed) -> None:
        """Have something done while the desk is closed, and the desk opened again."""

        def opened() -> None:
            asked.done(number)
            then()

        def could_not(error: Exception) -> None:
            asked.done(number)
            (failed or self.fault)(error)

        number = asked.put()
        self._worker.reopen(meanwhile, opened, could_not)

    def scanned(self, text: str) -> None:
        """A code was read or typed: the screen in sight may take it, else the desk is asked what it does."""
        self.busied()
        self.once_there(lambda: self._scanned(text))

    def _scanned(self, text: str) -> None:
        view = self.view
        if view is not None and view.signs_in and _is_badge(text):
            self.ask(common.scan(text), partial(self._badge_answered, view, text))
        elif view is None or not view.scanned(text):
            self.ask(common.scan(text), partial(self._scan_answered, text))
        elif not view.forwards:
            self.ask(common.watch(text), self._warn)

    def _badge_answered(self, view: View, text: str, scanned: Scanned) -> None:
        """Somebody came or went in the middle of their work: it goes on, without what was said about nobody there."""
        outcome = scanned.outcome
        if isinstance(outcome, Done) and outcome.step in (Step.SIGNED_IN, Step.SIGNED_OUT) and self.view is view:
            self.play(Sound.DONE)
            self.ask(pulse, self.beat)
            view.trouble = ""
        else:
            self._scan_answered(text, scanned)

    def _scan_answered(self, text: str, scanned: Scanned) -> None:
        outcome = scanned.outcome
        if self.eye is not None and isinstance(outcome, Refused) and outcome.reason in ABOUT_LABEL:
            self.eye.refused(text)
        self.answer(scanned)

    def not_taken(self, text: str) -> bool:
        """The screen in sight asks for something else first: it says for a while which label that was.  True."""
        view = self.view
        self.play(Sound.REFUSED)

        def told(name: str | None) -> None:
            if view is None or self.view is not view:
                return
            view.trouble = said = t("scan.not_now", name=name)
            Clock.schedule_once(lambda _: forget(said), SAID_S)

        def forget(said: str) -> None:
            if view is not None and view.trouble == said:
                view.trouble = ""

        self.ask(common.called(text), told)
        return True

    def busied(self) -> None:
        """Somebody is there: the pause after which the window goes back begins anew."""
        self._quiet_since_s = None
        self._untold = ""

    def _take_more(self, more: bool) -> None:
        """What other kiosks did goes on coming in, a slice at a time between what is asked here."""
        self._taking = more
        if more:
            self._worker.ask(common.take_more(), self._take_more, self._taken, patient=True)

    def _taken(self, error: Exception) -> None:
        self._taking = False
        self.trouble = fault_words(error)

    def begins_without(self, lost: str | None) -> None:
        """The window opens, and part of the past is missing for this cause: that stays until somebody is there."""
        if lost is not None:
            self._untold = self.trouble = t(f"strip.past_{lost}")

    def _warn(self, scanned: Scanned | None) -> None:
        if scanned is not None:
            self.answer(scanned)

    def undo(self) -> None:
        """Take the last step back."""
        self.undo_s, self._undoing = 0.0, True

        def answered(scanned: Scanned) -> None:
            self._undoing = False
            self.answer(scanned)

        def failed(error: Exception) -> None:
            self._undoing = False
            self.fault(error)

        self.ask(common.undo(), answered, failed)

    def undoable(self, until_s: float) -> None:
        """What was done by touch just now can be taken back until then, by the desk's watched clock."""
        self.undo_s = min(max(0.0, until_s - self._now_s), float(self.settings.kiosk.undo_s))  # the beat may be older

    def answer(self, scanned: Scanned) -> None:
        """Let an outcome be heard and seen: heat fills the screen, the rest is the screen's in sight or the card's.

        A screen that was asked for and is still being loaded comes after it, but never over heat.
        """
        wish = self._wish
        self._want(None)
        self._answered(scanned)
        if wish is not None and not (is_about_heat(scanned.outcome) or found_hot(scanned.outcome)):
            self._want(wish)
        else:
            self._catch_up()

    def _answered(self, scanned: Scanned) -> None:
        outcome = scanned.outcome
        if isinstance(outcome, Done):
            self.undo_s = 0.0 if outcome.step is Step.HEATING else scanned.undo_s or 0.0
            self.undo_name = outcome.holder.name if outcome.holder else ""
            if outcome.step in (Step.SIGNED_IN, Step.SIGNED_OUT):
                self.operator = scanned.operator  # at once: what is shown now is said to them
        alarm = isinstance(outcome, Done) and outcome.alarm
        hot = is_about_heat(outcome)
        if alarm or hot:
            self.play(Sound.HOT)
        elif isinstance(outcome, Refused):
            self.play(Sound.REFUSED)
        elif isinstance(outcome, Done):
            self.play(Sound.DONE)
        self.ask(pulse, self.beat)
        if hot:
            self.go("heat", scanned=scanned)
            return
        if asks_for_pocket(outcome) and outcome.goal is not None:
            holder = outcome.holder or waiting_for_place(outcome)
            self.go("machine", code=outcome.goal.place.code, key=holder.holder.key if holder else "")
            return
        view = self.view
        if view is not None and view.came(scanned):
            return
        if found_hot(outcome) and self.knows("audit"):
            self.go("audit", scanned=scanned)
            return
        if isinstance(outcome, Done):
            if outcome.then in _LEADS and self.knows(_LEADS[outcome.then]):
                self.go(_LEADS[outcome.then], command=outcome.then)
                return
            goal = outcome.goal
            if scanned.undo_s and goal and goal.place.kind in (Kind.POCKET, Kind.SPINDLE) and outcome.holder:
                self.go("card", card=scanned.holder or outcome.holder)
                return
        self.go("scan", scanned=scanned)
        if scanned.undo_s and isinstance(outcome, Done) and came_back(outcome):
            self.go("tear_down", key=outcome.holder.holder.key if outcome.holder else "", only_say=True)

    def alarmed_elsewhere(self, scanned: Scanned | None, words: str) -> None:
        """A telephone met something hot: what fills its page fills the window too, or is said in the strip."""
        self.play(Sound.HOT)
        if scanned is not None:
            self.go("heat", scanned=scanned)
        else:
            self._untold = self.trouble = words

    def beat(self, now: Pulse) -> None:
        """Take over what the desk says once a second."""
        learns = now.link is not None and now.link.learns  # nothing hot by half a book is not nothing hot
        self.hot, self.warm, self.advice = now.hot, now.warm, now.advice
        self.heat_known = bool(now.hot) or not learns
        self.operator, self.here, self.empty = now.operator, now.here or "", now.empty
        self.waiting, self.link = now.waiting, now.link
        if now.link is not None and not self._taking:
            self._take_more(True)
        self._now_s = now.watched_s
        self._notice_clock()
        self.undo_s, self.undo_name = (0.0, "") if self._undoing else (now.undo_s, now.undo_name)
        self._troubled_beats += 1
        if self._troubled_beats > TROUBLE_BEATS:
            self.trouble = self._untold
        if now.silent and not self.trouble:
            self.trouble = t("strip.thermometer")
        if now.presetter and not self.trouble:
            self.trouble = t(f"strip.presetter.{now.presetter}")
        if now.settings != self.settings:
            self.settings = now.settings
            self._sounds.volume, self._sounds.muted = now.settings.kiosk.volume, now.settings.kiosk.muted
        due = {card.holder.key for card in now.hot if card.hold and _due(card.hold.take_out_in_s)}
        if due - self._taken_out:
            self.play(Sound.TAKE_OUT)
        self._taken_out = due
        if self._quiet_since_s is None:
            self._quiet_since_s = now.watched_s
        if now.watched_s - self._quiet_since_s > AWAY_S:
            self._give_way()
        if self.view is not None:
            self.view.tick()
        if now.called is not None:
            self.answer(now.called)

    def _give_way(self) -> None:
        """Nobody is there: back to where everybody expects the window, or to the alarm that still waits for somebody.

        What is kept for after the alarm stays what was asked for.  A screen that stays is left where it is, and so is
        one with something half typed on it.
        """
        if self.view is None or self.view.stays or self.view.half_typed:
            return
        if (holding := self.holding) is not None:
            self._back_to(holding)
        else:
            self.go("scan")

    def play(self, sound: Sound) -> None:
        self._sounds.play(sound)

    def on_trouble(self, *_: object) -> None:
        self._troubled_beats = 0
        if self.trouble:
            log.info("The strip says: %s", self.trouble)

    def on_link(self, *_: object) -> None:
        """How this kiosk stands to the others changed; how many lines wait is nothing to write down."""
        state = self.link.state if self.link is not None else ""
        if state != self._link_state:
            self._link_state = state
            log.info("The shop's other kiosks: %s", state.replace("_", " ") or "none")

    def _notice_clock(self) -> None:
        """Somebody, or the network, set the wall clock: that explains times that do not fit each other."""
        ahead_s = time.time() - self._now_s
        if self._ahead_s is None or abs(ahead_s - self._ahead_s) > CLOCK_SET_S:
            if self._ahead_s is not None:
                log.info("The clock was set by %+.0f s", ahead_s - self._ahead_s)
            self._ahead_s = ahead_s

    def fault(self, error: Exception) -> None:
        """Say in the strip what went wrong; the worker's answer to a question nobody waited for."""
        self.trouble = fault_words(error)


def _is_badge(text: str) -> bool:
    try:
        return parse(text).kind is CodeKind.BADGE
    except CodeFault:
        return False


def _due(take_out_in_s: float | None) -> bool:
    return take_out_in_s is not None and take_out_in_s <= 0
