"""Makes the kiosk's four sounds as WAV files beside this script: `python assets/sounds/make_sounds.py`.

done: short and high · refused: two low · hot: three falling, louder · take_out: rising.
"""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np

RATE = 44_100
Tone = tuple[float, float, float]  # start Hz, end Hz, seconds
PAUSE: Tone = (0.0, 0.0, 0.05)

SOUNDS: dict[str, tuple[float, tuple[Tone, ...]]] = {
    "done": (0.55, ((1480.0, 1480.0, 0.07), (1976.0, 1976.0, 0.11))),
    "refused": (0.6, ((233.0, 233.0, 0.16), PAUSE, (185.0, 185.0, 0.26))),
    "hot": (0.95, ((988.0, 831.0, 0.22), PAUSE, (784.0, 659.0, 0.22), PAUSE, (622.0, 440.0, 0.42))),
    "take_out": (0.75, ((523.0, 784.0, 0.18), PAUSE, (659.0, 988.0, 0.18), PAUSE, (784.0, 1319.0, 0.3))),
}  # fmt: skip


def tone(start_hz: float, end_hz: float, length_s: float) -> np.ndarray:
    """A glide with two overtones and soft edges, -1..1."""
    count = int(RATE * length_s)
    if not start_hz:
        return np.zeros(count)
    phase = 2 * np.pi * np.cumsum(np.linspace(start_hz, end_hz, count)) / RATE
    wave_ = np.sin(phase) + 0.35 * np.sin(2 * phase) + 0.15 * np.sin(3 * phase)
    edge = int(RATE * 0.008)
    shape = np.ones(count)
    shape[:edge] = np.linspace(0, 1, edge)
    shape[-4 * edge :] = np.linspace(1, 0, 4 * edge)
    return wave_ / 1.5 * shape


def main() -> None:
    for name, (loudness, tones) in SOUNDS.items():
        samples = np.concatenate([tone(*each) for each in tones]) * loudness
        with wave.open(str(Path(__file__).with_name(f"{name}.wav")), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(RATE)
            file.writeframes((np.clip(samples, -1, 1) * 32_767).astype("<i2").tobytes())


if __name__ == "__main__":
    main()
