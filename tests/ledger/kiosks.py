"""Several kiosks on one book in memory, and a server that gives lines their order under one lock."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from peewee import SqliteDatabase

from kiosk.ledger import tables as T
from kiosk.ledger import upgrade
from kiosk.ledger.derive import MemoryState, Stamp, changes, mentions
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE, as_kept, line_hash
from kiosk.ledger.shared_form import Told, travelling
from kiosk.ledger.sharing import Sharing
from kiosk.ledger.sql_state import SqlState
from kiosk.ledger.statements import sentences
from kiosk.ledger.verify import Wrong
from kiosk.ledger.verify_shared import Fold, replayed
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Cutter, Family, Holder
from kiosk.rules.chain import EMPTY_BOOK, ChainLine, SharedLine, next_book
from kiosk.rules.places import Kind, Place

HSK63 = Coupling(Family.HOLLOW_TAPER, 63)
STEEL = [Holder(f"T{at}", f"Shrink {at}", HSK63, Clamping.SHRINK_FIT, 12.0) for at in (1, 2)]
PLACES = (
    Place("B", "Bench", Kind.BENCH),
    Place("R", "Rack", Kind.COOLING, way="free_air"),
    Place("F", "Fan", Kind.COOLING, way="forced_air"),
    Place("S", "Station", Kind.SHRINK),
    Place("D", "Slot", Kind.SLOT, capacity=1),
    Place("E", "Slot 2", Kind.SLOT, capacity=1),
)
VALUES = {"temp_c": "330.0", "ambient_c": "23.0", "limit_c": "43.0", "heating_s": "60,0", "length_tolerance_um": "3.0"}
SETUP: tuple[L.Entry, ...] = (
    L.KioskStarted("2", tuple((f"heat.{name}", value) for name, value in VALUES.items())),
    *(L.PlaceAdded(place) for place in PLACES),
    *(L.HolderRegistered(steel, stood_cold=True) for steel in STEEL),
    *(L.CutterAdded(Cutter(f"C{at}", f"Mill {at}", 12.0, 12.0, 80.0)) for at in (1, 2)),
    L.Moved("T1", None, "B"),
    L.Moved("T2", None, "B"),
)
FOUNDER = "0" * 16


class Server:
    """The shop's order."""

    def __init__(self) -> None:
        self.lines: list[SharedLine] = []

    def push(self, lines: Sequence[ChainLine]) -> None:
        """Takes what comes next of a chain; what it has already is skipped."""
        for line in lines:
            mine = [each.line for each in self.lines if each.line.kiosk == line.kiosk]
            if line.number <= len(mine):
                assert mine[line.number - 1] == line, "a fork"
                continue
            assert line.number == len(mine) + 1
            assert line.previous == (mine[-1].digest if mine else "")
            book = self.lines[-1].book if self.lines else EMPTY_BOOK
            self.lines.append(SharedLine(len(self.lines) + 1, line, next_book(book, line.digest)))


class Kiosk:
    """A kiosk's ledger in memory, without its files; its own watched clock is `clock_s`."""

    def __init__(self, name: str, clock_s: float = 90 * 86400.0) -> None:
        self.name = name
        self.clock_s = clock_s
        self.ages: dict[int, float] = {}  # what is said of the stay that began with a line; else nothing
        self.database = SqliteDatabase(":memory:", pragmas={"foreign_keys": 1})
        with self:
            self.database.create_tables(T.ALL)
            T.Schema.create(name="ledger", version=upgrade.VERSION)
            T.Watch.create(kiosk=name, watched_s=clock_s)
            self.state = SqlState()
            self._insert = sentences(T.KeptLine, "?").insert

    def __enter__(self) -> Kiosk:
        T.database.initialize(self.database)
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def founds(self, entries: Sequence[L.Entry], server: Server) -> None:
        """Writes lines as a kiosk without others, and brings them to a server as they are."""
        before = HASH_BEFORE_ANY_LINE
        with self, self.database.atomic():
            for number, given in enumerate(entries, 1):
                entry, payload = as_kept(given)
                stamp = Stamp(number, 1.8e9, self.clock_s, "the old name", None)
                before = line_hash(before, stamp, entry.kind, payload)
                self.state.cursor.execute(self._insert, (*stamp, entry.kind, payload, before))
                for change in changes(entry, stamp, self.state):
                    self.state.apply(change)
                for subject in mentions(entry, stamp):
                    self.state.cursor.execute('INSERT INTO "mention" VALUES (?, ?)', (subject, number))
            self.sharing = Sharing.begin(self.state, self.name)
        server.push(self.own_lines())

    def joins(self, server: Server) -> None:
        """Begins with all the shop's lines."""
        with self, self.database.atomic():
            self.sharing = Sharing.begin(self.state, self.name)
            self.sharing.take(server.lines)

    def own_lines(self) -> list[ChainLine]:
        found = [each for each in self.sharing.lines_after(0) if each.chain == self.name]
        return [travelling(self.name, each.said) for each in found]

    def says(self, *entries: L.Entry, operator: str | None = None) -> None:
        """Lines as a desk writes them, all or nothing."""
        with self, self.database.atomic():
            number, digest = self.sharing.tail.number, self.sharing.tail.digest
            for given in entries:
                entry, payload = as_kept(given)
                number += 1
                holder = getattr(entry, "holder", None)
                stay = self.sharing.stay_of(holder) if isinstance(holder, str) else None
                age_s = self.ages.get(stay, 0.0) if stay is not None else None
                seen = self.sharing.tail.applied, self.sharing.tail.book
                stamp = Stamp(number, 1.8e9, self.clock_s, self.name, operator)
                said = Told(digest, *stamp, entry.kind, payload, *seen, stay, age_s)
                digest = self.sharing.add(said)
            self.sharing.grown(number, digest)

    def pulls(self, server: Server, most: int = 10_000) -> int:
        with self, self.database.atomic():
            first = self.sharing.tail.applied
            return self.sharing.take(server.lines[first : first + most])

    def row(self, table: str, key: str) -> dict[str, Any]:
        with self:
            found = self.state.get(table, key)
        assert found is not None
        return found

    def tables(self) -> dict[str, list[Any]]:
        """Every derived row and the index, to be compared with another's."""
        with self:
            found: dict[str, list[Any]] = {
                model._meta.table_name: sorted(map(str, self.state.all(model._meta.table_name))) for model in T.DERIVED
            }
            found["mention"] = sorted(self.database.execute_sql('SELECT * FROM "mention"').fetchall())
        return found

    def differences(self) -> set[str]:
        """The keys of those that are open."""
        with self:
            return {row["key"] for row in self.state.all("difference") if row["closed_line"] is None}

    def folded_anew(self) -> MemoryState:
        fold = Fold()
        for line in self.sharing.lines_after(0):
            fold.tell(line)
        return fold.memory

    def wrong(self) -> list[Wrong]:
        with self:
            found = replayed(self.database.execute_sql, Fold(), lambda line, subjects: None, {})
            return [Wrong(*each) for each in found]


def shop(*names: str) -> tuple[Server, list[Kiosk]]:
    """A founder with `SETUP`, and the others."""
    server = Server()
    founder = Kiosk(FOUNDER)
    founder.founds(SETUP, server)
    others = [Kiosk(name, 3600.0 * at) for at, name in enumerate(names, 5)]
    for each in others:
        each.joins(server)
    return server, [founder, *others]
