"""What the camera saw of labels nobody could read or that were refused, one picture after the other, newest first.

Only looks; the pictures come from the disk on a thread of its own, and there are none where the setting is off.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from PIL import Image

from kiosk.screens.clerk import fault_words
from kiosk.screens.dates import clock_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paper import page_picture
from kiosk.screens.press import Press
from kiosk.screens.questions import records as asks
from kiosk.screens.questions.records import KeptPicture
from kiosk.screens.view import Covers, View
from kiosk.words import t


class UnreadScreen(View):
    """`at` of `count`, from 0 for the newest.  `told`: why there is no picture, in words."""

    name = "unread"
    rail = "audit"
    covers = Covers.RAIL

    at = NumericProperty(0)
    count = NumericProperty(0)
    looked = BooleanProperty(False)
    title = StringProperty()
    when = StringProperty()
    taken = StringProperty()  # how many there are, and what they take on the disk
    told = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press = Press()
        self._kept: tuple[KeptPicture, ...] = ()

    def shown(self, **_: Any) -> None:
        self.fill(())
        self.looked = False
        self.clerk.ask(asks.unread_folder(), self._look, self._failed)

    def turn(self, step: int) -> None:
        """An arrow was touched: -1 newer, 1 older."""
        self.at = min(max(0, self.at + step), max(0, self.count - 1))
        self._picture()

    def fill(self, kept: tuple[KeptPicture, ...]) -> None:
        """These are kept, newest first."""
        self._kept, self.count, self.at, self.looked = kept, len(kept), 0, True
        total_kb = sum(each.size_bytes for each in kept) / 1e3
        size = f"{total_kb / 1e3:.1f} MB".replace(".", t("number.decimal")) if total_kb >= 1e3 else f"{total_kb:.0f} kB"
        self.taken = t("unread.taken", count=len(kept), size=size) if kept else ""
        self.title = self.when = self.told = ""
        self.ids.picture.show(None)

    def show(self, kept: KeptPicture, image: Image.Image) -> None:
        """Show this one."""
        self.title, self.when, self.told = t(f"unread.why.{kept.why.value}"), clock_words(kept.at_s), ""
        self.ids.picture.show(page_picture(image))

    def _look(self, folder: Path) -> None:
        self._press.run(lambda *_: asks.unread_pictures(folder), self._listed, self._failed)

    def _listed(self, kept: tuple[KeptPicture, ...]) -> None:
        self.fill(kept)
        self._picture()

    def _picture(self) -> None:
        """Have the picture in sight read."""
        if not self._kept:
            return
        kept = self._kept[int(self.at)]
        self._press.run(lambda *_: asks.unread_picture(kept), partial(self._pictured, kept), partial(self._gone, kept))

    def _pictured(self, kept: KeptPicture, image: Image.Image) -> None:
        if self._kept and self._kept[int(self.at)] is kept:
            self.show(kept, image)

    def _gone(self, kept: KeptPicture, _: Exception) -> None:
        """Fifty newer ones came meanwhile, or somebody removed it."""
        if self._kept and self._kept[int(self.at)] is kept:
            self.ids.picture.show(None)
            self.title, self.when, self.told = "", "", t("unread.gone")

    def _failed(self, error: Exception) -> None:
        self.looked = True
        self.told = fault_words(error)


load_beside(__file__)
