"""What the shop goes by, as its lines set it, and what a kiosk among others last said it goes by itself.

Where two kiosks set a value and did not hear each other, nobody's word is picked: until a hand says which is right, the
safer one counts at every kiosk, which holds longer, asks for more or lets less through.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import msgspec

from kiosk.ledger import tables as T
from kiosk.ledger.book import Book, rows
from kiosk.rules.hold_facts import strictest
from kiosk.rules.lines import BY_THERMOMETER, KioskStarted, SettingChanged
from kiosk.rules.merge import Made, Matter
from kiosk.settings import OF_A_KIOSK, Settings, SettingsFault, changed, deciding, same_value, with_value

_made = msgspec.json.Decoder(tuple[Made, ...])
_HEAT = "heat."
# Of the other settings that are about safety, or about who may do what: which of two lets less through.
_LESS = ("heat.reheat_s", "heat.cycles_limit", "kiosk.pair_s", "kiosk.undo_s", "kiosk.sign_out_s", "build.friction",
         "build.side_screw_rpm", "build.balance_grade", "audit.measured_days")  # fmt: skip
_MORE = ("kiosk.travel_s", "build.clearance_um")
_YES = ("kiosk.badge_required",)


def gone_by() -> dict[str, str]:
    """Every setting the book knows, by table and key, with the value that counts now."""
    known = {row["name"]: str(row["value"]) for row in rows(T.Setting.select())}
    settings = (T.Difference.matter == Matter.SETTING.value) & T.Difference.closed_line.is_null()
    for row in rows(T.Difference.select().where(settings)):
        if (name := row["subject"]) in known:
            known[name] = safest(name, [known[name], *(each.value for each in _made.decode(row["claims"]))])
    return known


def safest(name: str, told: Sequence[str]) -> str:
    """Of values of one setting, as they were typed, the one that lets least through; the first where none does."""
    if name in _LESS or name in _MORE:
        return (min if name in _LESS else max)(told, key=lambda value: float(value.replace(",", ".")))
    if name in _YES:
        return next((value for value in told if same_value(value, "true")), told[0])
    return strictest(name.removeprefix(_HEAT), told) if name.startswith(_HEAT) else told[0]


def following(settings: Settings, path: Path, but: str = "") -> Settings:
    """The settings of a kiosk that goes by what the shop goes by, `but` one, in its file where that can say it.

    Not how warm the air is, where this kiosk has a thermometer: two of them would set it to and fro.
    """
    own = OF_A_KIOSK.union({but}, BY_THERMOMETER if settings.thermometer.source else ())
    rules = gone_by()

    def behind() -> list[str]:
        mine = deciding(settings)
        return [name for name in rules if name in mine.keys() - own and not same_value(mine[name], rules[name])]

    for name in behind():
        table, _, key = name.partition(".")
        with suppress(SettingsFault, OSError):
            settings = changed(path, table, key, rules[name])
    for name in behind():  # a full disk, or values that no file may say together: they count all the same
        with suppress(SettingsFault):
            settings = with_value(settings, name, rules[name], path)
    return settings


def said_here(book: Book) -> dict[str, str]:
    """The settings of a kiosk among others by its own lines: as it was last started, or changed at it since.

    A file that says the same was not changed outside: it only has not followed yet.  Empty for a kiosk alone.
    """
    if book.sharing is None:
        return {}
    found: dict[str, str] = {}
    own = (T.KeptLine.kiosk == book.kiosk) & T.KeptLine.kind.in_((KioskStarted.kind, SettingChanged.kind))
    for row in T.KeptLine.select(T.KeptLine.id).where(own).order_by(T.KeptLine.id.desc()).tuples().iterator():
        line = book.line(row[0])
        match line.entry if line else None:
            case KioskStarted(settings=settings):
                return dict(settings) | found
            case SettingChanged(name=name, value=value):
                found.setdefault(name, value)
    return found
