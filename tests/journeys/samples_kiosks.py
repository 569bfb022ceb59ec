"""Samples of the kiosks' screen, filled as the desk would fill it, with the longest plausible texts."""

from __future__ import annotations

from functools import partial
from typing import Any

import qrcode

from kiosk.link.faults import Cause, LinkFault
from kiosk.rules.places import Kind, Place
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions.kiosks import How, Invitation, KioskRow, Kiosks
from kiosk.words import t

_NAMES = ("Shrink station", "Cabinet B, window side", "Mill 1", "Mill 2", "Presetter room, next to the door", "Mill 3")
_SAID = "HKJOIN:0BCDEFGHJK@toolroom-server:5433"


def _rows() -> tuple[KioskRow, ...]:
    how = (How.HEARD, How.HEARD, How.NOT_HEARD, How.TO_JOIN, How.HEARD, How.LEFT)
    return tuple(
        KioskRow(str(at), name, at == 0, how[at], 1_790_000_000.0 - at, 12 * at, "0.1.0", 86_400.0 * (at == 4))
        for at, name in enumerate(_NAMES)
    )


def _kiosks(screen: Any, state: str) -> None:
    screen.trouble = ""
    screen._listed(Kiosks(state != "alone", _rows() if state != "alone" else (), None, "Cabinet"), act="")
    match state:
        case "kiosk":
            screen.choose(Choice("4", _NAMES[4]))
        case "code":
            symbol = qrcode.QRCode(border=0)
            symbol.add_data(_SAID)
            symbol.make()
            modules = tuple(tuple(map(bool, row)) for row in symbol.modules)
            screen._shows(Invitation("0BCDEFGHJK", _SAID.partition("@")[2], modules))
        case "code_here":
            screen._begin()
        case "name":
            screen._begin()
            screen.take_code(_SAID)
        case "refused":
            screen._begin()
            screen._failed(LinkFault(Cause.FORKED))
        case "places":
            card = type("Card", (), {"place": Place("P", "x", Kind.CABINET), "name": "Cabinet B, window side"})
            screen._places(((card, ()),) * 9)
        case "answer":
            screen._answer(t("kiosks.joined"))


SAMPLES = tuple(
    ("kiosks", state, partial(_kiosks, state=state))
    for state in ("alone", "list", "kiosk", "code", "code_here", "name", "refused", "places", "answer")
)
