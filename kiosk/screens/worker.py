"""One thread that asks the desk, so that the screen never waits.

Questions are answered in the order they were put; long work may stop, with nothing of it done, for whoever waits behind
it (`Session.is_asked`), and is put again later.  Every answer comes back through one queue and is handed over on Kivy's
thread.  The desk itself is opened, used and closed on this thread alone, and opened only when it is begun:
what is asked before waits for it.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from kivy.clock import Clock

if TYPE_CHECKING:  # the desk itself is read on its own thread, while the window is made
    from kiosk.desk import Desk
    from kiosk.screens.questions import Question

A = TypeVar("A")

log = logging.getLogger("kiosk.worker")


class _Mend(NamedTuple):
    """What is to be done before a desk that could not be opened is opened again, and who is told what came of it."""

    meanwhile: Callable[[], object]
    then: Callable[[], Any]
    failed: Callable[[Exception], Any] | None


class Worker:
    """Asks the desk that `opened` gives.

    `at_fault(error)` is called on Kivy's thread for a question that failed and had nobody to tell, and `at_refusal()`
    where the desk could not be opened, so that nothing will ever be answered; `refusal` is why.  Where
    `can_mend(error)`, asked on the desk's thread, says that a hand can do something about it, `at_damage(error)` is
    called instead, and what was asked waits: `reopen` then does that and opens the desk.  `broken`: it waits so now.
    """

    def __init__(self, opened: Callable[[], Desk], at_fault: Callable[[Exception], Any] | None = None) -> None:
        self._opened = opened
        self.at_fault: Callable[[Exception], Any] = at_fault or _nobody
        self.at_refusal: Callable[[], Any] = _nothing
        self.can_mend: Callable[[Exception], bool] = _never
        self.at_damage: Callable[[Exception], Any] = _nobody
        self.broken = False
        self._mends: queue.SimpleQueue[_Mend | None] = queue.SimpleQueue()
        self._waiting = 0  # questions that somebody waits for, and that nobody began to answer
        self._counting = threading.Lock()
        self._questions: queue.SimpleQueue[Callable[[Desk], Desk | None] | None] = queue.SimpleQueue()
        self._answers: queue.SimpleQueue[Callable[[], Any]] = queue.SimpleQueue()
        self._hand_over_soon = Clock.create_trigger(self._hand_over)
        self.refusal: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="desk")

    def begin(self) -> None:
        """Begin to open the desk; comes back at once.  Once begun it is not begun again."""
        if self._thread.ident is None:
            self._thread.start()

    def ask(
        self,
        question: Question[A],
        then: Callable[[A], Any] | None = None,
        failed: Callable[[Exception], Any] | None = None,
        *,
        patient: bool = False,
    ) -> None:
        """Put a question; `then(answer)` or `failed(error)` is called on Kivy's thread.

        patient: nobody stands there and waits for the answer.
        """

        def put(desk: Desk) -> None:
            if not patient:
                self._count(-1)
            try:
                answer = question(desk)
            except Exception as error:
                self._could_not(error, failed)
            else:
                if then is not None:
                    self.post(lambda: then(answer))

        if not patient:
            self._count(1)
        self._questions.put(put)

    def _count(self, more: int) -> None:
        with self._counting:
            self._waiting += more

    def _is_asked(self) -> bool:
        return self._waiting > 0

    def reopen(
        self,
        meanwhile: Callable[[], object],
        then: Callable[[], Any],
        failed: Callable[[Exception], Any] | None = None,
    ) -> None:
        """Close the desk, do that, and open it again; `then()` or `failed(error)` is called on Kivy's thread."""
        if self.broken:
            self._mends.put(_Mend(meanwhile, then, failed))
            return

        def put(desk: Desk) -> Desk:
            desk.close()
            try:
                meanwhile()
            except Exception as error:
                begun = self._begun()
                self._could_not(error, failed)
            else:
                begun = self._begun()
                self.post(then)
            return begun

        self._questions.put(put)

    def _could_not(self, error: Exception, failed: Callable[[Exception], Any] | None) -> None:
        if not getattr(error, "ordinary", False):
            log.warning("the desk could not answer: %s", error, exc_info=True)
        self.post(lambda: (failed or self.at_fault)(error))

    def post(self, call: Callable[[], Any]) -> None:
        """Have something done on Kivy's thread; from any thread."""
        self._answers.put(call)
        self._hand_over_soon()

    def stop(self) -> None:
        """Answer what was asked, close the desk, and come back when that is done."""
        if self._thread.ident is not None:
            self._mends.put(None)
            self._questions.put(None)
            self._thread.join()

    def _hand_over(self, _: float) -> None:
        while True:
            try:
                call = self._answers.get_nowait()
            except queue.Empty:
                return
            call()

    def _begun(self) -> Desk:
        mend: _Mend | None = None
        while True:
            try:
                desk = self._opened()
            except Exception as refusal:
                if not self.can_mend(refusal):
                    raise
                mend = self._mended(refusal, mend)
            else:
                self.broken = False
                desk.session.is_asked = self._is_asked
                if mend is not None:
                    self.post(mend.then)
                return desk

    def _mended(self, refusal: Exception, tried: _Mend | None) -> _Mend:
        """Waits until a hand has done something about it that did not fail.  tried: what was done before, in vain."""
        self.broken = True
        if tried is None:
            self.post(lambda: self.at_damage(refusal))
        else:
            self._could_not(refusal, tried.failed)
        while (mend := self._mends.get()) is not None:
            try:
                mend.meanwhile()
            except Exception as error:
                self._could_not(error, mend.failed)
            else:
                return mend
        raise refusal

    def _run(self) -> None:
        desk: Desk | None = None
        try:
            desk = self._begun()
            while (question := self._questions.get()) is not None:
                desk = question(desk) or desk
        except BaseException as refusal:
            self.refusal = refusal
            self.post(lambda: self.at_refusal())
        finally:
            if desk is not None:
                desk.close()


def _nobody(error: Exception) -> None:
    """There is no window yet; the log has it."""


def _nothing() -> None:
    """There is no window yet; `refusal` keeps it."""


def _never(error: Exception) -> bool:
    """Nobody is there who could do anything about it."""
    return False
