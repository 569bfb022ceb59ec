"""Samples of the kiosks' screen, filled as the desk would fill it, with the longest plausible texts."""

from __future__ import annotations

from functools import partial
from typing import Any

import qrcode

from kiosk.link.faults import Cause, LinkFault
from kiosk.rules.places import Kind, Place
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions.apart import Matter, ToldDifferently, ToldHere
from kiosk.screens.questions.kiosks import Anew, How, Invitation, KioskRow, Kiosks
from kiosk.words import t

_NAMES = ("Shrink station", "Cabinet B, window side", "Mill 1", "Mill 2", "Presetter room, next to the door", "Mill 3",
          "Five-axis mill 2, by the window", "Bench 1")  # fmt: skip
_SAID = "HKJOIN:0BCDEFGHJK@toolroom-server:5433"


def _rows() -> tuple[KioskRow, ...]:
    how = (
        *(How.HEARD, How.HEARD, How.NOT_HEARD, How.TO_JOIN),
        *(How.HEARD, How.LEFT, How.OTHER_VERSION, How.AT_REST),
    )
    return tuple(
        KioskRow(str(at), name, at == 0, how[at], 1_790_000_000.0 - at, 12 * at, "0.1.0", 86_400.0 * (at == 4))
        for at, name in enumerate(_NAMES)
    )


def _kiosks(screen: Any, state: str) -> None:
    screen.trouble = ""
    joined = state not in ("alone", "refused", "unnamed")
    cause = {"forked": Cause.FORKED, "unnamed": Cause.UNNAMED}.get(state)
    parted = (LinkFault(cause), Anew.BY_ITSELF if joined else Anew.WITH_A_CODE) if cause else (None, None)
    screen._listed(Kiosks(joined, _rows() if joined else (), None, "Cabinet", *parted), act="")
    match state:
        case "kiosk":
            screen.choose(screen.kiosks[4])
        case "code":
            symbol = qrcode.QRCode(border=0)
            symbol.add_data(_SAID)
            symbol.make()
            modules = tuple(tuple(map(bool, row)) for row in symbol.modules)
            screen._shows(Invitation("0BCDEFGHJK", _SAID.partition("@")[2], modules))
        case "code_here":
            screen._begin()
        case "server":
            screen._begin()
            screen.take_code("0BCDEFGHJK")
        case "name":
            screen._begin()
            screen.take_code(_SAID)
        case "refused":
            screen._begin()
            screen._failed(LinkFault(Cause.FORKED))
        case "places":
            card = type("Card", (), {"place": Place("P", "x", Kind.CABINET), "name": "Cabinet B, window side"})
            screen._places(((card,) * 9, ""))
        case "answer":
            screen._answer(t("kiosks.joined"))
        case "answer_anew":
            screen._answer(t("kiosks.joined_anew"))


def _claim(
    at: int, value: str, who: str | None = "Johanna Oberhuber", *, unverified: bool = False, last_pin: bool = False
) -> ToldHere:
    return ToldHere(str(at), _NAMES[at], who, 1_790_000_000.0, value, value, unverified, last_pin=last_pin)


def _apart(screen: Any, state: str) -> None:
    name, drawer = "End mill 12 x 26 long reach", "Cabinet B · Drawer 3 · 12"
    moved = (_claim(1, drawer, unverified=True), _claim(0, "Shrink station", None), _claim(4, "Mill 1 · 24"))
    label = (_claim(1, name), _claim(4, "Drill 8.5 HSK63", None))
    worn = (_claim(1, "condition.worn"), _claim(4, "condition.good", None))
    pins = (_claim(1, "apart.pin"), _claim(4, "apart.pin"))
    gone = (_claim(4, "apart.out_of_use", last_pin=True), _claim(1, "apart.no_supervisor", last_pin=True))
    found = (
        ToldDifferently("place/H1", Matter.PLACE, "H1", name, moved, hot=state == "hot"),
        ToldDifferently("label/X", Matter.LABEL, "X", "H1-0BCDEFGHJK", label),
        ToldDifferently("condition/A", Matter.CONDITION, "A", name, worn),
        ToldDifferently("pin/jo", Matter.PIN, "jo", "Johanna Oberhuber", pins),
        ToldDifferently("badge/jo", Matter.BADGE, "jo", "Johanna Oberhuber", gone),
        *(ToldDifferently(f"use/{at}", Matter.USE, f"{at}", f"{name} {at}", label) for at in range(5)),
    )
    screen._told(found if state != "none" else ())
    if state in ("moved", "hot"):
        screen.choose(Choice("place/H1", name))
    elif state == "label":
        screen.choose(Choice("label/X", name))
    elif state in ("condition", "pin", "last_pin"):
        screen.choose(Choice({"condition": "condition/A", "pin": "pin/jo", "last_pin": "badge/jo"}[state], name))


SAMPLES = (
    *(
        ("kiosks", state, partial(_kiosks, state=state))
        for state in (
            "alone",
            "forked",
            "unnamed",
            "list",
            "kiosk",
            "code",
            "code_here",
            "server",
            "name",
            "refused",
            "places",
            "answer",
            "answer_anew",
        )
    ),
    *(
        ("apart", state, partial(_apart, state=state))
        for state in ("none", "list", "moved", "hot", "label", "condition", "pin", "last_pin")
    ),
)
