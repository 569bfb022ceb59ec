"""The time between the two scans of a pair, at the ends of what a shop may set: heat does not hang on it."""

from __future__ import annotations

from pathlib import Path

import pytest

from kiosk.rules.outcomes import Done, Reason, Refused, Wait
from kiosk.settings import SettingsFault
from tests.conftest import Shop

DAYS_S = 40 * 86_400.0


def shop_with(folder: Path, pair_s: str) -> Shop:
    data = folder / "data"
    data.mkdir()
    (data / "settings.toml").write_text(f"[kiosk]\npair_s = {pair_s}\n")
    shop = Shop(data)
    shop.clock.forward(DAYS_S)
    return shop


@pytest.mark.parametrize("pair_s", ["5", "120"])
@pytest.mark.parametrize("holder_first", [True, False])
def test_a_pair_is_one_up_to_its_last_moment_and_none_after(tmp_path: Path, pair_s: str, holder_first: bool) -> None:
    shop = shop_with(tmp_path, pair_s)
    first, second = shop.holder("T002"), shop.place("Bench 1")
    if not holder_first:
        first, second = second, first
    for after_s, paired in ((float(pair_s) + 0.1, False), (float(pair_s) - 0.1, True)):
        shop.clock.forward(300.0)
        assert isinstance(shop.desk.scan(first).outcome, Wait)
        shop.clock.forward(after_s)
        assert isinstance(shop.desk.scan(second).outcome, Done if paired else Wait)
    shop.desk.close()


@pytest.mark.parametrize("pair_s", ["5", "120"])
def test_hot_steel_is_refused_and_called_out_within_the_pair_whatever_its_length(tmp_path: Path, pair_s: str) -> None:
    shop = shop_with(tmp_path, pair_s)
    hot, slot = shop.holder("T001"), shop.place("Cabinet A · 1-05")
    shop.desk.scan(hot)
    assert isinstance(shop.desk.scan(shop.place("Shrink station")).outcome, Done)
    shop.clock.forward(300.0)
    shop.desk.scan(hot)
    shop.clock.forward(float(pair_s) - 0.1)
    outcome = shop.desk.scan(slot).outcome
    assert isinstance(outcome, Refused) and outcome.reason is Reason.HOT
    shop.clock.forward(300.0)
    assert shop.desk.watch(hot) is None
    shop.clock.forward(float(pair_s) - 0.1)
    watched = shop.desk.watch(slot)
    assert watched is not None and isinstance(watched.outcome, Refused) and watched.outcome.reason is Reason.HOT
    assert [card.holder.key for card in shop.desk.heat.board()] == ["T001"]
    shop.desk.close()


@pytest.mark.parametrize("pair_s", ["0", "-5", "4.9", "120.1", "1e9", "inf", "nan", "true", '"20"'])
def test_a_pair_that_no_hand_can_make_or_that_never_ends_is_refused_by_its_name(tmp_path: Path, pair_s: str) -> None:
    with pytest.raises(SettingsFault, match="pair_s"):
        shop_with(tmp_path, pair_s)
