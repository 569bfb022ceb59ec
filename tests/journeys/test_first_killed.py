"""A new kiosk whose plug is pulled between its first questions, and in the middle of one, goes on where it was."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.journeys.display import Display
from tests.journeys.window import Window

SIZE = (800, 480)
LIVED = ("log", "demo", "updates")  # what may be written without a hand, and the demo shop


class NewKiosk:
    """A kiosk that is killed (kill -9) and started again, in one folder."""

    def __init__(self, display: Display, data: Path) -> None:
        self._display, self.data = display, data
        self.window = self._open()

    def _open(self) -> Window:
        return Window(self._display, SIZE, self.data, demo=False)

    def killed(self, *sees: str) -> None:
        """The plug is pulled; then this is what it asks."""
        self.window.kill()
        self.window = self._open()
        self.window.sees(*sees)

    def supervisors(self) -> list[tuple[str, bool]]:
        """Name of each, and whether there is a PIN; the kiosk must be closed."""
        from kiosk.desk import Desk

        desk = Desk.open(self.data)
        try:
            assert list(desk.session.book.check()) == []
            return [(each.name, desk.people.has_pin(each.key)) for each in desk.people.operators()]
        finally:
            desk.close()

    def is_settings(self, table: str) -> dict[str, object]:
        return dict(tomllib.loads((self.data / "settings.toml").read_text("utf-8"))[table])


@pytest.fixture
def new_kiosk(display: Display, tmp_path: Path) -> Iterator[NewKiosk]:
    kiosk = NewKiosk(display, tmp_path / "data")
    yield kiosk
    kiosk.window.kill()


@pytest.mark.timeout(300)
def test_a_kiosk_killed_after_each_page_and_in_the_middle_of_one_goes_on_there_and_has_every_answer(
    new_kiosk: NewKiosk, display: Display
) -> None:
    kiosk = new_kiosk
    kiosk.window.sees("Which language?")
    kiosk.window.touch("Deutsch")
    kiosk.window.sees("Was steht bei diesem Kiosk?")
    kiosk.killed("Was steht bei diesem Kiosk?", "2 von 5")
    assert kiosk.is_settings("kiosk")["language"] == "de"
    kiosk.window.touch("Werkbank")
    kiosk.window.touch("Schrank")
    kiosk.window.sees("✓ da")
    kiosk.killed("Was steht bei diesem Kiosk?")
    there = [said for said, *_ in kiosk.window.screen()["touches"] if "✓ da" in said]
    assert len(there) == 2, there
    kiosk.window.touch("Weiter")
    kiosk.window.sees("Wo steht dieser Kiosk?")
    kiosk.window.touch("Werkbank")
    kiosk.window.sees("Bankkarte")
    kiosk.killed("Bankkarte")
    assert kiosk.is_settings("kiosk")["at"]
    kiosk.window.touch("So lang wie die Karte")
    kiosk.window.sees("Steht das Bild aufrecht")
    kiosk.window.touch("Drehen")
    kiosk.window.sees("Steht das Bild aufrecht")
    kiosk.killed("Steht das Bild aufrecht")
    assert kiosk.is_settings("kiosk")["px_per_mm"] and kiosk.is_settings("camera")["rotation_deg"] == 90.0
    kiosk.window.touch("Passt so")
    kiosk.window.sees("Wer hat die Aufsicht?")
    for letter in ("K", "i", "m", "forward"):
        kiosk.window.touch_key(letter)
    kiosk.window.sees("PIN wählen")
    kiosk.window.kill()
    assert kiosk.supervisors() == []  # nobody is a supervisor without a PIN
    kiosk.killed("Wer hat die Aufsicht?", "Kim")
    kiosk.window.touch_key("forward")
    kiosk.window.sees("PIN wählen")
    for _ in range(2):
        for figure in "4711":
            kiosk.window.touch_key(figure)
        kiosk.window.touch("Öffnen")
    kiosk.window.sees("Womit anfangen?")
    kiosk.window.kill()
    assert kiosk.supervisors() == [("Kim", True)]
    kiosk.killed("Womit anfangen?")
    looked_around(kiosk, display)
    kiosk.killed("Womit anfangen?")
    kiosk.window.touch("Den eigenen anlegen")
    kiosk.window.sees("Schränke")
    kiosk.killed("Halter scannen")


def looked_around(kiosk: NewKiosk, display: Display) -> None:
    """The demo shop and back: its work stays there, and nothing of one's own is touched."""
    kiosk.window.touch("In einem Musterbetrieb umsehen")
    assert kiosk.window.ended(60) == 0
    before = written(kiosk.data)
    demo = Window(display, SIZE, kiosk.data / "demo", demo=True, own=str(kiosk.data))
    try:
        demo.touch("Scan")
        demo.scan(demo.holder("T001"))
        demo.scan(demo.place("Bench 1"))
        demo.waits_for(lambda: demo.where("T001") == "Bench 1", "the move in the demo shop")
        assert written(kiosk.data) == before
        for words in ("Shop", "Places", "Set up the shop"):
            demo.touch(words)
        demo.picture("first-demo")
        demo.touch("Begin your own")
        assert demo.ended(60) == 0
        assert written(kiosk.data) == before
    finally:
        demo.kill()


def written(data: Path) -> dict[str, str]:
    """What one's own folder has, but what lives without a hand."""
    files = (path for path in data.rglob("*") if path.is_file() and path.relative_to(data).parts[0] not in LIVED)
    return {str(path.relative_to(data)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}
