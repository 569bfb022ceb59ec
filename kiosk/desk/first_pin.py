"""The lock of a shop, read from the book: whether a supervisor has a PIN, and what may not be written about that."""

from __future__ import annotations

from collections.abc import Sequence

from kiosk.ledger import history
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.rules.acts import Person, loses_its_pin, needs_supervisor_at_work
from kiosk.rules.lines import ClaimSettled, CodeBound, CodeRetired, Entry, OperatorAdded, OperatorRetired, SignedIn
from kiosk.rules.outcomes import Reason

_ABOUT_PEOPLE = OperatorAdded | OperatorRetired | CodeBound | CodeRetired | ClaimSettled


def pin_less() -> bool:
    """Whether this shop has supervisors of whom nobody has chosen a PIN yet."""
    here = rows(T.Operator.select().where(T.Operator.retired == 0, T.Operator.role == "supervisor"))
    return bool(here) and not any(row["pin_hash"] for row in here)


def opens_the_shop(key: str, role: str) -> bool:
    """Whether somebody's badge opens what only a supervisor may, so that nobody else is shown it.

    As long as no supervisor has a PIN, a badge that one has signed in with chooses the shop's first.
    """
    if role != "supervisor" or not pin_less():
        return False
    return bool(history.lines(history.Question(key, frozenset({SignedIn.kind}), newest=1)))


def refuses(entries: Sequence[Entry], *, supervisor: bool) -> Reason | None:
    """Why these lines are not written: a shop that has a PIN keeps one, and the first is a supervisor's to choose.

    supervisor: one answers for them, with a badge or a PIN.
    """
    if not any(isinstance(entry, _ABOUT_PEOPLE) for entry in entries):
        return None
    people = {
        row["key"]: Person(row["role"] == "supervisor", row["pin_hash"] is not None, bool(row["retired"]))
        for row in rows(T.Operator.select())
    }
    if loses_its_pin(people, entries):
        return Reason.LAST_PIN
    if supervisor:
        return None
    worn = T.Binding.what == "operator", T.Binding.retired_line.is_null()
    badges = {row["text"]: row["subject"] for row in rows(T.Binding.select().where(*worn))}
    return Reason.SUPERVISOR_FIRST if needs_supervisor_at_work(people, entries, badges) else None
