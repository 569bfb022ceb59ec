"""The kiosk's sounds: done, refused, hot, take out.

They can be made quieter or muted, all but those of heat, which never fall below half.  A machine without sound
stays silent and says nothing about it.
"""

from __future__ import annotations

from enum import Enum
from typing import Any

from kivy.core.audio import SoundLoader

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
        self._loaded: dict[Sound, Any] = {}

    def load(self, sound: Sound) -> None:
        """Read its file, so that the first time is not late."""
        loaded = SoundLoader.load(str(where.assets() / "sounds" / f"{sound.value}.wav"))
        if loaded is not None:
            self._loaded[sound] = loaded

    def play(self, sound: Sound) -> None:
        volume = loudness(sound, self.volume, self.muted)
        loaded = self._loaded.get(sound)
        if loaded is not None and volume > 0:
            loaded.stop()
            loaded.volume = volume
            loaded.play()
