"""Keys of the window: what a scanner that types has read, told from what a person types.

Every key goes to the scanner first; a field that has the keyboard tells of its own and keeps them as well.
"""

from __future__ import annotations

import time
from functools import partial
from typing import TYPE_CHECKING

from kivy.clock import Clock

from kiosk.reader.keyed import LONGEST, Keyed, KeyedFault, KeyedText, KeyedTooLong, Scanner
from kiosk.rules.shop_air import TYPED, of_burst
from kiosk.screens.clerk import Clerk
from kiosk.screens.keytimes import KeyTimes
from kiosk.screens.questions import common
from kiosk.screens.turns import Turns
from kiosk.words import t

if TYPE_CHECKING:
    from kiosk.settings import ScannerSettings

SCANNER_QUIET_S = 0.2
ENDINGS = {13: "\r", 271: "\r", 9: "\t"}  # Kivy's key codes of Enter, Enter of the number block, Tab
MODIFIERS = frozenset(range(300, 315))  # lock keys, shift, control, alt, meta: Kivy gives them characters too


class TypedKeys:
    """A scanner that types into the window, and whoever types besides."""

    def __init__(self, clerk: Clerk, turns: Turns) -> None:
        self._clerk = clerk
        self._turns = turns
        self._scanner = Scanner()
        self._times = KeyTimes()
        clerk.keys = self.struck

    def wear(self, settings: ScannerSettings) -> None:
        """Take on what the scanner sends before and after a code."""
        self._scanner = Scanner(settings.prefix, settings.suffix)

    def framed(self, now_s: float) -> None:
        """A frame of the window began: keys that came between two of them came at once."""
        self._times.framed(now_s)

    def key(self, _: object, key: int, __: int, codepoint: str | None, modifiers: list[str]) -> bool:
        """Keys belong to a scanner that types; a field that has the keyboard tells of its own."""
        if self._clerk.field is not None or key in MODIFIERS or "ctrl" in modifiers or "alt" in modifiers:
            return False
        character = ENDINGS.get(key, codepoint or "")
        if not character or len(character) != 1:
            return False
        if "shift" in modifiers:
            character = character.upper()
        if self._clerk.view is not None:
            self._clerk.view.keyed(character)
        self.struck(character)
        return True

    def struck(self, character: str) -> bool:
        """Let the scanner have a key, that a field may have as well; whether it ended a scan."""
        in_field = self._clerk.field is not None
        found = self._scanner.feed(character, self._times.pressed(time.monotonic()), in_field)
        self._keyed(found)
        Clock.schedule_once(lambda _: self._keyed(self._scanner.tick(self._times.certain())), SCANNER_QUIET_S)
        return bool(found)

    def _keyed(self, found: tuple[Keyed, ...]) -> None:
        for keyed in found:
            if keyed.typed and self._clerk.field is not None:
                self._clerk.field.take_out(keyed.typed)
            if isinstance(keyed, KeyedText) and self._is_air(keyed.text):
                self._clerk.ask(common.air(keyed.text))
            elif isinstance(keyed, KeyedText):
                self._turns.take(self._turns.now_s, partial(self._clerk.scanned, keyed.text))
            elif isinstance(keyed, KeyedTooLong):
                self._clerk.trouble = t("scanner.too_long", characters=keyed.characters, most=LONGEST)
            else:
                self._mistyped(keyed)

    def _is_air(self, text: str) -> bool:
        """Whether the shop's thermometer typed this, and nobody scanned it."""
        told = self._clerk.settings.thermometer
        return told.source == TYPED and of_burst(text, told.pattern) is not None

    def _mistyped(self, keyed: KeyedFault) -> None:
        """What looks like a code of ours from a wrong keyboard may yet be a mark that was adopted as it is."""

        def told(known: bool) -> None:
            if known:
                self._clerk.scanned(keyed.text)
            else:
                cause = keyed.causes[0]
                self._clerk.trouble = t("scanner.keyboard", scanner=cause.scanner, computer=cause.computer)

        self._clerk.ask(common.known(keyed.text), told)
