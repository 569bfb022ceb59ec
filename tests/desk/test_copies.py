"""The day's copy: when it is due."""

from __future__ import annotations

import os

from tests.conftest import Shop


def test_a_copy_is_due_when_there_is_none_and_again_after_a_day(shop: Shop) -> None:
    copies = shop.desk.copies
    assert copies.due()
    (made,) = copies.backup()
    assert made.copy is not None
    now_s = shop.desk.now().utc_s
    os.utime(made.copy.path, (now_s, now_s))
    assert not copies.due()
    shop.clock.forward(25 * 3600)
    assert copies.due()
