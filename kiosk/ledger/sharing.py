"""The ledger of a kiosk that has others: its own chain, the shared lines of all, and the tables folded from both.

Tables are what the shared lines give in their order, and own lines that wait for their place after them.  When others'
lines come, own waiting lines are undone by the rows kept before each, the others' are applied, and the own are told
again.  All of it is one transaction of the book's; ids are `shared_form.WAITING` and the own number until a line has
its shared one.  Never asks the network for anything.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import msgspec

from kiosk.ledger import tables as T
from kiosk.ledger.derive import Change, Drop, Put, Stamp, TableRow, mentions
from kiosk.ledger.fold import Placed, Tips, folded, referring
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE
from kiosk.ledger.shared_form import SAID, WAITING, Kept, Told, digest_of, is_whole, kept, told
from kiosk.ledger.sql_state import SqlState
from kiosk.ledger.state import KEYS, LedgerState, text
from kiosk.ledger.statements import sentences
from kiosk.rules.ages import StayName
from kiosk.rules.chain import EMPTY_BOOK, SharedLine, next_book
from kiosk.rules.lines import Entry

Asked = Callable[[], bool]
AgeOf = Callable[[int], float | None]  # of the stay that began with a line, by its id


def never() -> bool:
    return False


def uncounted(_: int) -> float | None:
    return None


class OutOfOrder(RuntimeError):
    """What came is not what comes next in the shop's order.  n: the number it claims."""

    def __init__(self, n: int, why: str) -> None:
        super().__init__(f"shared line {n}: {why}")
        self.n = n


class GaveWay(RuntimeError):
    """Somebody waits for an answer, who gets it as things stood: nothing of what came was applied."""


class Forked(RuntimeError):
    """The shop has another line of this kiosk's chain than this kiosk has: a copied folder writes too."""

    def __init__(self, number: int) -> None:
        super().__init__(f"the other kiosks know another line {number} of this kiosk than this one wrote")
        self.number = number


@dataclass(frozen=True, slots=True)
class Tail:
    """The end of the own chain and of the shared lines as this kiosk has them."""

    number: int
    digest: str
    applied: int
    book: str


def image_of(change: Change, state: LedgerState) -> tuple[str, str, str]:
    """The row a change is about as it is before: its table, its key, itself or null, both in JSON."""
    key = change.row[KEYS[change.table]] if isinstance(change, Put) else change.key
    return change.table, text(key), text(state.get(change.table, key))


class _End(NamedTuple):
    """The last shared line of a chain."""

    number: int = 0
    digest: str = HASH_BEFORE_ANY_LINE
    seen: int = 0


@dataclass(frozen=True, slots=True)
class Member:
    """A kiosk of the shop.  known: all others know what it said.  line: id of the line in which it said so last.

    rests: closed in order, and no line of it came since.  woke: id of its first line after it rested last.  gone: it
    belongs to the shop no more.
    """

    name: str
    at: str | None
    heats: bool
    known: bool
    line: int
    rests: bool = False
    woke: int | None = None
    gone: bool = False

    @property
    def awake(self) -> bool:
        """Whether no other kiosk may take it to be at rest: after it rested it has a line in the shop's order."""
        return not self.rests and (self.woke is None or self.woke < WAITING)


class _Imaged:
    """A state that keeps each row as it was before a change, so that the changes can be undone."""

    def __init__(self, state: SqlState) -> None:
        self._state = state
        self.get, self.all = state.get, state.all

    def apply(self, change: Change) -> None:
        values = image_of(change, self._state)
        self._state.cursor.execute('INSERT INTO "image" ("what", "key", "before") VALUES (?, ?, ?)', values)
        self._state.apply(change)


