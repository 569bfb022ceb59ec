"""The alarm of an audit: something hot, or not proven cool, stands where a hand reaches in.

It fills the room it is given, says what and where, and offers the two things a hand can do about it.
"""

from __future__ import annotations

from kivy.properties import StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside


class HotAlarm(BoxLayout):
    """`text`: what stands where; `also`: the same in the shop's language.

    `more`: what came of a label that was scanned meanwhile.

    Events `on_understood` and `on_cooling`: it was taken to a cooling place."""

    text = StringProperty()
    also = StringProperty()
    more = StringProperty()

    __events__ = ("on_understood", "on_cooling")

    def on_understood(self) -> None:
        """Somebody has seen it."""

    def on_cooling(self) -> None:
        """It was taken to a cooling place."""


load_beside(__file__)
