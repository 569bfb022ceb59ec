"""A row of the hot board: what is hot, where it stands, and how long a hand must keep off.

Red edge with the hot surface drawn on it while it is hot, amber and bare while it is safe to touch but too warm to
measure; the words say the same.  The values come from the desk, already bounded on the safe side.
"""

from __future__ import annotations

from dataclasses import dataclass

from kivy.properties import AliasProperty, BooleanProperty, NumericProperty

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paged import PagedRow
from kiosk.words import t


@dataclass(frozen=True, slots=True)
class HotLine:
    """What a row of the hot board shows.  Times in seconds from now; None: not known, only a reading ends it."""

    key: str
    name: str
    place: str
    now_c: float | None
    touch_s: float | None
    measure_s: float | None = None
    take_out_s: float | None = None  # until it should leave its sleeve

    @property
    def hot(self) -> bool:
        return self.touch_s is None or self.touch_s > 0


NOTHING = HotLine("", "", "", None, 0.0)


class HotRow(PagedRow):
    """Shows a `HotLine`.  Where the row is not `roomy`, its name needs the room of what the figure counts to."""

    roomy = BooleanProperty(False)
    edge = NumericProperty()  # width of the edge, px

    def _line(self) -> HotLine:
        return self.value or NOTHING

    def _note(self) -> str:
        line = self._line()
        if line.take_out_s is not None:
            return t("hot.take_out", left_s=line.take_out_s) if line.take_out_s > 0 else t("hot.out_now")
        if not line.hot:
            return t("hot.touch_only")
        return t("hot.measure", left_s=line.measure_s) if line.measure_s else ""

    def _counts_to(self) -> str:
        """What the large figure counts to; a holder that is cool to the hand says it in its note."""
        return t("hot.touch") if self._line().touch_s else ""

    def _brief(self) -> str:
        """The note of a holder that is not waited for to be touched, where there is little room."""
        return self._note() if self._line().hot else t("hot.measure_in_row")

    def _left(self) -> float:
        line = self._line()
        left = line.touch_s if line.hot else line.measure_s
        return -1.0 if left is None else left

    def _temperature(self) -> str:
        line = self._line()
        return "" if line.touch_s is not None or line.now_c is None else f"{line.now_c:.0f}°"

    temperature = AliasProperty(_temperature, bind=["value"])
    line = AliasProperty(_line, bind=["value"], rebind=True)
    counts_to = AliasProperty(_counts_to, bind=["value"])
    note = AliasProperty(_note, bind=["value"])
    brief = AliasProperty(_brief, bind=["value"])
    left_s = AliasProperty(_left, bind=["value"])


load_beside(__file__)
