"""What a kiosk says of itself among others, what it owes them, when it may rest, and whom it locks out."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any

import pytest

from kiosk.desk.session import ActRefused, Locked, NotThere
from kiosk.desk.together import Together
from kiosk.ledger import laid_aside
from kiosk.ledger import tables as T
from kiosk.ledger.book import Book
from kiosk.ledger.laid_aside import OnlyHere
from kiosk.link.faults import LinkFault
from kiosk.rules import lines as L
from kiosk.rules.apart import Apart
from kiosk.rules.assembly import Clamping
from kiosk.rules.cards import Heat
from kiosk.rules.outcomes import Reason
from kiosk.rules.places import Kind
from tests.conftest import Shop

OWN, OTHER = "a" * 16, "b" * 16
HEARD = Apart(OWN, stations_heard=True, all_heard=True, caught_up=True, station=True)


@dataclass
class Link:
    """The counter of kiosks, without a network: what it is told to say, and what was asked of it."""

    now: Apart = HEARD
    has_all: bool = True
    asked: list[Any] = field(default_factory=list)
    membership: Any = field(default_factory=lambda: SimpleNamespace(name="Mine", kiosk=OWN))

    def apart(self, machine: str | None) -> Apart:
        return replace(self.now, machine=machine)

    def wrote(self) -> None:
        self.asked.append("wrote")

    def shared(self, within_s: float) -> bool:
        self.asked.append("shared")
        return self.has_all

    def fresh(self, within_s: float) -> bool:
        return self.has_all

    def list(self) -> tuple[Any, ...]:
        return tuple(SimpleNamespace(kiosk=key, name=key[:1].upper(), lines=12, waiting=3, last_number=0)
                     for key in (OWN, OTHER))  # fmt: skip

    def lock_out(self, kiosk: str) -> int:
        self.asked.append(kiosk)
        return 9


@pytest.fixture
def link(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> Link:
    """A kiosk with one other, weeks after its first start."""
    shop.clock.forward(40 * 86400.0)
    shop.desk.session.book.share(OWN)
    shop.clock.forward(86400.0)
    monkeypatch.setattr("kiosk.desk.together.unshared", lambda found, shared: 3)
    return Link()


def among(shop: Shop, link: Link) -> Together:
    return Together(shop.desk.session, link, lambda: link.asked.append("stale"))  # type: ignore[arg-type]


def said(shop: Shop, kind: type[L.Entry], newest: int = 30) -> list[L.Entry]:
    lines = shop.desk.session.book.lines(newest=newest)
    return [line.entry for line in lines if isinstance(line.entry, kind)]


def another(gone: int | None = None) -> None:
    T.Member.create(key=OTHER, name="B", at=None, heats=1, known=1, rests=0, woke=None, gone=gone, line=1)


@pytest.mark.parametrize(("kind", "heats"), [(None, True), (Kind.SHRINK, True), (Kind.BENCH, False)])
def test_a_kiosk_says_where_it_stands_once_and_heatings_are_booked_at_the_station_or_anywhere(
    shop: Shop, link: Link, kind: Kind | None, heats: bool
) -> None:
    session = shop.desk.session
    here = T.Place.select().where(T.Place.kind == kind.value).get().code if kind else None
    session.hand.here = here
    link.now = replace(HEARD, admitted=False)
    among(shop, link)
    assert said(shop, L.KioskStands) == [L.KioskStands("Mine", here, heats)]
    among(shop, link)
    assert len(said(shop, L.KioskStands)) == 1, "it was said"
    link.membership = SimpleNamespace(name="Other name", kiosk=OWN)
    among(shop, link)
    assert said(shop, L.KioskStands)[0] == L.KioskStands("Other name", here, heats)
    link.now = HEARD
    together = among(shop, link)
    together.heard()
    assert said(shop, L.KioskStands)[0] == L.KioskStands("Other name", here, heats, known=True)
    assert len(said(shop, L.KioskStands)) == 3, "and that it is known, once"


def test_where_a_kiosk_stands_in_a_machine_its_pockets_are_its_own(shop: Shop, link: Link) -> None:
    session = shop.desk.session
    machine = T.Place.select().where(T.Place.kind == Kind.MACHINE.value).get().code
    pocket = T.Place.select().where(T.Place.parent == machine).get().code
    for here, known in ((None, None), (machine, machine), (pocket, machine)):
        session.hand.here = here
        among(shop, link)
        assert session.cards.apart.machine == known


@pytest.mark.parametrize("whole", [True, False])
def test_what_only_the_book_laid_aside_knew_is_told_before_anything_is_cool(
    shop: Shop, link: Link, whole: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[object] = []
    known = OnlyHere(frozenset({"T001"}), frozenset({"T002"}), whole)
    monkeypatch.setattr(laid_aside, "only_here", lambda folder: known)
    monkeypatch.setattr(laid_aside, "told", told.append)
    link.now = replace(HEARD, caught_up=False)
    together = among(shop, link)
    apart = shop.desk.session.cards.apart
    assert not apart.stations_heard and not apart.all_heard and told == [] and said(shop, L.Restored) == []
    link.now = HEARD
    together.heard()
    shrinks = {row.key for row in T.Holder.select().where(T.Holder.clamping == Clamping.SHRINK_FIT.value)}
    (line,) = said(shop, L.Restored)
    assert line.holders == ("T001",) and line.cause == "lost"
    assert set(line.unsure) == ({"T002"} if whole else shrinks - {"T001"})
    assert len(told) == 1 and shop.desk.session.cards.apart.stations_heard
    together.heard()
    assert len(told) == 1 and len(said(shop, L.Restored)) == 1, "once"
    assert shop.desk.session.holder("T001").heat is Heat.HELD


@pytest.mark.parametrize("known", [
    OnlyHere(frozenset(), frozenset({"T002"})), OnlyHere(frozenset({"T002"}), frozenset()),
])  # fmt: skip
def test_one_heated_only_there_is_hot_and_so_is_one_of_which_nobody_knows_while_its_hold_runs(
    shop: Shop, link: Link, known: OnlyHere, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.desk.session.book.append([L.Heated("T002", shop.place("Shrink station"))])
    monkeypatch.setattr(laid_aside, "only_here", lambda folder: known)
    monkeypatch.setattr(laid_aside, "told", lambda folder: None)
    among(shop, link)
    (line,) = said(shop, L.Restored)
    assert (line.holders, line.unsure) == (("T002",), ())


@pytest.mark.parametrize("lacks", ["", "caught_up", "admitted", "awake", "others", "gone", "server", "disk"])
def test_a_kiosk_rests_only_where_others_hear_of_it_and_have_all_it_did(shop: Shop, link: Link, lacks: str) -> None:
    if lacks != "others":
        another(gone=4 if lacks == "gone" else None)
    together = among(shop, link)
    if lacks in ("caught_up", "admitted", "awake"):
        link.now = replace(HEARD, **{lacks: False})
    link.has_all = lacks != "server"
    if lacks == "disk":
        shop.desk.session.cards.unwritten |= {"T001"}
    link.asked.clear()
    together.rests()
    assert len(said(shop, L.KioskRests)) == (0 if lacks else 1)
    assert lacks or link.asked[-1] == "shared", "the line itself is waited for"
    shop.desk.session.cards.unwritten.clear()


def test_who_is_locked_out_is_one_of_the_others_and_the_server_is_told_before_the_book(shop: Shop, link: Link) -> None:
    another()
    together = among(shop, link)
    for key in (OWN, "c" * 16):
        with pytest.raises(NotThere):
            together.lock_out(key)
    link.now = replace(HEARD, caught_up=False)
    with pytest.raises(ActRefused) as refused:
        together.lock_out(OTHER)
    assert refused.value.reason is Reason.CATCH_UP_FIRST and OTHER not in link.asked
    assert said(shop, L.KioskLockedOut) == []
    link.now = HEARD
    told = together.lock_out(OTHER)
    assert (told.name, told.shared, told.unshared) == ("B", 9, 3) and OTHER in link.asked
    assert said(shop, L.KioskLockedOut) == [L.KioskLockedOut(OTHER, "B", 9, 3)]


def test_locking_out_and_leaving_are_a_supervisors(shop: Shop, link: Link) -> None:
    another()
    shop.desk.scan(shop.desk.shop.code_of("kim"))
    together = among(shop, link)
    people = shop.desk.people
    shop.desk.scan(shop.desk.shop.code_of("kim"))
    people.add("ines", "Ines", "supervisor", "badge-ines", pin="2580")
    for asked in (lambda: together.lock_out(OTHER), together.leave):
        with pytest.raises(Locked):
            asked()
    assert OTHER not in link.asked and said(shop, L.KioskLockedOut) == []
    people.unlock("ines", "2580")
    link.has_all = False
    with pytest.raises(LinkFault):
        together.leave()
    (line,) = said(shop, L.KioskLockedOut)
    assert line.kiosk == OWN and line.name == "Mine"


def test_what_others_wrote_makes_stale_what_was_read_and_may_alarm_once(
    shop: Shop, link: Link, monkeypatch: pytest.MonkeyPatch
) -> None:
    folded = [7]
    monkeypatch.setattr(Book, "changed", property(lambda book: (0, folded[0])))
    together = among(shop, link)
    link.asked.clear()
    together.heard()
    assert "stale" not in link.asked
    assert together.may_alarm() and not together.may_alarm()
    folded[0] += 1
    together.heard()
    together.heard()
    assert link.asked.count("stale") == 1 and together.may_alarm() and not together.may_alarm()


def test_what_is_said_back_of_a_step_is_asked_only_where_the_server_answered_in_time(shop: Shop, link: Link) -> None:
    together = among(shop, link)
    asked: list[tuple[str, str | None]] = []
    differences: Any = SimpleNamespace(told_otherwise=lambda holder, place: asked.append((holder, place)))
    holder = shop.desk.session.holder("T002")
    step: Any = SimpleNamespace(holder=holder, goal=shop.desk.session.place(shop.place("Bench 2")))
    link.has_all = False
    assert together.told_back(step, differences) is None and asked == []
    link.has_all = True
    together.told_back(step, differences)
    together.told_back(SimpleNamespace(holder=holder, goal=None), differences)  # type: ignore[arg-type]
    together.told_back(SimpleNamespace(holder=None, goal=None), differences)  # type: ignore[arg-type]
    assert asked == [("T002", shop.place("Bench 2")), ("T002", None)]


def test_who_locks_out_shows_a_badge_first_where_the_shop_asks_for_one(shop: Shop, link: Link) -> None:
    another()
    together = among(shop, link)
    session = shop.desk.session
    session.settings = replace(session.settings, kiosk=replace(session.settings.kiosk, badge_required=True))
    for asked in (lambda: together.lock_out(OTHER), together.leave):
        with pytest.raises(ActRefused) as refused:
            asked()
        assert refused.value.reason is Reason.BADGE_FIRST
    assert OTHER not in link.asked and said(shop, L.KioskLockedOut) == [], "the server hears of it as late as the book"


def test_before_what_others_say_back_is_told_it_is_looked_how_far_they_are_heard_by_now(shop: Shop, link: Link) -> None:
    together = among(shop, link)
    link.now = replace(HEARD, all_heard=False)
    holder: Any = SimpleNamespace(holder=shop.desk.session.holder("T002"), goal=None)
    together.told_back(holder, shop.desk.differences)
    assert not shop.desk.session.cards.apart.all_heard
