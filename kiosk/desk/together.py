"""What the desk does about the shop's other kiosks: says where this one stands, and takes in what they did.

Made only where there are others.  Everything that was read of the tables before others' lines came is stale then.
"""

from __future__ import annotations

from collections.abc import Callable

from kiosk.desk.kiosks import KiosksCounter
from kiosk.desk.session import Session
from kiosk.ledger.sharing import Member
from kiosk.rules.lines import KioskStands
from kiosk.rules.places import Kind


class Together:
    """One kiosk among others.  stale: told when what the desk's other counters have read is stale."""

    def __init__(self, session: Session, kiosks: KiosksCounter, stale: Callable[[], None]) -> None:
        self._session = session
        self.kiosks = kiosks
        self._stale = stale
        self._folded = session.book.changed[1]
        self._looked = -1
        session.wrote = kiosks.wrote
        self._say_where_it_stands()
        self.heard()

    def _say_where_it_stands(self) -> None:
        """The others must know of this kiosk, and whether heatings are booked at it, before it works."""
        session = self._session
        here = session.cards.places.rows.get(session.here or "")
        heats = here is None or here["kind"] == Kind.SHRINK.value
        said = self._said()
        wanted = session.settings.kiosk.name, session.here, heats
        if said is None or (said.name, said.at, said.heats) != wanted:
            session.write(KioskStands(*wanted))

    def _said(self) -> Member | None:
        """What this kiosk said last."""
        sharing = self._session.book.sharing
        return sharing.members().get(sharing.own) if sharing else None

    def heard(self) -> None:
        """Drops what is stale, and says anew how far apart this kiosk is; before every answer and every second."""
        session = self._session
        if self._folded != session.book.changed[1]:
            self._folded = session.book.changed[1]
            session.catch_up()
            self._stale()
        session.cards.apart = apart = self.kiosks.apart(self._machine())
        said = self._said()
        if apart.admitted and said is not None and not said.known:
            session.write(KioskStands(said.name, said.at, said.heats, known=True))  # a restart asks nobody again

    def may_alarm(self) -> bool:
        """Whether lines came since this was asked: only these can tell of what was not heard."""
        before, self._looked = self._looked, self._session.book.changed[1]
        return before != self._looked

    def _machine(self) -> str | None:
        """Code of the machine this kiosk stands at, or in a pocket of which."""
        row = self._session.cards.places.rows.get(self._session.here or "")
        if row is None:
            return None
        return str(row["code"]) if row["kind"] == Kind.MACHINE.value else row["parent"]
