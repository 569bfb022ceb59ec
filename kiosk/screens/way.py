"""The way through the screens: which one is in sight, which come before it, and which one may not be covered.

The clerk goes it for all of them.  A screen that is not loaded yet is loaded by the desk's thread and comes when it is
there; an alarm holds the window until it has been understood, and what was asked for meanwhile comes then.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, NamedTuple

from kivy.event import EventDispatcher
from kivy.properties import StringProperty

from kiosk.screens.view import View

if TYPE_CHECKING:  # the desk is loaded on its own thread
    from kiosk.screens.questions import Question


MOST_SETS = 2  # of screens that are kept beside those in use


class _Wish(NamedTuple):
    """A screen that was asked for and cannot come yet, and what its `shown` is to be told."""

    name: str
    about: dict[str, Any]
    over: View | None = None  # the screen that holds the window and was touched for it


class Way(EventDispatcher):
    """`wanted`: the screen that was asked for and is being loaded."""

    wanted = StringProperty()

    def __init__(self, show: Callable[[View], None]) -> None:
        super().__init__()
        self._show = show
        self._views: dict[str, View] = {}
        self._sets: dict[str, dict[str, View]] = {}  # the others, the one used longest ago first
        self._names: tuple[str, ...] = ()
        self._build: Callable[[str], View] = self._views.__getitem__
        self._loading: Callable[[str], Question[None] | None] = _is_there
        self._asked_for: set[str] = set()  # screens that are being loaded
        self._wish: _Wish | None = None
        self._kept: _Wish | None = None  # the screen that comes once an alarm has been understood
        self._later: list[Callable[[], None]] = []  # what was meant for the screen that is wanted
        self._trail: list[str] = []

    def ask(
        self, question: Any, then: Callable[[Any], Any] | None = None, failed: Callable[[Exception], Any] | None = None
    ) -> None:
        """Put a question to the desk."""
        raise NotImplementedError

    def fault(self, error: Exception) -> None:
        """A screen could not be loaded."""
        raise NotImplementedError

    def take(self, view: View) -> None:
        """A screen is there from now on."""
        view.clerk = self
        self._views[view.name] = view

    def offer(
        self,
        names: Iterable[str],
        build: Callable[[str], View],
        loading: Callable[[str], Question[None] | None] | None = None,
    ) -> None:
        """Screens of these names can be built; each is when it is first wanted.

        `loading(name)` gives what has to be asked of the desk's thread before that, None where nothing has.
        """
        self._names, self._build, self._loading = tuple(names), build, loading or _is_there

    def fetch(self, name: str) -> bool:
        """Whether a screen can be built at once; else its loading is asked for, behind what the desk has to do."""
        question = self._loading(name)
        if question is None:
            return True
        if name not in self._asked_for:
            self._asked_for.add(name)
            self.ask(question, lambda _: self._fetched(name), lambda error: self._not_fetched(name, error))
        return self._loading(name) is None

    def _fetched(self, name: str) -> None:
        self._asked_for.discard(name)
        wish = self._wish
        if wish is not None and wish.name == name:
            if wish.over is not None and wish.over.holds:
                self.open_from(wish.over, name, **wish.about)
            else:
                self.go(name, **wish.about)

    def _not_fetched(self, name: str, error: Exception) -> None:
        self._asked_for.discard(name)
        if self._wish is not None and self._wish.name == name:
            self._want(None)
            self._catch_up()
        self.fault(error)

    def once_there(self, call: Callable[[], None]) -> None:
        """Do this at once, or once the screen that is wanted is there: what comes after a touch is meant for it."""
        if self._wish is None:
            call()
        else:
            self._later.append(call)

    def _catch_up(self) -> None:
        later, self._later = self._later, []
        for call in later:
            self.once_there(call)

    def _want(self, wish: _Wish | None) -> None:
        self._wish = wish
        self.wanted = wish.name if wish else ""

    def unbuilt(self, names: Iterable[str]) -> tuple[str, ...]:
        """Those of these screens that nobody has wanted yet."""
        return tuple(name for name in names if name not in self._views)

    def start_over(self) -> None:
        """Forget every screen that was built."""
        if self.view is not None:
            self.view.left()
        self._views, self._trail, self._kept, self._later = {}, [], None, []
        self._sets = {}

    def turn_to(self, other: str, these: str) -> bool:
        """Other screens from now on, built before or not; whether some were given up for that.

        The screens in use are kept as `these` until they are turned to again, or too many others were since.
        The way back begins anew; a screen that was asked for still comes.
        """
        if self.view is not None:
            self.view.left()
        self._sets[these] = self._views
        self._views = self._sets.pop(other, {})
        self._trail, self._kept = [], None
        given_up = len(self._sets) > MOST_SETS
        if given_up:
            del self._sets[next(iter(self._sets))]
        return given_up

    def screen(self, name: str) -> View:
        """The screen of that name, built now if need be."""
        if name not in self._views:
            self.take(self._build(name))
        return self._views[name]

    def knows(self, name: str) -> bool:
        return name in self._views or name in self._names

    @property
    def view(self) -> View | None:
        """The screen in sight."""
        return self._views[self._trail[-1]] if self._trail else None

    def go(self, name: str, /, **about: Any) -> None:
        """Show a screen; `about` is handed to its `shown`.  A screen on the rail starts the way back anew.

        One that is not loaded yet comes when it is, unless another one was asked for since; nobody waits meanwhile.
        While a screen holds the window, whatever else was asked for comes when that has been let go.
        """
        if not self.knows(name):
            return
        holding = self.holding
        if holding is not None and holding.name != name:
            self._kept = _Wish(name, about)
            self._back_to(holding)
            return
        wanted = self._wish is not None
        self._want(None)
        if name not in self._views and not self.fetch(name):
            self._want(_Wish(name, about))
            return
        before, view = self.view, self.screen(name)
        if before is not None and before is not view:
            before.left()
        if view.rail == name:
            self._trail = []
        if name in self._trail:
            del self._trail[self._trail.index(name) :]
        self._trail.append(name)
        if before is not view:
            self._show(view)
        view.shown(**about)
        if wanted:
            self._catch_up()

    @property
    def holding(self) -> View | None:
        """The screen on the way back that nothing may come over."""
        return next((view for view in map(self._views.__getitem__, self._trail) if view.holds), None)

    def _back_to(self, view: View) -> None:
        """A screen that holds the window is in sight again, whatever was opened from it."""
        if self.view is view or self.view is None:
            return
        self.view.left()
        del self._trail[self._trail.index(view.name) + 1 :]
        self._show(view)
        view.returned()

    def open_from(self, holding: View, name: str, /, **about: Any) -> None:
        """A touch on a screen that holds the window opens another one; whatever comes after leads back to it."""
        if name not in self._views and not self.fetch(name):
            self._want(_Wish(name, about, holding))
            return
        holding.holds = False
        self.go(name, **about)
        holding.holds = True

    def go_behind(self, name: str, /, **about: Any) -> None:
        """Show a screen, unless the one in sight tells something first: then the way back from that leads to it."""
        first = self.view
        if first is None or not first.tells_first:
            self.go(name, **about)
            return
        self._trail = [name, first.name]
        self.screen(name).shown(**about)

    def let_go(self, view: View) -> None:
        """A screen that held the window holds it no more: what was kept for it comes, else what was there before."""
        view.holds = False
        kept, self._kept = self._kept, None
        if kept is None:
            self.back()
            return
        self.go(kept.name, **kept.about)
        self._trail = [name for name in self._trail if name != view.name]

    def back(self) -> None:
        """The screen that was shown before this one, as it was left; at the end of the way, the scan screen."""
        self._want(None)
        view = self.view
        if view is not None and view.holds:
            return
        if view is None or len(self._trail) < 2:
            self.go("scan")
            return
        view.left()
        self._trail.pop()
        before = self._views[self._trail[-1]]
        self._show(before)
        before.returned()
        self._catch_up()


def _is_there(_: str) -> None:
    """Nothing has to be loaded."""
