"""A kiosk's folder is copied, or put back from yesterday: the shop is not told by one what another one heated."""

from __future__ import annotations

import shutil
import time
from dataclasses import replace
from pathlib import Path

from kiosk import cli
from kiosk.link import address as addresses
from kiosk.rules.link_state import LinkState
from tests.link.kiosk import until
from tests.link.proxy import Proxy
from tests.link.shop import Shop
from tests.link.test_books import KioskProcess, Make, level, make
from tests.link.test_heat_everywhere import done, scans, shows, two

__all__ = ["make"]

_BEATS_S = 5.0  # two there and back


def twin_of(kiosk: KioskProcess, shop: Shop, folder: Path) -> KioskProcess:
    """The same kiosk from a copy of its folder, on a network of its own, whatever it was joined on."""
    network = Proxy(("127.0.0.1", shop.server.port))
    member = addresses.read(folder)
    assert member is not None
    addresses.keep(folder, replace(member, port=network.port))
    twin = object.__new__(KioskProcess)
    twin.__dict__.update(kiosk.__dict__ | {"folder": folder, "acknowledged": {}, "network": network})
    twin.start()
    return twin


def rests(a: KioskProcess, b: KioskProcess) -> None:
    """The first is closed, and opened and closed again until the other has heard that it rests: servers may be busy."""
    for more in (3, 2, 1, 0):
        until(lambda: a.standing["state"] == LinkState.CAUGHT_UP.value)
        a.quit()
        try:
            until(shows(b, heard=True, all_heard=True), 15)
        except AssertionError:
            if not more:
                raise
            a.start()
        else:
            return


def test_a_copy_of_its_folder_does_not_speak_for_a_station_that_heats_while_it_is_cut_off(
    make: Make, on_server: Shop, tmp_path: Path
) -> None:
    a, b = two(make)
    done(a, "steel-1", "slot")
    a.quit()
    shutil.copytree(a.folder, tmp_path / "twin")
    a.start()  # its chain is as long as the copy's will be, and another
    until(shows(a, heard=True, station=True))
    until(level(a, b))
    a.network.refuse()
    until(shows(a, heard=False))
    assert scans(a, "steel-1", "station")["outcome"] == "Done"
    twin = twin_of(a, on_server, tmp_path / "twin")
    try:
        until(lambda: twin.standing["state"] == LinkState.FORKED.value)
        until_s = time.monotonic() + _BEATS_S
        while time.monotonic() < until_s:
            assert not shows(b, heard=True)(), "the copy was taken for the station"
            time.sleep(0.2)
        assert scans(b, "steel-1", "slot2")["reason"] == "unheard"
    finally:
        twin.end()
    a.network.heal()
    for each in (a, b):
        until(shows(each, warmth="held", place="Station"))


def test_a_station_put_back_from_a_copy_in_which_it_never_rested_heats_nothing_while_it_is_cut_off(
    make: Make, on_server: Shop, tmp_path: Path
) -> None:
    a, b = two(make)
    done(a, "steel-1", "slot")
    assert cli.main(["backup", str(tmp_path / "copies"), "--data", str(a.folder)]) == 0
    rests(a, b)  # nobody waits for it
    (copy,) = (tmp_path / "copies").glob("*.db")
    assert cli.main(["restore", str(copy), "--data", str(a.folder)]) == 0
    a.network.refuse()
    a.start()
    assert shows(a, awake=False, station=False)()
    assert scans(a, "steel-1", "station")["outcome"] != "Done"
    a.network.heal()
    until(lambda: a.standing["state"] == LinkState.FORKED.value, 60)  # a try that was refused waits 15 s
    assert shows(a, awake=False, station=False)()
    assert scans(a, "steel-1", "station")["outcome"] != "Done"


def test_a_folder_put_back_by_hand_heats_nothing_once_the_server_has_said_so(
    make: Make, on_server: Shop, tmp_path: Path
) -> None:
    a, b = two(make)
    done(a, "steel-1", "slot")
    a.kill()  # as it lay there while it ran
    shutil.copytree(a.folder, tmp_path / "yesterday")
    a.start()
    rests(a, b)
    shutil.copytree(tmp_path / "yesterday", a.folder, dirs_exist_ok=True)
    a.start()
    until(lambda: a.standing["state"] == LinkState.FORKED.value, 60)  # a try that was refused waits 15 s
    until(shows(a, awake=False, station=False))
    assert scans(a, "steel-1", "station")["outcome"] != "Done"
