"""What the labels screen says and offers when printing does not go as it should: nothing is lost, and it can go on."""

from __future__ import annotations

from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.labels.command import Made
from kiosk.labels.queue import FateUnknown, Job, JobState, QueueFault, QueueGone, Trouble
from kiosk.screens.labels.labels import TO_FILE, LabelsScreen, Page
from kiosk.settings import Settings
from kiosk.words import speak


class Clerk:
    """Writes down what is asked, and answers nothing."""

    settings = Settings()

    def __init__(self) -> None:
        self.asked: list[Any] = []

    def ask(self, question: Any, then: Any = None, failed: Any = None) -> None:
        self.asked.append(then)

    def play(self, sound: object) -> None:
        """Nothing is heard."""


@pytest.fixture
def screen() -> LabelsScreen:
    screen = LabelsScreen(clerk=Clerk())
    screen._contents, screen.queue, screen.count = ("label",), "labels", 1
    return screen


@pytest.mark.parametrize(
    "error",
    [
        QueueFault("labels", "it does not answer"),
        QueueGone("laser", ["labels"]),
        FateUnknown(Job("labels", 3, "label", JobState.UNKNOWN)),
        OSError(28, "No space left on device"),
    ],
    ids=["no answer", "gone", "nobody knows", "disk full"],
)
@pytest.mark.parametrize("language", ["en", "de"])
def test_what_could_not_be_printed_is_kept_and_can_be_sent_again(
    screen: LabelsScreen, error: Exception, language: str
) -> None:
    speak(language)
    try:
        screen._failed(error)
    finally:
        speak("en")
    assert screen.page == Page.ANSWER and not screen.good and screen.answer
    assert screen.again and screen._contents == ("label",)
    screen.clerk.asked.clear()
    screen.retry()
    assert screen.clerk.asked == [screen._run], "the same labels are asked for once more"


def test_where_there_is_no_label_to_print_the_one_before_is_not_offered_once_more(screen: LabelsScreen) -> None:
    screen._made(Made(1, job=Job("labels", 7, "label", JobState.DONE)))
    assert screen.again
    screen._several(())
    assert not screen.good and not screen.again


def test_a_job_that_waits_for_a_stopped_printer_says_so_and_one_that_is_printed_says_nothing(
    screen: LabelsScreen,
) -> None:
    for troubles, state, said in (
        ((Trouble.STOPPED,), JobState.WAITING, "not printing it yet: stopped"),
        ((Trouble.OUT_OF_MEDIA, Trouble.COVER_OPEN), JobState.PRINTING, "out of labels or paper, cover open"),
        ((), JobState.WAITING, ""),
        ((Trouble.STOPPED,), JobState.DONE, ""),
    ):
        screen._made(Made(1, job=Job("labels", 7, "label", state, troubles)))
        assert screen.good and screen.answer == "One label sent to labels, job 7"
        assert said in screen.answer_more and bool(said) == bool(screen.answer_more)


def test_a_tape_is_called_by_the_languages_own_word(screen: LabelsScreen) -> None:
    speak("de")
    try:
        screen.choose_size()
        assert [choice.text for choice in screen.choices][:3] == ["Band 9\u00a0mm", "Band 12\u00a0mm", "12x12"]
        assert screen.choices[0].key == "tape 9 mm"
    finally:
        speak("en")


def test_the_size_and_the_printer_in_use_are_ticked_in_their_lists(screen: LabelsScreen) -> None:
    screen.size_name = "25x25"
    screen.choose_size()
    assert [each.key for each in screen.choices if "✓" in each.note] == ["25x25"]
    screen._queues(())
    assert [each.key for each in screen.choices if "✓" in each.note] == []
    screen.queue = TO_FILE
    screen._queues(())
    assert [each.key for each in screen.choices if "✓" in each.note] == [TO_FILE]
