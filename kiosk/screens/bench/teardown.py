"""Tear-down: scan the holder, say in one touch how the cutter came back, and take it out.

For a shrink fit it takes heat, at the shrink station, and the holder is hot from then on.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.assembly import Condition
from kiosk.rules.cards import HolderCard
from kiosk.rules.outcomes import undo_offered_s
from kiosk.rules.say import Say
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import counts_as_hot
from kiosk.screens.questions import bench as asks
from kiosk.screens.questions import common, find
from kiosk.screens.questions.bench import BuildRefused
from kiosk.screens.sounds import Sound
from kiosk.screens.view import View
from kiosk.words import say, t

PATIENCE_S = 20  # how long a holder that came back waits for a word about its cutter


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    SCAN = "scan"
    CONDITION = "condition"
    SURE = "sure"
    ANSWER = "answer"


class TearDownScreen(View):
    """Scan, condition, what came of it.  `only_say`: the condition is taken down and the cutter stays in."""

    name = "tear_down"
    rail = "shop"
    signs_in = True

    page = OptionProperty(Page.SCAN, options=list(Page))
    title = StringProperty()
    detail = StringProperty()
    trouble = StringProperty()
    hot = BooleanProperty(False)  # what was done, was done to something hot, or not known to be cool
    word = StringProperty()  # what was done
    only_say = BooleanProperty(False)
    unsound = BooleanProperty(False)  # the cutter is said to be worn or broken
    undo_s = NumericProperty(0.0)  # how long the tear-down can still be taken back
    undoable = BooleanProperty(False)
    chosen = StringProperty()  # how the cutter came back, in words, until the second touch

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._condition = Condition.UNKNOWN
        self._waited_s = 0

    def shown(self, key: str = "", only_say: bool = False, **_: Any) -> None:
        self.trouble = ""
        self.only_say = only_say
        self._waited_s = 0
        if key:
            self.clerk.ask(common.holder(key), self._take, self._failed)
        else:
            self.page = Page.SCAN

    def scanned(self, text: str) -> bool:
        """The holder to tear down; who was only asked for a word, or has torn down, goes on with the next scan."""
        if self.only_say or self.page == Page.ANSWER:
            return False
        if self.page == Page.SURE:  # the question is about the holder before
            self.chosen = t("tear_down.answer_first")
            self.clerk.play(Sound.REFUSED)
            return True
        self.clerk.ask(asks.holder_labelled(text), self._take, self._failed)
        return True

    def tick(self) -> None:
        self._waited_s += 1
        self.undo_s = 0.0 if self.only_say else undo_offered_s(self.clerk.undo_s)
        if self.only_say and self._waited_s > PATIENCE_S:
            self.clerk.back()

    def on_undo_s(self, *_: object) -> None:
        self.undoable = self.undo_s > 0

    def _take(self, card: HolderCard) -> None:
        if card.assembly is None:
            self._failed(BuildRefused(Say("build.nothing_in", (("name", card.name),)), Say("build.scan_holder")))
        elif self.only_say:
            self._ask_condition(card)
        else:  # before it is asked for twice: where the cutter cannot come out, nobody answers for nothing
            self.clerk.ask(asks.may_tear_down(card.holder.key), self._ask_condition, self._failed)

    def _ask_condition(self, card: HolderCard) -> None:
        self._key = card.holder.key
        self.title = card.name
        self.detail = card.at.name if card.at else ""
        self.trouble = ""
        self.page = Page.CONDITION

    def say(self, condition: str) -> None:
        """How the cutter came back; taking it out needs a second touch."""
        self._condition = Condition(condition)
        self.unsound = self._condition in (Condition.WORN, Condition.BROKEN)
        self.chosen = t(f"condition.{condition}")
        if self.only_say:
            self.clerk.ask(find.say_condition(self._key, self._condition), self._done, self._failed)
        else:
            self.trouble = ""
            self.page = Page.SURE

    def take_out(self) -> None:
        """The second touch: the cutter comes out."""
        self.page = Page.CONDITION  # a touch more while the desk writes asks nothing again
        self.clerk.ask(asks.tear_down(self._key, self._condition), self._torn, self._failed)

    def _torn(self, answer: tuple[HolderCard, float]) -> None:
        card, until_s = answer
        self.clerk.undoable(until_s)
        self._done(card)

    def _done(self, card: HolderCard) -> None:
        self.hot = counts_as_hot(card)
        self.word = t("tear_down.said") if self.only_say else t("tear_down.done")
        self.title = card.name
        self.undo_s = 0.0 if self.only_say else undo_offered_s(self.clerk.undo_s)
        if card.hold is not None:
            self.detail = t("tear_down.hot")
        else:
            self.detail = "" if self.only_say or self.hot else t("tear_down.free")
        self.clerk.play(Sound.DONE)
        self.page = Page.ANSWER
        self.clerk.ask(common.next_step(card.holder.key), self._goes_on, self._failed)

    def _goes_on(self, step: Say | None) -> None:
        """What comes next, and where."""
        if step is not None:
            self.detail = say(step)

    def undo(self) -> None:
        """The cutter never came out."""
        self.clerk.undo()

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        words = f"{say(error.why)}. {say(error.remedy)}" if isinstance(error, BuildRefused) else fault_words(error)
        self.trouble = words
        if self.page != Page.CONDITION:
            self.page = Page.SCAN


load_beside(__file__)
