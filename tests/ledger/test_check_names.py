"""The check names every edit of every table: for each one, a value of each column changed, a row taken, a row added."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from kiosk.ledger import tables as T
from kiosk.ledger.book import NAME, Book
from kiosk.ledger.shared_form import travelling
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Cutter, Family, Holder, Measured
from kiosk.rules.places import Kind, Place
from tests.ledger.kiosks import Kiosk, Server

HSK63 = Coupling(Family.HOLLOW_TAPER, 63)


def steel(key: str) -> Holder:
    return Holder(key, f"Shrink 12 {key}", HSK63, Clamping.SHRINK_FIT, 12.0)


TAUGHT = L.TemperatureRead(
    "T1", "nose", 90.0, "probe", "agrees", 91.0, "a pair", "free_air", 23.0, 1.0, 2.0, 3.0
)  # fmt: skip
LINES: tuple[L.Entry, ...] = (
    L.PlaceAdded(Place("P1", "Bench", Kind.BENCH)),
    L.PlaceAdded(Place("P2", "Rack", Kind.COOLING, way="free_air")),
    L.PlaceAdded(Place("P3", "Station", Kind.SHRINK)),
    L.HolderRegistered(steel("T1"), stood_cold=True),
    L.HolderRegistered(steel("T2"), stood_cold=True),
    L.CutterAdded(Cutter("C1", "End mill 12", 12.0, 12.0, 83.0)),
    L.Moved("T1", None, "P1"),
    L.Built("A1", "End mill 12", "T1", "C1", 40.0),
    L.MeasuredLine("T1", "A1", Measured(130.5, 11.99)),
    L.CodeBound("H1", "T1", "holder"),
    L.LabelPrinted("H2", "T2", "holder"),
    L.LabelWorn("H1", "T1", "holder", 0.5),
    L.OperatorAdded("jo", "Jo", "setter"),
    L.SettingChanged("heat.limit_c", "43"),
    L.Moved("T1", "P1", "P3"),
    L.Heated("T1", "P3", 330.0, 40.0),
    L.Moved("T1", "P3", "P2"),
    TAUGHT,
    L.Restored("b", ("T1", "T9")),
    L.AuditOpened("U1", "P1"),
    L.Seen("U1", "H1", "T1", "P1"),
    L.DifferenceSettled("U1", "H1", "misplaced", "moved", "", "P1", "P2", "x"),
)


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("book")
    watched_s = 40 * 86400.0
    with Book.open(folder, counter=iter(lambda: 0.0, 1.0).__next__) as book:
        assert book.now().watched_s == 0.0
    count = [0.0]
    with Book.open(folder, counter=lambda: count[0]) as book:
        count[0] = watched_s
        book.append(LINES, "jo")
        assert book.check() == []
    return folder


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The ledger of a kiosk that has another: with a difference, and own lines that wait."""
    folder = tmp_path_factory.mktemp("shared")
    server, other = Server(), Kiosk("a" * 16)
    with Book.open(folder, counter=lambda: 40 * 86400.0) as book:
        book.append(LINES, "jo")
        book.share("0" * 16)
        sharing = book.sharing
        assert sharing is not None
        server.push([travelling(each.chain, each.said) for each in sharing.lines_after(0)])
        database = T.database.obj
        other.joins(server)
        other.says(L.Moved("T2", None, "P1"))
        server.push(other.own_lines())
        T.database.initialize(database)
        book.append([L.Moved("T2", None, "P2"), L.Heated("T1", "P2")], "jo")
        book.take(server.lines[book.sharing.tail.applied :])
        book.append([L.Moved("T1", "P2", "P1"), L.SettingChanged("heat.limit_c", "42"), L.KioskStands("K")], "jo")
        assert book.check() == []
        before = rows_of(book)
        book.rebuild()
        assert book.check() == [] and rows_of(book) == before
    with Book.open(folder) as book:
        assert book.kiosk == "0" * 16 and book.lost is None and book.check() == []
    return folder


def rows_of(book: Book) -> list[list[str]]:
    names = [model._meta.table_name for model in (*T.DERIVED, T.Image, T.Mention)]
    return [sorted(map(str, T.database.execute_sql(f'SELECT * FROM "{name}"').fetchall())) for name in names]


ONLY_SHARED = [model._meta.table_name for model in (T.Claim, T.Difference, T.Member, *T.SHARING)]


@pytest.mark.parametrize("table", [*ONLY_SHARED, "line", "mention", "hold", "watch"])
def test_a_value_changed_or_a_row_lost_where_several_kiosks_write_is_named(
    shared: Path, tmp_path: Path, table: str
) -> None:
    for column in [each.column_name for each in _model(table)._meta.sorted_fields]:
        test_a_value_changed_in_any_column_is_named(shared, tmp_path, table, column)
    test_a_row_taken_out_or_put_in_is_named(shared, tmp_path, table)


