"""The heat counter: what is hot, until when, and what a thermometer says.

Only time or a reading ends a hold; there is no method here that ends one otherwise, and none may be added.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kiosk.desk.session import NotThere, Session
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.bounds import READING
from kiosk.rules.cards import Heat, HeatCurve, HolderCard
from kiosk.rules.hold import HoldFacts, Reading, Verdict, cool_all_over, pair, way_now
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

        Raises NotThere, ReadingFault, ActRefused.
        """
        session = self._session
        session.signed_in()
        if where not in WHERE:
            raise ReadingFault("where", f"must be one of {', '.join(WHERE)}, not {where!r}")
        if instrument not in INSTRUMENTS:
            raise ReadingFault("instrument", f"must be one of {', '.join(INSTRUMENTS)}, not {instrument!r}")
        if not READING.takes(value_c):
            raise ReadingFault("value", f"{value_c:g} °C is not a temperature this can have")
        card = session.holder(key)
        if card.hold is not None:
            return self._of_a_hold(card, where, value_c, instrument)
        if card.heat is not Heat.UNKNOWN:
            raise NotThere("hold on", card.name)
        lines: list[Entry] = [TemperatureRead(key, where, value_c, instrument, "agrees")]
        again_s = self._cool_all_over(key, where, value_c, instrument)
        if again_s == 0.0:
            lines.append(HoldEnded(key, "reading"))
        session.write(*lines)
        return self._taken(
            key, "agrees", again_s == 0.0, self._unproven(instrument, value_c, again_s), value_c, again_s=again_s
        )

    def _cool_all_over(self, key: str, where: str, value_c: float, instrument: str) -> float | None:
        """`hold.cool_all_over` with what was read of this holder lately, and this."""
        session = self._session
        now_s, limit_c = session.now().watched_s, session.settings.heat.limit_c
        lately = [
            Reading(line.watched_s, entry.where, entry.value_c, entry.instrument, entry.verdict)
            for line in session.book.lines(subject=key, newest=40)
            if isinstance(entry := line.entry, TemperatureRead)
        ]
        return cool_all_over([*lately, Reading(now_s, where, value_c, instrument, "")], limit_c, now_s)

    def _unproven(self, instrument: str, value_c: float, again_s: float | None) -> str:
        if again_s == 0.0:
            return "ended"
        if instrument == "infrared":
            return "infrared"
        if value_c > self._session.settings.heat.limit_c:
            return "agrees"
        return "everywhere" if again_s is None else "again"

    def _of_a_hold(self, card: HolderCard, where: str, value_c: float, instrument: str) -> ReadingTaken:
        session, key = self._session, card.holder.key
        facts = session.cards.hold_facts(key)
        assert facts is not None  # a card under a hold has facts
        judged = session.holds.judge(facts, Reading(session.now().watched_s, where, value_c, instrument, ""))
        seen = judged.prediction
        alone = facts.reading_only or judged.strange
        again_s = self._cool_all_over(key, where, value_c, instrument) if alone else None
        ends = judged.ends or again_s == 0.0
        # What nobody saw heated teaches nothing about how such holders cool.
        taught = "" if facts.reading_only else pair(card.holder, facts.stays[-1].place)
        line = TemperatureRead(
            key,
            where,
            value_c,
            instrument,
            judged.word.value,
            seen.expected_c,
            taught,
            way_now(facts).value,
            seen.ambient_c,
            seen.by_heat_k,
            seen.by_film_k,
            seen.other_sd_k,
        )
        session.write(*((line, HoldEnded(key, "reading")) if ends else (line,)))
        session.holds.learnt()
        word = judged.word.value
        if ends:
            word = "ended"
        elif alone and (facts.reading_only or judged.word is Word.CONFIRMED):
            word = self._unproven(instrument, value_c, again_s)
        elif judged.word is not Word.QUESTIONED and value_c <= session.settings.heat.limit_c:
            if instrument == "infrared":
                word = "infrared"
            elif judged.hottest_at.value != where:
                word = "elsewhere"
            else:
                word = "resoak"
        return self._taken(key, judged.word.value, ends, word, value_c, seen.expected_c, judged, again_s)

    def _taken(
        self,
        key: str,
        verdict: str,
        ended: bool,
        word: str,
        value_c: float,
        expected_c: float | None = None,
        judged: Verdict | None = None,
        again_s: float | None = None,
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
            again_s=again_s,
        )
        return ReadingTaken(card, verdict, ended, words)


def _danger(card: HolderCard) -> tuple[float, float]:
    assert card.hold is not None  # the board holds only such
    left_s = card.hold.remaining_s
    return (-card.hold.hottest_c, -(left_s if left_s is not None else float("inf")))
