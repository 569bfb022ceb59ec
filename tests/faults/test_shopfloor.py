"""Thousands of drawn steps on the real kiosk: nothing hot counts as cool, nothing ends with a traceback."""

from __future__ import annotations

import os

import pytest

from tests.faults.siege import run

STEPS = int(os.environ.get("SIEGE_STEPS", "12000"))


@pytest.mark.timeout(1800)
def test_whatever_is_done_to_a_kiosk_it_lets_no_hot_holder_go() -> None:
    run(STEPS, first_seed=1)
