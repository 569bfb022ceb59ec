"""What readings say together is what each of them says alone, and asking for many costs hardly more than for one."""

from __future__ import annotations

from typing import Any
from unittest.mock import patch

import numpy as np
import pytest

from kiosk.rules.belief import Instrument
from kiosk.rules.cooling import surface
from kiosk.rules.cooling.assessment import Touch, Zone, bound_of
from kiosk.rules.cooling.likelihood import Seen, right_density, wrong_density
from kiosk.rules.cooling.unknowns import WRONG
from kiosk.rules.outline import Profile
from tests.rules.test_cooling_figures import EMPTY, HOT, SLIM
from tests.rules.test_cooling_posterior import ROOM, SLEEVED

READ = (
    Touch(200.0, Zone.NOSE, Instrument.PROBE, 61.5),
    Touch(200.0, Zone.FLANGE, Instrument.PROBE, 88.0, tolerance_k=1.5),
    Touch(310.0, Zone.SHANK, Instrument.PROBE, 47.0),  # the nose, where there is no cutter
    Touch(340.0, Zone.NOSE, Instrument.INFRARED, 31.0),  # as bright steel shows it
    Touch(420.0, Zone.NOSE, Instrument.PROBE, 5.7, alike=3),  # a decimal place slipped
    Touch(500.0, Zone.NOSE, Instrument.PROBE, 52.0, sure=True),
)


@pytest.mark.parametrize("profile", [SLIM, EMPTY], ids=["with a cutter", "empty"])
@pytest.mark.parametrize("touches", [READ[:1], READ[3:4], READ[:3], READ])
def test_readings_say_together_what_each_says_alone(profile: Profile, touches: tuple[Touch, ...]) -> None:
    """By the words of one reading and one zone at a time, which is how they are written down."""
    draws = bound_of(profile, HOT, SLEEVED, ROOM).draw(np.array([0.0, 100.0, 900.0]))
    setting, unknowns = draws.setting, np.tile(draws.setting.middle, (len(draws.values), 1))
    unknowns[:, draws.setting.moved] = draws.values
    scale = np.log(1.0 - draws.values[:, -1] / (setting.rise_k * np.exp(unknowns[:, 0])))
    seen = Seen(draws.surface, setting, touches)
    shown_c = seen.shown_c(draws.surface.terms(unknowns), scale, draws.values[:, -1])
    alone, trusted = np.zeros(len(unknowns)), []
    for touch in touches:
        here = draws.shown(touch.zone, np.array([touch.at_s]))[:, 0]
        others = [zone for zone in draws.surface.zones if zone is not touch.zone]
        elsewhere = [draws.shown(zone, np.array([touch.at_s]))[:, 0] for zone in others]
        is_wrong = 1e-9 if touch.sure else WRONG
        right = (1 - is_wrong) * right_density(touch, setting, here)
        either = right + is_wrong * wrong_density(touch, setting, here, elsewhere)
        alone += np.log(either)
        trusted.append(right[0] / either[0])
    assert seen.ln(shown_c) == pytest.approx(alone, rel=1e-9)
    assert seen.trust(shown_c[..., 0]) == pytest.approx(trusted, rel=1e-9)


@pytest.mark.parametrize("count", [2, 8])
def test_the_surface_is_asked_as_often_for_many_readings_as_for_one(count: int) -> None:
    bound, fit = bound_of(SLIM, HOT, SLEEVED, ROOM), surface.Surface._fit
    asked = 0

    def counted(self: surface.Surface, times_s: Any, parts: Any) -> Any:
        nonlocal asked
        asked += 1
        return fit(self, times_s, parts)

    times_s = np.geomspace(1.0, 3000.0, 40)
    row = [Touch(300.0 + 100.0 * at, Zone.NOSE, Instrument.PROBE, 80.0 - 3.0 * at) for at in range(count)]
    with patch.object(surface.Surface, "_fit", counted):
        bound.draw(times_s, row[:1])
        for_one, asked = asked, 0
        bound.draw(times_s, row)
    assert 0 < asked <= for_one
