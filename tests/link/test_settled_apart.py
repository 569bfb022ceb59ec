"""What two real kiosks told differently and a hand settled stays so: after a file with what was wrong, after that was
taken back, and at a kiosk that was put back from a copy of before and joined anew."""

from __future__ import annotations

from pathlib import Path

from kiosk import cli
from kiosk.rules.cards import Heat
from tests.link.kiosk import until
from tests.link.shop import Shop
from tests.link.test_books import KioskProcess, Make, level, make, sound
from tests.link.test_joins_anew import joins
from tests.link.test_people_apart import cut_off

__all__ = ["make"]
COLUMNS = "code,key,name,coupling,clamping,bore_mm,stood_cold,place"


def agree(name: str, limit_c: float, *kiosks: KioskProcess) -> None:
    """Both say the same of what was settled, nothing is open, and what was heated is cool at neither."""
    until(level(*kiosks))
    for each in kiosks:
        until(lambda each=each: each("rules")["limit_c"] == limit_c)
        said = each("rules")
        assert (said["names"]["S2"], said["differences"]) == (name, [])
        assert each("card", "H1")["warmth"] != Heat.COOL.value


def test_what_was_settled_stays_settled_and_what_is_hot_stays_hot_whatever_comes_back_from_before(
    make: Make, on_server: Shop, tmp_path: Path
) -> None:
    a, b = make("A"), make("B")
    a("shop")
    a("steel", "4")
    for key, pin in (("ines", "2580"), ("kim", "1470")):
        assert a("adds", key, "supervisor", pin) == {}
        assert a("unlock", "ines", "2580") == {}
    until(level(a, b))
    assert b("unlock", "kim", "1470") == {}
    assert cli.main(["backup", str(tmp_path / "copies"), "--data", str(a.folder)]) == 0
    for text in ("steel-1", "at-station"):
        a("scan", text)
    until(level(a, b))

    cut_off(a, b)
    said = [  # within the seconds in which neither has noticed
        a("calls", "S2", "Mine"), b("calls", "S2", "Theirs"), a("set", "heat.limit_c", "41.5"),
        b("set", "heat.limit_c", "47"), a("pin", "ines", "9630"), b("pin", "ines", "8520"),
    ]  # fmt: skip
    assert said == [{}] * 6
    for each in (a, b):
        each.network.heal()
    told = {"setting/S2", "setting/heat.limit_c", "pin/ines"}
    until(lambda: all(set(each("rules")["differences"]) == told for each in (a, b)))  # a link may not have noticed yet
    until(level(a, b))
    for each in (a, b):
        for pin in ("2580", "9630", "8520"):
            assert each("unlock", "ines", pin) == {"refused": "NotThere"}, "until somebody says which"
    assert b("unlock", "kim", "1470") == a("unlock", "kim", "1470") == {}
    more = tmp_path / "more.csv"
    more.write_text(f"{COLUMNS}\n,S2,Theirs,HSK63,shrink_fit,12,yes,\n", "utf-8")
    assert a("imports", str(more)) == {"written": 0}, "a file settles nothing"

    assert b("settle_as", "setting/S2", a.kiosk) == b("settle", "setting/heat.limit_c", "47") == {}
    assert b("settle_as", "pin/ines", b.kiosk) == {}
    agree("Mine", 47.0, a, b)
    assert a("unlock", "ines", "9630") == {"refused": "PinRefused"} and a("unlock", "ines", "8520") == {}

    assert a("imports", str(more)) == {"written": 1}
    agree("Theirs", 47.0, a, b)
    assert a("takes_back") == {"kept": []}
    agree("Mine", 47.0, a, b)

    a.quit()
    (copy,) = (tmp_path / "copies").glob("*.db")
    assert cli.main(["restore", str(copy), "--data", str(a.folder)]) == 0
    joins(on_server, a)
    a.start()
    agree("Mine", 47.0, a, b)
    assert a("unlock", "ines", "8520") == {} and a("unlock", "ines", "2580") == {"refused": "PinRefused"}
    sound(on_server, a, b)
