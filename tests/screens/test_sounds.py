"""Sounds obey the settings; what warns of heat does not fall below half."""

import wave

import numpy as np
import pytest

from kiosk import where
from kiosk.screens.sounds import Sound, Sounds, loudness


@pytest.mark.parametrize("sound", [Sound.HOT, Sound.TAKE_OUT])
def test_a_warning_of_heat_is_never_below_half(sound: Sound) -> None:
    assert loudness(sound, 0.0, False) == 0.5
    assert loudness(sound, 1.0, True) == 0.5
    assert loudness(sound, 0.9, False) == 0.9


@pytest.mark.parametrize("sound", [Sound.DONE, Sound.REFUSED])
def test_other_sounds_can_be_muted(sound: Sound) -> None:
    assert loudness(sound, 0.8, True) == 0.0
    assert loudness(sound, 0.3, False) == 0.3


def _samples(sound: Sound) -> tuple[np.ndarray, int]:
    with wave.open(str(where.assets() / "sounds" / f"{sound.value}.wav"), "rb") as file:
        return np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(float), file.getframerate()


def _pitch_hz(part: np.ndarray, rate: int) -> float:
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part))))
    return float(np.fft.rfftfreq(len(part), 1 / rate)[spectrum.argmax()])


def test_each_sound_is_what_it_is_called() -> None:
    parts = {}
    for sound in Sound:
        samples, rate = _samples(sound)
        third = len(samples) // 3
        parts[sound] = [_pitch_hz(samples[at * third : (at + 1) * third], rate) for at in range(3)]
    loud = {sound: np.abs(_samples(sound)[0]).mean() for sound in Sound}
    assert parts[Sound.HOT][0] > parts[Sound.HOT][1] > parts[Sound.HOT][2]
    assert parts[Sound.TAKE_OUT][0] < parts[Sound.TAKE_OUT][1] < parts[Sound.TAKE_OUT][2]
    assert max(parts[Sound.REFUSED]) < 300 < 1000 < min(parts[Sound.DONE])
    assert loud[Sound.HOT] == max(loud.values())


def test_a_sound_that_is_due_before_it_was_loaded_is_loaded_and_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    heard: list[tuple[Sound, float]] = []

    class Loaded:
        volume = 0.0

        def __init__(self, sound: Sound) -> None:
            self._sound = sound

        def stop(self) -> None:
            pass

        def play(self) -> None:
            heard.append((self._sound, self.volume))

    def load(sounds: Sounds, sound: Sound) -> None:
        sounds._loaded[sound] = Loaded(sound)

    monkeypatch.setattr(Sounds, "load", load)
    Sounds(volume=0.0, muted=True).play(Sound.HOT)
    assert heard == [(Sound.HOT, 0.5)]
