"""What a shop goes by is one thing for all kiosks: set by a line and followed by all, whatever one starts with."""

from __future__ import annotations

from kiosk import settings as shop_settings
from kiosk.rules import lines as L
from tests.conftest import Shop
from tests.ledger.kiosks import shop as kiosks

A = "a" * 16


def test_a_kiosk_that_is_started_with_other_values_sets_nothing_for_the_shop() -> None:
    server, (founder, other) = kiosks(A)
    founder.says(L.SettingChanged("heat.limit_c", "40.0", "gloves are thin"), L.Moved("T1", "B", "S"))
    founder.says(L.Heated("T1", "S"))
    server.push(founder.own_lines())
    other.pulls(server)
    other.says(L.KioskStarted("2", (("heat.limit_c", "48.0"), ("kiosk.new", "1"))))
    server.push(other.own_lines())
    for each in (founder, other):
        each.pulls(server)
        assert each.row("setting", "heat.limit_c")["value"] == "40.0"
        assert each.row("setting", "kiosk.new")["value"] == "1", "what nobody set yet is known from then on"
    assert founder.tables() == other.tables() and other.wrong() == []


def test_people_their_pins_and_who_was_sent_away_are_the_same_at_all_kiosks() -> None:
    server, (founder, other) = kiosks(A)
    founder.says(
        L.OperatorAdded("jo", "Jo", "supervisor", "argon2"), L.CodeBound("badge-jo", "jo", "operator"),
        L.OperatorAdded("kim", "Kim", "setter"), L.OperatorRetired("kim", "left"), L.HolderRetired("T2", "bent"),
    )  # fmt: skip
    server.push(founder.own_lines())
    other.pulls(server)
    assert other.row("operator", "jo")["pin_hash"] == "argon2" and other.row("binding", "badge-jo")["subject"] == "jo"
    assert other.row("operator", "kim")["retired"] and other.row("holder", "T2")["retired"]
    other.says(L.OperatorAdded("jo", "Jo", "supervisor", "another"))
    server.push(other.own_lines())
    founder.pulls(server)
    assert founder.row("operator", "jo")["pin_hash"] == "another"


def test_a_rule_that_another_kiosk_set_counts_here_and_after_the_next_start_and_a_name_does_not(shop: Shop) -> None:
    session = shop.desk.session
    session.book.append([
        L.SettingChanged("heat.limit_c", "41.5", "gloves"), L.SettingChanged("kiosk.badge_required", "yes", "rule"),
        L.SettingChanged("kiosk.name", "Cabinet", "as it is called"), L.SettingChanged("kiosk.undo_s", "20", "rule"),
    ])  # fmt: skip
    mine, last = session.settings.kiosk.name, session.book.last_id
    session.follow_rules()
    for settings in (session.settings, shop_settings.load(shop.folder / shop_settings.NAME)):
        assert settings.heat.limit_c == 41.5 and settings.kiosk.badge_required and settings.kiosk.undo_s == 20.0
        assert settings.kiosk.name == mine
    assert session.holds.rules.room.limit_c == 41.5
    assert session.book.last_id == last, "following writes nothing"
