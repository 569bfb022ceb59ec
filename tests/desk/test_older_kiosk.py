"""A kiosk of an older version names no digest: not told from its copy it proves nothing, and the list says so."""

from __future__ import annotations

from dataclasses import asdict, replace
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from kiosk.commands import sharing as commands
from kiosk.desk.beats import KioskBeats, is_of_this_version, unshared
from kiosk.link.border import Kiosk
from kiosk.link.link import Standing
from kiosk.rules.hearing import Beat, Echo
from kiosk.rules.lines import KioskStands
from kiosk.rules.link_state import LinkState
from kiosk.screens.questions import kiosks as asks
from tests.ledger.kiosks import FOUNDER, shop

DAYS_S = 70 * 86400.0
OTHER = "b" * 16
LEVEL = Standing(LinkState.CAUGHT_UP, None, 0.1, 20, 20, 0, ())


def said(beat: Beat) -> Kiosk:
    text = msgspec.json.encode(beat).decode()
    return Kiosk(OTHER, "Cabinet", beat.beat, 1.0, beat.applied, 3, 0.0, "0.1.0", None, text)


@pytest.mark.parametrize("digest", [True, False])
def test_what_a_kiosk_says_that_names_no_digest_makes_nothing_cool(digest: bool) -> None:
    server, (founder, other) = shop(OTHER)
    other.says(KioskStands("Cabinet", None, True))
    server.push(other.own_lines())
    founder.pulls(server)
    now_s = DAYS_S
    book: Any = SimpleNamespace(sharing=founder.sharing, line=lambda number: None)
    with founder:
        last, name = founder.sharing.ends()[OTHER]
        beats = KioskBeats(book, lambda: now_s)
        mine = msgspec.json.decode(beats.say(7), type=Beat)
        told = Beat(OTHER, "run", 9, last, 5.0, 100, {FOUNDER: Echo(7, mine.run)}, digest=name if digest else "")
        beats.hear(8, [said(told)], 20)
        now_s += 1.0
        apart = beats.apart(LEVEL, None, 0.0)
    assert (apart.stations_heard, apart.all_heard) == (digest, digest)
    assert is_of_this_version(said(told)) is digest


BEAT = Beat(OTHER, "run", 9, 12, 5.0, digest="d")


@pytest.mark.parametrize(
    ("kiosk", "how", "word"),
    [
        (said(BEAT), asks.How.HEARD, "heard"),
        (said(replace(BEAT, digest="")), asks.How.OTHER_VERSION, "another version: update the older one"),
        (said(replace(BEAT, digest="", last=0)), asks.How.HEARD, "heard"),
        (replace(said(BEAT), said=""), asks.How.HEARD, "heard"),
        (replace(said(BEAT), said='["another form"]'), asks.How.OTHER_VERSION, "another version: update the older one"),
        (replace(said(replace(BEAT, digest="")), ago_s=60.0), asks.How.NOT_HEARD, "not heard"),
    ],
)
def test_the_list_of_kiosks_says_of_which_nothing_is_believed(kiosk: Kiosk, how: asks.How, word: str) -> None:
    session = SimpleNamespace(here=None, cards=None, book=SimpleNamespace(sharing=None))
    kiosks = SimpleNamespace(
        membership=SimpleNamespace(kiosk="a" * 16, name="here"), standing=lambda: LEVEL, list=lambda: (kiosk,)
    )
    desk: Any = SimpleNamespace(session=session, kiosks=kiosks, not_shared=None)
    assert [row.how for row in asks.kiosks()(desk).rows] == [how]
    assert commands._told(kiosk)["state"] == word and asdict(kiosk)["name"] == "Cabinet"


def test_of_a_kiosk_that_is_locked_out_only_what_the_server_has_not_is_called_not_shared() -> None:
    assert unshared(said(BEAT), 5) == 7
    assert unshared(said(BEAT), 12) == 0, "three waited when it was heard last, and came"
    assert unshared(said(BEAT), 20) == 0
    assert unshared(replace(said(BEAT), said="?"), 20) == 3
