"""How far the desk is with what the window asked of it: questions are answered in the order they were put.

One for the window, as there is one desk.  It tells a key that what it asked is still on its way.
"""

from __future__ import annotations


class Asked:
    """`last`: number of the last question that was put, counted from 1.  `answered`: of the last that was answered.

    One that is never answered holds nothing up for longer than until a later one was.
    """

    def __init__(self) -> None:
        self.last = self.answered = 0

    def put(self) -> int:
        """A question is put; its number."""
        self.last += 1
        return self.last

    def done(self, number: int) -> None:
        """This one was answered, or could not be, and so was whatever was put before."""
        self.answered = max(self.answered, number)


asked = Asked()
