"""The records counter: what happened to a holder, at a place, by an operator, in a shift, and where a thing was.

Reads lines and puts names to them; it never writes and never judges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kiosk.desk.heat_before import with_earlier
from kiosk.desk.holds import NOT_COMPUTABLE
from kiosk.desk.session import NotThere, Session
from kiosk.ledger import history as past
from kiosk.ledger import stock
from kiosk.ledger import tables as T
from kiosk.ledger.book import Written, rows
from kiosk.ledger.derive import TableRow
from kiosk.rules import lines as L
from kiosk.rules import shift
from kiosk.rules.cards import HeatCurve, HolderCard, OperatorCard, PlaceCard, place_name
from kiosk.rules.cooling.assessment import CoolingError
from kiosk.rules.hold_facts import HoldFacts, Reading, Stay, cooling_from_s
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, Value, say


@dataclass(frozen=True, slots=True)
class Filter:
    """Which lines of a subject; kinds are values of `lines.KINDS`.  Times: wall time, seconds UTC."""

    kinds: frozenset[str] = frozenset()
    operator: str | None = None
    since_utc_s: float | None = None
    until_utc_s: float | None = None
    newest: int = 100
    before: int | None = None  # the next page: lines older than this number


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """One line as people read it.  `say`: what happened, in a message `history.<kind>`."""

    line: int
    utc_s: float
    kind: str
    operator: str | None  # name
    kiosk: str
    holder: str | None  # name
    place: str | None  # name of where it happened, or where to
    say: Say
    phone: str = ""  # name of the telephone it came by


@dataclass(frozen=True, slots=True)
class WasAt:
    """Where the book had a holder.  `place` None: nowhere known; `since_utc_s` None: not in the book yet."""

    place: str | None
    place_name: str | None
    since_utc_s: float | None
    operator: str | None
    hot: bool = False


@dataclass(frozen=True, slots=True)
class HeatRecord:
    """One heating of a holder.  Times in readings and stays are seconds of watched time since it was heated.

    facts: for the model, to draw the curve that was expected.  ended_by: time, reading, or None while it runs or
    where the next heating came first.
    """

    heated_utc_s: float
    place_name: str | None
    operator: str | None
    stays: tuple[tuple[str | None, float], ...]  # name of the place, from when
    readings: tuple[Reading, ...]  # `at_s` since it was heated
    ended_by: str | None
    held_s: float | None
    facts: HoldFacts


@dataclass(frozen=True, slots=True)
class HeatPlot:
    """A heating to be drawn.  moves: when it came to each place after the first, on the curve's own time.

    story: what its readings did, and how long it would have been without them.
    """

    curve: HeatCurve
    moves: tuple[float, ...]
    story: tuple[Say, ...] = ()


_WHY = {L.OUTSIDE: "term.changed_outside", L.THERMOMETER: "term.by_thermometer"}


@dataclass(frozen=True, slots=True)
class LineCheck:
    """A line number and a hash from paper or a copy, held against the book.

    line: what the book has under that number; None: it ends before.  genuine: the hash is that line's.
    """

    line: HistoryRow | None
    genuine: bool


class RecordsCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._saved: dict[int, float] = {}  # by the line that began a heating

    def line_check(self, number: int, hash_start: str) -> LineCheck:
        """Holds what a report or a copy says of a line (its hash in twelve signs or more) against the book.

        Where they agree, the book has not lost or rewritten anything up to there.  Whether it is whole in itself is
        `check`'s business.
        """
        found = self._session.book.line(number)
        if found is None:
            return LineCheck(None, False)
        plain = "".join(hash_start.split()).lower()
        (row,) = self._told([found])
        return LineCheck(row, len(plain) >= 12 and found.hash.startswith(plain))

    def subject(self, text: str) -> str:
        """The key behind a label's text, a key, a place's name or an operator's name.  Raises NotThere."""
        session = self._session
        found = session.cards.subject(text)
        if isinstance(found, HolderCard):
            return found.holder.key
        if isinstance(found, PlaceCard):
            return found.place.code
        if isinstance(found, OperatorCard):
            return found.key
        for model in (T.Holder, T.Assembly, T.Operator, T.Audit):
            if rows(model.select(model.key).where(model.key == text)):
                return text
        place = session.cards.find_place(text)
        if place is not None:
            return place
        wanted = text.strip().casefold()
        for card in rows(T.Operator.select()):
            if card["name"].casefold() == wanted:
                return str(card["key"])
        built = T.Assembly.select(T.Assembly.holder).where(T.Assembly.name == text, T.Assembly.torn_line.is_null())
        named = T.Holder.select(T.Holder.key).where(T.Holder.name == text)
        for row in rows(built.limit(2)) or rows(named.limit(2)):
            return str(row.get("holder") or row.get("key"))
        raise NotThere("holder, place, operator or label", text)

    def history(self, subject: str, which: Filter | None = None) -> tuple[HistoryRow, ...]:
        """What happened to or at or by `subject` (a key: `subject()` finds it), newest first.

        An assembly's history is that of its holder while it was built in.
        """
        return self._told(self._lines(subject, which or Filter()))

    def _lines(self, subject: str, asked: Filter) -> Sequence[Written]:
        question = past.Question(
            subject, asked.kinds, asked.operator, asked.since_utc_s, asked.until_utc_s, asked.newest, asked.before
        )
        for built in rows(T.Assembly.select().where(T.Assembly.key == subject)):
            last = built["torn_line"] or self._session.book.last_id
            before = min(asked.before or last + 1, last + 1)
            question = replace(question, subject=built["holder"], before=before)
            found = past.lines(question)
            return [line for line in found if line.id >= built["built_line"]]
        return past.lines(question)

    def everything(self, which: Filter | None = None) -> tuple[HistoryRow, ...]:
        """The last lines of the book, whatever they are about."""
        asked = which or Filter()
        about = asked.operator  # the index of mentions knows what an operator did
        question = past.Question(
            about, asked.kinds, asked.operator, asked.since_utc_s, asked.until_utc_s, asked.newest, asked.before
        )
        return self._told(past.lines(question))

    def where_at(self, holder_key: str, utc_s: float) -> WasAt:
        """Where it was at a moment of wall time.  Raises NotThere for a holder nobody knows."""
        self._session.holder(holder_key)
        stood = past.where_at(holder_key, utc_s)
        since = stood.since
        by = self._names().get(since.operator or "", since.operator) if since else None
        kinds = frozenset({L.Heated.kind, L.HoldEnded.kind, L.ReadingWithdrawn.kind})
        heat = past.lines(past.Question(holder_key, kinds, until_utc_s=utc_s, newest=1))
        hot = bool(heat) and not isinstance(heat[0].entry, L.HoldEnded)
        return WasAt(stood.place, self._name_of(stood.place), since.utc_s if since else None, by, hot)

    def heatings(self, holder_key: str, newest: int = 20) -> tuple[HeatRecord, ...]:
        """The last heatings with what was read, newest first.  Raises NotThere."""
        card, cycles = self._session.holder(holder_key), past.heat_cycles(holder_key, newest)
        found = [self._heating(card, cycle) for cycle in cycles]
        facts = with_earlier(cycles, [record.facts for record in found], self._session.cards.places.rows)
        return tuple(replace(record, facts=each) for record, each in zip(found, facts, strict=True))

    def _heating(self, card: HolderCard, cycle: past.HeatCycle) -> HeatRecord:
        start = cycle.heated
        heated = start.entry
        assert isinstance(heated, L.Heated)  # heat_cycles begins with one
        at_s = {line: start.watched_s + since_s for line, since_s in past.since_heated(cycle).items()}
        came = [(heated.place, start.watched_s)]
        came += [(line.entry.goal or "", at_s[line.id]) for line in cycle.stays if isinstance(line.entry, L.Moved)]
        nothing: TableRow = {"way": None, "wet_length_mm": None}
        rows_of = [(code, since_s, self._session.cards.places.rows.get(code, nothing)) for code, since_s in came]
        stays = tuple(Stay(code or None, since_s, row["way"], row["wet_length_mm"]) for code, since_s, row in rows_of)
        readings = tuple(
            Reading(
                at_s[line.id], line.entry.where, line.entry.value_c, line.entry.instrument, line.entry.verdict,
                tolerance_k=line.entry.tolerance_k,
            )
            for line in cycle.readings
            if isinstance(line.entry, L.TemperatureRead)
        )
        ended = cycle.ended.entry if cycle.ended else None
        last = (cycle.ended or max((start, *cycle.stays, *cycle.readings), key=lambda line: line.id)).id
        built_in = self._session.cards.assembly_in(card.holder, start.id, last)
        facts = HoldFacts(
            card.holder, built_in, start.watched_s, start.utc_s, heated.temp_c, heated.length_mm, stays, readings,
            body_c=heated.body_c, reading_only=heated.reading_only, body_unknown=heated.body_unknown, heating=start.id,
        )  # fmt: skip
        return HeatRecord(
            start.utc_s,
            self._name_of(heated.place),
            self._names().get(start.operator or "", start.operator),
            tuple((self._name_of(stay.place), stay.since_s - start.watched_s) for stay in stays),
            tuple(replace(reading, at_s=reading.at_s - start.watched_s) for reading in readings),
            ended.by if isinstance(ended, L.HoldEnded) else None,
            at_s[cycle.ended.id] - start.watched_s if cycle.ended else None,
            facts,
        )

    def heat_plot(self, record: HeatRecord) -> HeatPlot:
        """How a heating was expected to cool when it began, with what was read since; its `now_s` marks the end.

        The hold that runs now is drawn as the hot board draws it.  Raises CoolingError.
        """
        session, facts = self._session, record.facts
        moves = tuple(stay.since_s - cooling_from_s(facts, session.holds.rules_of(facts)) for stay in facts.stays[1:])
        running = session.cards.hold_facts(facts.holder.key) if record.held_s is None else None
        if running is not None and running.heating == facts.heating:
            curve = session.holds.curve(running, session.now())
            if curve is None:
                raise CoolingError("hold", "cannot be worked out; it needs readings all over")
            return HeatPlot(curve, moves, session.holds.story(running, None, session.now()).say)
        ended_s = None if record.held_s is None else facts.heated_at_s + record.held_s
        moment = session.now()
        told = session.holds.story(facts, ended_s, replace(moment, watched_s=ended_s or facts.heated_at_s))
        return HeatPlot(told.expected, moves, told.say)

    def shift(self, since_utc_s: float, until_utc_s: float | None = None) -> shift.ShiftReport:
        """The summary of a stretch of wall time; None: until now."""
        session = self._session
        until = until_utc_s if until_utc_s is not None else session.now().utc_s + 1.0
        kinds = {code: Kind(row["kind"]) for code, row in session.cards.places.rows.items()}
        lines = list(past.span(since_utc_s, until))
        counted = shift.counts((shift.Told(line.id, line.operator, line.entry) for line in lines), kinds)
        last = lines[-1] if lines else None
        waited_s, saved_s = self._waits(lines)
        counted = replace(counted, waited_min=round(waited_s / 60), saved_min=round(saved_s / 60))
        return shift.ShiftReport(
            session.book.kiosk, since_utc_s, until, counted, tuple(sorted(self._names().items())),
            last.id if last else session.book.last_id, last.hash if last else session.book.last_hash,
        )  # fmt: skip

    def _waits(self, lines: Sequence[Written]) -> tuple[float, float]:
        """How long holds that ended in these lines were waited for, and how much readings saved; seconds."""
        ended = [line for line in lines if isinstance(line.entry, L.HoldEnded) and line.entry.heating is not None]
        waited_s = saved_s = 0.0
        heats: dict[str, dict[int | None, HeatRecord]] = {}
        for line in ended:
            entry = line.entry
            assert isinstance(entry, L.HoldEnded)
            if entry.holder not in heats:
                if self._session.cards.holder(entry.holder) is None:
                    continue
                heats[entry.holder] = {record.facts.heating: record for record in self.heatings(entry.holder, 40)}
            record = heats[entry.holder].get(entry.heating)
            if record is None or record.held_s is None:
                continue
            waited_s += record.held_s
            saved_s += self._saved_s(record)
        return waited_s, saved_s

    def _saved_s(self, record: HeatRecord) -> float:
        """What the readings of a heating that is over saved; worked out once."""
        facts, held_s = record.facts, record.held_s
        if not facts.readings or held_s is None or facts.heating is None:
            return 0.0
        if facts.heating not in self._saved:
            moment = self._session.now()
            try:
                saved_s = self._session.holds.story(facts, facts.heated_at_s + held_s, moment).saved_s
            except NOT_COMPUTABLE:
                saved_s = 0.0
            self._saved[facts.heating] = saved_s
        return self._saved[facts.heating]

    # names ------------------------------------------------------------------------------------------------

    def _names(self) -> dict[str, str]:
        return {row["key"]: row["name"] for row in rows(T.Operator.select(T.Operator.key, T.Operator.name))}

    def _name_of(self, code: str | None) -> str | None:
        places = self._session.cards.places
        return place_name(places.path(code)) if code and code in places.rows else code or None

    def _told(self, lines: Sequence[Written]) -> tuple[HistoryRow, ...]:
        """Lines as people read them; who and what they speak of is looked up once for all of them."""
        people, named = self._names(), _named_in(lines)
        return tuple(self._row(line, people, named) for line in lines)

    def _row(self, line: Written, people: dict[str, str], named: dict[str, str]) -> HistoryRow:
        entry, key = line.entry, _holder_of(line.entry)
        place = getattr(entry, "goal", None) or getattr(entry, "place", None) or getattr(entry, "pocket", None)
        code = place if isinstance(place, str) or place is None else place.code
        name, where = named.get(key or "", key), self._name_of(code)
        by = people.get(line.operator or "", line.operator)
        values = self._values(entry, name, where, people, named)
        kind = line.kind.replace(" ", "_")
        if isinstance(entry, L.Restored) and entry.cause != "backup":
            kind = f"{kind}_{entry.cause}"
        if isinstance(entry, L.TornDown) and entry.undoes is not None:
            kind = f"{kind}_undone"
        words = say(f"history.{kind}", **values)
        return HistoryRow(line.id, line.utc_s, line.kind, by, line.kiosk, name, where, words, line.phone)

    def _values(
        self, entry: L.Entry, name: str | None, where: str | None, people: dict[str, str], named: dict[str, str]
    ) -> dict[str, Value]:
        """What the words of a line need."""
        values: dict[str, Value] = {"name": name, "place": where}
        for field in _SAID:
            if hasattr(entry, field):
                value = getattr(entry, field)
                values[field] = value if isinstance(value, str | int | float) or value is None else str(value)
        match entry:
            case L.Moved(origin=origin):
                values["origin"] = self._name_of(origin)
            case L.MeasuredLine(values=measured):
                values |= {"length_mm": measured.length_mm, "diameter_mm": measured.diameter_mm}
            case L.BalancedLine(values=left):
                values |= {"unbalance_gmm": left.residual_gmm, "grade": left.grade, "at_rpm": left.rpm}
            case L.Built(name=built):
                values["name"] = built
            case L.CutterAdded(cutter=cutter):
                values["name"] = cutter.name
            case L.PlaceAdded(place=place):
                values["name"] = place.name
            case L.TemperatureRead(where=spot) | L.ReadingWithdrawn(where=spot):
                values["where"] = f"term.{spot}"
            case L.TurnedAway(reason=reason):
                values["reason"] = f"term.reason.{reason}"
            case L.ConditionSaid(condition=condition):
                values["condition"] = f"term.{condition.value}"
            case L.DifferenceSettled(difference=difference, action=action, name=called):
                values |= {"name": called, "difference": f"term.difference.{difference}"}
                values["action"] = f"term.action.{action}"
            case L.CodeBound(subject=subject, what=what) | L.LabelWorn(subject=subject, what=what):
                values["name"] = named.get(subject, subject) if what == "holder" else self._name_of(subject)
                values["spent_percent"] = 100 * getattr(entry, "spent", 0.0)
            case L.SettingChanged(name=called, reason=reason):
                values |= {"name": called, "reason": _WHY.get(reason, reason)}
            case L.OperatorAdded(name=called) | L.KioskLockedOut(name=called):
                values["name"] = called
            case (
                L.OperatorRetired(operator=key)
                | L.SignedIn(operator=key)
                | L.SignedOut(operator=key)
                | L.PinGiven(operator=key)
            ):
                values["name"] = people.get(key, key)
            case L.PhonePaired(name=phone, operator=owner) | L.PhoneEnded(name=phone, operator=owner):
                values |= {"phone": phone, "name": people.get(owner, owner) if owner else None}
            case L.Restored(holders=holders):
                values["count"] = len(holders)
        return values


def _named_in(lines: Sequence[Written]) -> dict[str, str]:
    """Names of the holders that these lines speak of, by key."""
    spoken = (key for line in lines for key in (_holder_of(line.entry), getattr(line.entry, "subject", None)))
    return stock.names(key for key in spoken if key)


def _holder_of(entry: L.Entry) -> str | None:
    """Key of the holder that a line speaks of."""
    holder = getattr(entry, "holder", None)
    return holder if isinstance(holder, str) or holder is None else str(holder.key)


# Fields of lines whose values are put into words as they are.
_SAID = (
    *("reason", "text", "value", "value_c", "where", "instrument", "verdict", "by", "code", "audit", "expected"),
    *("seen", "missing", "version", "source", "count", "used_min", "backup", "heats", "imported", "number"),
    *("shared", "unshared"),
)
