"""The settings, behind a supervisor's PIN: groups, what is set in each, and for one of them a pad or a choice.

Every setting is shown with what it is now, its bounds and what it changes.  The bounds are its own
(`kiosk.settings`); a change is a line in the ledger with who made it.
"""

from __future__ import annotations

from dataclasses import fields
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any

from kivy.properties import ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.bounds import SETTINGS
from kiosk.screens.clerk import fault_words
from kiosk.screens.dates import clock_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice, Pick
from kiosk.screens.press import Press
from kiosk.screens.questions import found as looks
from kiosk.screens.questions import shop as asks
from kiosk.screens.questions.health import not_made
from kiosk.screens.view import Covers, View
from kiosk.settings import Settings
from kiosk.words import catalogue, language, own_name, t

BACKUP = "backup"
LEAVE = "leave"
NAMED = 2  # settings named below a group; all of them are one touch away
FIGURE = "figure"  # the choice that leads to the pad

# What belongs together for a person, each with its settings; other names and patterns belong to a keyboard: the file.
GROUPS: dict[str, tuple[str, ...]] = {
    "heat": (
        "heat.limit_c", "heat.ambient_c", "heat.temp_c", "heat.heating_s", "heat.reheat_s",
        "heat.length_tolerance_um", "heat.cycles_limit",
    ),
    "thermometer": (
        "thermometer.source", "thermometer.probe", "heat.probe_tolerance_k", "heat.ambient_sd_k",
        "thermometer.unknown_c", "thermometer.baud",
    ),
    "scanning": (
        "kiosk.pair_s", "kiosk.undo_s", "kiosk.sign_out_s", "kiosk.badge_required", "kiosk.travel_s",
    ),
    "screen": (
        "kiosk.language", "kiosk.theme", "kiosk.units", "kiosk.volume", "kiosk.muted", "kiosk.px_per_mm",
    ),
    "camera": (
        "camera.mirrored", "camera.rotation_deg", "camera.exposure_locked", "camera.focus_locked", "camera.field_deg",
        "camera.distance_mm", "camera.label_mm", "camera.budget_ms",
    ),
    "phones": ("phones.on", "phones.port"),
    "bench": (
        "build.friction", "build.clearance_um", "build.side_screw_rpm", "build.balance_grade",
        "build.radius_at_control", "presetter.on",
        "labels.queue", "labels.dpi",
    ),
    "records": (
        "kiosk.shift_h", "audit.measured_days", "backup.second_folder", "backup.keep", "camera.keep_unread",
    ),
}  # fmt: skip


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    GROUPS = "groups"
    GROUP = "group"
    FIGURE = "figure"
    CHOICE = "choice"


