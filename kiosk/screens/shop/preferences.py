"""The settings, behind a supervisor's PIN: a list of what may be set, and for each a pad or a choice.

Every bound is the setting's own (`kiosk.settings`); a change is a line in the ledger with who made it.
"""

from __future__ import annotations

from dataclasses import fields
from enum import StrEnum
from typing import Any, get_type_hints

from kivy.properties import ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.bounds import SETTINGS
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import shop as asks
from kiosk.screens.view import View
from kiosk.settings import Settings
from kiosk.words import t

BACKUP = "backup"


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    ALL = "all"
    FIGURE = "figure"
    CHOICE = "choice"


class PreferencesScreen(View):
    """All settings, then one of them."""

    name = "settings"
    rail = "shop"

    page = OptionProperty(Page.ALL, options=list(Page))
    rows = ListProperty()
    options = ListProperty()
    title = StringProperty()
    unit = StringProperty()
    trouble = StringProperty()
    least = NumericProperty(0.0)
    most = NumericProperty(1.0)
    decimals = NumericProperty(1)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._table, self._key = "", ""

    def shown(self, **_: Any) -> None:
        self.trouble = ""
        self.page = Page.ALL
        self.clerk.ask(asks.settings(), self._list)

    def choose(self, row: Choice) -> None:
        """This one is to be changed."""
        if row.key == BACKUP:
            self.clerk.ask(asks.backup(), self._backed_up, self._failed)
            return
        self._table, self._key = row.key.split(".")
        self.title = row.text
        group = next(f for f in fields(Settings) if f.name == self._table)
        one = next(f for f in fields(group.default) if f.name == self._key)  # type: ignore[arg-type]
        if "options" in one.metadata:
            self.options = [Choice(option, _named(option)) for option in one.metadata["options"]]
            self.page = Page.CHOICE
        elif isinstance(one.default, bool):
            self.options = [Choice("true", t("settings.on")), Choice("false", t("settings.off"))]
            self.page = Page.CHOICE
        else:
            bound = one.metadata["bound"]
            self.least, self.most, self.unit, self.decimals = bound
            self.ids.entry.text = ""
            self.page = Page.FIGURE

    def take(self, value: str) -> None:
        """This is the value from now on."""
        table, key = self._table, self._key
        self.clerk.ask(asks.change_setting(table, key, value), self._list, self._failed)
        self.page = Page.ALL

    def _list(self, settings: Settings) -> None:
        rows = [Choice(BACKUP, t("shop.backup"), t("settings.now"))]
        for group in fields(settings):
            table = getattr(settings, group.name)
            hints = get_type_hints(type(table))
            for one in fields(table):
                if hints[one.name] is str and "options" not in one.metadata:
                    continue  # names and folders belong to a keyboard: the settings file
                value = getattr(table, one.name)
                words = t(f"setting.{group.name}.{one.name}")
                rows.append(Choice(f"{group.name}.{one.name}", words, _shown(f"{group.name}.{one.name}", value)))
        self.rows = rows

    def _backed_up(self, made: tuple[asks.CopyMade, ...]) -> None:
        self.trouble = "  ".join(
            t("shop.backed_up", file=copy.copy.path.name) if copy.copy else f"{copy.folder}: {copy.why}"
            for copy in made
        )

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)


def _named(option: str) -> str:
    return t(f"option.{option}")


def _shown(key: str, value: object) -> str:
    if isinstance(value, bool):
        return t("settings.on") if value else t("settings.off")
    if isinstance(value, float):
        return f"{value:g} {SETTINGS[key].unit}".strip()
    return _named(str(value))


load_beside(__file__)