@pytest.mark.parametrize("lines", [(21, 22), (2**40 + 24, 2**40 + 25)])
def test_lines_of_several_kiosks_that_were_swapped_are_named(
    shared: Path, tmp_path: Path, lines: tuple[int, int]
) -> None:
    def damage(raw: sqlite3.Connection) -> None:
        for table, column in (("line", "id"), ("chained", "line")):
            for old, new in ((lines[0], -1), (lines[1], lines[0]), (-1, lines[1])):
                assert raw.execute(f'UPDATE "{table}" SET "{column}" = ? WHERE "{column}" = ?', (new, old)).rowcount

    assert found(shared, tmp_path, damage)


def found(source: Path, folder: Path, damage: Callable[[sqlite3.Connection], None]) -> list[str]:
    """Where the check says something is wrong after `damage`."""
    for file in source.iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    with closing(sqlite3.connect(folder / NAME)) as raw, raw:
        raw.execute("PRAGMA foreign_keys = OFF")
        damage(raw)
    try:
        with Book.open(folder, read_only=True) as book:
            return [f"{wrong.where}: {wrong.what}" for wrong in book.check()]
    except RuntimeError as fault:
        return [str(fault)]


ALONE = [model for model in T.ALL if model not in (T.Claim, T.Difference, T.Member, *T.SHARING)]
COLUMNS = [(m._meta.table_name, f.column_name) for m in ALONE for f in m._meta.sorted_fields]


@pytest.mark.parametrize(("table", "column"), COLUMNS, ids=lambda value: value)
def test_a_value_changed_in_any_column_is_named(ledger: Path, tmp_path: Path, table: str, column: str) -> None:
    def damage(raw: sqlite3.Connection) -> None:
        row = raw.execute(f'SELECT rowid, "{column}" FROM "{table}" ORDER BY rowid DESC LIMIT 1').fetchone()
        assert row, f"the ledger of this test has nothing in {table}"
        old = row[1]
        new = "x" if old is None else old + 1 if isinstance(old, int | float) else f"{old}x"
        if old is None and isinstance(getattr(_model(table), column, None), T.IntegerField | T.FloatField):
            new = 7
        raw.execute(f'UPDATE "{table}" SET "{column}" = ? WHERE rowid = ?', (new, row[0]))

    where = found(ledger, tmp_path, damage)
    assert where, f"nobody noticed {table}.{column}"
    named = {"mention": "history index", "schema": "schema", "chained": ""}.get(table, table)
    assert any(named in each for each in where), where


def _model(table: str) -> type[T.Table]:
    return next(model for model in T.ALL if model._meta.table_name == table)


@pytest.mark.parametrize("table", [model._meta.table_name for model in ALONE])
def test_a_row_taken_out_or_put_in_is_named(ledger: Path, tmp_path: Path, table: str) -> None:
    last = f'(SELECT MAX(rowid) FROM "{table}")'
    assert found(ledger, tmp_path, lambda raw: raw.execute(f'DELETE FROM "{table}" WHERE rowid = {last}') and None)
    columns = [field.column_name for field in _model(table)._meta.sorted_fields]
    names = ", ".join(f'"{name}"' for name in columns)

    def add(raw: sqlite3.Connection) -> None:
        row = raw.execute(f'SELECT {names} FROM "{table}" WHERE rowid = {last}').fetchone()
        new = [row[0] + 1 if isinstance(row[0], int) else f"{row[0]}2", *row[1:]]
        if table == "chained":  # of one number in one chain there is only one
            new[columns.index("number")] += 1
        raw.execute(f'INSERT INTO "{table}" ({names}) VALUES ({", ".join("?" * len(new))})', new)

    assert found(ledger, tmp_path, add), f"a row more in {table}"


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE mention SET subject = CASE subject WHEN 'T1' THEN 'T2' WHEN 'T2' THEN 'T1' ELSE subject END "
        "WHERE subject IN ('T1', 'T2') AND line_id IN (4, 5)",
        "CREATE TRIGGER help AFTER INSERT ON line BEGIN UPDATE hold SET ended_line = 1; END",
        "CREATE VIEW cool AS SELECT * FROM hold",
        "CREATE TABLE notes (a TEXT)",
        "ALTER TABLE hold ADD COLUMN helped INTEGER",
        "UPDATE schema SET version = 1",
        "DELETE FROM watch",
        "UPDATE watch SET watched_s = watched_s - 1000",
    ],
)
def test_what_was_swapped_or_put_in_beside_is_named(ledger: Path, tmp_path: Path, sql: str) -> None:
    assert found(ledger, tmp_path, lambda raw: raw.execute(sql) and None)


def test_an_untouched_ledger_has_nothing_to_name(ledger: Path, tmp_path: Path) -> None:
    assert found(ledger, tmp_path, lambda raw: None) == []
