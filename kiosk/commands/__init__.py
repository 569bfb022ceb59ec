"""The commands, by what they are about; each is a thin call into a room.

Exit codes: done; done and found wanting, or refused; wrong use or a thing that cannot be used.
"""

DONE, WANTING, WRONG = 0, 1, 2
