"""Schema versions: from any older ledger to this one, step by step, or a clear refusal of a newer one.

A step changes tables in place and never touches what a line says; derived tables may be rebuilt from the
lines (`book.Book.rebuild`).  Every step runs in one transaction with the version it leads to.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from peewee import Database, DatabaseError

from kiosk.ledger import tables as T
from kiosk.ledger.derive import MemoryState, Stamp, changes
from kiosk.ledger.lineform import COLUMNS, beat_seal, entry_of
from kiosk.ledger.tables import ALL, DERIVED, Schema
from kiosk.ledger.trouble import LedgerFault

VERSION = 15
Step = Callable[[Database], None]
_AT_ONCE = 50  # rows an insert takes: a database allows only so many values in one sentence


def _from_first(database: Database) -> None:
    """To 2: holds keep whose clock counts them and the values they began with; one clock for the ledger."""
    _derived_anew(database)
    _one_clock(database)


def _derived_anew(database: Database) -> None:
    """Derived tables in their present form, filled from the lines."""
    memory = MemoryState()
    told: Any = (
        T.KeptLine.select(*(getattr(T.KeptLine, name) for name in COLUMNS[:-1])).order_by(T.KeptLine.id).tuples()
    )
    for *stamp, kind, text in told.iterator():
        for change in changes(entry_of(kind, text), Stamp(*stamp), memory):
            memory.apply(change)
    database.drop_tables(DERIVED)
    database.create_tables(DERIVED)
    for model in DERIVED:
        rows = list(memory.tables[model._meta.table_name].values())
        for first in range(0, len(rows), _AT_ONCE):
            model.insert_many(rows[first : first + _AT_ONCE]).execute()


def _one_clock(database: Database) -> None:
    """From 1: a clock for each name the kiosk had.  To 2: one for the ledger, its beat sealed.

    It goes on from the clock that wrote the last line; counts of other names belong to no clock any more.
    """
    execute: Callable[..., Any] = database.execute_sql
    there = {column.name for column in database.get_columns("watch")}
    for name, kind in (("line", "INTEGER NOT NULL DEFAULT 0"), ("seal", "TEXT NOT NULL DEFAULT ''")):
        if name not in there:
            execute(f'ALTER TABLE "watch" ADD COLUMN {name} {kind}')
    last = execute('SELECT "id", "hash", "kiosk" FROM "line" ORDER BY "id" DESC LIMIT 1').fetchone()
    if last is None:
        execute('DELETE FROM "watch"')
        return
    number, last_hash, kiosk = last
    mark = database.param
    execute(f'DELETE FROM "watch" WHERE "kiosk" <> {mark}', (kiosk,))
    for (watched_s,) in execute('SELECT "watched_s" FROM "watch"').fetchall():
        values = (number, beat_seal(kiosk, watched_s, number, last_hash))
        execute(f'UPDATE "watch" SET "line" = {mark}, "seal" = {mark}', values)


def _room_for_others(database: Database) -> None:
    """To 6: tables that stay empty until this kiosk has others."""
    database.create_tables([*T.SHARING, T.Claim, T.Difference, T.Member])


def _kiosks_rest(database: Database) -> None:
    """To 7: a kiosk of the shop may rest or be gone, and none ever said so; what was unseen makes holds stricter.

    All tables and the index, which names lines without a foreign key from now on, are made anew from the lines after a
    step.
    """
    database.drop_tables([T.Member])
    database.create_tables([T.Member])


def _labels_wear(database: Database) -> None:
    """To 8: how damaged labels are; no line has said it yet."""
    database.create_tables([T.WornLabel])


def _who_counted(database: Database) -> None:
    """To 9: which stays of several kiosks lasted longer than counted; tables are made anew from the lines after it."""


def _people_speak(database: Database) -> None:
    """To 10: a person has a language, and nobody said one before; and heatings in a row are counted.

    Tables are made anew from the lines after it.
    """
    _add_column(database, "operator", "language", "VARCHAR(255) NOT NULL DEFAULT ''")
    _add_column(database, "hold", "heats", "INTEGER NOT NULL DEFAULT 1")


def _heated_before(database: Database) -> None:
    """To 11: a hold keeps what was seen of the heatings before it; tables are made anew from the lines after it."""
    _add_column(database, "hold", "earlier", "TEXT NOT NULL DEFAULT '[]'")
    _add_column(database, "hold", "to_be_heated", "INTEGER")


def _stays_away(_: Database) -> None:
    """To 12: who was sent away by one kiosk stays away, whatever another that did not know of it wrote of them.

    No table changes its form; tables are made anew from the lines after it.
    """


def _said_right(_: Database) -> None:
    """To 13: what a hand called in use is so, unless another one did not hear that and says it is not; no heating or
    reading from before counts for a holder that comes back; two numbers or lengths of one assembly are told; and who
    may do less at one kiosk may do less at all.

    No table changes its form; tables are made anew from the lines after it.
    """


def _worse_word_counts(_: Database) -> None:
    """To 14: of two words about a cutter the worse counts, and of two PINs of one person neither, until a hand that
    knew of both says which; a PIN is told apart from who somebody is.

    No table changes its form; tables are made anew from the lines after it.
    """


def _balanced(database: Database) -> None:
    """To 15: an assembly keeps the last unbalance said of it; tables are made anew from the lines after it."""
    _add_column(database, "assembly", "unbalance", "TEXT")


def _add_column(database: Database, table: str, column: str, kind: str) -> None:
    """Unless an earlier step made the table anew, as it is now."""
    execute: Callable[..., Any] = database.execute_sql
    if column not in {each.name for each in database.get_columns(table)}:
        execute(f'ALTER TABLE "{table}" ADD COLUMN "{column}" {kind}')


# Version a step starts from -> what it does.  To 3: readings keep how they hang on every film, and a hold keeps the
# strictest values since it began.  To 4: all the values it may have begun under.  To 5:
# readings keep the numbers of their lines, so that one can be withdrawn.  To 6: room for other kiosks' lines.
STEPS: Mapping[int, Step] = {
    1: _from_first, 2: _derived_anew, 3: _derived_anew, 4: _derived_anew, 5: _room_for_others, 6: _kiosks_rest,
    7: _labels_wear, 8: _who_counted, 9: _people_speak, 10: _heated_before,
    11: _stays_away, 12: _said_right, 13: _worse_word_counts, 14: _balanced,
}  # fmt: skip


class NewerLedger(RuntimeError):
    """The ledger was written by a newer kiosk.  `found` and `known` are schema versions."""

    def __init__(self, path: str, found: int, known: int = VERSION) -> None:
        super().__init__(
            f"{path} was written by a newer kiosk (schema {found}, this one knows {known}): "
            "install the newer kiosk; nothing was changed"
        )
        self.path = path
        self.found = found
        self.known = known


def version_of(path: str) -> int:
    """The schema version of the open ledger.  Raises NewerLedger, LedgerFault where nothing is in it yet,
    DatabaseError where it has none."""
    if not Schema._meta.database.get_tables():  # killed while it was made for the first time
        raise LedgerFault(Path(path), "there is no ledger here yet", "open the kiosk once")
    row = Schema.get_or_none(Schema.name == "ledger")
    if row is None:
        raise DatabaseError(f"{path} is malformed: it does not say its schema version")
    return int(row.version)


def create_or_upgrade(database: Database, path: str, steps: Mapping[int, Step] = STEPS, version: int = VERSION) -> bool:
    """Creates the tables or upgrades them.  True where a step ran.  Raises NewerLedger."""
    if not database.table_exists(Schema._meta.table_name):
        with database.atomic():
            database.create_tables(ALL)
            Schema.create(name="ledger", version=version)
        return False
    found = version_of(path)
    if found > version:
        raise NewerLedger(path, found, version)
    for start in range(found, version):
        with database.atomic():
            steps[start](database)
            Schema.update(version=start + 1).where(Schema.name == "ledger").execute()
    return bool(found < version)
