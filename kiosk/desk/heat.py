"""The heat counter: what is hot, until when, and what a thermometer says.

Only time or a reading ends a hold; there is no method here that ends one otherwise, and none may be added.
"""

from __future__ import annotations

from dataclasses import dataclass

from kiosk.desk.session import NotThere, Session
from kiosk.rules.cards import Heat, HolderCard
from kiosk.rules.hold import Reading, Verdict
from kiosk.rules.lines import Entry, HoldEnded, TemperatureRead
from kiosk.rules.say import Say, say

WHERE = ("nose", "flange", "shank")
INSTRUMENTS = ("probe", "infrared")


class ReadingFault(ValueError):
    """A reading that cannot be taken down.  `field` and `why`."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(f"{field}: {why}")
        self.field = field
        self.why = why


@dataclass(frozen=True, slots=True)
class ReadingTaken:
    """What became of a reading."""

    holder: HolderCard
    verdict: Verdict
    say: Say


class HeatCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    def board(self) -> tuple[HolderCard, ...]:
        """Everything under a hold, most dangerous first: hottest, then longest."""
        held = [card for card in self._session.cards.held() if card.hold and not card.hold.ended]
        return tuple(sorted(held, key=_danger))

    def warm(self) -> tuple[HolderCard, ...]:
        """Safe to touch and not yet fit to measure."""
        return ()

    def read(self, key: str, where: str, value_c: float, instrument: str = "probe") -> ReadingTaken:
        """Takes down a reading at `where` (nose, flange, shank) and ends the hold if it may.

        Raises NotThere, ReadingFault.
        """
        session = self._session
        if where not in WHERE:
            raise ReadingFault("where", f"must be one of {', '.join(WHERE)}, not {where!r}")
        if instrument not in INSTRUMENTS:
            raise ReadingFault("instrument", f"must be one of {', '.join(INSTRUMENTS)}, not {instrument!r}")
        if not -30.0 <= value_c <= 500.0:
            raise ReadingFault("value", f"{value_c:g} °C is not a temperature this can have")
        card = session.holder(key)
        facts = session.cards.hold_facts(key)
        reading = Reading(session.now().watched_s, where, value_c, instrument, "")
        if facts is None:
            if card.heat is not Heat.UNKNOWN:
                raise NotThere("hold on", card.name)
            cool = instrument == "probe" and value_c <= session.settings.heat.limit_c
            verdict = Verdict("agrees", cool, None, "")
        else:
            verdict = session.holds.judge(facts, reading)
        line = TemperatureRead(key, where, value_c, instrument, verdict.verdict, verdict.expected_c, verdict.pair)
        lines: list[Entry] = [line]
        if verdict.ends:
            lines.append(HoldEnded(key, "reading"))
        session.write(*lines)
        word = "reading.ended" if verdict.ends else f"reading.{verdict.verdict}"
        words = say(
            word,
            name=card.name,
            value_c=value_c,
            expected_c=verdict.expected_c,
            limit_c=session.settings.heat.limit_c,
        )
        return ReadingTaken(session.holder(key), verdict, words)


def _danger(card: HolderCard) -> tuple[float, float]:
    assert card.hold is not None  # the board holds only such
    left_s = card.hold.remaining_s
    return (-card.hold.hottest_c, -(left_s if left_s is not None else float("inf")))
