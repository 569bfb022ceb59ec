"""The derived tables and the history's index in the database: moved along with a line, or made anew from all lines.

One transaction of the caller's; decides nothing and writes no line.
"""

from __future__ import annotations

from typing import Any

from kiosk.ledger import tables as T
from kiosk.ledger.derive import Stamp, changes, mentions
from kiosk.ledger.lineform import written
from kiosk.ledger.sharing import Sharing
from kiosk.ledger.sql_state import SqlState
from kiosk.ledger.statements import sentences
from kiosk.rules.lines import Entry


def carry(state: SqlState, insert_mention: str, entry: Entry, stamp: Stamp) -> None:
    """Moves the index and the derived tables along with a line of a kiosk without others."""
    state.cursor.executemany(insert_mention, [(subject, stamp.id) for subject in mentions(entry, stamp)])
    for change in changes(entry, stamp, state):
        state.apply(change)


def derive_again() -> None:
    """Makes the derived tables anew, in the form this program knows, from the lines."""
    for model in (*T.DERIVED, T.Mention):
        T.database.drop_tables([model])
        T.database.create_tables([model])
    state = SqlState()
    if (sharing := Sharing.found(state)) is not None:
        sharing.fold_again()
        return
    insert = sentences(T.Mention, T.database.param).insert
    found: Any = T.KeptLine.select().order_by(T.KeptLine.id).tuples()
    for line in map(written, found):
        carry(state, insert, line.entry, line.stamp)


def several_clocks() -> bool:
    """Whether any hold that runs was counted by more than one name of the kiosk."""
    first = T.Hold.select(T.Hold.heated_line).where(T.Hold.ended_line.is_null()).order_by(T.Hold.heated_line).first()
    if first is None:
        return False
    return bool(T.KeptLine.select(T.KeptLine.kiosk).where(T.KeptLine.id >= first.heated_line).distinct().count() > 1)
