"""What is read as one stands in one line where the box is wide enough."""

from __future__ import annotations

from collections.abc import Callable

import pytest

Lines = Callable[[str, float], list[str]]


@pytest.fixture
def lines() -> Lines:
    pytest.importorskip("kivy")
    from kiosk.screens import theme
    from kiosk.screens.parts.text import WholeWords, lines_of

    theme.fonts()

    def laid(text: str, width: float) -> list[str]:
        label = WholeWords(text=text, font_name="B612", font_size=20, text_size=(width, None))
        label.resolve_font_name()
        label.render()
        assert label.text == text, "the text itself is left alone"
        told = ["".join(word.text for word in line.words) for line in label._cached_lines]
        drawn = [line.replace("\u00a0", " ").strip() for line in told]
        counted = lines_of(text, 20, width, False, "B612")
        assert counted is not None and len(drawn) <= counted, "never more lines than room was made for"
        return drawn

    return laid


@pytest.mark.parametrize(
    "text, width, together",
    [
        ("No holder has the label HV4T 8BRJ 3V", 300, "HV4T 8BRJ 3V"),
        ("The cutter is too thick by 0.012 mm here", 295, "0.012 mm"),
        ("Rundgang, 1 Fach", 130, "1 Fach"),
        ("Schublade 6: 6 Fächer", 155, "6 Fächer"),
        ("beendet nach 28:20 · 2 Messungen", 230, "2 Messungen"),
        ("Roughing mill Ø12 long · Cabinet A", 222, "long ·"),
        ("The shift of Monday 09:13 – 17:13", 250, "09:13 – 17:13"),
    ],
)
def test_no_line_ends_within_a_code_a_figure_with_its_unit_or_before_a_dot(
    lines: Lines, text: str, width: float, together: str
) -> None:
    assert any(together in line for line in lines(text, width)), lines(text, width)


def test_a_box_that_is_too_narrow_for_all_of_it_breaks_it_and_loses_nothing(lines: Lines) -> None:
    assert lines("HV4T 8BRJ 3V", 70) == ["HV4T", "8BRJ", "3V"]


def test_a_name_without_spaces_that_is_wider_than_its_box_ends_a_line_after_a_dash(lines: Lines) -> None:
    assert lines("sent to front_office_label_printer", 160) == ["sent to", "front_office_", "label_printer"]
    assert lines("front_office_label_printer", 400) == ["front_office_label_printer"]
