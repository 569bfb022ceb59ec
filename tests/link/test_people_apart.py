"""People and settings on two real kiosks that do not hear each other: refused once that is noticed, and of what both
said before it was, the strict counts at both."""

from __future__ import annotations

from pathlib import Path

from kiosk import settings as shop_settings
from kiosk.rules.link_state import LinkState
from tests.link.kiosk import until
from tests.link.test_books import KioskProcess, Make, level, make

__all__ = ["make"]


def cut_off(*kiosks: KioskProcess) -> None:
    for each in kiosks:
        each.network.refuse()


def set_in_file(folder: Path) -> shop_settings.Settings:
    return shop_settings.load(folder / shop_settings.NAME)


def test_two_kiosks_that_set_people_and_rules_at_once_both_go_by_the_strict_one_until_a_supervisor_settles_it(
    make: Make,
) -> None:
    a, b = make("A"), make("B")
    for key, pin in (("ines", "2580"), ("kim", "1470")):
        assert a("adds", key, "supervisor", pin) == {}
        assert a("unlock", "ines", "2580") == {}
    until(level(a, b))
    assert b("unlock", "kim", "1470") == {}

    cut_off(a, b)
    said = [  # within the seconds in which neither has noticed
        a("set", "heat.limit_c", "41.5"), b("set", "heat.limit_c", "47"),
        a("set", "kiosk.badge_required", "yes"), b("set", "kiosk.badge_required", "no"),
        b("retire", "ines"), a("pin", "ines", "9630"),
    ]  # fmt: skip
    assert said == [{}] * 6
    until(lambda: {a.standing["state"], b.standing["state"]} == {LinkState.CUT_OFF.value})
    for words in (("set", "heat.limit_c", "46"), ("pin", "kim", "3690"), ("retire", "kim")):
        assert b(*words) == {"refused": "catch_up_first"}, "once it is noticed, the whole shop must hear of it first"
    assert a("rules")["limit_c"] == 41.5 and b("rules")["limit_c"] == 47.0

    for each in (a, b):
        each.network.heal()
    until(level(a, b))
    for each in (a, b):
        until(lambda each=each: each("rules")["limit_c"] == 41.5)
        rules = each("rules")
        assert rules["badge_required"] and rules["retired"] == ["ines"] and rules["unlocked"] != "ines"
        assert {"setting/heat.limit_c", "setting/kiosk.badge_required", "badge/ines"} <= set(rules["differences"])
        for pin in ("2580", "9630"):
            assert each("unlock", "ines", pin) == {"refused": "NotThere"}, "who was sent away opens nothing"
        kept = set_in_file(each.folder)
        assert kept.heat.limit_c == 41.5 and kept.kiosk.badge_required

    assert b("settle", "setting/heat.limit_c", "47") == {}
    until(level(a, b))
    for each in (a, b):
        until(lambda each=each: each("rules")["limit_c"] == 47.0)
        assert "setting/heat.limit_c" not in each("rules")["differences"]
        assert each("check")["wrong"] == []
    assert a("tables") == b("tables")
