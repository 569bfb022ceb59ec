"""What tests of the link share: kiosks that end with the test, and what it means that all are level and equal."""

from __future__ import annotations

from collections.abc import Callable

from kiosk.rules.link_state import LinkState
from tests.link.kiosk import LinkedKiosk

Make = Callable[..., LinkedKiosk]


def level(*kiosks: LinkedKiosk) -> Callable[[], bool]:
    """Whether all have all lines of all, and nothing waits."""

    def so() -> bool:
        total = sum(kiosk.ledger.own_last() for kiosk in kiosks)
        return all(len(kiosk.ledger.shared) == total and kiosk.state is LinkState.CAUGHT_UP for kiosk in kiosks)

    return so


def equal(*kiosks: LinkedKiosk) -> None:
    """All have the same book, and in it each its own chain, whole and once."""
    assert len({tuple(kiosk.ledger.shared) for kiosk in kiosks}) == 1
    for kiosk in kiosks:
        mine = [each.line for each in kiosk.ledger.shared if each.line.kiosk == kiosk.member.kiosk]
        assert mine == kiosk.ledger.own, "an acknowledged line is missing or stands there twice"
