"""A presetter on a cable at a desk: a pseudo-terminal sends, is pulled, floods, and somebody else has it."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from kiosk.desk import health, presetting
from kiosk.desk.presetting import MAP
from kiosk.desk.session import Locked
from kiosk.exchange import cable
from kiosk.exchange.cable import State
from kiosk.exchange.faults import Fault
from kiosk.exchange.presetter import (
    Fields,
    LineFault,
    PresetterMap,
    SerialLine,
    open_port,
    read_presetter_map,
)
from kiosk.rules.wellbeing import Mark, Part
from kiosk.screens.pulse import pulse
from tests.conftest import Shop

pty = pytest.importorskip("pty")
tty = pytest.importorskip("tty")

BY_LABEL = Fields(tool="1", length="2", diameter="3")
BY_NUMBER = Fields(number="1", length="2", diameter="3")
PATIENCE_S = 20.0


class Presetter:
    """The far end of a cable that the kiosk knows by a name of its own, like one that udev gives."""

    def __init__(self, folder: Path) -> None:
        self.name = folder / "usb-presetter"
        self._mine = self._theirs = -1
        self.plug_in()

    def plug_in(self) -> None:
        self._mine, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
        self.name.unlink(missing_ok=True)
        self.name.symlink_to(os.ttyname(self._theirs))

    def pull(self) -> None:
        for end in (self._mine, self._theirs):
            if end >= 0:
                os.close(end)
        self._mine = self._theirs = -1
        self.name.unlink(missing_ok=True)

    def sends(self, *lines: str) -> None:
        for line in lines:
            os.write(self._mine, line.encode())

    def line(self) -> SerialLine:
        return SerialLine(str(self.name))


@pytest.fixture
def presetter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Presetter]:
    monkeypatch.setattr(cable, "AGAIN_S", 0.1)
    found = Presetter(tmp_path)
    yield found
    found.pull()


def keep(shop: Shop, presetter: Presetter, fields: Fields = BY_LABEL) -> None:
    shop.desk.presetter.keep(PresetterMap(fields, delimiter=";", line=presetter.line()), "by cable")


def until(shop: Shop, there: Callable[[], bool]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        shop.desk.presetter.tick()
        if there():
            return
        time.sleep(0.02)
    raise AssertionError(shop.desk.presetter.seen())


def came(shop: Shop) -> int:
    return len(shop.desk.presetter.seen().came)


def length_mm(shop: Shop, key: str = "T002") -> float | None:
    built = shop.desk.session.holder(key).assembly
    return built.measured.length_mm if built and built.measured else None


def listens(shop: Shop) -> bool:
    return shop.desk.presetter.seen().state is State.LISTENS


def test_what_comes_is_taken_down_and_the_later_of_two_counts(shop: Shop, presetter: Presetter) -> None:
    keep(shop, presetter)
    until(shop, lambda: listens(shop))
    code = shop.holder("T002")
    presetter.sends(f"{code};101.5;6.001\r\n", f"{code};10", "1,75;6.001\r\n")
    until(shop, lambda: came(shop) == 2)
    assert length_mm(shop) == 101.75
    assert all(each.taken for each in shop.desk.presetter.seen().came)
    assert shop.desk.presetter.count == 2


def test_nonsense_and_unknown_tools_are_told_and_lose_nothing_of_the_others(shop: Shop, presetter: Presetter) -> None:
    keep(shop, presetter)
    until(shop, lambda: listens(shop))
    code = shop.holder("T002")
    presetter.sends("READY\r\n", "nobody;99;5\r\n", "\x00\x01\xff\r\n", f"{code};101.5;6.001\r\n", f"{code};0;0\r\n")
    until(shop, lambda: length_mm(shop) == 101.5 and came(shop) == 5)
    told = shop.desk.presetter.seen().came
    assert sum(isinstance(each.what, Fault) for each in told) == 3
    assert sum(each.taken for each in told) == 1
    assert pulse(shop.desk).presetter == "turned_away"
    shop.clock.forward(60.0)
    assert pulse(shop.desk).presetter == ""


def test_a_number_of_the_controls_is_enough_where_it_is_one_assemblys(shop: Shop, presetter: Presetter) -> None:
    shop.desk.build.number("T002", 41)
    keep(shop, presetter, BY_NUMBER)
    until(shop, lambda: listens(shop))
    presetter.sends("T0041;103.25;6.001\r\n", "42;99;5\r\n")
    until(shop, lambda: came(shop) == 2)
    assert length_mm(shop) == 103.25
    shop.desk.build.number("T001", 41)  # now it is nobody's for certain
    presetter.sends("41;88;6.001\r\n")
    until(shop, lambda: came(shop) == 3)
    assert length_mm(shop) == 103.25 and not shop.desk.presetter.seen().came[0].taken


def test_hot_steel_is_measured_with_its_error_as_everywhere(shop: Shop, presetter: Presetter) -> None:
    for code in (shop.holder("T001"), shop.place("Shrink station")):
        shop.desk.scan(code)
    keep(shop, presetter)
    until(shop, lambda: listens(shop))
    presetter.sends(f"{shop.holder('T001')};142.3;12.0\r\n")
    until(shop, lambda: came(shop) == 1)
    (only,) = shop.desk.presetter.seen().came
    assert not isinstance(only.what, Fault) and only.what.taken is not None
    assert only.what.taken.warning is not None and (only.what.taken.values.length_error_um or 0.0) > 3.0
    assert shop.desk.session.holder("T001").hold is not None  # nothing a cable says ends a hold


def test_a_cable_that_is_pulled_is_said_and_heard_again(shop: Shop, presetter: Presetter) -> None:
    keep(shop, presetter)
    until(shop, lambda: listens(shop))
    presetter.pull()
    until(shop, lambda: shop.desk.presetter.lost)
    assert pulse(shop.desk).presetter == "lost"
    found = {each.part: each for each in health.findings(shop.desk)}
    assert found[Part.PRESETTER].mark is Mark.BAD and found[Part.PRESETTER].remedy is not None
    presetter.plug_in()
    until(shop, lambda: listens(shop))
    presetter.sends(f"{shop.holder('T002')};101.5;6.001\r\n")
    until(shop, lambda: length_mm(shop) == 101.5)
    assert pulse(shop.desk).presetter == ""


def test_of_two_that_want_one_port_the_second_is_told(shop: Shop, presetter: Presetter) -> None:
    held = open_port(presetter.line())
    keep(shop, presetter)
    until(shop, lambda: shop.desk.presetter.seen().state is State.TAKEN)
    assert shop.desk.presetter.lost
    held.close()
    until(shop, lambda: listens(shop))
    with pytest.raises(LineFault, match="another program listens there"):
        open_port(presetter.line())


def test_a_flood_keeps_nobody_waiting_and_the_last_of_each_counts(shop: Shop, presetter: Presetter) -> None:
    keep(shop, presetter)
    until(shop, lambda: listens(shop))
    codes = [shop.holder(key) for key in ("T002", "T003")]
    stopped = threading.Event()
    sent = [0]

    def flood() -> None:
        while not stopped.is_set() and sent[0] < 4000:
            for _ in range(100):  # 1000 a second
                sent[0] += 1
                presetter.sends(f"{codes[sent[0] % 2]};{100 + sent[0] / 1000:.3f};6.001\r\n")
            stopped.wait(0.1)
        presetter.sends(*(f"{code};111.5;6.001\r\n" for code in codes))

    thread = threading.Thread(target=flood, daemon=True)
    thread.start()
    waited_s = []
    try:
        while thread.is_alive():
            began_s = time.monotonic()
            shop.desk.presetter.tick()
            waited_s.append(time.monotonic() - began_s)
            time.sleep(0.2)
        until(shop, lambda: length_mm(shop) == 111.5 and length_mm(shop, "T003") == 111.5)
    finally:
        stopped.set()
        thread.join()
    assert sorted(waited_s)[len(waited_s) // 2] < 1.0  # 0.15 s and one line; a busy machine may take longer
    assert shop.desk.presetter.seen().left_out > 0


def test_whoever_waits_for_the_desk_comes_before_what_waits_in_the_cable(shop: Shop, presetter: Presetter) -> None:
    keep(shop, presetter)
    until(shop, lambda: listens(shop))
    shop.desk.session.is_asked = lambda: True
    code = shop.holder("T002")
    presetter.sends(*(f"{code};10{at}.5;6.001\r\n" for at in range(6)))
    until(shop, lambda: came(shop) == 1)
    shop.desk.presetter.tick()
    assert came(shop) == 2  # one a beat
    shop.desk.session.is_asked = bool
    until(shop, lambda: came(shop) == 6)
    assert length_mm(shop) == 105.5


def test_while_fields_are_chosen_lines_are_shown_and_nothing_is_taken_down(
    shop: Shop, presetter: Presetter, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(shop, presetter)
    until(shop, lambda: listens(shop))
    before_mm = length_mm(shop)
    shop.desk.presetter.try_out(presetter.line())
    text = f"{shop.holder('T002')};77.5;6.001"
    until(shop, lambda: (shop.desk.presetter.tried() or (None,))[0] is State.LISTENS)
    presetter.sends(f"{text}\r\n")
    until(shop, lambda: bool((shop.desk.presetter.tried() or (None, ()))[1]))
    found = shop.desk.presetter.tried()
    assert found is not None and found[1][-1] == (1, text)
    assert length_mm(shop) == before_mm
    monkeypatch.setattr(presetting, "_TRIED_S", 0.0)  # whoever chose has gone
    until(shop, lambda: listens(shop))
    assert length_mm(shop) == before_mm


def test_the_map_is_the_commands_and_is_kept_by_a_supervisor_alone(shop: Shop, presetter: Presetter) -> None:
    shop.desk.people.first_pin("kim", "1357", by_owner=True)
    shop.desk.people.lock()
    with pytest.raises(Locked):
        keep(shop, presetter)
    assert not (shop.folder / MAP).exists()
    shop.desk.people.unlock("kim", "1357")
    keep(shop, presetter)
    made = read_presetter_map((shop.folder / MAP).read_text("utf-8"), MAP)
    assert made == PresetterMap(BY_LABEL, delimiter=";", line=presetter.line())
    assert shop.desk.session.settings.presetter.on
    shop.reopen()
    until(shop, lambda: listens(shop))  # from the next start on, too


def test_a_map_that_cannot_be_used_is_said_and_stops_nothing(shop: Shop) -> None:
    (shop.folder / MAP).write_text("= 1", "utf-8")
    shop.desk.people.change_setting("presetter", "on", "true", "by hand")
    shop.desk.presetter.tick()
    seen = shop.desk.presetter.seen()
    assert seen.made is None and seen.fault is not None
    assert pulse(shop.desk).presetter == "lost" and shop.desk.presetter.standing == "unset"
    shop.desk.people.change_setting("presetter", "on", "false", "by hand")
    shop.desk.presetter.tick()
    assert not shop.desk.presetter.lost and shop.desk.presetter.standing == "off"
