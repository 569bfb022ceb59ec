"""Tests of the desk type dozens of PINs: their hash is made as cheaply as its library lets it."""

from __future__ import annotations

from functools import partial

import argon2
import pytest


@pytest.fixture(autouse=True)
def quick_pins(monkeypatch: pytest.MonkeyPatch) -> None:
    """The hash of a PIN costs a millisecond instead of a tenth of a second."""
    quick = partial(argon2.PasswordHasher, time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(argon2, "PasswordHasher", quick)
