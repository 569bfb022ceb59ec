"""A kiosk among others goes by the shop's values whatever its own file can say, and sets nothing back by starting."""

from __future__ import annotations

import msgspec
import pytest

from kiosk import settings as shop_settings
from kiosk.desk import Desk
from kiosk.ledger import tables as T
from kiosk.rules import lines as L
from kiosk.rules.merge import Made
from tests.conftest import Shop
from tests.desk.test_told_differently import OTHER, differs

OWN = "a" * 16


@pytest.fixture
def among(shop: Shop) -> Shop:
    """A kiosk with others, all heard, weeks after its first start."""
    shop.clock.forward(40 * 86400.0)
    shop.desk.session.book.share(OWN)
    started(shop)
    shop.clock.forward(86400.0)
    return shop


def started(shop: Shop) -> Desk:
    desk = shop.reopen()
    desk.session.cards.apart = None
    return desk


def another_sets(name: str, value: str) -> None:
    """As another kiosk's line leaves it in the tables."""
    T.Setting.update(value=value).where(T.Setting.name == name).execute()


def of_file(shop: Shop) -> shop_settings.HeatSettings:
    return shop_settings.load(shop.folder / shop_settings.NAME).heat


def test_a_kiosk_that_ended_before_its_file_followed_follows_at_its_start_and_sets_nothing_back(among: Shop) -> None:
    another_sets("heat.limit_c", "38")
    desk = started(among)
    assert desk.changed_outside == ()
    assert T.Setting.get_by_id("heat.limit_c").value == "38"
    assert desk.session.settings.heat.limit_c == of_file(among).limit_c == 38.0


def test_a_start_closes_no_difference_by_what_the_file_had_before(among: Shop) -> None:
    among.desk.people.change_setting("heat", "limit_c", "46", "as agreed here")
    line = among.desk.session.book.last_id
    made = Made(line, OWN, "46"), Made(line + 9, OTHER, "38")
    differs(among, "setting/heat.limit_c", *made)
    desk = started(among)
    assert desk.changed_outside == () and desk.session.settings.heat.limit_c == 38.0


def test_what_was_changed_in_the_file_of_a_kiosk_among_others_is_still_told(among: Shop) -> None:
    shop_settings.changed(among.folder / shop_settings.NAME, "heat", "limit_c", "40")
    desk = started(among)
    assert [(each.name, each.value) for each in desk.changed_outside] == [("heat.limit_c", "40.0")]
    assert desk.session.settings.heat.limit_c == 40.0


def test_a_limit_that_the_file_cannot_say_beside_its_air_counts_all_the_same_and_after_a_start(among: Shop) -> None:
    desk = among.desk
    desk.people.change_setting("heat", "ambient_c", "30", "a hot summer")
    another_sets("heat.limit_c", "33")
    desk.session.follow_rules()
    assert desk.session.settings.heat.limit_c == 33.0 and of_file(among).limit_c == 43.0
    desk.people.change_setting("heat", "temp_c", "340", "another unit")
    assert desk.session.settings.heat.limit_c == 33.0, "another setting takes it back by no file"
    desk = started(among)
    assert desk.changed_outside == () and T.Setting.get_by_id("heat.limit_c").value == "33"
    assert desk.session.settings.heat.limit_c == 33.0
    desk.session.book.append([L.Heated("T001", among.place("Shrink station"))])
    hold = desk.session.holder("T001").hold
    assert hold is not None and hold.remaining_s is None, "no time ends it"
    desk.people.change_setting("heat", "ambient_c", "22", "it is autumn")
    desk = started(among)
    assert desk.session.settings.heat.limit_c == of_file(among).limit_c == 33.0, "now the file can say both"


def test_on_a_full_disk_the_shops_values_count_though_the_file_stays(
    among: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "no space left on device")

    another_sets("heat.limit_c", "38")
    monkeypatch.setattr("kiosk.settings.filing.write", full)
    among.desk.session.follow_rules()
    assert among.desk.session.settings.heat.limit_c == 38.0 and of_file(among).limit_c == 43.0


def test_a_value_that_no_setting_may_have_is_not_followed(among: Shop) -> None:
    another_sets("heat.limit_c", "80")
    among.desk.session.follow_rules()
    assert among.desk.session.settings.heat.limit_c == 43.0


@pytest.mark.parametrize(("name", "value"), [("build.friction", "0.09"), ("audit.measured_days", "30")])
def test_what_a_shop_builds_and_audits_by_follows_too_and_a_file_from_before_sets_nothing_back(
    among: Shop, name: str, value: str
) -> None:
    table, _, key = name.partition(".")
    session = among.desk.session
    session.book.append([L.SettingChanged(name, value, "as agreed elsewhere")])
    session.follow_rules()
    for settings in (session.settings, shop_settings.load(among.folder / shop_settings.NAME)):
        assert getattr(getattr(settings, table), key) == float(value)
    own = (T.KeptLine.kind == L.KioskStarted.kind,)
    started_before = L.KioskStarted("1", (("heat.limit_c", "43.0"),))  # as an older version said it
    payload = msgspec.json.encode(started_before).decode()
    T.KeptLine.update(payload=payload).where(*own).execute()
    T.KeptLine.delete().where(T.KeptLine.kind == L.SettingChanged.kind).execute()
    another_sets(name, "77" if table == "audit" else "0.07")
    assert session.notice_settings() == (), "what this kiosk never said it sets no shop back to"
