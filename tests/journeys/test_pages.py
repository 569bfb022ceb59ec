"""The arrows of a list, touched where a thumb meets them: every row is reached, and the first page again."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.journeys.window import Window

HOLDERS = 40  # of the demo shop


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_arrows_touched_at_their_corners_turn_to_the_last_row_and_back(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    kiosk = open_window(size)
    kiosk.touch("Shop")
    kiosk.touch("Holders")
    kiosk.sees("HSK-A 63")
    kiosk.at_corners = True
    pages = [rows(kiosk)]
    turns = 0
    while arrow(kiosk, "down"):
        kiosk.touch_key("down")
        kiosk.waits_for(lambda: rows(kiosk) != pages[-1], "another page")
        pages.append(rows(kiosk))
        turns += 1
        assert turns < HOLDERS, "it never ends"
    assert turns >= 4, "each corner of the arrow was touched"
    seen = [row for page in pages for row in page]
    assert len(seen) == HOLDERS
    kiosk.picture("pages-last")
    for before in reversed(pages[:-1]):
        kiosk.touch_key("up")
        kiosk.waits_for(lambda: rows(kiosk) == before, "the page before")  # noqa: B023 - waited for at once
    assert not arrow(kiosk, "up")


def rows(kiosk: Window) -> list[str]:
    """What the rows of holders in sight say, from the top."""
    return [str(text[0]) for text in kiosk.screen()["texts"] if " · " in str(text[0])]


def arrow(kiosk: Window, name: str) -> bool:
    """Whether this arrow may be touched."""
    return any(said == name for said, *_ in kiosk.screen()["touches"])
