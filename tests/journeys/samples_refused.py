"""Screens on which something is refused: as a sample stands, and then the book is damaged or a label scanned."""

from __future__ import annotations

import sqlite3
from functools import partial
from typing import Any

from kiosk.words import t
from tests.journeys.samples import ASSEMBLY
from tests.journeys.samples import SAMPLES as FLOOR
from tests.journeys.samples_kiosks import SAMPLES as KIOSKS
from tests.journeys.samples_records import SAMPLES as RECORDS
from tests.journeys.samples_set_up import SAMPLES as SET_UP
from tests.journeys.samples_shop import SAMPLES as SHOP

_FILLS = {(name, state): fill for name, state, fill in (*FLOOR, *KIOSKS, *RECORDS, *SET_UP, *SHOP)}
_FAILS = (
    ("find", "digits"), ("find", "rows"), ("place", "slot"), ("shop", "list"), ("people", "list"), ("people", "person"),
    ("people", "role"), ("people", "added"), ("history", "lines"), ("history", "was"), ("audits", "many"),
    ("heatings", "running"), ("compare", "lists"), ("compare", "not_in_book"), ("settings", "list"), ("phones", "some"),
    ("choose", "none"), ("audit_differences", "list"), ("register", "6"), ("holder", "cool"), ("presetter", "lists"),
    ("audit", "choose"), ("audit", "closed"), ("sheets", "list"), ("sheets", "lines"),
)  # fmt: skip


def _fails(screen: Any, fill: Any) -> None:
    fill(screen)
    screen._failed(sqlite3.DatabaseError("database disk image is malformed"))


def _said(screen: Any, fill: Any, **said: str) -> None:
    fill(screen)
    for name, words in said.items():
        setattr(screen, name, words)


def _not_now(screen: Any, fill: Any) -> None:
    _said(screen, fill, trouble=t("scan.not_now", name=ASSEMBLY.name))


SAMPLES = (
    *((name, f"{state}-failed", partial(_fails, fill=_FILLS[name, state])) for name, state in _FAILS),
    *(
        (name, f"{state}-not-now", partial(_not_now, fill=_FILLS[name, state]))
        for name, state in (("enter", "holder-name"), ("labels", "busy"))
    ),
    ("kiosks", "joining", lambda screen: _said(screen, _FILLS["kiosks", "name"], joining=t("kiosks.joining"))),
    ("kiosks", "unnamed-now", lambda screen: _said(screen, _FILLS["kiosks", "name"], trouble=t("kiosks.no_name"))),
    ("people", "same-name", lambda screen: _said(screen, _FILLS["people", "name"], trouble=t("people.same_name"))),
)
