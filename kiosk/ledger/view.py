"""The cards the rules decide from, read out of the tables.

Reads only; never decides and never writes.  Places change seldom and are kept in memory until `forget_places`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import msgspec

from kiosk.ledger import tables as T
from kiosk.ledger.book import Book, rows
from kiosk.ledger.counted import Counting
from kiosk.ledger.derive import STILL_WARM_S, TableRow
from kiosk.ledger.derive_heat import stood_unwatched
from kiosk.ledger.fold_unseen import may_count
from kiosk.ledger.places import Places
from kiosk.ledger.state import SHARED_CLOCK
from kiosk.ledger.statements import taught
from kiosk.rules import codes
from kiosk.rules.apart import Apart, nothing_heard
from kiosk.rules.assembly import Assembly, Condition, Cutter, Holder, Measured, Unbalance
from kiosk.rules.cards import (
    Command,
    CommandCard,
    DamagedCode,
    FreshLabel,
    Heat,
    HolderCard,
    HoldView,
    OperatorCard,
    PlaceCard,
    RetiredCode,
    Subject,
    UnknownCode,
    place_name,
)
from kiosk.rules.fitting.magazine import Loaded
from kiosk.rules.hold_facts import WITHDRAWN, Earlier, HeatValues, HoldFacts, Reading, Stay
from kiosk.rules.merge import Made, Matter
from kiosk.rules.places import Kind

SAFE_MOST_C = 48.0  # no limit for touching can be set higher

HoldReader = Callable[[HoldFacts], HoldView]

_holder = msgspec.json.Decoder(Holder)
_cutter = msgspec.json.Decoder(Cutter)
_measured = msgspec.json.Decoder(Measured)
_unbalance = msgspec.json.Decoder(Unbalance)
_began = msgspec.json.Decoder(tuple[HeatValues, ...])
_made = msgspec.json.Decoder(tuple[Made, ...])


class Cards:
    """Builds cards for one book."""

    def __init__(self, book: Book, hold: HoldReader) -> None:
        self._book = book
        self._hold = hold
        self._places: Places | None = None
        self.unwritten: set[str] = set()  # holders of which a heating could not be written: nobody knows how warm
        # How far this kiosk is cut off from others on the book; None: there are none.
        self.apart: Apart | None = nothing_heard(book.kiosk) if book.sharing else None
        self._disputed: tuple[object, frozenset[str]] = (None, frozenset())
        self._opened_s = book.now().watched_s
        self._taught = taught(T.database.param)
        self._standing = f'SELECT "key" FROM "holder" WHERE "place" = {T.database.param}'

    def forget_places(self) -> None:
        self._places = None

    @property
    def places(self) -> Places:
        if self._places is None:
            self._places = Places(self._book.state.all("place"))
        return self._places

    def subject(self, text: str) -> Subject:
        """What a label's text stands for."""
        plain = "".join(text.split()).upper()
        for candidate in dict.fromkeys((text, plain)):
            if bound := self._row("binding", candidate):
                return self._bound(bound)
        try:
            code = codes.parse(text)
        except codes.CodeFault as fault:
            if fault.fault is codes.Fault.CHECK:
                return DamagedCode(text, self._near(text))
            return UnknownCode(text, foreign=True, near=self._near(text))
        printed = self._row("printed", code.text)
        if printed and printed["what"] == "holder" and (card := self.holder(printed["subject"])):
            return FreshLabel(code.text, card)
        if code.kind is codes.CodeKind.COMMAND:
            for command in Command:
                if codes.make(codes.CodeKind.COMMAND, command.value) == code:
                    return CommandCard(command)
        return UnknownCode(code.text, foreign=False, near=self._near(code.text))

    def is_bound(self, text: str) -> bool:
        """Whether a mark was adopted with exactly this text."""
        return self._row("binding", text) is not None

    def _near(self, text: str) -> tuple[str, ...]:
        near = [code.text for code in codes.slips(text)]
        if not near:
            return ()
        found = T.Binding.select(T.Binding.text).where(T.Binding.text.in_(near), T.Binding.retired_line.is_null())
        return tuple(sorted(row["text"] for row in rows(found)))

    def _bound(self, bound: TableRow) -> Subject:
        what, subject = bound["what"], bound["subject"]
        if bound["retired_line"] is not None:
            return RetiredCode(bound["text"], self.holder(subject) if what == "holder" else None)
        if what == "holder":
            card = self.holder(subject)
        elif what == "place":
            return self.place(subject) or UnknownCode(bound["text"], foreign=False)
        else:
            return self.operator(subject) or UnknownCode(bound["text"], foreign=False)
        return card or UnknownCode(bound["text"], foreign=False)

    def find_place(self, code_or_name: str) -> str | None:
        """The code of a place said by its label or by its whole name."""
        plain = "".join(code_or_name.split()).upper()
        if plain in self.places.rows:
            return plain
        wanted = code_or_name.strip().casefold()
        for code in self.places.rows:
            if wanted in (self.places.rows[code]["name"].casefold(), place_name(self.places.path(code)).casefold()):
                return code
        return None

    def operator(self, key: str) -> OperatorCard | None:
        row = self._row("operator", key)
        return (
            OperatorCard(row["key"], row["name"], row["role"], bool(row["retired"]), row["language"]) if row else None
        )

    def place(self, code: str) -> PlaceCard | None:
        """A place with who stands there; for a pocket, machine or spindle also its magazine's contents."""
        places = self.places
        if code not in places.rows:
            return None
        row = places.rows[code]
        place = places.place(code)
        standing = tuple(key for (key,) in self._book.state.cursor.execute(self._standing, (code,)))
        machine = code if place.kind is Kind.MACHINE else place.parent
        magazine = places.magazine(machine) if machine else None
        if magazine is None or machine is None:
            return PlaceCard(place, places.path(code), standing, retired=bool(row["retired"]))
        pockets = {p: places.rows[p] for p in places.inside.get(machine, ()) if places.rows[p]["kind"] == "pocket"}
        owners = {r["number"]: r["owner"] for r in pockets.values() if r["owner"]}
        return PlaceCard(
            place,
            places.path(code),
            standing,
            magazine,
            self._loaded(pockets),
            self._returning(pockets),
            owners,
            bool(row["retired"]),
        )

    def _loaded(self, pockets: dict[str, TableRow]) -> tuple[Loaded, ...]:
        loaded = []
        for row in rows(T.Holder.select().where(T.Holder.place.in_(list(pockets)), T.Holder.assembly.is_null(False))):
            assembly = self._assembly(row, _holder.decode(row["facts"]))
            pocket = pockets[row["place"]]
            if assembly:
                loaded.append(Loaded(pocket["number"], assembly, pocket["owner"] == row["key"]))
        return tuple(loaded)

    def _returning(self, pockets: dict[str, TableRow]) -> tuple[Loaded, ...]:
        away = {r["owner"]: r["number"] for r in pockets.values() if r["owner"]}
        if not away:
            return ()
        away_now = T.Holder.select().where(T.Holder.key.in_(list(away)), T.Holder.assembly.is_null(False))
        return tuple(
            Loaded(away[row["key"]], assembly, True)
            for row in rows(away_now)
            if row["place"] not in pockets and (assembly := self._assembly(row, _holder.decode(row["facts"])))
        )

    def _assembly(self, holder_row: TableRow, holder: Holder) -> Assembly | None:
        built = self._row("assembly", holder_row["assembly"])
        cutter = self._row("cutter", built["cutter"]) if built else None
        return assembly_of(built | {"facts": cutter["facts"]}, holder) if built and cutter else None

    def assembly_in(self, holder: Holder, first_line: int, last_line: int) -> Assembly | None:
        """What was built into a holder between two lines, the last of it where it changed."""
        found = rows(
            T.Assembly.select(T.Assembly, T.Cutter.facts)
            .join(T.Cutter, on=(T.Assembly.cutter == T.Cutter.key))
            .where(
                T.Assembly.holder == holder.key,
                T.Assembly.built_line <= last_line,
                T.Assembly.torn_line.is_null() | (T.Assembly.torn_line > first_line),
            )
            .order_by(T.Assembly.built_line.desc())
            .limit(1)
        )
        return assembly_of(found[0], holder) if found else None

    def _row(self, table: str, key: str | None) -> TableRow | None:
        """A row by its key, by a sentence written once: a scan asks for a dozen."""
        return None if key is None else self._book.state.get(table, key)

    def holder(self, key: str) -> HolderCard | None:
        row = self._row("holder", key)
        return self.holder_of(row) if row else None

    def holder_of(self, row: TableRow) -> HolderCard:
        """The card of a row of the holder table."""
        holder = _holder.decode(row["facts"])
        assembly = self._assembly(row, holder)
        view, held = None, self._row("hold", row["key"])
        if held is not None and (held["ended_line"] is None or self._still_warm(held)):
            view = self._hold(self.facts(held, holder, assembly))
        running = held is not None and held["ended_line"] is None
        heat = self.counting.on_card(row["key"], Heat(row["heat"]))
        if row["key"] in self.unwritten:
            view = replace(view, needs_reading=True) if view else None
        return HolderCard(
            holder,
            row["code"] or row["key"],
            assembly,
            self.place(row["place"]) if row["place"] else None,
            row["since_utc_s"],
            row["since_watched_s"] if row["last_kiosk"] == self._book.kiosk else self._heard_s,
            row["last_kiosk"],
            heat,
            view if running else None,
            view.measure_in_s if view else None,
            self._stands_heated_s(row, held) if held and running else None,
            self._body_c(held, view),
            row["heat"] == Heat.UNKNOWN.value or bool(running and held and held["reading_only"]),
            bool(row["heat_unused"]),
            row["heat_cycles"],
            bool(row["retired"]),
            self.apart,
            self.label_spent(row["code"]),
        )

    @property
    def counting(self) -> Counting:
        """What the heat in the tables counts as now."""
        return Counting(self._one_label_of_two() | self.unwritten, self.apart)

    def _one_label_of_two(self) -> frozenset[str]:
        """Holders on which kiosks that worked apart put one label: which steel it is on, a scan does not say."""
        if self._disputed[0] != self._book.changed:
            label = (T.Difference.matter == Matter.LABEL.value) & T.Difference.closed_line.is_null()
            found = rows(T.Difference.select(T.Difference.claims).where(label))
            keys = frozenset(each.value for row in found for each in _made.decode(row["claims"]))
            self._disputed = self._book.changed, keys
        return self._disputed[1]

    def label_spent(self, text: str | None) -> float:
        """Share of a label's error correction that its damage takes, as the book has it."""
        worn = self._row("worn_label", text)
        return float(worn["spent"]) if worn else 0.0

    @property
    def _heard_s(self) -> float | None:
        """Since when at least another's step is known here; None: nobody counted when its line came."""
        return None if self._book.sharing is not None else self._opened_s

    def _body_c(self, held: TableRow | None, view: HoldView | None) -> float | None:
        """How warm a holder may still be.  None: as cold as the shop."""
        if view is not None:
            return view.high_c
        # How long ago another clock's hold ended, this one cannot say: no warmer than it was then.
        return SAFE_MOST_C if held is not None and held["kiosk"] not in (self._book.kiosk, SHARED_CLOCK) else None

    def _still_warm(self, held: TableRow) -> bool:
        """Whether a hold that ended may have left warmth behind, as far as this kiosk's own clock can say."""
        now_s = self._hold_now_s(held)
        return now_s is not None and now_s - held["heated_watched_s"] < STILL_WARM_S

    def _hold_now_s(self, held: TableRow) -> float | None:
        """Now by the clock of a hold's row; None where that is another kiosk's."""
        if held["kiosk"] == SHARED_CLOCK:
            _, since_s, line, *_ = msgspec.json.decode(held["stages"])[-1]
            return float(since_s) + (self._book.age_of(line) or 0.0)
        return self._book.now().watched_s if held["kiosk"] == self._book.kiosk else None

    def _stands_heated_s(self, row: TableRow, held: TableRow) -> float | None:
        """When the heating began that runs, while the holder still stands where it was heated.

        None where there was a while that nobody watched since: it may have been heated again in it; and where another
        kiosk counts it, of which this one knows the least.
        """
        now_s = self._hold_now_s(held)
        if now_s is None or (row["since_line"] or 0) > held["heated_line"] or held["reading_only"]:
            return None
        if stood_unwatched(msgspec.json.decode(held["stages"])[-1]):
            return None
        if held["kiosk"] == SHARED_CLOCK and not may_count(held, self._book.kiosk, self._book.state):
            return None
        return self._book.now().watched_s - (now_s - float(held["first_watched_s"]))

    def held(self) -> list[HolderCard]:
        """Everything under a hold, and what may still be warm after one."""
        since_s = self._book.now().watched_s - STILL_WARM_S
        mine = (T.Hold.kiosk == self._book.kiosk) & (T.Hold.heated_watched_s > since_s)
        mine |= T.Hold.kiosk == SHARED_CLOCK
        found = T.Hold.select(T.Hold.holder).where(T.Hold.ended_line.is_null() | mine)
        return [card for row in rows(found) if (card := self.holder(row["holder"]))]

    def lessons(self, after: int) -> list[TableRow]:
        """What readings taught in lines after one, in order."""
        said = self._taught
        found = self._book.state.cursor.execute(said.every, (after,)).fetchall()
        return [dict(zip(said.columns, row, strict=True)) for row in found]

    def hold_facts(self, key: str) -> HoldFacts | None:
        """The facts of the last heating, ended or not."""
        held, row = self._row("hold", key), self._row("holder", key)
        if held is None or row is None:
            return None
        holder = _holder.decode(row["facts"])
        return self.facts(held, holder, self._assembly(row, holder))

    def facts(self, held: TableRow, holder: Holder, assembly: Assembly | None) -> HoldFacts:
        """The facts of a hold's row."""
        stages = msgspec.json.decode(held["stages"])
        stays = [self._stay(code, since_s, any(unwatched)) for code, since_s, _, *unwatched in stages]
        read = [Reading(*reading) for reading in msgspec.json.decode(held["readings"])]
        return HoldFacts(
            holder,
            assembly,
            held["heated_watched_s"],
            held["heated_utc_s"],
            held["temp_c"],
            held["length_mm"],
            tuple(stays),
            tuple(reading for reading in read if reading.verdict != WITHDRAWN),
            held["body_c"],
            bool(held["reading_only"]),
            held["gaps"],
            body_unknown=bool(held["body_unknown"]),
            began=_began.decode(held["began"]) if held["began"] else (),
            heating=held["heated_line"],
            watched=held["kiosk"] in (self._book.kiosk, SHARED_CLOCK),
            withdrawn=tuple(reading for reading in read if reading.verdict == WITHDRAWN),
            clock=held["kiosk"],
            stay=stages[-1][2],
            heats=held["heats"],
            again_s=held["heated_watched_s"] - held["first_watched_s"],
            earlier=tuple(self._earlier(each) for each in msgspec.json.decode(held["earlier"])),
        )

    def _stay(self, code: str | None, since_s: float, unwatched: bool = False) -> Stay:
        row = self.places.rows.get(code) if code else None
        way, wet = (row["way"], row["wet_length_mm"]) if row else (None, None)
        return Stay(code, since_s, way, wet, unwatched)

    @staticmethod
    def _earlier(told: dict[str, Any]) -> Earlier:
        began = msgspec.convert(told["began"], tuple[HeatValues, ...])
        stays = tuple(Stay(*stay) for stay in told["stays"])
        return Earlier(**told | {"began": began, "stays": stays})


def cutter_of(row: TableRow) -> Cutter:
    """A cutter from its row."""
    cutter: Cutter = _cutter.decode(row["facts"])
    return cutter


def assembly_of(row: dict[str, Any], holder: Holder) -> Assembly:
    """An assembly from its row joined with its cutter's facts."""
    return Assembly(
        row["key"],
        row["name"],
        holder,
        _cutter.decode(row["facts"]),
        row["insert_mm"],
        _measured.decode(row["measured"]) if row["measured"] else None,
        Condition(row["condition"]),
        row["used_min"],
        _unbalance.decode(row["unbalance"]) if row["unbalance"] else None,
    )
