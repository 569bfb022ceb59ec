"""What a hand does with a telephone: signs it in, holds things up to its camera, types a code."""

from __future__ import annotations

from pathlib import Path

from tests.handheld.browser import Browser, Page
from tests.handheld.served import Served

SHIFT = Path(__file__).parent.parent.parent / "demo_tags" / "shift"
PICTURES = Path(__file__).parent.parent.parent / ".pictures"


def signed_in(kiosk: Served, browser: Browser, **look: int) -> Page:
    page = browser.page(**look)
    page.open(f"{kiosk.address}#{kiosk.token()}")
    page.comes("#card", "Scan a holder")
    return page


def hold_up(page: Page, browser: Browser, name: str) -> None:
    """Show the camera another picture: the page opens its camera anew when it comes back to its view."""
    page.tap("#rail button", "Hot")
    browser.camera.show(SHIFT / name)
    page.tap("#rail button", "Scan")


def typed(page: Page, text: str) -> None:
    page.tap("#type-key")
    page.comes("#typed")
    page.type("#typed", text)
    page.tap("#type-form button")
