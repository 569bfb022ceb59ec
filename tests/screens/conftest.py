"""Tests of screens share one Kivy clock: what a part of an earlier test still has to draw is drawn with our fonts."""

from __future__ import annotations

import pytest

from kiosk.screens import theme


@pytest.fixture(autouse=True, scope="session")
def fonts() -> None:
    """The words' fonts, as the window takes them on before its first text is measured."""
    theme.fonts()
