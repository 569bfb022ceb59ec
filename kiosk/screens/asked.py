"""How far the desk is with what the window asked of it: questions are answered in the order they were put.

One for the window, as there is one desk.  It tells a key that what it asked is still on its way.
"""

from __future__ import annotations


class Asked:
    """`last`: number of the last question that was put, counted from 1.  `answered`: of the last that was answered."""

    def __init__(self) -> None:
        self.last = self.answered = 0

    def put(self) -> None:
        """A question was put."""
        self.last += 1

    def done(self) -> None:
        """The next one was answered, or could not be."""
        self.answered += 1


asked = Asked()
