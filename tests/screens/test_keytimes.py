"""Keys keep their pauses however slow the frames are."""

from kiosk.reader.keyed import KeyedText, Scanner
from kiosk.screens.keytimes import KeyTimes

CODE = "HV4T8BRJ3V"


def _typed(presses_s: list[float], frames_s: list[float]) -> list[str]:
    """What a scanner makes of keys pressed at these times when they are only taken at the end of each frame."""
    times, scanner, waiting = KeyTimes(), Scanner(), list(zip(presses_s, CODE + "\r", strict=True))
    found: list[str] = []
    for frame_s in frames_s:
        times.framed(frame_s)
        while waiting and waiting[0][0] <= frame_s:
            keyed = scanner.feed(waiting.pop(0)[1], times.pressed(frame_s))
            found += [text.text for text in keyed if isinstance(text, KeyedText)]
    return found


def test_a_burst_is_one_text_though_frames_take_a_quarter_of_a_second() -> None:
    presses = [1.0 + 0.02 * at for at in range(11)]
    assert _typed(presses, [at * 0.25 for at in range(20)]) == [CODE]
    assert _typed(presses, [at * 0.07 for at in range(60)]) == [CODE]


def test_a_hand_at_quick_frames_is_no_scanner() -> None:
    presses = [1.0 + 0.2 * at for at in range(11)]
    assert _typed(presses, [at / 60 for at in range(300)]) == []
