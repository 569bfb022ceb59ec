"""Samples of the screens that set a shop up: the keyboard, lists that stand in for a scan.

See `samples.py` for what a sample is.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from kiosk.screens.questions.choose import Pick
from tests.journeys.samples import ASSEMBLY


def _choose(screen: Any, what: str, page: str = "list", keys: str = "letters") -> None:
    screen.shown(what=what)
    if page == "none":
        screen.show("", ())
        return
    if page == "what":
        return
    where = "Cabinet B · 12-08" if what == "holder" else "slot"
    screen.show("", tuple(Pick(f"H{at}", ASSEMBLY.name, where) for at in range(40)))
    if page == "type":
        screen.search()
        screen.ids.entry.ids.field.text = "Roughing mill Ø12"
        screen.ids.entry.ids.letters.page = keys


SAMPLES: tuple[tuple[str, str, Callable[..., Any]], ...] = (
    ("choose", "what", partial(_choose, what="any", page="what")),
    ("choose", "holders", partial(_choose, what="holder")),
    ("choose", "places", partial(_choose, what="place")),
    ("choose", "none", partial(_choose, what="holder", page="none")),
    *(("choose", keys, partial(_choose, what="place", page="type", keys=keys))
      for keys in ("letters", "figures", "accents")),
)  # fmt: skip
