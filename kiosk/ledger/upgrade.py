"""Schema versions: from any older ledger to this one, step by step, or a clear refusal of a newer one.

A step changes tables in place and never touches what a line says; derived tables may be rebuilt from the
lines (`book.Book.rebuild`).  Every step runs in one transaction with the version it leads to.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from peewee import Database

from kiosk.ledger.tables import ALL, Schema

VERSION = 1
Step = Callable[[Database], None]
STEPS: Mapping[int, Step] = {}  # version it starts from -> what it does


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


def bring_up(database: Database, path: str, steps: Mapping[int, Step] = STEPS, version: int = VERSION) -> bool:
    """Creates the tables or upgrades them.  True where a step ran.  Raises NewerLedger."""
    if not database.table_exists(Schema._meta.table_name):
        with database.atomic():
            database.create_tables(ALL)
            Schema.create(name="ledger", version=version)
        return False
    found = Schema.get_by_id("ledger").version
    if found > version:
        raise NewerLedger(path, found, version)
    for start in range(found, version):
        with database.atomic():
            steps[start](database)
            Schema.update(version=start + 1).where(Schema.name == "ledger").execute()
    return bool(found < version)
