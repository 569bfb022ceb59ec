"""The heat counter: what is hot, until when, and what a thermometer says.

Only time or a reading ends a hold; there is no method here that ends one otherwise, and none may be added.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kiosk.desk.session import NotThere, Session
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cards import Heat, HeatCurve, HolderCard
from kiosk.rules.hold import HoldFacts, Reading, Verdict, pair, way_now
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
    """What became of a reading: its worth, whether it ended the hold, and words for the screen."""

    holder: HolderCard
    verdict: str
    ended: bool
    say: Say


class HeatCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._cards: dict[str, HolderCard] = {}
        self._facts: dict[str, HoldFacts] = {}
        self._read_to = -1

    def board(self) -> tuple[HolderCard, ...]:
        """Everything under a hold, most dangerous first: hottest, then longest."""
        held = [card for card in self._now() if card.hold and not card.hold.ended]
        return tuple(sorted(held, key=_danger))

    def warm(self) -> tuple[HolderCard, ...]:
        """Safe to touch and not yet fit to measure, soonest first."""
        safe = [card for card in self._now() if card.hold is None or card.hold.ended]
        return tuple(sorted((card for card in safe if card.measure_in_s), key=lambda card: card.measure_in_s or 0.0))

    def over(self) -> tuple[HolderCard, ...]:
        """Holds whose time has come and that nobody has ended yet."""
        return tuple(card for card in self._now() if card.hold and card.hold.ended)

    def curve(self, key: str) -> HeatCurve | None:
        """The plot of a holder's last heating; None where there was none."""
        session = self._session
        facts = session.cards.hold_facts(key)
        return session.holds.curve(facts, session.now()) if facts else None

    def _now(self) -> list[HolderCard]:
        """Cards of all that is hot or warm; only temperatures and times move while no line is written."""
        session = self._session
        if self._read_to != session.book.last_id:
            self._cards = {card.holder.key: card for card in session.cards.held()}
            facts = {key: session.cards.hold_facts(key) for key in self._cards}
            self._facts = {key: found for key, found in facts.items() if found}
            self._read_to = session.book.last_id
        moment = session.now()
        found = []
        for key, card in self._cards.items():
            view = session.holds.view(self._facts[key], moment)
            running = view if card.hold else None
            found.append(replace(card, hold=running, measure_in_s=view.measure_in_s, body_c=view.high_c))
        return found

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
        if card.hold is not None:
            return self._of_a_hold(card, where, value_c, instrument)
        if card.heat is not Heat.UNKNOWN:
            raise NotThere("hold on", card.name)
        ends = instrument == "probe" and value_c <= session.settings.heat.limit_c
        lines: list[Entry] = [TemperatureRead(key, where, value_c, instrument, "agrees")]
        if ends:
            lines.append(HoldEnded(key, "reading"))
        session.write(*lines)
        word = "ended" if ends else "infrared" if instrument == "infrared" else "agrees"
        return self._taken(key, "agrees", ends, word, value_c)

    def _of_a_hold(self, card: HolderCard, where: str, value_c: float, instrument: str) -> ReadingTaken:
        session, key = self._session, card.holder.key
        facts = session.cards.hold_facts(key)
        assert facts is not None  # a card under a hold has facts
        judged = session.holds.judge(facts, Reading(session.now().watched_s, where, value_c, instrument, ""))
        seen = judged.prediction
        line = TemperatureRead(
            key,
            where,
            value_c,
            instrument,
            judged.word.value,
            seen.expected_c,
            pair(card.holder, facts.stays[-1].place),
            way_now(facts).value,
            seen.ambient_c,
            seen.by_heat_k,
            seen.by_film_k,
            seen.other_sd_k,
        )
        session.write(*((line, HoldEnded(key, "reading")) if judged.ends else (line,)))
        session.holds.learnt()
        word = judged.word.value
        if judged.ends:
            word = "ended"
        elif judged.word is not Word.QUESTIONED and value_c <= session.settings.heat.limit_c:
            if instrument == "infrared":
                word = "infrared"
            elif judged.hottest_at.value != where:
                word = "elsewhere"
            else:
                word = "resoak"
        return self._taken(key, judged.word.value, judged.ends, word, value_c, seen.expected_c, judged)

    def _taken(
        self,
        key: str,
        verdict: str,
        ended: bool,
        word: str,
        value_c: float,
        expected_c: float | None = None,
        judged: Verdict | None = None,
    ) -> ReadingTaken:
        card = self._session.holder(key)
        words = say(
            f"reading.{word}",
            name=card.name,
            value_c=value_c,
            expected_c=expected_c,
            limit_c=self._session.settings.heat.limit_c,
            where=f"term.{judged.hottest_at.value}" if judged else None,
            rises_k=judged.rises_k if judged else None,
        )
        return ReadingTaken(card, verdict, ended, words)


def _danger(card: HolderCard) -> tuple[float, float]:
    assert card.hold is not None  # the board holds only such
    left_s = card.hold.remaining_s
    return (-card.hold.hottest_c, -(left_s if left_s is not None else float("inf")))