class Sharing:
    """The several chains in one ledger.  Belongs to the book's thread, inside its transactions.

    generation: goes up whenever rows changed otherwise than by an own line, so that what was read before is stale.
    """

    def __init__(self, state: SqlState, own: str) -> None:
        self.own = own
        self.generation = 0
        self._state = state
        self._imaged = _Imaged(state)
        self._insert_line = sentences(T.KeptLine, "?").insert
        self._insert_chained = sentences(T.Chained, "?").insert
        self._insert_mention = sentences(T.Mention, "?").insert
        self.read_ends()

    def read_ends(self) -> None:
        """Takes the ends of all chains from the disk; where a transaction was given up too."""
        self.tail = self._read_tail()
        self._ends: dict[str, _End] = {}
        chain = ""
        while (found := self._rows('SELECT MIN("chain") FROM "chained" WHERE "chain" > ?', (chain,))[0][0]) is not None:
            chain = found
            last = 'WHERE "chain" = ? AND "book" IS NOT NULL ORDER BY "number" DESC LIMIT 1'
            for end in kept(self._rows(f"{SAID} {last}", (chain,))):
                self._ends[chain] = _End(end.said.number, end.digest, end.said.seen)
        self._tips = Tips({chain: self.id_of(chain, end.number) for chain, end in self._ends.items()})

    def ends(self) -> dict[str, tuple[int, str]]:
        """The last line of each chain in the tables, its number and digest; of this kiosk's own the last there is."""
        ends = {chain: (end.number, end.digest) for chain, end in self._ends.items()}
        return ends | {self.own: (self.tail.number, self.tail.digest)}

    def seen_by(self) -> dict[str, int]:
        """How far each kiosk had applied the shared lines when it wrote its last that is known."""
        return {chain: end.seen for chain, end in self._ends.items()}

    def members(self) -> dict[str, Member]:
        """The kiosks that said where they stand, and all others that ever wrote: these may book heatings."""
        rows = self._state.all("member")
        said = {
            each["key"]: Member(
                each["name"], each["at"], bool(each["heats"]), bool(each["known"]), each["line"],
                bool(each["rests"]), each["woke"], each["gone"] is not None,
            )
            for each in rows
        }  # fmt: skip
        return {chain: Member("", None, True, False, WAITING) for chain in self._ends} | said

    @classmethod
    def found(cls, state: SqlState) -> Sharing | None:
        """None: this kiosk has no others."""
        row = state.cursor.execute('SELECT "own" FROM "joined"').fetchone()
        return cls(state, *row) if row else None

    @classmethod
    def begin(cls, state: SqlState, own: str) -> Sharing:
        """The lines there are become the first chain of a shop's book, as they are; without any, this kiosk joins one.

        own: its identity.
        """
        execute = state.cursor.execute
        book, previous = EMPTY_BOOK, HASH_BEFORE_ANY_LINE
        rows = []
        for number, digest in execute('SELECT "id", "hash" FROM "line" ORDER BY "id"').fetchall():
            book = next_book(book, digest)
            rows.append((number, own, number, previous, 0, EMPTY_BOOK, None, None, book))
            previous = digest
        state.cursor.executemany(sentences(T.Chained, "?").insert, rows)
        execute('INSERT INTO "joined" ("own") VALUES (?)', (own,))
        return cls(state, own)

    def _rows(self, sentence: str, values: tuple[Any, ...] = ()) -> list[Any]:
        found: list[Any] = self._state.cursor.execute(sentence, values).fetchall()
        return found

    def _read_tail(self) -> Tail:
        own = self._rows(
            'SELECT "number", "hash" FROM "chained" JOIN "line" ON "line"."id" = "chained"."line" '
            'WHERE "chain" = ? ORDER BY "number" DESC LIMIT 1', (self.own,)
        )  # fmt: skip
        last = 'SELECT "line", "book" FROM "chained" WHERE "book" IS NOT NULL ORDER BY "line" DESC LIMIT 1'
        shared = self._rows(last)
        number, digest = own[0] if own else (0, HASH_BEFORE_ANY_LINE)
        applied, book = shared[0] if shared else (0, EMPTY_BOOK)
        return Tail(number, digest, applied, book)

    def hash_of(self, number: int) -> str | None:
        """The digest of an own line by its number in the own chain."""
        return self.digest_of(self.own, number)

    def digest_of(self, chain: str, number: int) -> str | None:
        """The digest of a line by its number in its chain; None: it is not here."""
        found = self._rows(
            'SELECT "hash" FROM "chained" JOIN "line" ON "line"."id" = "chained"."line" '
            'WHERE "chain" = ? AND "number" = ?', (chain, number)
        )  # fmt: skip
        return found[0][0] if found else None

    def last_watched_s(self) -> float:
        """Of the last own line."""
        found = self._rows(
            'SELECT "watched_s" FROM "chained" JOIN "line" ON "line"."id" = "chained"."line" '
            'WHERE "chain" = ? ORDER BY "number" DESC LIMIT 1', (self.own,)
        )  # fmt: skip
        return float(found[0][0]) if found else 0.0

    def id_of(self, chain: str, number: int) -> int:
        """Where a line stands in the tables now."""
        found = self._rows('SELECT "line" FROM "chained" WHERE "chain" = ? AND "number" = ?', (chain, number))
        return int(found[0][0]) if found else WAITING + number

    def stay_of(self, holder: str) -> int | None:
        """Id of the line with which the stay began that counts for a holder's hold; None: it has none."""
        row = self._state.get("hold", holder)
        return int(msgspec.json.decode(row["stages"])[-1][2]) if row else None

    def name_of(self, line: int) -> StayName | None:
        """The chain and number of a line by its id."""
        found = self._rows('SELECT "chain", "number" FROM "chained" WHERE "line" = ?', (line,))
        return StayName(*found[0]) if found else None

    def waiting(self) -> int:
        """How many own lines have no place in the order yet."""
        return self.tail.number - self._ends.get(self.own, _End()).number

    def says(
        self, entry: Entry, stamp: Stamp, payload: str, previous: str, age_of: Callable[[int], float | None]
    ) -> Told:
        """An own line as it will be kept: with how far this kiosk had seen, and the age of the stay it is about."""
        holder = getattr(entry, "holder", None)
        stay = self.stay_of(holder) if isinstance(holder, str) else None
        age_s = age_of(stay) if stay is not None else None
        return Told(previous, *stamp, entry.kind, payload, self.tail.applied, self.tail.book, stay, age_s)

    def add(self, said: Told) -> str:
        """An own line, after the last of the own chain; gives back its digest."""
        digest = digest_of(said.body)
        line = WAITING + said.number
        self._keep(line, self.own, said, digest, None)
        self._tell(Placed(line, self.own, said, self._tips.behind(self.own, said.seen), self.id_of), self._imaged)
        return digest

    def grown(self, number: int, digest: str) -> None:
        """Own lines to this one are on disk."""
        self.tail = Tail(number, digest, self.tail.applied, self.tail.book)

    def _keep(self, line: int, chain: str, said: Told, digest: str, book: str | None) -> None:
        self._state.cursor.execute(
            self._insert_line,
            (line, said.utc_s, said.watched_s, said.kiosk, said.operator, said.kind, said.payload, digest),
        )
        values = (line, chain, said.number, said.previous, said.seen, said.seen_book, said.stay, said.age_s, book)
        self._state.cursor.execute(self._insert_chained, values)

    def _tell(self, line: Placed, state: Any) -> None:
        """Moves the index and the tables along with a line."""
        entry = referring(line.said.entry, line)
        found = mentions(entry, line.said.stamp(line.id))
        self._state.cursor.executemany(self._insert_mention, [(subject, line.id) for subject in found])
        for change in folded(line, state):
            state.apply(change)

    def take(self, lines: Sequence[SharedLine], enough: Asked = never, gives_way: Asked = never) -> int:
        """Applies shared lines that come next, until there are no more or it was `enough`; how many.

        Own waiting lines are taken out of the tables once and told again once, so at least as many lines are applied
        as wait: each line that comes costs the same, however many these are.

        gives_way: asked before every line, for with many that wait this takes long; true: GaveWay is raised.

        The caller's transaction must be given up where this raises: GaveWay, OutOfOrder, Forked, derive.Broken, and
        KeyError and msgspec.MsgspecError for a line this program does not know.
        """
        if not lines:
            return 0

        def goes_on() -> None:
            if gives_way():
                raise GaveWay("somebody waits for an answer")

        waits = self._undone(goes_on)
        least = len(waits)
        done = 0
        for shared in lines:
            goes_on()
            self._next(shared, waits)
            done += 1
            if done >= least and enough():
                break
        for number in sorted(waits):
            goes_on()
            said = waits[number]
            behind = self._tips.behind(self.own, said.seen)
            self._tell(Placed(WAITING + number, self.own, said, behind, self.id_of), self._imaged)
        self.generation += 1
        return done

    def fold_again(self) -> None:
        """Fills empty tables and an empty index from all lines."""
        self._state.cursor.execute('DELETE FROM "image"')
        self._tips = Tips()
        for each in self.lines_after(0):
            waits = each.line >= WAITING
            behind = self._tips.behind(each.chain, each.said.seen)
            self._tell(
                Placed(each.line, each.chain, each.said, behind, self.id_of), self._imaged if waits else self._state
            )
            if not waits:
                self._tips.last[each.chain] = each.line

    def _undone(self, goes_on: Callable[[], None]) -> dict[int, Told]:
        """Takes the own waiting lines back out of the tables; gives back what they say, by number."""
        for what, key, before in self._rows('SELECT "what", "key", "before" FROM "image" ORDER BY "id" DESC'):
            goes_on()
            row: TableRow | None = msgspec.json.decode(before)
            self._state.apply(Put(what, row) if row is not None else Drop(what, msgspec.json.decode(key)))
        self._state.cursor.execute('DELETE FROM "image"')
        waits = {each.said.number: each.said for each in self.lines_after(WAITING - 1)}
        for number, said in waits.items():  # by subject: the index leads there, and a long past is not read through
            goes_on()
            found = mentions(said.entry, said.stamp(WAITING + number))
            self._state.cursor.executemany(
                'DELETE FROM "mention" WHERE "subject" = ? AND "line_id" = ?',
                [(subject, WAITING + number) for subject in found],
            )
        return waits

    def _next(self, shared: SharedLine, waits: dict[int, Told]) -> None:
        line = shared.line
        if shared.n != self.tail.applied + 1:
            raise OutOfOrder(shared.n, f"comes after {self.tail.applied}")
        if shared.book != next_book(self.tail.book, line.digest):
            raise OutOfOrder(shared.n, "does not follow from the order this kiosk knows")
        if not is_whole(line):
            raise OutOfOrder(shared.n, "was changed on its way or at the server")
        said = told(line.body)
        end = self._ends.get(line.kiosk, _End())
        if (said.number, said.previous) != (end.number + 1, end.digest) or not end.seen <= said.seen < shared.n:
            raise OutOfOrder(shared.n, f"does not follow line {end.number} of its kiosk")
        if said.seen and said.seen_book != self._book_at(said.seen):
            raise OutOfOrder(shared.n, "was written by a kiosk that knew another order")
        if line.kiosk == self.own:
            self._own_next(shared, said, waits)
        else:
            self._keep(shared.n, line.kiosk, said, line.digest, shared.book)
        behind = self._tips.behind(line.kiosk, said.seen)
        self._tell(Placed(shared.n, line.kiosk, said, behind, self.id_of), self._state)
        self._tips.last[line.kiosk] = shared.n
        self._ends[line.kiosk] = _End(said.number, line.digest, said.seen)
        own = (said.number, line.digest) if line.kiosk == self.own and said.number > self.tail.number else None
        number, digest = own or (self.tail.number, self.tail.digest)
        self.tail = Tail(number, digest, shared.n, shared.book)

    def _book_at(self, n: int) -> str | None:
        found = self._rows('SELECT "book" FROM "chained" WHERE "line" = ?', (n,))
        return found[0][0] if found else None

    def _own_next(self, shared: SharedLine, said: Told, waits: dict[int, Told]) -> None:
        """An own line has its place now; one this kiosk lost comes back."""
        mine = waits.pop(said.number, None)
        if mine is None and said.number == self.tail.number + 1 and said.previous == self.tail.digest and not waits:
            self._keep(shared.n, self.own, said, shared.line.digest, shared.book)
            return
        if mine is None or mine.body != shared.line.body:
            raise Forked(said.number)
        old = WAITING + said.number
        self._state.cursor.execute('UPDATE "line" SET "id" = ? WHERE "id" = ?', (shared.n, old))
        self._state.cursor.execute(
            'UPDATE "chained" SET "line" = ?, "book" = ? WHERE "line" = ?', (shared.n, shared.book, old)
        )

    def lines_after(self, line: int, most: int = -1) -> list[Kept]:
        """Lines by id, in order."""
        return kept(self._rows(f'{SAID} WHERE "line"."id" > ? ORDER BY "line"."id" LIMIT ?', (line, most)))
