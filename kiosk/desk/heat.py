"""The heat counter: what is hot, until when, and what a thermometer says.

Only time or a reading ends a hold; there is no method here that ends one otherwise, and none may be added.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import itemgetter

from kiosk.desk.session import NotThere, Session
from kiosk.ledger import history as past
from kiosk.ledger.book import Written
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.bounds import READING
from kiosk.rules.cards import Heat, HeatCurve, HolderCard, ProbeNext
from kiosk.rules.hold import Verdict, probe_next, to_read_again
from kiosk.rules.hold_facts import SPOTS, WITHDRAWN, HoldFacts, Reading, pair, way_now
from kiosk.rules.hold_proof import NOTHING_OWED, Owed, cool_all_over, owed, owed_all_over
from kiosk.rules.holder_drawing import Drawing, draw_holder
from kiosk.rules.lines import (
    Built,
    Entry,
    Heated,
    HoldEnded,
    HolderRegistered,
    Moved,
    ReadingWithdrawn,
    Restored,
    TemperatureRead,
    TornDown,
)
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, say
from kiosk.rules.skin_slices import unknown_skin

INSTRUMENTS = ("probe", "infrared")
_RISES_K = 0.5  # less is not worth a word
_GROWS_S = 30.0  # by less than this nobody notices that a wait grew

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
    """What became of a reading: its worth, whether it ended the hold, and words for the screen.

    grew: why the wait is longer now; None: it is not.  line: number of its line.  owed: what is still to be read.
    """

    holder: HolderCard
    verdict: str
    ended: bool
    say: Say
    grew: Say | None
    line: int
    owed: Owed


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """A reading that was a slip.  `hot`: what it had let go is held again, so it must not stay where hands reach."""

    holder: HolderCard
    hot: bool
    say: Say
    owed: Owed


class HeatCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._cards: dict[str, HolderCard] = {}
        self._facts: dict[str, HoldFacts] = {}
        self._read_to: tuple[int, int] | None = None

    def board(self) -> tuple[HolderCard, ...]:
        """Everything under a hold, most dangerous first: hottest, then longest."""
        held = [card for card in self._now() if card.hold and not card.hold.ended]
        return tuple(sorted(held, key=_danger))

    def warm(self) -> tuple[HolderCard, ...]:
        """Safe to touch and not yet fit to measure, soonest first."""
        safe = [card for card in self._now() if card.hold is None or card.hold.ended]
        found = [(card.measure_in_s, card) for card in safe if card.measure_in_s]
        return tuple(card for _, card in sorted(found, key=itemgetter(0)))

    def over(self) -> tuple[HolderCard, ...]:
        """Holds whose time has come and that nobody has ended yet."""
        return tuple(card for card in self._now() if card.hold and card.hold.ended)

    def curve(self, key: str) -> HeatCurve | None:
        """The plot of a holder's last heating; None where there was none."""
        session = self._session
        facts = session.cards.hold_facts(key)
        return session.holds.curve(facts, session.now()) if facts else None

    def drawing(self, key: str) -> Drawing:
        """A holder and its cutter drawn; while it is held, with how warm each part may be.  Raises NotThere."""
        session = self._session
        card = session.holder(key)
        skin = None
        if card.hold is not None and (facts := session.cards.hold_facts(key)) is not None:
            skin = session.holds.skin(facts, session.now())
        elif card.hold is not None or _warmth(card) is not Heat.COOL:
            skin = unknown_skin(session.settings.heat.limit_c, "nose")
        return draw_holder(card.holder, card.assembly, skin)

    def advice(self, key: str) -> ProbeNext | None:
        """Where and when to probe a held holder next; None where no reading is worth it.

        Worked out when the facts of its hold change, or when its moment is past: then it takes some 30 ms.
        """
        session = self._session
        card = session.holder(key)
        if card.hold is None or (facts := session.cards.hold_facts(key)) is None:
            return None
        moment = session.now()
        found = session.holds.advice(facts, moment)
        return probe_next(found, card.hold, session.holds.moment(facts, moment).watched_s) if found else None

    def advice_next(self, board: Sequence[HolderCard]) -> tuple[HolderCard, ProbeNext] | None:
        """The same for the one on the board that is free first: there is no more room on the strip."""
        timed = [(card.hold.remaining_s, card) for card in board if card.hold and card.hold.remaining_s]
        if not timed:
            return None
        _, first = min(timed, key=itemgetter(0))
        found = self.advice(first.holder.key)
        return (first, found) if found else None

    def _now(self) -> list[HolderCard]:
        """Cards of all that is hot or warm; only temperatures and times move while no line is written."""
        session = self._session
        if self._read_to != session.book.changed:
            self._cards = {card.holder.key: card for card in session.cards.held()}
            facts = {key: session.cards.hold_facts(key) for key in self._cards}
            self._facts = {key: found for key, found in facts.items() if found}
            session.holds.keep_only(self._facts.keys())
            self._read_to = session.book.changed
        moment = session.now()
        found = []
        for key, card in self._cards.items():
            view = session.holds.view(self._facts[key], moment)
            running = view if card.hold else None
            apart = session.cards.apart
            found.append(replace(card, hold=running, measure_in_s=view.measure_in_s, body_c=view.high_c, apart=apart))
        return found

    def read(self, key: str, where: str, value_c: float, instrument: str = "probe") -> ReadingTaken:
        """Takes down a reading at `where` (nose, flange, shank) and ends the hold if it may.

        Raises NotThere, ReadingFault, ActRefused.
        """
        session = self._session
        session.signed_in()
        if where not in SPOTS:
            raise ReadingFault("where", f"must be one of {', '.join(SPOTS)}, not {where!r}")
        if instrument not in INSTRUMENTS:
            raise ReadingFault("instrument", f"must be one of {', '.join(INSTRUMENTS)}, not {instrument!r}")
        if not READING.takes(value_c):
            raise ReadingFault("value", f"{value_c:g} °C is not a temperature this can have")
        card = session.holder(key)
        if card.hold is not None:
            return self._of_a_hold(card, where, value_c, instrument)
        if _warmth(card) is not Heat.UNKNOWN:
            raise NotThere("hold on", card.name)
        tolerance_k = session.settings.heat.probe_tolerance_k
        lines: list[Entry] = [TemperatureRead(key, where, value_c, instrument, "agrees", tolerance_k=tolerance_k)]
        again_s = self._cool_all_over(key, where, value_c, instrument)
        if again_s == 0.0:
            lines.append(HoldEnded(key, "reading"))
        line = session.write(*lines)[0].id
        word = self._unproven(instrument, value_c, again_s)
        return self._taken(key, "agrees", again_s == 0.0, word, value_c, line, again_s=again_s)

    def slip(self, key: str) -> Written | None:
        """The last reading of a holder, which can be withdrawn; None: there is none, or it was withdrawn.

        Only the last: every one before it was judged without it, and nothing that stays rests on it.
        """
        kinds = frozenset({TemperatureRead.kind, ReadingWithdrawn.kind})
        gone: set[int] = set()
        for line in past.lines(past.Question(key, kinds, newest=40)):
            if isinstance(line.entry, ReadingWithdrawn):
                gone.add(line.entry.reading)
            elif line.id not in gone:
                return line
        return None

    def withdraw(self, key: str, reading: int) -> Withdrawn:
        """Takes a mistyped reading (number of its line) out of all that is worked out, by a line of its own.

        What it let go is held again.  It is never sooner free for that than by the readings that are left, and a
        probe reading at the same spot is owed first.  Raises NotThere, ReadingFault, ActRefused.
        """
        session = self._session
        session.signed_in()
        card, last = session.holder(key), self.slip(key)
        if last is None or last.id != reading or not isinstance(last.entry, TemperatureRead):
            raise ReadingFault("reading", "only the last reading of a holder can be withdrawn")
        said = last.entry
        was_hot = card.hold is not None
        session.write(ReadingWithdrawn(key, reading, said.where, said.value_c, said.heating))
        session.holds.unlearnt()
        now = session.holder(key)
        hot = not was_hot and _warmth(now) is not Heat.COOL
        cools = now.at is not None and now.at.place.kind is Kind.COOLING
        words = say(
            "reading.withdrawn" if not hot else "reading.held_where_it_cools" if cools else "reading.held_again",
            name=now.name,
            value_c=said.value_c,
            where=f"term.{said.where}",
            place=now.at.name if now.at else None,
        )
        return Withdrawn(now, hot, words, self.owed(key))

    def owed(self, key: str) -> Owed:
        """What is still to be read of a holder before it counts as cool.  Raises NotThere."""
        session = self._session
        card, now_s = session.holder(key), session.now().watched_s
        if card.hold is not None and (facts := session.cards.hold_facts(key)) is not None:
            now_s = session.holds.moment(facts, session.now()).watched_s
            return owed(facts, card.hold, session.holds.rules_of(facts).room.limit_c, now_s)
        if _warmth(card) is not Heat.UNKNOWN:
            return NOTHING_OWED
        return owed_all_over(self._read_since_its_last_step(key), session.settings.heat.limit_c, now_s)

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
            lately = [*facts.readings, *facts.withdrawn]
            moment = session.holds.moment(facts, moment)
        else:
            lately = self._read_since_its_last_step(key)
        now_s = moment.watched_s
        this = Reading(now_s, where, value_c, instrument, "", session.book.next_id)
        return cool_all_over([*lately, this], limit_c, now_s)

    def _read_since_its_last_step(self, key: str) -> list[Reading]:
        session = self._session
        found: list[Reading] = []
        gone: set[int] = set()
        for line in session.book.lines(subject=key, newest=40):
            entry = line.entry
            if isinstance(entry, _BEGINS_ANEW) or line.kiosk != session.book.kiosk:
                break
            if isinstance(entry, ReadingWithdrawn):
                gone.add(entry.reading)
            elif isinstance(entry, TemperatureRead) and entry.heating is None:
                verdict = WITHDRAWN if line.id in gone else entry.verdict
                found.append(Reading(line.watched_s, entry.where, entry.value_c, entry.instrument, verdict, line.id))
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
        now_s = session.holds.moment(facts, session.now()).watched_s
        tolerance_k = session.holds.rules_of(facts).probe_tolerance_k  # the worst since it was heated
        reading = Reading(now_s, where, value_c, instrument, "", tolerance_k=tolerance_k)
        judged = session.holds.judge(facts, reading)
        alone = facts.reading_only or judged is None or judged.strange
        again_s = self._cool_all_over(key, where, value_c, instrument, facts) if alone else None
        # Where something was not seen, the model's hottest point need not be the hottest: only all over is proof.
        # And a spot whose last reading was a slip is read again before any other spot ends the hold.
        slips = set(to_read_again(facts)) <= {where}
        ends = again_s == 0.0 or (judged is not None and judged.ends and not facts.reading_only and slips)
        line = TemperatureRead(
            key, where, value_c, instrument, Word.AGREES.value, heating=facts.heating, tolerance_k=tolerance_k
        )
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
        written = session.write(*((line, HoldEnded(key, "reading", facts.heating)) if ends else (line,)))
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
        was_s = card.hold.remaining_s if card.hold else None
        return self._taken(
            key, line.verdict, ends, word, value_c, written[0].id, line.expected_c, judged, again_s, was_s
        )

    def _taken(
        self,
        key: str,
        verdict: str,
        ended: bool,
        word: str,
        value_c: float,
        line: int,
        expected_c: float | None = None,
        judged: Verdict | None = None,
        again_s: float | None = None,
        was_s: float | None = None,
    ) -> ReadingTaken:
        card = self._session.holder(key)
        left_s = card.hold.remaining_s if card.hold else None
        grew = None
        if left_s is not None and was_s is not None and left_s > was_s + _GROWS_S:
            grew = say("reading.grew", was_s=was_s, remaining_s=left_s, value_c=value_c, expected_c=expected_c)
        words = say(
            f"reading.{word}",
            name=card.name,
            value_c=value_c,
            expected_c=expected_c,
            limit_c=self._session.settings.heat.limit_c,
            where=f"term.{judged.hottest_at.value}" if judged else None,
            rises_k=judged.rises_k if judged else None,
            again_s=again_s,
            remaining_s=card.hold.counts_s if card.hold else None,
        )
        return ReadingTaken(card, verdict, ended, words, grew, line, NOTHING_OWED if ended else self.owed(key))


def _warmth(card: HolderCard) -> Heat:
    """How warm it counts here and now, also where others are not heard."""
    from kiosk.rules.checkin import warmth  # what is hot is told before all that decides is read

    return warmth(card)


def _danger(card: HolderCard) -> tuple[float, float]:
    assert card.hold is not None  # the board holds only such
    left_s = card.hold.remaining_s
    return (-card.hold.hottest_c, -(left_s if left_s is not None else float("inf")))
