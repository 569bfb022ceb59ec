"""The kiosk's sounds: done, refused, hot, take out.

They can be made quieter or muted, all but those of heat, which never fall below half.  A machine without sound
stays silent and says nothing about it.
"""

from __future__ import annotations

from enum import Enum
from typing import Any

from kiosk import where

HEAT_VOLUME = 0.5  # the least for what warns of heat


class Sound(Enum):
    """The value is the file's name in assets/sounds."""

    DONE = "done"
    REFUSED = "refused"
    HOT = "hot"
    TAKE_OUT = "take_out"


_HEAT = frozenset({Sound.HOT, Sound.TAKE_OUT})


def loudness(sound: Sound, volume: float, muted: bool) -> float:
    """Volume 0..1 to play a sound at."""
    wanted = 0.0 if muted else volume
    return max(wanted, HEAT_VOLUME) if sound in _HEAT else wanted


class Sounds:
    """Plays them.  `volume` 0..1 and `muted` come from the settings."""

    def __init__(self, volume: float = 0.8, muted: bool = False) -> None:
        self.volume = volume
        self.muted = muted
        self._loaded: dict[Sound, Any] = {}  # None: this machine does not play it

    def load(self, sound: Sound) -> None:
        """Read its file, so that the first time is not late."""
        from kivy.core.audio import SoundLoader  # looks for what plays: not before the first picture

        self._loaded[sound] = SoundLoader.load(str(where.assets() / "sounds" / f"{sound.value}.wav"))

    def play(self, sound: Sound) -> None:
        volume = loudness(sound, self.volume, self.muted)
        if sound not in self._loaded:
            self.load(sound)
        loaded = self._loaded[sound]
        if loaded is not None and volume > 0:
            loaded.stop()
            loaded.volume = volume
            loaded.play()
