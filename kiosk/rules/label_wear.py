"""How worn a label is, and when it asks to be printed anew: before it fails, and not for a thumb that lay on it once.

A read says what share of the label's error correction its damage spends (`reader.wear`).  Oil, a glint or a hand make a
single read look worse than the label is, so a change counts once several reads in a row agree on it, and only a change
of step is kept in the book.  Of drawn labels with a tenth of their modules rubbed off, which spends half of the error
correction in the middle, a camera still reads two of three at the first glance; with a fifth gone, one of four.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

STEPS = (0.25, 0.5, 0.75)
"""Shares of the error correction at which a label counts as worse."""
ASKS_FROM = 0.5
"""From this share on a label asks to be printed anew."""
READS = 3
"""Reads in a row, each on an occasion of its own, that must agree."""


def step_of(spent: float) -> int:
    """The step of a share, from 0 for a label that is as good as whole."""
    return bisect_right(STEPS, spent)


def changed(kept: float, latest: Sequence[float]) -> float | None:
    """What the book should say of a label from now on; None: what it says, `kept`, still holds.

    latest: shares of its last reads.  The best of those that are all worse, or the worst of those that are all better.
    """
    if len(latest) < READS:
        return None
    last = latest[-READS:]
    least, most = min(last), max(last)
    if step_of(least) > step_of(kept):
        return least
    return most if step_of(most) < step_of(kept) else None


def asks_for_new(spent: float) -> bool:
    """Whether a label should be printed anew before it fails."""
    return spent >= ASKS_FROM
