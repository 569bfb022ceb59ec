"""A contact probe on a cable: what it shows now, for the pad where a reading is entered.

It only fills in a figure; a hand says where it was held and hands it over.
"""

from __future__ import annotations

from kiosk.desk.session import Session
from kiosk.exchange.thermometers import NUMBER, Thermometer
from kiosk.rules.bounds import READING
from kiosk.rules.shop_air import AirReading

_NOW_S = 5.0  # older is not what it shows now
_AGAIN_S = 1.0


class Probe:
    """Listens from the first time it is asked."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._cable: Thermometer | None = None

    def shows_c(self) -> float | None:
        """None: there is no such probe, or it says nothing now."""
        settings = self._session.settings.thermometer
        if self._cable is None and settings.probe:
            pattern = settings.probe_pattern or NUMBER
            self._cable = Thermometer(settings.probe, pattern, int(settings.baud), every_s=_AGAIN_S, fits=_can_be)
            self._cable.begin()
        found = self._cable.latest if self._cable else None
        if self._cable is None or found is None or self._cable.now_s() - found.at_s > _NOW_S:
            return None
        return found.value_c

    def close(self) -> None:
        if self._cable is not None:
            self._cable.stop()
            self._cable = None


def _can_be(reading: AirReading, _: AirReading | None) -> bool:
    return READING.takes(reading.value_c)
