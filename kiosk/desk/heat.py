"""The heat counter: what is hot, until when, and what a thermometer says.

Only time or a reading ends a hold; there is no method here that ends one otherwise, and none may be added.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kiosk.desk.session import NotThere, Session
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.bounds import READING
from kiosk.rules.cards import Heat, HeatCurve, HolderCard
from kiosk.rules.cooling.assessment import Advice
from kiosk.rules.hold import Verdict, cool_all_over
from kiosk.rules.hold_facts import HoldFacts, Reading, pair, way_now
from kiosk.rules.lines import (
    Built,
    Entry,
    Heated,
    HoldEnded,
    HolderRegistered,
    Moved,
    Restored,
    TemperatureRead,
    TornDown,
)
from kiosk.rules.say import Say, say

WHERE = ("nose", "flange", "shank")
INSTRUMENTS = ("probe", "infrared")
_RISES_K = 0.5  # less is not worth a word

# After one of these a reading says nothing any more about how warm a holder is all over.
_BEGINS_ANEW = (Heated, HoldEnded, Restored, Moved, Built, TornDown, HolderRegistered)


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

    def advice(self, key: str) -> Advice | None:
        """Where and when to probe a held holder next, its times watched ones; None where no reading is worth it."""
        session = self._session
        card = session.holder(key)
        facts = session.cards.hold_facts(key) if card.hold else None
        return session.holds.advice(facts, session.now()) if facts else None

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

    def _cool_all_over(
        self, key: str, where: str, value_c: float, instrument: str, facts: HoldFacts | None = None
    ) -> float | None:
        """`hold.cool_all_over` with what was read of this holder since it was heated, and this.

        facts: of the hold that runs; None: nobody knows when it was heated, and only what was read since its last
        step counts.
        """
        session = self._session
        moment, limit_c = session.now(), session.settings.heat.limit_c
        if facts is not None:
            limit_c = session.holds.rules_of(facts).room.limit_c
            lately = list(facts.readings)
        else:
            lately = self._read_since_its_last_step(key)
        now_s = moment.watched_s
        return cool_all_over([*lately, Reading(now_s, where, value_c, instrument, "")], limit_c, now_s)

    def _read_since_its_last_step(self, key: str) -> list[Reading]:
        session = self._session
        found: list[Reading] = []
        for line in session.book.lines(subject=key, newest=40):
            entry = line.entry
            if isinstance(entry, _BEGINS_ANEW) or line.kiosk != session.book.kiosk:
                break
            if isinstance(entry, TemperatureRead) and entry.heating is None:
                found.append(Reading(line.watched_s, entry.where, entry.value_c, entry.instrument, entry.verdict))
        return found

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
        alone = facts.reading_only or judged is None or judged.strange
        again_s = self._cool_all_over(key, where, value_c, instrument, facts) if alone else None
        # Where something was not seen, the model's hottest point need not be the hottest: only all over is proof.
        ends = again_s == 0.0 or (judged is not None and judged.ends and not facts.reading_only)
        line = TemperatureRead(key, where, value_c, instrument, Word.AGREES.value, heating=facts.heating)
        if judged is not None:
            line = replace(
                line,
                verdict=judged.word.value,
                expected_c=judged.prediction.expected_c,
                pair=pair(card.holder, facts.stays[-1].place) if facts.teaches else "",
                way=way_now(facts).value,
                ambient_c=judged.prediction.ambient_c,
                by_heat_k=judged.prediction.by_heat_k,
                by_film_k=judged.prediction.by_film_k,
                other_sd_k=judged.prediction.other_sd_k,
                spread_k=judged.prediction.spread_k,
                usual_c=judged.prediction.usual_c,
                about_heat=judged.prediction.about_heat,
                films=judged.prediction.films,
            )
        session.write(*((line, HoldEnded(key, "reading", facts.heating)) if ends else (line,)))
        session.holds.learnt()
        word = line.verdict
        if ends:
            word = "ended"
        elif judged is None or (alone and (facts.reading_only or judged.word is Word.CONFIRMED)):
            word = self._unproven(instrument, value_c, again_s)
        elif judged.word is not Word.QUESTIONED and value_c <= session.settings.heat.limit_c:
            if instrument == "infrared":
                word = "infrared"
            elif judged.hottest_at.value != where:
                word = "elsewhere"
            else:
                word = "resoak" if judged.rises_k >= _RISES_K else "close"
        return self._taken(key, line.verdict, ends, word, value_c, line.expected_c, judged, again_s)

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
            remaining_s=card.hold.remaining_s if card.hold else None,
        )
        return ReadingTaken(card, verdict, ended, words)


def _danger(card: HolderCard) -> tuple[float, float]:
    assert card.hold is not None  # the board holds only such
    left_s = card.hold.remaining_s
    return (-card.hold.hottest_c, -(left_s if left_s is not None else float("inf")))
