"""The intake counter: shop data in from files with a dry run first, back out again as lines, and everything out.

A file is looked at, shown, and only then written, all of it or nothing; it never moves or ends anything that a
scan or a reading has said, and what a hold rests on (`rules.grounds`) it leaves alone.  An import can be taken back
by lines of its own, as far as nobody has worked with it; that is a correction, so a supervisor says why.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from kiosk.desk.first_pin import opens_the_shop
from kiosk.desk.lines_out import line_rows
from kiosk.desk.session import GaveWay, NotThere, Session
from kiosk.desk.taking_back import Kept, Taken, key_of
from kiosk.exchange.shop import read_shop, read_tables
from kiosk.exchange.shop_out import OperatorRow, ShopData, write_shop
from kiosk.exchange.tables_csv import PLAIN, Dialect
from kiosk.ledger import history
from kiosk.ledger import tables as T
from kiosk.ledger.book import Written, rows
from kiosk.ledger.derive import TableRow
from kiosk.rules import intake
from kiosk.rules import lines as L
from kiosk.rules.assembly import Cutter, Holder
from kiosk.rules.cards import place_name
from kiosk.rules.hold_facts import pair
from kiosk.rules.places import Place
from kiosk.rules.say import say
from kiosk.rules.slices import Between, in_slices, not_asked
from kiosk.rules.stock import BookEntry, book_entry

_holder = msgspec.json.Decoder(Holder)
_cutter = msgspec.json.Decoder(Cutter)


class ImportRefused(ValueError):
    """A plan with conflicts, or made for a book that has moved on.  `plan`: what the file would do now."""

    def __init__(self, plan: intake.Plan) -> None:
        self.plan = plan
        self.why = say("intake.conflicts", count=len(plan.conflicts)) if plan.conflicts else say("intake.moved_on")
        super().__init__("; ".join(f"{each.what} {each.key}" for each in plan.conflicts) or _MOVED_ON)


@dataclass(frozen=True, slots=True)
class ImportRow:
    """An import that was written: its closing line, and whether it was taken back."""

    line: int
    utc_s: float
    operator: str | None
    source: str
    count: int
    undone: bool


@dataclass(frozen=True, slots=True)
class UndoneImport:
    """What taking back an import did.  `kept`: keys of what somebody has worked with since, which stays."""

    lines: tuple[Written, ...]
    kept: tuple[str, ...]


_MOVED_ON = "the book has changed since the file was looked at; look at it again"


def read(paths: Sequence[Path], places: Mapping[str, Place]) -> tuple[L.Entry, ...]:
    """The lines of a shop folder, or of single tables.  places: those of the book, by `IntakeCounter.places`.

    Needs no desk and may take seconds.  Raises ShopFault with every fault by file, line and field, OSError.
    """
    if len(paths) == 1 and paths[0].is_dir():
        return read_shop(paths[0])
    return read_tables(paths, places)


class IntakeCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    def plan(self, *paths: Path) -> intake.Plan:
        """What importing a shop folder, or single tables, would change.  Writes nothing.

        Raises ShopFault with every fault by file, line and field, OSError.
        """
        return self.against(read(paths, self.places()))

    def against(self, entries: Sequence[L.Entry], between: Between = not_asked) -> intake.Plan:
        """What these lines of files would change.  Writes nothing.  between: see `slices`."""
        return intake.plan(entries, self._known(between), lambda _: between(0))

    def giving_way(self, at: Callable[[int], object] = not_asked) -> Callable[[int], None]:
        """What long work looks up to: stops it, with nothing of it done, for whoever waits for an answer of the desk.

        at: told how many lines came.  What is returned raises GaveWay.
        """

        def between(number: int) -> None:
            if self._session.is_asked():
                raise GaveWay
            at(number)

        return between

    def take(
        self, plan: intake.Plan, source: str, between: Between = not_asked
    ) -> tuple[Written, ...]:
        """Writes a plan, all of it or nothing.  One that corrects what the book has takes a supervisor.

        between: see `slices`; told how many lines came.

        What was shown is what is written: where the book has moved on since, so that the same file would now do
        something else, nothing is.  Raises ImportRefused, also where the plan has conflicts, Locked, ActRefused,
        Broken, LedgerFault.
        """
        if plan.conflicts:
            raise ImportRefused(plan)
        if not plan.lines:
            return ()
        session = self._session
        by = session.supervised() if plan.corrects else None
        if (now := self.against(plan.entries, lambda _: between(0))).lines != plan.lines:
            raise ImportRefused(now)
        return session.write(*plan.lines, L.Imported(source, len(plan.lines)), by=by, between=between)

    def imports(self, newest: int = 20) -> tuple[ImportRow, ...]:
        """What was imported, newest first."""
        kinds = frozenset({L.Imported.kind, L.ImportUndone.kind})
        about_imports = history.lines(history.Question(None, kinds, newest=2 * newest))
        undone = {line.entry.imported for line in about_imports if isinstance(line.entry, L.ImportUndone)}
        return tuple(
            ImportRow(line.id, line.utc_s, line.operator, line.entry.source, line.entry.count, line.id in undone)
            for line in about_imports
            if isinstance(line.entry, L.Imported)
        )[:newest]

    def undo(self, line: int, reason: str, between: Between = not_asked) -> UndoneImport:
        """Takes back the import whose closing line is `line`.  between: see `slices`.

        Raises NotThere where there is none to take back, Locked, NeedsReason, ActRefused.
        """
        session = self._session
        closing = session.book.line(line)
        already = any(row.line == line and row.undone for row in self.imports(200))
        if closing is None or not isinstance(closing.entry, L.Imported) or already:
            raise NotThere("import to take back", str(line))
        by = session.supervised(reason)
        taken = Taken.of(session.book, closing, closing.entry.count)
        now, apart = session.grounds(), _told_apart()
        kept: list[str] = []
        back: list[L.Entry] = []
        for found in in_slices(reversed(taken.lines), lambda _: between(0)):
            for entry in taken.back(found, reason):
                if isinstance(entry, Kept):
                    kept.append(entry.key)
                elif now.refuses(entry) is not None or intake.settles(entry, apart):
                    kept.append(key_of(found.entry))
                else:
                    back.append(entry)
        lines = session.write(*back, L.ImportUndone(line, reason), by=by, between=between)
        return UndoneImport(lines, tuple(sorted(set(kept))))

    # out --------------------------------------------------------------------------------------------------

    def export(self, folder: Path, dialect: Dialect = PLAIN, *, lines: bool = True) -> list[Path]:
        """Writes everything there is into a folder: a shop that `plan` takes in again, and all lines.

        Who is `kept_back` is not in it, nor what stands on their badges.  Raises OSError.
        """
        kept = {key for key, _ in self.kept_back()}
        shop = self._shop()
        shop = replace(shop, operators=[each for each in shop.operators if each.key not in kept])
        return write_shop(folder, shop, line_rows(kept) if lines else (), dialect)

    def kept_back(self) -> tuple[tuple[str, str], ...]:
        """Keys and names of supervisors whose badges would choose the shop's first PIN for whoever has the file."""
        if self._session.supervisor_at_work:
            return ()
        people = rows(T.Operator.select().where(T.Operator.retired == 0).order_by(T.Operator.key))
        return tuple((row["key"], row["name"]) for row in people if opens_the_shop(row["key"], row["role"]))

    def whole(self) -> ShopData:
        """The whole shop as it is to be taken along, with everybody's badge where a supervisor gave the PIN for it.

        Where none has a PIN yet, anybody stands here and a supervisor's badge chooses the first: none goes along.
        Raises Locked.
        """
        by = self._session.supervised()
        return self._shop() if by is not None else replace(self._shop(), operators=(), without_badges=True)

    def _shop(self) -> ShopData:
        session = self._session
        places = session.cards.places
        standing = [code for code, row in places.rows.items() if not row["retired"]]
        magazines = {code: found for code in standing if (found := places.magazine(code))}
        held = rows(T.Holder.select().where(T.Holder.retired == 0).order_by(T.Holder.key))
        owners = {code: places.rows[code]["owner"] for code in standing if places.rows[code]["owner"]}
        used = T.Holder.select(T.Assembly.cutter).join(T.Assembly, on=(T.Holder.assembly == T.Assembly.key))
        used = used.where(T.Holder.retired == 0)
        spare = rows(T.Cutter.select().where(T.Cutter.retired == 0, T.Cutter.key.not_in(used)).order_by(T.Cutter.key))
        in_use = rows(T.Binding.select().where(T.Binding.retired_line.is_null()).order_by(T.Binding.bound_line))
        badges = {row["subject"]: row["text"] for row in in_use if row["what"] == "operator"}
        marks = [(row["text"], row["subject"]) for row in in_use if row["foreign_mark"]]
        labels = {row["subject"]: row["text"] for row in in_use if not row["foreign_mark"] and row["what"] == "holder"}
        people = rows(T.Operator.select().where(T.Operator.retired == 0).order_by(T.Operator.key))
        keys = {row["key"] for row in held}
        return ShopData(
            session.book.kiosk,
            [places.place(code) for code in standing],
            magazines,
            [self._entry(row, labels, owners) for row in held],
            [_cutter.decode(row["facts"]) for row in spare],
            [OperatorRow(badges[p["key"]], p["key"], p["name"], p["role"]) for p in people if p["key"] in badges],
            {code: holder for code, holder in owners.items() if holder in keys},
            [(mark, holder) for mark, holder in marks if holder in keys],
        )

    def _entry(self, row: TableRow, labels: Mapping[str, str], owners: Mapping[str, str]) -> BookEntry:
        """A holder as a file has it: our own label or none, and the place so that only one can be meant."""
        places = self._session.cards.places
        names = places.said()
        card = self._session.cards.holder_of(row)
        code = row["place"]
        name = place_name(places.path(code)) if code else None
        number = T.Assembly.get_by_id(row["assembly"]).tool_number if row["assembly"] else None
        return replace(
            book_entry(card, fixed=bool(code) and owners.get(code) == row["key"], tool_number=number),
            code=labels.get(row["key"], ""),
            place=name if name is None or (names[name] == 1 and name == name.strip()) else code,
        )

    # the book as it is ------------------------------------------------------------------------------------

    def places(self) -> dict[str, Place]:
        """Places by every name a table may use: code, whole name, and the short name where only one has it."""
        places = self._session.cards.places
        short = Counter(row["name"] for row in places.rows.values())
        named: dict[str, Place] = {}
        for code, row in places.rows.items():
            place = places.place(code)
            named[code] = place
            named[place_name(places.path(code))] = place
            if short[row["name"]] == 1:
                named[row["name"]] = place
        return named

    def _known(self, between: Between = not_asked) -> intake.Known:
        def found(query: Any) -> list[TableRow]:
            return list(in_slices(query.dicts().iterator(), lambda _: between(0)))

        places = self._session.cards.places
        holders = found(T.Holder.select().where(T.Holder.retired == 0))
        cutters = found(T.Cutter.select().where(T.Cutter.retired == 0))
        people = found(T.Operator.select().where(T.Operator.retired == 0))
        bound = found(T.Binding.select(T.Binding.text, T.Binding.subject, T.Binding.retired_line))
        facts = {row["key"]: _holder.decode(row["facts"]) for row in in_slices(holders, lambda _: between(0))}
        return intake.Known(
            {c: (places.place(c), places.magazine(c)) for c, row in places.rows.items() if not row["retired"]},
            facts,
            {row["key"]: _cutter.decode(row["facts"]) for row in cutters},
            {row["key"]: (row["name"], row["role"]) for row in people},
            {row["text"]: row["subject"] for row in bound},
            frozenset(row["text"] for row in bound if row["retired_line"] is not None),
            {row["key"]: row["code"] for row in holders if row["code"]},
            {row["key"]: row["assembly"] for row in holders if row["assembly"]},
            {row["key"]: row["place"] for row in holders if row["place"]},
            Counter(row["place"] for row in holders if row["place"]),
            frozenset(_former()),
            self._session.grounds(),
            _told_apart(),
            {pair(card.holder, None): card.name for card in self._session.hot_lately()},
        )


def _told_apart() -> frozenset[tuple[str, str]]:
    """Matter and subject of everything that kiosks tell differently."""
    found = rows(T.Difference.select().where(T.Difference.closed_line.is_null()))
    return frozenset((row["matter"], row["subject"]) for row in found)


def _former() -> Iterator[tuple[str, str]]:
    """Everything that is out of use."""
    for what, table, key in _OUT_OF_USE:
        for row in rows(table.select(key).where(table.retired == 1)):
            yield what, next(iter(row.values()))


_OUT_OF_USE: tuple[tuple[str, Any, Any], ...] = (
    ("place", T.Place, T.Place.code),
    ("holder", T.Holder, T.Holder.key),
    ("cutter", T.Cutter, T.Cutter.key),
    ("operator", T.Operator, T.Operator.key),
)
