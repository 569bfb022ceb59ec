"""Questions of a newer version: who may put one in place, what was brought, and putting it there.

Everything below the second rule asks nothing of the desk and takes minutes: it belongs on a `Press`.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from kiosk.desk import Desk
from kiosk.desk.inbox import Inbox, where_to_put
from kiosk.desk.updating import Brought, Stage, UpdateRefused
from kiosk.desk.updating import brought as _brought
from kiosk.desk.updating import update as _update
from kiosk.screens.questions import Question

__all__ = ["Brought", "Stage", "UpdateRefused", "Where", "brought", "may", "put_in_place", "where"]


class Where(NamedTuple):
    """The data folder, and its folder for versions in words."""

    data: Path
    inbox: str


def where() -> Question[Where]:
    """Where versions for this kiosk are put."""

    def answer(desk: Desk) -> Where:
        data = desk.session.book.path.parent
        return Where(data, where_to_put(data, Inbox.UPDATES))

    return answer


def may() -> Question[str | None]:
    """The supervisor who answers for it; None: nobody has a PIN yet.  Raises Locked."""
    return lambda desk: desk.session.supervised()


# Files ----------------------------------------------------------------------------------------------------------


def brought(data: Path) -> tuple[Brought, ...]:
    """What lies in the kiosk's own folder and on every stick and shared folder, the newest first."""
    return _brought(data)


def put_in_place(path: Path, data: Path, at: Callable[[Stage], object]) -> str:
    """Puts it beside the one that runs: which version it is.  at: told which stage begins.  Raises UpdateRefused."""
    return _update(path, data, windowed=True, at=at)
