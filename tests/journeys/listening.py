"""What came of each step of a shift that is shown in the window: it listens to what is asked and answered, no more.

A scan is told from its step when it is read, for its answer may come while the next step has begun; what is asked and
answered keeps its order.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from kivy.clock import Clock

from kiosk.desk.desk import Scanned
from kiosk.desk.heat import ReadingTaken
from kiosk.rehearsal import PretendedTime
from kiosk.rules.outcomes import Done, Wait

SCANS = ("scan", "open_or_scan")  # questions that a label is answered by
TOUCHES = ("read", "settle", "close_audit")
LOOKS_S = 0.1


class Listening:
    """Steps by their file: `began`, with the pretended seconds then, and `told`, what each came to as steps.csv says.

    `said`: every text that stood on the screen meanwhile, however shortly.
    """

    def __init__(self, app: Any, clock: PretendedTime, texts: Callable[[], list[str]]) -> None:
        self._showing = app.showing
        self._names = [step.name for step in app.showing._steps]
        self._clock = clock
        self._asked: list[list[str]] = []  # file of a step, and what came of it once that is known
        self._heard: list[str] = []  # the steps of the labels that were read
        self.began: dict[str, float] = {}
        self.said: dict[str, None] = {}
        self._scanned, self._ask = app.clerk.scanned, app.worker.ask
        app.clerk.scanned, app.worker.ask = self._hear, self._listen
        Clock.schedule_interval(lambda _: self.said.update(dict.fromkeys(texts())), LOOKS_S)

    @property
    def told(self) -> dict[str, list[str]]:
        """File of a step -> what each of its labels or touches came to; nothing: it was neither read nor done."""
        heard = iter(self._heard)
        told: dict[str, list[str]] = {name: [] for name in self._names}
        for step, *came in self._asked:
            told[step or next(heard)] += came
        return told

    def _in_hand(self) -> str:
        return str(self._names[-1 - len(self._showing._steps)])

    def _hear(self, text: str) -> None:
        self._heard.append(self._in_hand())
        self._scanned(text)

    def _listen(self, question: Any, then: Any = None, failed: Any = None, **how: Any) -> None:
        called = getattr(question, "__qualname__", "").partition(".")[0]
        if called == "wait":
            self.began.setdefault(self._in_hand(), self._clock.counter_s)
        if called not in SCANS + TOUCHES:
            self._ask(question, then, failed, **how)
            return
        came = ["" if called in SCANS else self._in_hand()]
        self._asked.append(came)

        def answered(answer: Any) -> None:
            came.append(_word(answer))
            if then is not None:
                then(answer)

        self._ask(question, answered, failed, **how)


def _word(answer: Any) -> str:
    """In a word, as steps.csv has it: done, wait, refused and why."""
    if not isinstance(answer, Scanned):
        return "done" if isinstance(answer, ReadingTaken) or hasattr(answer, "groups") else type(answer).__name__
    outcome = answer.outcome
    if isinstance(outcome, Done | Wait):
        return type(outcome).__name__.lower()
    return f"refused {outcome.reason.value}"
