"""What screens can ask the desk: one module a place of work, one function a question.

A question is handed to `Clerk.ask`, which has it answered on the desk's own thread.  These are the only modules of
the window beside its worker that know what lies behind the clerk; screens know the questions and the values that
answer them.  Nothing is decided or worded here, and no module here knows Kivy.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeAlias, TypeVar

if TYPE_CHECKING:  # the first screen is there before the desk is loaded
    from kiosk.desk import Desk

A = TypeVar("A")

Question: TypeAlias = "Callable[[Desk], A]"
