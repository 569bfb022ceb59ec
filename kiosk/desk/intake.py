"""The intake counter: shop data in from files with a dry run first, back out again as lines, and everything out.

A file is looked at, shown, and only then written, all of it or nothing; it never moves or ends anything that a
scan or a reading has said.  An import can be taken back by lines of its own, as far as nobody has worked with it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from kiosk.desk.session import NotThere, Session
from kiosk.exchange.shop import read_shop, read_tables
from kiosk.exchange.shop_out import LineRow, OperatorRow, ShopData, write_shop
from kiosk.exchange.tables_csv import PLAIN, Dialect
from kiosk.ledger import history
from kiosk.ledger import tables as T
from kiosk.ledger.book import Written, rows
from kiosk.ledger.lineform import COLUMNS
from kiosk.rules import intake
from kiosk.rules import lines as L
from kiosk.rules.assembly import Cutter, Holder
from kiosk.rules.cards import place_name
from kiosk.rules.places import Place
from kiosk.rules.stock import book_entry

_holder = msgspec.json.Decoder(Holder)
_cutter = msgspec.json.Decoder(Cutter)


class ImportRefused(ValueError):
    """A plan with conflicts, or made for a book that has moved on."""

    def __init__(self, plan: intake.Plan) -> None:
        super().__init__("; ".join(f"{each.what} {each.key}" for each in plan.conflicts))
        self.plan = plan


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


class IntakeCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    def plan(self, *paths: Path) -> intake.Plan:
        """What importing a shop folder, or single tables, would change.  Writes nothing.

        Raises ShopFault with every fault by file, line and field, OSError.
        """
        if len(paths) == 1 and paths[0].is_dir():
            entries = read_shop(paths[0])
        else:
            entries = read_tables(paths, self._places())
        return intake.plan(entries, self._known())

    def take(self, plan: intake.Plan, source: str) -> tuple[Written, ...]:
        """Writes a plan, all of it or nothing.  Raises ImportRefused where it has conflicts, Broken, LedgerFault."""
        if plan.conflicts:
            raise ImportRefused(plan)
        if not plan.lines:
            return ()
        return self._session.write(*plan.lines, L.Imported(source, len(plan.lines)))

    def imports(self, newest: int = 20) -> tuple[ImportRow, ...]:
        """What was imported, newest first."""
        kinds = frozenset({L.Imported.kind, L.ImportUndone.kind})
        found = history.lines(history.Question(None, kinds, newest=2 * newest))
        undone = {line.entry.imported for line in found if isinstance(line.entry, L.ImportUndone)}
        return tuple(
            ImportRow(line.id, line.utc_s, line.operator, line.entry.source, line.entry.count, line.id in undone)
            for line in found
            if isinstance(line.entry, L.Imported)
        )[:newest]

    def undo(self, line: int, reason: str) -> UndoneImport:
        """Takes back the import whose closing line is `line`.  Raises NotThere where there is none to take back."""
        closing = self._session.book.line(line)
        already = any(row.line == line and row.undone for row in self.imports(200))
        if closing is None or not isinstance(closing.entry, L.Imported) or already:
            raise NotThere("import to take back", str(line))
        first = line - closing.entry.count
        brought = [found for found in self._session.book.lines(first - 1) if found.id < line]
        kept: list[str] = []
        back: list[L.Entry] = []
        for found in reversed(brought):
            entries = list(self._back(found, line, reason))
            if entries and isinstance(entries[0], _Kept):
                kept.append(entries[0].key)
            else:
                back += [entry for entry in entries if not isinstance(entry, _Kept)]
        return UndoneImport(self._session.write(*back, L.ImportUndone(line, reason)), tuple(sorted(set(kept))))

    def _back(self, found: Written, closing: int, reason: str) -> Iterator[L.Entry | _Kept]:
        """The lines that take one line of an import back."""
        match found.entry:
            case L.HolderRegistered(holder=holder):
                before = self._earlier(holder.key, L.HolderRegistered, found.id)
                if before is not None and isinstance(before.entry, L.HolderRegistered):
                    yield L.HolderRegistered(before.entry.holder, reason)
                elif self._worked_with(holder.key, closing):
                    yield _Kept(holder.key)
                else:
                    yield L.HolderRetired(holder.key, reason)
            case L.CutterAdded(cutter=cutter):
                before = self._earlier(cutter.key, L.CutterAdded, found.id)
                if before is not None and isinstance(before.entry, L.CutterAdded):
                    yield L.CutterAdded(before.entry.cutter, reason)
                elif self._built_in(cutter.key, closing):
                    yield _Kept(cutter.key)
                else:
                    yield L.CutterRetired(cutter.key, reason)
            case L.PlaceAdded(place=place):
                before = self._earlier(place.code, L.PlaceAdded, found.id)
                if before is not None and isinstance(before.entry, L.PlaceAdded):
                    yield L.PlaceAdded(before.entry.place, before.entry.magazine)
                elif self._worked_with(place.code, closing):
                    yield _Kept(place.code)
                else:
                    yield L.PlaceRetired(place.code, reason)
            case L.OperatorAdded(operator=key):
                before = self._earlier(key, L.OperatorAdded, found.id)
                if before is not None and isinstance(before.entry, L.OperatorAdded):
                    yield L.OperatorAdded(key, before.entry.name, before.entry.role)
                elif self._worked_with(key, closing):
                    yield _Kept(key)
                else:
                    yield L.OperatorRetired(key, reason)
            case L.CodeBound(text=text, subject=subject):
                if not self._worked_with(subject, closing):
                    yield L.CodeRetired(text, reason)

    @staticmethod
    def _earlier(key: str, kind: type[L.Entry], before: int) -> Written | None:
        found = history.lines(history.Question(key, frozenset({kind.kind}), before=before, newest=1))
        return found[0] if found else None

    @staticmethod
    def _worked_with(key: str, since: int) -> bool:
        return bool(history.between(key, since + 1, None))

    @staticmethod
    def _built_in(cutter: str, since: int) -> bool:
        query = T.Assembly.select().where(T.Assembly.cutter == cutter, T.Assembly.built_line > since)
        return bool(query.exists())

    # out --------------------------------------------------------------------------------------------------

    def export(self, folder: Path, dialect: Dialect = PLAIN, *, lines: bool = True) -> list[Path]:
        """Writes everything there is into a folder: a shop that `plan` takes in again, and all lines.

        Raises OSError.
        """
        return write_shop(folder, self._shop(), self._line_rows() if lines else (), dialect)

    def _shop(self) -> ShopData:
        session = self._session
        places = session.cards.places
        standing = [code for code, row in places.rows.items() if not row["retired"]]
        magazines = {code: found for code in standing if (found := places.magazine(code))}
        owners = {row["owner"] for row in places.rows.values() if row["owner"]}
        held = rows(T.Holder.select().where(T.Holder.retired == 0).order_by(T.Holder.key))
        cards = map(session.cards.holder_of, held)
        used = T.Holder.select(T.Assembly.cutter).join(T.Assembly, on=(T.Holder.assembly == T.Assembly.key))
        spare = rows(T.Cutter.select().where(T.Cutter.retired == 0, T.Cutter.key.not_in(used)).order_by(T.Cutter.key))
        in_use = T.Binding.select().where(T.Binding.what == "operator", T.Binding.retired_line.is_null())
        badges = {row["subject"]: row["text"] for row in rows(in_use)}
        people = rows(T.Operator.select().where(T.Operator.retired == 0).order_by(T.Operator.key))
        return ShopData(
            session.book.kiosk,
            [places.place(code) for code in standing],
            magazines,
            [book_entry(card, fixed=card.holder.key in owners) for card in cards],
            [_cutter.decode(row["facts"]) for row in spare],
            [OperatorRow(badges[p["key"]], p["key"], p["name"], p["role"]) for p in people if p["key"] in badges],
        )

    @staticmethod
    def _line_rows() -> Iterator[LineRow]:
        found: Any = T.Line.select(*(getattr(T.Line, name) for name in COLUMNS)).order_by(T.Line.id).tuples().iterator()
        for row in found:
            yield LineRow(*row)

    # the book as it is ------------------------------------------------------------------------------------

    def _places(self) -> dict[str, Place]:
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

    def _known(self) -> intake.Known:
        places = self._session.cards.places
        holders = rows(T.Holder.select().where(T.Holder.retired == 0))
        cutters = rows(T.Cutter.select().where(T.Cutter.retired == 0))
        people = rows(T.Operator.select().where(T.Operator.retired == 0))
        bound = rows(T.Binding.select(T.Binding.text, T.Binding.subject, T.Binding.retired_line))
        return intake.Known(
            {c: (places.place(c), places.magazine(c)) for c, row in places.rows.items() if not row["retired"]},
            {row["key"]: _holder.decode(row["facts"]) for row in holders},
            {row["key"]: _cutter.decode(row["facts"]) for row in cutters},
            {row["key"]: (row["name"], row["role"]) for row in people},
            {row["text"]: row["subject"] for row in bound},
            frozenset(row["text"] for row in bound if row["retired_line"] is not None),
            {row["key"]: row["code"] for row in holders if row["code"]},
            {row["key"]: row["assembly"] for row in holders if row["assembly"]},
            {row["key"]: row["place"] for row in holders if row["place"]},
            Counter(row["place"] for row in holders if row["place"]),
            self._hot(),
        )

    def _hot(self) -> frozenset[str]:
        """Holders under a hold with every place they stood at since they were heated."""
        session = self._session
        found: set[str] = set()
        for card in session.cards.held():
            facts = session.cards.hold_facts(card.holder.key)
            found.add(card.holder.key)
            found.update(stay.place for stay in (facts.stays if facts else ()) if stay.place)
        return frozenset(found)


@dataclass(frozen=True, slots=True)
class _Kept:
    """Something that was worked with since, and stays."""

    key: str
