"""Long work on a book's file, in a process of its own, so that no picture of the window waits for it.

Whoever reads every line of a book holds Python's lock, which the window's thread has to ask for many times a picture,
and what was read has to be cleared away under it, too.  A job is a function of a module and plain values; what it
answers or raises comes back as from a call.  It ends at once when whoever asked for it is gone, and must bear that.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from queue import SimpleQueue
from typing import Any, TypeVar

from kiosk import filing
from kiosk.ledger.verify import Progress

A = TypeVar("A")

_ENDS_S = 2.0


def run(job: Callable[..., A], *given: Any, tell: Progress | None = None) -> A:
    """What `job(*given, progress)` answers there; waits for it.

    `tell` is called here with what it says of its progress, and it goes on after that; what `tell` raises ends it.
    Raises what it raises, and ChildProcessError where its process ended before it answered.
    """
    words = [sys.executable, "-m", __name__]
    process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert process.stdin is not None and process.stdout is not None
    try:
        _put(process.stdin, (job, given))
        while (progress := _take(process.stdout)) is not None:
            if tell is not None:
                tell(*progress)
            _put(process.stdin, True)
        answer, error = _take(process.stdout)
    finally:
        process.kill()
        for pipe in (process.stdin, process.stdout):
            with suppress(BrokenPipeError):  # what it was not told any more
                pipe.close()
        with suppress(subprocess.TimeoutExpired):  # one that waits for a share that hangs ends when that answers
            process.wait(_ENDS_S)
    if error is not None:
        raise error
    return answer  # type: ignore[no-any-return]  # it came through a pipe


def answer() -> None:
    """Does what it is asked for on its standard input, and ends where that does."""
    pipe_out = filing.own_output()
    job, given = _take(sys.stdin.buffer)
    heard: SimpleQueue[None] = SimpleQueue()

    def listen() -> None:
        while os.read(0, 4096):  # one word at a time: the next is said after the next progress
            heard.put(None)
        os._exit(1)

    def progress(done: int, total: int) -> None:
        _put(pipe_out, (done, total))
        heard.get()

    threading.Thread(target=listen, daemon=True).start()
    try:
        found: Any = (job(*given, progress), None)
    except Exception as error:
        found = (None, error)
    _put(pipe_out, None)
    _put(pipe_out, found)


def _put(pipe: Any, said: Any) -> None:
    """Says something to the other end.  Raises ChildProcessError where that is gone."""
    try:
        _Pickler(pipe).dump(said)
        pipe.flush()
    except BrokenPipeError:
        raise ChildProcessError("the process of a job is gone") from None


def _take(pipe: Any) -> Any:
    """What the other end says next.  Raises ChildProcessError where that is gone."""
    try:
        return pickle.load(pipe)
    except (EOFError, pickle.UnpicklingError):
        raise ChildProcessError("the process of a job ended before it answered") from None


class _Pickler(pickle.Pickler):
    """Takes errors along as they are, whatever their classes are made with, and those they came from."""

    def reducer_override(self, obj: Any) -> Any:
        if isinstance(obj, BaseException):
            return _error, (type(obj), obj.args, vars(obj), obj.__cause__, obj.__context__)
        return NotImplemented


def _error(
    kind: type[BaseException],
    args: tuple[Any, ...],
    state: dict[str, Any],
    cause: BaseException | None,
    context: BaseException | None,
) -> BaseException:
    made = kind.__new__(kind, *args)
    vars(made).update(state)
    made.__cause__, made.__context__ = cause, context
    return made


if __name__ == "__main__":
    from kiosk.desk import beside  # what is said is known by the module's name, which this one does not have here

    beside.answer()
