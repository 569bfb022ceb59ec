"""A presetter on a cable: what it measures is taken down as it comes, like a list of it that somebody brings.

Nobody has to be signed in for it, as for a list; a line that cannot be read or is refused is told and changes nothing.
While the fields of its lines are chosen (`try_out`) nothing is taken down.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from kiosk import filing
from kiosk.desk.session import ActRefused, Session
from kiosk.exchange.cable import Cable, State
from kiosk.exchange.faults import Fault, FileFaults
from kiosk.exchange.presetter import PresetterMap, SerialLine, read_presetter_map, write_presetter_map
from kiosk.ledger.trouble import LedgerFault

if TYPE_CHECKING:
    from kiosk.desk.papers import PapersCounter, Presetting
    from kiosk.desk.people import PeopleCounter

MAP = "presetter-cable.toml"  # in the folder of the book; the command `listen` takes it too
KEPT = 60  # of what came, to be looked at
_AT_ONCE_S = 0.15  # that long it may keep the desk; the rest waits a second
_TOLD_S = 20.0  # that long the strip says that something was not taken down
_TRIED_S = 15.0  # nobody has looked at the lines for that long: whoever chose the fields has gone


@dataclass(frozen=True, slots=True)
class Came:
    """What came over the cable, and when.  what: a measurement and what became of it, or a line nobody could read."""

    at_utc_s: float
    what: Presetting | Fault

    @property
    def taken(self) -> bool:
        return not isinstance(self.what, Fault) and self.what.taken is not None


@dataclass(frozen=True, slots=True)
class CableSeen:
    """How the cable is.  on: the kiosk is to listen.  made: by this map; None: there is none that can be used, and
    `fault` says what is wrong in it.  state: of the port; None: it does not listen now.  came: the newest first.
    left_out: measurements that came too fast and were followed by later ones.
    """

    on: bool
    made: PresetterMap | None
    fault: Fault | None
    state: State | None
    came: tuple[Came, ...]
    left_out: int


class PresetterCable:
    """Listens while it is asked once a second (`tick`), which the window does and no command."""

    def __init__(
        self, session: Session, papers: Callable[[], PapersCounter], people: Callable[[], PeopleCounter]
    ) -> None:
        self._session, self._papers, self._people = session, papers, people
        self._cable: Cable | None = None
        self._tried: Cable | None = None
        self._looked_s = 0.0
        self._made: PresetterMap | None = None
        self._fault: Fault | None = None
        self._begun = False  # what is in the map is known, for better or worse
        self._came: deque[Came] = deque(maxlen=KEPT)
        self._refused_s: float | None = None
        self.count = 0  # measurements taken down since the kiosk was opened

    @property
    def path(self) -> Path:
        """Where the map is."""
        return self._session.book.path.parent / MAP

    def tick(self) -> None:
        """Listens where it is to, and takes down what came."""
        if self._tried is not None and time.monotonic() - self._looked_s > _TRIED_S:
            self.rest()
        on = self._session.settings.presetter.on and self._tried is None
        if on != self._begun:
            self._begin() if on else self._end()
        if self._cable is not None:
            self._take(self._cable)

    def seen(self) -> CableSeen:
        """How it is, and what came."""
        made, fault = (self._made, self._fault) if self._begun else self._kept()
        state = self._cable.state if self._cable else None
        left_out = self._cable.left_out if self._cable else 0
        on = self._session.settings.presetter.on
        return CableSeen(on, made, fault, state, tuple(reversed(self._came)), left_out)

    @property
    def standing(self) -> str:
        """One word: off, unset (no map that can be used), or how the port is (`State`)."""
        if not self._session.settings.presetter.on:
            return "off"
        if self._cable is None:
            return "opens" if self._tried is not None or not self._begun else "unset"
        return self._cable.state.value

    @property
    def lost(self) -> bool:
        """Whether it should be heard and is not."""
        return self._begun and (self._cable is None or self._cable.state in (State.GONE, State.TAKEN))

    @property
    def turned_away(self) -> bool:
        """Whether something that came just now was not taken down."""
        return self._refused_s is not None and self._session.now().watched_s - self._refused_s < _TOLD_S

    # Choosing the fields --------------------------------------------------------------------------------------------

    def try_out(self, line: SerialLine) -> None:
        """Shows the lines of this port, and takes nothing down until `rest`."""
        self._end()
        if self._tried is not None:
            self._tried.stop()
        self._tried, self._looked_s = Cable(line), time.monotonic()
        self._tried.begin()

    def tried(self) -> tuple[State, tuple[tuple[int, str], ...]] | None:
        """How the port is and its last lines; None: nobody tries."""
        if self._tried is None:
            return None
        self._looked_s = time.monotonic()
        return self._tried.state, self._tried.lines()

    def rest(self) -> None:
        """Nobody chooses any more."""
        if self._tried is not None:
            self._tried.stop()
            self._tried = None

    def keep(self, made: PresetterMap, reason: str) -> None:
        """Writes the map and listens by it from now on.  Raises Locked, OSError, SettingsFault."""
        self._session.supervised(reason)  # before anything is written
        before = filing.take(self.path) if self.path.exists() else None
        filing.write(self.path, write_presetter_map(made))
        try:
            self._people().change_setting("presetter", "on", "true", reason)
        except BaseException:  # no map without its line
            self.path.unlink() if before is None else filing.write(self.path, before)
            raise
        self._end()
        self.rest()

    # At work --------------------------------------------------------------------------------------------------------

    def _kept(self) -> tuple[PresetterMap | None, Fault | None]:
        """The map as it is in its file, and what is wrong there; neither: there is none."""
        try:
            made = read_presetter_map(filing.take_text(self.path), MAP)
        except FileFaults as faults:
            return None, faults.faults[0]
        except OSError:
            return None, None
        return (made, None) if made.line else (None, None)

    def _begin(self) -> None:
        self._begun = True
        self._made, self._fault = self._kept()
        if self._made is not None and self._made.line is not None:
            self._cable = Cable(self._made.line, self._made)
            self._cable.begin()

    def _end(self) -> None:
        self._begun, self._made, self._fault = False, None, None
        if self._cable is not None:
            self._cable.stop()
            self._take(self._cable)
            self._cable = None

    def _take(self, cable: Cable) -> None:
        """What came is taken down, until somebody waits for the desk or it has had its time."""
        for fault in cable.faults():
            self._tell(fault)
        end_s = time.monotonic() + _AT_ONCE_S
        while (reading := cable.first()) is not None:
            try:
                (became,) = self._papers().presettings([reading])
            except (LedgerFault, ActRefused):  # the disk is full, or what others did must be heard first
                cable.again(reading)
                return
            self._tell(became)
            if self._session.is_asked() or time.monotonic() > end_s:
                return

    def _tell(self, what: Presetting | Fault) -> None:
        now = self._session.now()
        self._came.append(Came(now.utc_s, what))
        if self._came[-1].taken:
            self.count += 1
        else:
            self._refused_s = now.watched_s

    def close(self) -> None:
        self.rest()
        if self._cable is not None:
            self._cable.stop()
            self._cable = None
