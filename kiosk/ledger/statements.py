"""SQL sentences written once from the tables, for the few statements that run at every scan.

A commit must cost what the disk costs, so the book does not have a query built anew for each row; every sentence
here is plain SQL with the database's own mark for a value.  Nothing here executes anything.
"""

from __future__ import annotations

from dataclasses import dataclass

from peewee import Field

from kiosk.ledger import tables as T


@dataclass(frozen=True, slots=True)
class Sentences:
    """What is said to one table.  `columns`: the order of values in `put` and in rows of `get` and `every`."""

    columns: tuple[str, ...]
    insert: str
    put: str
    get: str
    drop: str
    every: str


def sentences(model: type[T.Table], mark: str) -> Sentences:
    """mark: how the database writes a value (`?`, `%s`)."""
    meta = model._meta
    table = meta.table_name
    columns = tuple(field.column_name for field in meta.sorted_fields)
    names = ", ".join(f'"{name}"' for name in columns)
    insert = f'INSERT INTO "{table}" ({names}) VALUES ({", ".join([mark] * len(columns))})'
    every = f'SELECT {names} FROM "{table}"'
    if not isinstance(meta.primary_key, Field):  # a key of two columns: never put, only inserted
        return Sentences(columns, insert, "", "", "", every)
    key = meta.primary_key.column_name
    rest = ", ".join(f'"{name}" = excluded."{name}"' for name in columns if name != key)
    return Sentences(
        columns,
        insert,
        f'{insert} ON CONFLICT ("{key}") DO UPDATE SET {rest}',
        f'{every} WHERE "{key}" = {mark}',
        f'DELETE FROM "{table}" WHERE "{key}" = {mark}',
        every,
    )


def taught(mark: str) -> Sentences:
    """What readings taught in lines after one (`every`, with one value), in order, each with its line's kiosk."""
    columns = sentences(T.Teaching, mark).columns
    names = ", ".join(f't."{name}"' for name in columns)
    every = (
        f'SELECT {names}, l."kiosk" FROM "{T.Teaching._meta.table_name}" t '
        f'JOIN "{T.KeptLine._meta.table_name}" l ON l."id" = t."line" WHERE t."line" > {mark} ORDER BY t."line"'
    )
    return Sentences((*columns, "kiosk"), "", "", "", "", every)
