"""How long nobody may try a PIN any more after wrong ones: what somebody who guesses may expect, and nothing else.

Every wrong try since the last right one counts, whatever else was done in between; the wait grows with each
further one.  Whoever goes from one supervisor to the next meets a wait for all of them.
"""

from __future__ import annotations

WRONG_PIN = "wrong_pin"  # why somebody who tried one was turned away
LEAST_FIGURES, MOST_FIGURES = 4, 9  # of a PIN; what the pad takes
FREE = 4  # wrong tries of one supervisor's PIN that only cost the typing
FREE_OF_ALL = 14  # and of all supervisors' together
WAITS_S = (60.0, 300.0, 900.0, 3600.0)  # after the next wrong one, the one after that ...; the last one stays
ALL_ALIKE = FREE_OF_ALL + len(WAITS_S)  # so many wrong tries of one PIN, or more, wait the same


def may_be_pin(text: str) -> bool:
    """Whether a PIN can be this: figures alone, so that a gloved finger can type it on the pad."""
    return text.isascii() and text.isdigit() and LEAST_FIGURES <= len(text) <= MOST_FIGURES


def wait_s(wrong: int, wrong_of_all: int) -> float:
    """How long nothing is tried, watched seconds from the last wrong try.

    wrong: tries of this supervisor's PIN since it was last given right.  wrong_of_all: the same, of every
    supervisor's together.
    """
    over = max(wrong - FREE, wrong_of_all - FREE_OF_ALL)
    return WAITS_S[min(over, len(WAITS_S)) - 1] if over > 0 else 0.0
