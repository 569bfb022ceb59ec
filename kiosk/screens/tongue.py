"""To whom the window speaks: whoever is at work, in the language their badge says, and everybody else in the shop's.

The window turns to them with the scan that signs them in and back when they go, by a scan or by time.  It never throws
work away for that: in the middle of it, and while an alarm holds the window, it goes on as it was until that has ended.
Screens of the two languages spoken before are kept, so that only the first scan of a language builds any.
"""

from __future__ import annotations

import gc
from collections.abc import Callable

from kivy.clock import Clock

from kiosk import words
from kiosk.screens.clerk import Clerk
from kiosk.screens.view import View

QUIET_S = 5.0  # after other screens were given up, before it is looked for rubbish among them


class Tongue:
    """For one window.  `say_anew`: says what stands around the screens in the words spoken now."""

    def __init__(self, clerk: Clerk, say_anew: Callable[[], None]) -> None:
        self._clerk, self._say_anew = clerk, say_anew

    def settle(self) -> None:
        """The shop's language may have changed."""
        words.speak(self._wanted(), self._shops)

    @property
    def _shops(self) -> str:
        return str(self._clerk.settings.kiosk.language)

    def _wanted(self) -> str:
        who = self._clerk.operator
        chosen = who.language if who else ""
        return chosen if chosen in words.LANGUAGES else self._shops

    def came_or_went(self) -> None:
        """Somebody signed in or out: the window speaks to them at once, unless that would throw work away.

        Asked once a second as well, for what could not be when they came or went.
        """
        here = self._clerk.view
        if words.language() == self._wanted() or here is None or _in_the_middle(here):
            return
        if here.name != here.rail and self._clerk.operator is not None:
            return  # they opened it to read what is on it
        if self._turn():
            self._clerk.go(here.name if here.rail == here.name else "scan")

    def before(self, name: str) -> None:
        """Before a screen is shown: what could not be said otherwise in the middle of work can be now."""
        here = self._clerk.view
        if here is not None and (not (_in_the_middle(here) or here.name != here.rail) or name == "scan"):
            self._turn()

    def _turn(self) -> bool:
        spoken, tongue = words.language(), self._wanted()
        if tongue == spoken or self._clerk.holding is not None:
            return False
        words.speak(tongue, self._shops)
        if self._clerk.turn_to(tongue, spoken):
            Clock.schedule_once(lambda _: tidy(), QUIET_S)
        self._say_anew()
        return True


def _in_the_middle(view: View) -> bool:
    """Whether somebody's work is on a screen, or what came of it, that another language would throw away."""
    stays = view.stays and view.name not in ("scan", "hot")
    return view.signs_in or view.half_typed or view.tells_first or stays


def tidy() -> None:
    """Screens that nobody shows any more are rubbish."""
    gc.unfreeze()
    gc.collect()
