"""A thermometer in the shop: what it says is a setting with a line of its own, and counts for the holds that run."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from pathlib import Path

import pytest

from kiosk.exchange.thermometers import Thermometer
from kiosk.rules.cooling.unknowns import AMBIENT_K, AMBIENT_READ_K
from kiosk.rules.lines import THERMOMETER, SettingChanged
from kiosk.rules.shop_air import TOO_WARM_K, AirReading
from kiosk.settings import SettingsFault, ThermometerSettings, load
from tests.conftest import Shop


def with_thermometer(shop: Shop) -> Thermometer:
    """One that is told what to say."""
    session = shop.desk.session
    session.settings = replace(session.settings, thermometer=ThermometerSettings("file:/nowhere/w1_slave"))
    shop.desk.tick()
    found = shop.desk.air.thermometer
    assert found is not None
    found.stop()
    found._clock = lambda: shop.desk.now().watched_s
    return found


def says(shop: Shop, thermometer: Thermometer, value_c: float) -> None:
    thermometer.latest = AirReading(value_c, shop.desk.now().watched_s)
    session = shop.desk.session
    session.settings = replace(session.settings, thermometer=ThermometerSettings("file:/nowhere/w1_slave"))
    shop.desk.tick()


def remaining_s(shop: Shop) -> float:
    hold = shop.desk.session.holder("T001").hold
    assert hold is not None and hold.remaining_s is not None
    return hold.remaining_s


def test_a_warmer_shop_lengthens_the_hold_that_runs_and_a_colder_one_never_shortens_it(shop: Shop) -> None:
    found = with_thermometer(shop)
    for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place("Rack 1")):
        shop.desk.scan(code)
    shop.clock.forward(300.0)
    before_s = remaining_s(shop)
    says(shop, found, 29.0)
    warmer_s = remaining_s(shop)
    assert warmer_s > before_s + 60.0
    written = [line.entry for line in shop.desk.session.book.lines(newest=5)]
    assert SettingChanged("heat.ambient_c", "29", THERMOMETER) in written
    shop.clock.forward(120.0)
    says(shop, found, 17.0)
    assert shop.desk.session.settings.heat.ambient_c == 17.0
    assert remaining_s(shop) == warmer_s - 120.0


def test_a_thermometer_shortens_the_holds_that_begin_under_it_and_silence_takes_that_back(shop: Shop) -> None:
    shop.clock.forward(40 * 86400.0)
    found = with_thermometer(shop)
    shop.clock.forward(100.0)
    says(shop, found, 23.0)
    heat = shop.desk.session.settings.heat
    assert (heat.ambient_c, heat.ambient_sd_k) == (23.0, AMBIENT_READ_K.whole)
    for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place("Rack 1")):
        shop.desk.scan(code)
    measured_s = remaining_s(shop)
    session = shop.desk.session
    session.settings = replace(session.settings, thermometer=ThermometerSettings())  # taken off the wall
    shop.desk.tick()
    assert shop.desk.session.settings.heat.ambient_sd_k == AMBIENT_K.whole
    by_hand_s = remaining_s(shop)
    assert by_hand_s > 1.01 * measured_s
    written = [line.entry for line in shop.desk.session.book.lines(newest=1)]
    assert written == [SettingChanged("heat.ambient_sd_k", "1.5", THERMOMETER)]
    again = with_thermometer(shop)
    shop.clock.forward(100.0)
    says(shop, again, 23.0)
    assert shop.desk.session.settings.heat.ambient_sd_k == AMBIENT_READ_K.whole
    assert remaining_s(shop) == pytest.approx(by_hand_s - 100.0, abs=1.0), "what runs keeps the least that was known"


@pytest.mark.parametrize("air_c", [39.4, 42.0, 47.0])
def test_where_the_air_is_nearer_to_the_limit_than_may_be_set_no_time_ends_a_hold_until_it_cools(
    shop: Shop, air_c: float
) -> None:
    """The touch limit is 43 °C: held as if it stood in 38 °C, it would be let go while it is warmer."""
    shop.clock.forward(60 * 86400.0)
    found = with_thermometer(shop)
    shop.clock.forward(100.0)
    says(shop, found, air_c)
    heat = shop.desk.session.settings.heat
    assert (heat.ambient_c, heat.ambient_sd_k) == (38.0, TOO_WARM_K)
    for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place("Rack 1")):
        shop.desk.scan(code)
    for _ in range(3):
        shop.clock.forward(1200.0)
        says(shop, found, air_c)
        hold = shop.desk.session.holder("T001").hold
        assert hold is not None and hold.needs_reading and hold.remaining_s is None
        assert shop.desk.heat.advice("T001") is None
    shop.clock.forward(1200.0)
    says(shop, found, 26.2)
    heat = shop.desk.session.settings.heat
    assert (heat.ambient_c, heat.ambient_sd_k) == (27.0, AMBIENT_READ_K.whole)
    hold = shop.desk.session.holder("T001").hold
    assert hold is not None and hold.remaining_s is None, "it was heated while nobody knew"


def test_a_thermometer_that_falls_silent_is_told_of_and_the_shop_counts_as_warm(shop: Shop) -> None:
    found = with_thermometer(shop)
    shop.clock.forward(200.0)
    says(shop, found, 18.4)
    assert shop.desk.session.settings.heat.ambient_c == 19.0 and not shop.desk.air.silent
    shop.clock.forward(2000.0)
    session = shop.desk.session
    session.settings = replace(session.settings, thermometer=ThermometerSettings("file:/nowhere/w1_slave"))
    shop.desk.tick()
    assert shop.desk.air.silent and shop.desk.session.settings.heat.ambient_c == 28.0


def test_what_a_thermometer_types_is_judged_like_what_any_other_says(shop: Shop) -> None:
    session = shop.desk.session
    told = ThermometerSettings("typed:", r"AIR=([0-9.]+)C")
    shop.desk.air.typed("AIR=22.0C")
    assert shop.desk.air.thermometer is None, "there is none yet"
    session.settings = replace(session.settings, thermometer=told)
    shop.desk.tick()
    found = shop.desk.air.thermometer
    assert found is not None
    found._clock = lambda: shop.desk.now().watched_s
    for text in ("AIR=26.2C", "HV4T8BRJ3V", "27.5C", "AIR=-99.9C"):
        shop.desk.air.typed(text)
    shop.clock.forward(61.0)
    session.settings = replace(session.settings, thermometer=told)
    shop.desk.tick()
    assert (session.settings.heat.ambient_c, session.settings.heat.ambient_sd_k) == (27.0, AMBIENT_READ_K.whole)


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="pseudo-terminals are a Unix thing")
def test_a_probe_on_a_cable_says_what_it_shows_now_and_nothing_when_it_is_silent(shop: Shop) -> None:
    assert shop.desk.probe.shows_c() is None, "there is none"
    ours, theirs = os.openpty()
    session = shop.desk.session
    session.settings = replace(
        session.settings,
        thermometer=ThermometerSettings(probe=f"serial:{os.ttyname(theirs)}", probe_pattern=r"CH1 (-?[\d.]+)"),
    )
    try:
        shop.desk.probe.shows_c()
        time.sleep(0.3)
        os.write(ours, b"CH1 61.4 C\r\n")
        end_s = time.monotonic() + 5.0
        while shop.desk.probe.shows_c() is None and time.monotonic() < end_s:
            time.sleep(0.02)
        assert shop.desk.probe.shows_c() == 61.4
        cable = shop.desk.probe._cable
        assert cable is not None
        cable._clock = lambda: time.monotonic() + 60.0
        assert shop.desk.probe.shows_c() is None, "a minute old is not what it shows now"
    finally:
        shop.desk.probe.close()
        os.close(ours)
        os.close(theirs)


@pytest.mark.parametrize("pattern", ["", r"(-?[0-9.]+)\s*C?", r".*?([0-9.]+).*"])
def test_a_thermometer_that_types_bare_figures_is_refused_because_a_probe_types_them_too(
    pattern: str, tmp_path: Path
) -> None:
    file = tmp_path / "settings.toml"
    file.write_text(f"[thermometer]\nsource = 'typed:'\npattern = '{pattern}'\n", "utf-8")
    with pytest.raises(SettingsFault, match="beside its figure"):
        load(file)
    file.write_text("[thermometer]\nsource = 'typed:'\npattern = 'AIR=([0-9.]+)C'\n", "utf-8")
    assert load(file).thermometer.source == "typed:"
