"""What a setter must read from two metres on a small panel is there, large, and drawn where words are not enough."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import kiosk
from kiosk import words

SMALL = ((800, 480), (360, 640))


@pytest.fixture
def stage() -> Iterator[Any]:
    """Screens of their own size, spoken in German; the look is put back."""
    pytest.importorskip("kivy")
    from kivy.clock import Clock

    from kiosk.screens import theme
    from kiosk.screens.theme import look

    theme.fonts()
    words.speak("de")

    def laid(part: Any, window: tuple[int, int], height: float) -> Any:
        look.fit(*window)
        part.size = (window[0], height)
        for _ in range(14):
            Clock.tick()
        return part

    yield laid
    words.speak("en")
    look.fit(800, 480)


@pytest.mark.parametrize(
    "keys, across, rows", [(13, 5, [5, 4, 4]), (13, 3, [3, 3, 3, 2, 2]), (10, 2, [2] * 5), (1, 5, [1])]
)
def test_no_row_of_keys_has_two_fewer_than_another(keys: int, across: int, rows: list[int]) -> None:
    from kiosk.screens.parts.keys import row_counts

    assert row_counts(keys, across) == rows


@pytest.mark.parametrize("many", [2, 4, 5, 7])
def test_keys_of_unequal_rows_come_to_rest(many: int, stage: Any) -> None:
    from kivy.clock import Clock

    from kiosk.screens.parts.choice import Choice
    from kiosk.screens.parts.keys import BigKeys

    shown = BigKeys(across=3, across_tall=3, fills=True, choices=[Choice(key, key) for key in "abcdefg"[:many]])
    keys = stage(shown, (800, 480), 400)
    for _ in range(6):
        Clock.tick()
    waiting = [event for event in Clock.get_events() if getattr(event.get_callback(), "__self__", None) is keys]
    assert waiting == []
    assert {round(key.right) for key in keys.children if key.y == keys.children[0].y} >= {round(keys.right)}


def test_the_menus_keys_leave_no_cell_empty_and_its_german_words_stand_as_tall_as_a_text(stage: Any) -> None:
    from kiosk.screens.parts.keys import EvenKeys
    from kiosk.screens.shop.shop import ShopScreen
    from kiosk.screens.theme import look

    screen = stage(ShopScreen(), (800, 480), 332)
    (menu,) = [part for part in screen.walk() if isinstance(part, EvenKeys)]
    assert len(menu.children) == 13
    for row in {key.y for key in menu.children}:
        assert max(key.right for key in menu.children if key.y == row) == pytest.approx(menu.right, abs=1)
    assert min(key.largest for key in menu.children) > 1.2 * look.least


@pytest.mark.parametrize("window", SMALL)
def test_the_word_of_an_audits_alarm_is_as_large_as_an_outcome_however_long_its_sentences(
    stage: Any, window: tuple[int, int]
) -> None:
    from kiosk.screens.parts.alarm import HotAlarm
    from kiosk.screens.parts.text import Words
    from kiosk.screens.theme import look

    said = "Roughing mill Ø12 R1 long ist heiß oder nicht sicher kalt. Er darf nicht bei Cabinet A · 3-07 sein"
    alarm = stage(HotAlarm(text=said, also=said), window, window[1] * 0.68)
    (word,) = [part for part in alarm.walk() if isinstance(part, Words) and part.text == words.t("heat.word")]
    assert word.font_size >= look.outcome * 0.9


@pytest.mark.parametrize("window", [(800, 480), (640, 360)])
def test_what_was_loaded_is_drawn_beside_the_figures_to_type(stage: Any, window: tuple[int, int]) -> None:
    from kiosk.rules.assembly import Clamping, Coupling, Holder
    from kiosk.rules.holder_drawing import draw_holder
    from kiosk.screens.parts.holder_drawing import HolderDrawing
    from kiosk.screens.scan.card import CardScreen
    from kiosk.screens.theme import look

    screen = CardScreen()
    holder = Holder("H1", "Ø12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=88.0)
    screen.title, screen.detail = "Roughing mill Ø12 R1 long", "HSK-A 63 · HV4T 8BRJ 3V"
    screen.place = "Mill 2 · pocket 14"
    screen.drawing = draw_holder(holder, None)
    stage(screen, window, window[1] * 0.69)
    drawn = [part for part in screen.walk() if isinstance(part, HolderDrawing) and part.drawing is not None]
    assert len(drawn) == 1 and drawn[0].height >= 12 * look.mm


def test_a_wide_small_board_names_the_hottest_spot_beside_its_temperature(stage: Any) -> None:
    from kiosk.rules.assembly import Clamping, Coupling, Holder
    from kiosk.rules.cards import HolderCard, HoldView
    from kiosk.screens.hot.hot import HotScreen
    from kiosk.screens.parts.text import Words

    holder = Holder("H1", "Ø20", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 20.0)
    hold = HoldView(184.4, 171.0, 203.0, "nose", 1060.0, 1540.0, 35.0, since_utc_s=1.79e9)
    screen = HotScreen()
    screen.shortly = "In 15 min messen: Schaft"
    screen.show((HolderCard(holder, "HV4T8BRJ3V", None, None, hold=hold),), ())
    stage(screen, (800, 480), 332)
    assert "Nase" in [part.text for part in screen.walk() if isinstance(part, Words)]


def test_a_label_stands_beside_its_true_size_once_more_larger_where_there_is_room(stage: Any) -> None:
    from kiosk.labels.content import bare_label
    from kiosk.labels.layout import lay_out
    from kiosk.labels.sizes import parse_size
    from kiosk.rules.codes import parse
    from kiosk.screens.parts.preview import LabelPreview
    from kiosk.screens.theme import look

    preview = LabelPreview()
    preview.show(lay_out(bare_label(parse("HV4T8BRJ3V")), parse_size("25x25")))
    stage(preview, (800, 480), 60 * look.mm)
    assert preview.larger >= 2 and not preview.scaled
    preview.width = 40 * look.mm
    assert preview.larger == 0 and not preview.scaled


def test_a_thermometer_is_the_sign_of_reading_a_temperature_and_of_nothing_else() -> None:
    layouts = Path(kiosk.__file__).parent.rglob("*.kv")
    assert {path.name for path in layouts if re.search(r"icon.*'probe'", path.read_text())} == {"hot.kv", "reading.kv"}


def test_a_remedy_that_ends_in_a_screens_name_with_a_question_mark_gets_no_full_stop() -> None:
    from kiosk.rules.say import say
    from kiosk.telling import fault_words

    words.speak("en")
    error = Exception()
    error.say = say("update.refused.no_copy", why="disk full")  # type: ignore[attr-defined]
    assert fault_words(error).endswith("See Kiosk OK?")
