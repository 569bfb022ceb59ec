"""A newer version by touch: found on a stick or in a shared folder, put in place while the kiosk runs, begun anew.

A supervisor's PIN stands before it.  What it does is the same as the command's; whatever ends it, the version that runs
goes on running.  While it is at work the screen may be left and come back to.
"""

from __future__ import annotations

import logging
from enum import StrEnum
from functools import partial
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk import __version__
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.marked import Marked
from kiosk.screens.press import Press
from kiosk.screens.questions import update as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t

TAKE = "take"

log = logging.getLogger("kiosk.update")


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    LOOKING = "looking"
    FOUND = "found"
    ONE = "one"
    AT_WORK = "at_work"
    ANSWER = "answer"


class UpdateScreen(View):
    """What was brought; one of it; how far it is; what came of it."""

    name = "update"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.LOOKING, options=list(Page))
    rows = ListProperty()
    folder = StringProperty()
    title = StringProperty()
    note = StringProperty()
    stage = NumericProperty(0)
    answer = StringProperty()
    good = BooleanProperty(True)
    trouble = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press = Press()
        self._asked = 0  # which look is waited for
        self._where: asks.Where | None = None
        self._found: dict[str, asks.Brought] = {}
        self._one: asks.Brought | None = None
        self._working = False
        self._untold = False  # it came to an end while another screen was in sight

    def shown(self, act: str = "", **_: Any) -> None:
        """`act`: what a PIN was given for."""
        self.trouble = ""
        if self._working:
            self.page = Page.AT_WORK
        elif self._untold:
            self._untold = False
        elif act == TAKE and self._one is not None:
            self.take()
        else:
            self.look()

    def back(self) -> None:
        """One page back, or out; what is at work goes on."""
        self.trouble = ""
        self._asked += 1
        if self.page == Page.ONE:
            self.page = Page.FOUND
        else:
            self.clerk.go("health")

    # What was brought -------------------------------------------------------------------------------------------

    def look(self) -> None:
        """What lies on sticks, in shared folders and in the kiosk's own."""
        self._asked += 1
        self.page = Page.LOOKING
        self.clerk.ask(asks.where(), partial(self._look_on, self._asked), self._failed)

    def _look_on(self, asked: int, where: asks.Where) -> None:
        self._where, self.folder = where, where.inbox

        def seen(found: tuple[asks.Brought, ...]) -> None:
            if asked == self._asked:
                self.found(found)

        self._press.run(lambda *_: asks.brought(where.data), seen, self._failed)

    def found(self, found: tuple[asks.Brought, ...]) -> None:
        """Show what there is."""
        self._found = {str(each.path): each for each in found}
        self.rows = [
            Marked(key, each.version, t("update.at", drive=each.drive, now=__version__))
            for key, each in self._found.items()
        ]
        self.page = Page.FOUND

    def choose(self, row: Marked) -> None:
        """This one?"""
        self._one = self._found[row.key]
        self.title = t("update.here", version=self._one.version)
        self.note = t("update.now", now=__version__)
        self.page = Page.ONE

    # Put in place -----------------------------------------------------------------------------------------------

    def take(self) -> None:
        """This one, once a supervisor answers for it."""
        self.clerk.ask(asks.may(), lambda _: self._begin(), self._locked)

    def _locked(self, error: Exception) -> None:
        if type(error).__name__ == "Locked":
            self.clerk.go("pin", goal=self.name, act=TAKE)
        else:
            self._failed(error)

    def _begin(self) -> None:
        one, where = self._one, self._where
        if one is None or where is None or self._working:
            return  # a second touch must not begin it twice
        self._working = True
        self.at_stage(asks.Stage.CHECK)
        self.page = Page.AT_WORK
        log.info("Version %s is put in place", one.version)
        stages = list(asks.Stage)
        self._press.run(
            lambda tell, _: asks.put_in_place(one.path, where.data, lambda at: tell(stages.index(at), len(stages))),
            self.placed,
            self.refused,
            lambda number, _: self.at_stage(stages[number]),
        )

    def at_stage(self, stage: asks.Stage) -> None:
        """How far it is."""
        self.stage = list(asks.Stage).index(stage) + 1
        self.title = t(f"update.stage.{stage.value}")

    def placed(self, version: str) -> None:
        """It is in place, and begins with the next start."""
        self._working = False
        log.info("Version %s is in place", version)
        self._say(t("update.placed", version=version), t("update.next", now=__version__), good=True)

    def refused(self, error: Exception) -> None:
        """It is not; why, and what to do."""
        self._working = False
        log.warning("The newer version was not put in place: %s", error)
        self._say(fault_words(error), t("update.refused_note", now=__version__), good=False)

    def _say(self, answer: str, note: str, *, good: bool) -> None:
        self.clerk.play(Sound.DONE if good else Sound.REFUSED)
        self.answer, self.note, self.good = answer, note, good
        self.page = Page.ANSWER
        self._untold = self.clerk.view is not self

    def restart(self) -> None:
        """The window closes and opens again, with the version that is meant."""
        if self.clerk.restart is not None:
            self.clerk.restart()

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)
        self.page = Page.FOUND


load_beside(__file__)
