"""Use a phone: the code a telephone is shown, and which telephones there are, each ended by two touches.

The code is good once and for two minutes, and for as long as it is in sight: whoever leaves this screen takes it away.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.reasons import quoted
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.ending import Ending
from kiosk.screens.view import Covers, View
from kiosk.words import t

if TYPE_CHECKING:  # what the clerk offers where telephones are on
    from kiosk.handheld.phones import Code, Seen


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    OFF = "off"
    LIST = "list"
    CODE = "code"


class PhonesScreen(View):
    """`modules`: the code, rows of dark and light; `left_s`: how long it is still good."""

    name = "phones"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.OFF, options=list(Page))
    state = StringProperty()
    remedy = StringProperty()
    told = StringProperty()  # what was done, or what one more touch does
    trouble = StringProperty()
    serving = BooleanProperty(False)
    rows = ListProperty()
    modules = ListProperty()
    whose = StringProperty()
    left_s = NumericProperty(0.0)
    address = StringProperty()
    fingerprint = StringProperty()
    ending = StringProperty()  # the telephone that a second touch ends

    def shown(self, **_: Any) -> None:
        self.told = self.trouble = self.ending = ""
        self.page = Page.OFF if self.clerk.phones is None else Page.LIST
        self._stands("" if self.clerk.phones else t("phones.off"), t("phones.off_remedy"))
        self.tick()

    def left(self) -> None:
        self.hide()

    def tick(self) -> None:
        phones = self.clerk.phones
        if phones is None:
            self.page = Page.OFF
            return
        if self.page == Page.OFF:
            self.page = Page.LIST
        if self.page == Page.CODE:
            self.left_s -= 1.0
            if self.left_s <= 0.0:
                self.hide()
        self.clerk.ask(phones.look, self.look, self._failed)

    def look(self, seen: Seen) -> None:
        """Show how telephones stand."""
        self.address, self.fingerprint = seen.address, seen.fingerprint.replace(":", " ")
        self.serving = seen.state == "serving"
        known = len(self.rows)
        self.rows = [
            Ending(
                each.name, each.person or each.kind or each.name, _about(each.name, each.kind),
                each.name == self.ending,
            )
            for each in seen.paired
        ]  # fmt: skip
        if self.serving:
            self._stands(t("phones.none"), t("phones.none_remedy"))
        else:
            remedy = t("phones.failed_remedy", why=quoted(seen.why)) if seen.state == "failed" else ""
            self._stands(t(f"phones.{seen.state}"), remedy)
        if self.page == Page.CODE and len(self.rows) > known:
            self.page, self.modules = Page.LIST, []  # somebody has used it

    def show(self) -> None:
        """A code for whoever is signed in here."""
        self.told = self.trouble = self.ending = ""
        self.clerk.ask(self.clerk.phones.code, self.show_code, self._failed)

    def show_code(self, code: Code) -> None:
        """Show the code as the desk gives it."""
        self.modules = [list(row) for row in code.rows]
        self.whose = t("phones.whose", name=code.person) if code.person else t("phones.nobody")
        self.left_s = code.good_s
        self.page = Page.CODE

    def hide(self) -> None:
        """Take the code out of sight; it is worth nothing any more."""
        if self.page == Page.CODE:
            self.page, self.modules = Page.LIST, []
            if self.clerk.phones is not None:
                self.clerk.ask(self.clerk.phones.hide)

    def end(self, row: Ending) -> None:
        """That telephone asks nothing any more, once it was touched twice."""
        if not row.sure:
            self.ending, self.told, self.trouble = row.key, t("phones.sure", phone=row.key), ""
            self.rows = [replace(each, sure=each.key == row.key) for each in self.rows]
        elif self.clerk.phones is not None:
            self.ending, self.told, self.trouble = "", t("phones.ended", phone=row.key), ""
            self.clerk.ask(self.clerk.phones.end(row.key), self.look, self._failed)

    def back(self) -> None:
        if self.page == Page.CODE:
            self.hide()
        else:
            self.clerk.go("shop")

    def _stands(self, state: str, remedy: str) -> None:
        self.state, self.remedy = state, remedy

    def _failed(self, error: Exception) -> None:
        self.told, self.trouble = "", fault_words(error)


def _about(name: str, kind: str) -> str:
    return " · ".join(part for part in (kind, t("phones.known", phone=name)) if part)


load_beside(__file__)
