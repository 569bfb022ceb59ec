"""Long work in slices: whoever walks through thousands of things looks up between a few of them.

What is looked at there, and whether the work goes on, is the caller's; it may raise, and then nothing was done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")
Between = Callable[[int], object]  # told how many came

SLICE = 50  # lines written in a hundredth of a second, twentieth on a tablet


def in_slices(things: Iterable[T], between: Between) -> Iterator[T]:
    """All of them in order; `between(n)` is told before each slice how many came."""
    for number, each in enumerate(things):
        if number % SLICE == 0:
            between(number)
        yield each


def not_asked(_: int) -> None:
    """Nobody needs to look up in between."""