class PreferencesScreen(View):
    """The groups, one group's settings, then one of them.  `about`: what it is now and what it changes."""

    name = "settings"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.GROUPS, options=list(Page))
    groups = ListProperty()
    rows = ListProperty()
    options = ListProperty()
    heading = StringProperty()  # the group's name
    title = StringProperty()
    about = StringProperty()
    unit = StringProperty()
    told = StringProperty()  # what was done
    trouble = StringProperty()
    least = NumericProperty(0.0)
    most = NumericProperty(1.0)
    decimals = NumericProperty(1)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._group, self._table, self._key = "", "", ""
        self._settings = Settings()
        self._press = Press()

    def shown(self, **_: Any) -> None:
        self.told = self.trouble = ""
        self.page = Page.GROUPS
        self.clerk.ask(asks.settings(), self._list)

    def back(self) -> None:
        """One step back, or out."""
        self.told = self.trouble = ""
        if self.page == Page.GROUPS:
            self.clerk.go("shop")
        else:
            self.page = Page.GROUPS if self.page == Page.GROUP else Page.GROUP

    def open(self, group: Choice) -> None:
        """This group's settings."""
        if group.key == BACKUP:
            self.clerk.ask(asks.copies_go, self._back_up, self._failed)
            return
        if group.key == LEAVE:
            self.clerk.go("pin", goal="leave")  # at once, while the PIN that led here is good
            return
        self._group, self.heading, self.told, self.trouble = group.key, group.text, "", ""
        self._list(self._settings)
        self.page = Page.GROUP

    def choose(self, row: Choice) -> None:
        """This one is to be changed."""
        self._table, self._key = row.key.split(".")
        self.title, self.told, self.trouble = row.text, "", ""
        about = t(f"settings.changes.{row.key}")
        one = next(f for f in fields(getattr(self._settings, self._table)) if f.name == self._key)
        if "options" in one.metadata:
            self._offer([(option, _named(row.key, option)) for option in one.metadata["options"]])
        elif row.key in looks.LOOKED_UP:
            self._look(row.key)
        elif isinstance(one.default, bool):
            self._offer([("true", t("settings.on")), ("false", t("settings.off"))])
        else:
            self.least, self.most, self.unit, self.decimals = one.metadata["bound"]
            within = t("settings.within", least=float(self.least), most=float(self.most))
            self.options = [Pick(FIGURE, t("settings.another"), f"{within} {self.unit}".rstrip())]
        self.about = f"{t('settings.is_now', value=row.note)}. {about}."
        self.page = Page.CHOICE

    def _value(self) -> str:
        """What the setting in sight is now, as an option is called."""
        value = getattr(getattr(self._settings, self._table), self._key)
        return str(value).lower() if isinstance(value, bool) else str(value)

    def _offer(self, values: list[tuple[str, str]]) -> None:
        """These values, each with its name; the one in use is marked."""
        now = self._value()
        self.options = [
            Pick(value, name, t("settings.in_use") if value == now else "", value == now) for value, name in values
        ]

    # What the kiosk looks for by itself --------------------------------------------------------------------------

    def _look(self, key: str) -> None:
        """Show what there is for a setting, as soon as that is known."""
        self.options = []
        self._press.run(lambda *_: looks.found(key), partial(self.looked, key), self._failed)
        if key == looks.SECOND_FOLDER:
            self.clerk.ask(looks.data(), partial(self._last_copy, self._value()), self._failed)

    def looked(self, key: str, found: tuple[str, ...]) -> None:
        """These are there."""
        if key == f"{self._table}.{self._key}" and self.page == Page.CHOICE:
            self._offer([*((value, _short(value)) for value in found), ("", t("settings.none"))])

    def _last_copy(self, folder: str, data: Path) -> None:
        self._press.run(lambda *_: looks.newest_copy(data, folder), self.last_copy, self._failed)

    def last_copy(self, made_utc_s: float | None) -> None:
        """When the newest copy in the second folder was made."""
        if self.page == Page.CHOICE:
            said = t("settings.last_copy", when=clock_words(made_utc_s)) if made_utc_s else t("settings.no_copy")
            self.about = f"{self.about} {said}."

    def take(self, value: str) -> None:
        """This is the value from now on, or a figure is typed for it; a folder is tried first."""
        if f"{self._table}.{self._key}" == looks.SECOND_FOLDER:
            self._press.run(lambda *_: looks.try_folder(value), lambda _: self._take(value), self._no_folder)
        else:
            self._take(value)

    def _no_folder(self, error: Exception) -> None:
        self.page = Page.GROUP
        self._failed(error)

    def _take(self, value: str) -> None:
        if value == FIGURE:
            self.ids.entry.text = ""
            self.page = Page.FIGURE
            return
        self.clerk.ask(asks.change_setting(self._table, self._key, value), self._changed, self._failed)
        self.page = Page.GROUP

    def _changed(self, settings: Settings) -> None:
        self._list(settings)
        runs = self._table == "heat" and bool(self.clerk.hot)
        self.told, self.trouble = t("settings.holds_keep", count=len(self.clerk.hot)) if runs else "", ""

    def _list(self, settings: Settings) -> None:
        self._settings = settings
        self.groups = [
            *(Choice(name, t(f"settings.group.{name}"), _names(keys)) for name, keys in GROUPS.items()),
            Choice(BACKUP, t("shop.backup"), t("settings.now")),
            *((Choice(LEAVE, t("leave.title"), t("leave.close")),) if self.clerk.leave else ()),
        ]
        rows = []
        for key in GROUPS.get(self._group, ()):
            table, _, name = key.partition(".")
            rows.append(Choice(key, t(f"setting.{key}"), _shown(key, getattr(getattr(settings, table), name))))
        self.rows = rows

    def _back_up(self, goes: tuple[Path, tuple[Path, ...], int]) -> None:
        """Beside the desk: a large book takes its time, and a folder in the network more."""
        self._press.run(lambda *_: asks.copies_made(*goes), self._backed_up, self._failed)

    def _backed_up(self, made: tuple[asks.CopyMade, ...]) -> None:
        said = "  ".join(
            t("shop.backed_up", file=copy.copy.path.name) if copy.copy else not_made(copy) for copy in made
        )
        self.told, self.trouble = (said, "") if all(copy.copy for copy in made) else ("", said)

    def _failed(self, error: Exception) -> None:
        self.told, self.trouble = "", fault_words(error)


def _names(keys: tuple[str, ...]) -> str:
    named = ", ".join(t(f"setting.{key}") for key in keys[:NAMED])
    return f"{named}\u00a0…" if len(keys) > NAMED else named


def _short(value: str) -> str:
    """A path as a row has room for it: its last two parts."""
    return "/".join(value.split("/")[-2:])


def _named(key: str, option: str) -> str:
    return own_name(option) if key == "kiosk.language" else t(f"option.{option}")


def _shown(key: str, value: object) -> str:
    if isinstance(value, bool):
        return t("settings.on") if value else t("settings.off")
    if key == "kiosk.px_per_mm" and not value:
        return t("settings.unknown")
    if isinstance(value, float):
        return f"{catalogue(language()).number(value, 4)} {SETTINGS[key].unit}".strip()
    if key in looks.LOOKED_UP:
        return _short(str(value)) or t("settings.none")
    return _named(key, str(value))


load_beside(__file__)
