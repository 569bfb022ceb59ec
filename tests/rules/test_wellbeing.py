"""Every part of the kiosk is judged from what was looked up: what is well, what needs a hand, what nobody set up."""

from __future__ import annotations

import pytest

from kiosk import words
from kiosk.rules import wellbeing
from kiosk.rules.link_state import LinkState
from kiosk.rules.wellbeing import ClockSeen, CopiesSeen, Finding, Mark, Part

NOW, DAY = 1_795_000_000.0, 86_400.0


@pytest.mark.parametrize(
    ("seen", "mark", "stopped"),
    [
        (CopiesSeen("f", True, NOW - 0.5 * DAY), Mark.GOOD, False),
        (CopiesSeen("f", True, NOW - 1.9 * DAY), Mark.GOOD, False),
        (CopiesSeen("f", True, NOW - 2.1 * DAY), Mark.BAD, True),
        (CopiesSeen("f", True, NOW - 900 * DAY), Mark.BAD, True),
        (CopiesSeen("f", True, NOW + 3 * DAY), Mark.BAD, True),  # a clock that was wrong dated it: nobody knows
        (CopiesSeen("f", True, NOW + 60.0), Mark.GOOD, False),
        (CopiesSeen("f", True, None), Mark.LOOK, True),
        (CopiesSeen("f", False, None), Mark.BAD, True),
        (CopiesSeen("f", True, None, due=False), Mark.TOLD, False),  # an empty book has nothing to copy
        (CopiesSeen("f", False, None, due=False), Mark.BAD, True),
    ],
)
def test_copies_have_stopped_when_there_is_none_of_the_last_two_days(
    seen: CopiesSeen, mark: Mark, stopped: bool
) -> None:
    assert wellbeing.of_copies(Part.SECOND, seen, NOW).mark is mark
    assert wellbeing.have_stopped(seen, NOW) is stopped


@pytest.mark.parametrize(("free", "mark"), [(64e9, Mark.GOOD), (1e9, Mark.LOOK), (1e8, Mark.BAD)])
def test_a_disk_needs_a_hand_before_it_is_full(free: float, mark: Mark) -> None:
    assert wellbeing.of_disk(free).mark is mark


@pytest.mark.parametrize(
    ("seen", "mark"),
    [
        (ClockSeen(True, 0.02), Mark.GOOD),
        (ClockSeen(None), Mark.TOLD),
        (ClockSeen(False, 16.0, NOW - 40 * DAY), Mark.LOOK),
        (ClockSeen(False, 16.0), Mark.LOOK),
        (ClockSeen(True, 0.02, None, NOW + 3600.0), Mark.BAD),  # before what the book says already happened
        (ClockSeen(True, 0.02, None, NOW - 5.0, 300.0), Mark.BAD),
        (ClockSeen(True, 0.02, None, NOW - 5.0, -300.0), Mark.BAD),
        (ClockSeen(True, 0.02, None, NOW - 5.0, 3.0), Mark.GOOD),
    ],
)
def test_a_clock_is_good_only_where_the_network_sets_it_and_nothing_contradicts(seen: ClockSeen, mark: Mark) -> None:
    assert wellbeing.of_clock(seen, NOW).mark is mark


def found() -> list[Finding]:
    link = [wellbeing.of_link(state.value, level=False) for state in LinkState if state is not LinkState.ALONE]
    return [
        *(wellbeing.of_copies(part, CopiesSeen("f", there, made, due), NOW)
          for part in (Part.COPIES, Part.SECOND) for there in (True, False) for due in (True, False)
          for made in (None, NOW - 60.0, NOW - 1.5 * DAY, NOW - 9 * DAY)),
        *(wellbeing.of_clock(ClockSeen(network, 1.0, at, NOW - 9.0), NOW)
          for network in (True, False, None) for at in (None, NOW - 60.0, NOW - 1.5 * DAY, NOW - 9 * DAY)),
        wellbeing.of_clock(ClockSeen(True, 1.0, None, NOW + DAY), NOW),
        wellbeing.of_clock(ClockSeen(True, 1.0, None, NOW, 500.0), NOW),
        wellbeing.of_camera(""), wellbeing.of_camera("gone"),
        *(wellbeing.of_printer(queue, known, trouble)
          for queue in ("", "Q") for known in (True, False, None) for trouble in ("", "term.trouble.jam")),
        *(wellbeing.of_thermometer(source, silent, 23.0) for source in ("", "file:/x") for silent in (True, False)),
        *(wellbeing.of_probe(source, shows_c) for source in ("", "serial:/x") for shows_c in (None, 36.0)),
        *(wellbeing.of_presetter(state, 3) for state in ("off", "unset", "opens", "listens", "gone", "taken")),
        *link, wellbeing.of_link(None, level=True), wellbeing.of_disk(1e8),
    ]  # fmt: skip


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_finding_has_its_words_and_what_needs_a_hand_says_what_to_do(language: str) -> None:
    catalogue = words.catalogue(language)
    for each in found():
        for said in filter(None, (each.what, each.remedy)):
            assert catalogue.say(said.key, **dict(said.values))
        assert each.remedy is not None or each.mark not in (Mark.BAD, Mark.LOOK), each
        assert f"health.part.{each.part.value}" in catalogue.words
    assert all(f"health.mark.{mark.value}" in catalogue.words for mark in Mark)
