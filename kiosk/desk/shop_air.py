"""The shop's temperature kept by a thermometer: read, judged, and set like any other setting, with a line of its own.

A hold keeps the warmest the shop was set to since it began, and the least that was known of it, so that warmer air
lengthens it and colder air never shortens it.  Nobody has to be signed in for this, and nothing but the shop's
temperature and how well it is known is ever set here.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

from kiosk.desk.session import Session, StillHot
from kiosk.exchange.thermometers import NUMBER, Thermometer
from kiosk.rules.shop_air import WARMER_K, AirReading, is_too_warm, of_burst, to_know_k, to_set_c
from kiosk.settings import SettingsFault

_EVERY_S = 60.0
_FIRST_S = 90.0  # a sensor has that long to say something before the shop counts as unknown


class ShopAir:
    """Asked once a second.  set_value(key, value): sets a value of the shop's air."""

    def __init__(self, session: Session, set_value: Callable[[str, float], object]) -> None:
        self._session, self._set_value = session, set_value
        self.thermometer: Thermometer | None = None
        self._source: str | None = None
        self._begun_s = self._asked_s = session.now().watched_s

    @property
    def silent(self) -> bool:
        """Whether there is a thermometer that does not say how warm it is."""
        found, waited_s = self.thermometer, self._session.now().watched_s - self._begun_s
        return found is not None and waited_s > _FIRST_S and found.fresh() is None

    def typed(self, text: str) -> None:
        """What a thermometer that types said."""
        if self.thermometer is not None:
            self.thermometer.heard(of_burst(text, self._session.settings.thermometer.pattern))

    def tick(self) -> None:
        """Sets what the thermometer says, once a minute."""
        settings, now_s = self._session.settings.thermometer, self._session.now().watched_s
        if settings.source != self._source:
            self.close()
            self._source, self._begun_s, self._asked_s = settings.source, now_s, now_s
            # What was known when another spoke, or before the kiosk was off, no longer is.
            self._know(None, 0.0, gone=not settings.source)
            if settings.source:
                self.thermometer = Thermometer(settings.source, settings.pattern or NUMBER, int(settings.baud))
                self.thermometer.begin()
        found = self.thermometer
        if now_s - self._asked_s < _EVERY_S or (found is not None and self._waits(found, now_s)):
            return
        self._asked_s = now_s
        if found is None:
            self._know(None, 0.0, gone=True)
            return
        said = found.latest
        heat, at_s = self._session.settings.heat, found.now_s()
        most_c = heat.limit_c - WARMER_K
        wanted_c = to_set_c(heat.ambient_c, said, at_s, settings.unknown_c, most_c)
        as_said = wanted_c is None or self._set("ambient_c", wanted_c)
        warmer = wanted_c is not None and wanted_c > heat.ambient_c and not as_said
        self._know(said if as_said else None, at_s, warmer or is_too_warm(said, at_s, settings.unknown_c, most_c))

    def _waits(self, found: Thermometer, now_s: float) -> bool:
        """Whether it said nothing yet and need not have."""
        return found.latest is None and now_s - self._begun_s < _FIRST_S

    def _know(self, said: AirReading | None, now_s: float, too_warm: bool = False, *, gone: bool = False) -> None:
        """How well the air is known, after its temperature was set.  too_warm: it is warmer than that."""
        known_k = to_know_k(self._session.settings.heat.ambient_sd_k, said, now_s, too_warm, gone=gone)
        if known_k is not None:
            self._set("ambient_sd_k", known_k)

    def _set(self, key: str, value: float) -> bool:
        """Whether it is so now: while a hold hangs on it, or so near the limit, it cannot be, and is tried again."""
        with suppress(StillHot, SettingsFault):
            self._set_value(key, value)
            return True
        return False

    def close(self) -> None:
        if self.thermometer is not None:
            self.thermometer.stop()
            self.thermometer = None
