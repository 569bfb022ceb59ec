"""The cards a decision is made from, read out of a book whose clock has run for hours, days or months."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from kiosk.ledger.book import Book
from kiosk.ledger.last_step import last_step
from kiosk.ledger.places import Places
from kiosk.ledger.view import Cards
from kiosk.rules import codes
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Cutter, Family, Holder
from kiosk.rules.cards import (
    Command,
    CommandCard,
    DamagedCode,
    FreshLabel,
    Heat,
    HolderCard,
    HoldView,
    PlaceCard,
    RetiredCode,
    UnknownCode,
)
from kiosk.rules.hold import HoldFacts
from kiosk.rules.places import Kind, Place

HOUR_S = 3600.0
STEEL = Holder("T1", "Shrink 12", Coupling(Family.HOLLOW_TAPER, 63), Clamping.SHRINK_FIT, 12.0)
STATION, RACK = Place("PS", "Station", Kind.SHRINK), Place("PR", "Rack", Kind.COOLING, way="sleeve", wet_length_mm=50.0)
WALL, DRAWER = Place("PW", "Wall", Kind.CABINET), Place("PD", "Drawer 2", Kind.DRAWER, parent="PW", number=2)
FIRST = Place("PE", "Drawer 1", Kind.DRAWER, parent="PW", number=1)


class Kept:
    """A book, its machine's counter, and the facts of the holds that were asked about."""

    def __init__(self, folder: Path, ran_s: float) -> None:
        self.folder = folder
        self.count_s = 50.0
        self.asked: list[HoldFacts] = []
        self.open("kiosk")
        self.count_s += ran_s
        self.say(*map(L.PlaceAdded, (STATION, RACK, WALL, DRAWER, FIRST)), L.CutterAdded(CUTTER))
        self.say(L.HolderRegistered(STEEL, stood_cold=True), L.Moved("T1", None, "PS"))

    def open(self, name: str) -> None:
        self.book = Book.open(self.folder, name, counter=lambda: self.count_s, wall=lambda: 1.8e9 + self.count_s)
        self.cards = Cards(self.book, self.view)

    def view(self, facts: HoldFacts) -> HoldView:
        self.asked.append(facts)
        return HoldView(120.0, 90.0, 150.0, "nose", 600.0, 700.0)

    def renamed(self, name: str) -> None:
        self.book.close()
        self.open(name)

    def say(self, *entries: L.Entry) -> int:
        self.book.append(list(entries))
        return self.book.last_id

    def after(self, seconds: float) -> None:
        self.count_s += seconds
        self.book.now()

    @property
    def card(self) -> HolderCard:
        card = self.cards.holder("T1")
        assert card is not None
        return card


CUTTER = Cutter("C1", "Mill 12", 12.0, 12.0, 83.0)


@pytest.fixture(params=[6 * HOUR_S, 3 * 24 * HOUR_S, 200 * 24 * HOUR_S])
def kept(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Kept]:
    kept = Kept(tmp_path, request.param)
    yield kept
    kept.book.close()


# heat


def test_a_holder_has_a_hold_while_it_runs_and_warmth_for_six_hours_from_its_heating(kept: Kept) -> None:
    assert (kept.card.hold, kept.card.body_c, kept.cards.held()) == (None, None, [])
    kept.say(L.Heated("T1", "PS"))
    assert kept.card.hold is not None and kept.card.heat is Heat.HELD
    assert (kept.card.body_c, kept.card.measure_in_s) == (150.0, 700.0)
    kept.after(3000.0)
    kept.say(L.HoldEnded("T1", "reading"))
    assert (kept.card.hold, kept.card.body_c, kept.card.measure_in_s) == (None, 150.0, 700.0)
    kept.after(6 * HOUR_S - 3001.0)
    assert kept.card.body_c == 150.0 and [card.holder.key for card in kept.cards.held()] == ["T1"]
    kept.after(2.0)
    assert (kept.card.body_c, kept.card.measure_in_s, kept.cards.held()) == (None, None, [])


def test_a_hold_that_runs_is_looked_at_past_six_hours(kept: Kept) -> None:
    kept.say(L.Heated("T1", "PS"))
    kept.after(30 * 24 * HOUR_S)
    assert kept.card.hold is not None and [card.holder.key for card in kept.cards.held()] == ["T1"]


def test_what_another_clock_counted_is_as_warm_as_it_may_have_been_when_it_ended(kept: Kept) -> None:
    kept.say(L.Heated("T1", "PS"))
    kept.after(3000.0)
    kept.say(L.HoldEnded("T1", "reading"))
    kept.renamed("other")
    kept.after(9 * HOUR_S)
    assert (kept.card.hold, kept.card.body_c, kept.cards.held()) == (None, 48.0, [])
    kept.say(L.Heated("T1", "PS"))
    assert kept.card.body_c == 150.0


def test_a_hold_of_another_clock_runs_and_says_so(kept: Kept) -> None:
    kept.say(L.Heated("T1", "PS"))
    assert kept.card.hold is not None and kept.asked[-1].watched
    kept.renamed("other")
    assert kept.card.hold is not None and not kept.asked[-1].watched
    assert [card.holder.key for card in kept.cards.held()] == ["T1"]


def test_where_it_stands_since_another_kiosk_moved_it_is_since_this_one_heard_of_it(kept: Kept) -> None:
    moved_s = kept.book.now().watched_s
    kept.after(500.0)
    assert kept.card.since_watched_s == moved_s
    kept.renamed("other")
    opened_s = kept.book.now().watched_s
    kept.after(500.0)
    assert kept.card.since_watched_s == opened_s and kept.card.last_kiosk == "kiosk"


def test_it_stands_where_it_was_heated_until_it_is_moved(kept: Kept) -> None:
    assert kept.card.heated_at_s is None
    kept.say(L.Heated("T1", "PS"))
    began_s = kept.book.now().watched_s
    kept.after(20.0)
    kept.say(L.Heated("T1", "PS", heats=0, again=True))
    assert kept.card.heated_at_s == began_s, "the heating that was scanned again began with its first scan"
    kept.say(L.Moved("T1", "PS", "PR"), L.Moved("T1", "PR", "PS"))
    assert kept.card.heated_at_s is None, "it was away"
    kept.say(L.Heated("T1", "PS"))
    assert kept.card.heated_at_s == began_s + 20.0
    kept.say(L.HoldEnded("T1", "reading"))
    assert kept.card.heated_at_s is None


def test_what_nobody_saw_heated_and_what_another_clock_counts_is_never_the_same_heating(kept: Kept) -> None:
    kept.say(L.Heated("T1", "PS", reading_only=True))
    assert kept.card.heated_at_s is None
    kept.say(L.Heated("T1", "PS"))
    kept.say(L.KioskStarted("2"))
    assert kept.card.heated_at_s is None, "it may have been heated again while nobody watched"
    kept.say(L.Heated("T1", "PS"))
    kept.renamed("other")
    assert kept.card.heated_at_s is None


def test_nobody_knows_how_warm_a_body_is_that_was_not_seen_heated(kept: Kept) -> None:
    assert not kept.card.body_unknown
    kept.say(L.Heated("T1", "PS"))
    assert not kept.card.body_unknown
    kept.say(L.Heated("T1", "PS", reading_only=True))
    assert kept.card.body_unknown
    kept.say(L.HoldEnded("T1", "reading"))
    assert not kept.card.body_unknown
    kept.say(L.Moved("T1", "PS", None))
    assert kept.card.body_unknown and kept.card.heat is Heat.UNKNOWN and kept.card.at is None


def test_facts_are_what_was_seen_with_how_each_place_cools(kept: Kept) -> None:
    line = kept.say(L.Heated("T1", "PS", temp_c=340.0, length_mm=44.0, body_c=70.0, body_unknown=True))
    at_s = kept.book.now().watched_s
    kept.after(20.0)
    kept.say(L.Moved("T1", "PS", "PR"), L.TemperatureRead("T1", "nose", 90.0, "probe", "agrees", heating=line))
    kept.say(L.KioskStarted("2"))
    facts = kept.cards.hold_facts("T1")
    assert facts is not None and kept.cards.hold_facts("T9") is None
    stood = [(stay.place, stay.since_s, stay.way, stay.wet_length_mm) for stay in facts.stays]
    assert stood == [("PS", at_s, None, None), ("PR", at_s + 20.0, "sleeve", 50.0)]
    assert (facts.heated_at_s, facts.temp_c, facts.length_mm, facts.body_c) == (at_s, 340.0, 44.0, 70.0)
    assert (facts.body_unknown, facts.reading_only, facts.gaps, facts.heating) == (True, False, 1, line)
    (reading,) = facts.readings
    assert (reading.at_s, reading.where, reading.value_c, reading.verdict) == (at_s + 20.0, "nose", 90.0, "agrees")


# what was built when


def test_what_was_built_in_is_found_by_the_lines_it_was_built_between(kept: Kept) -> None:
    first = kept.say(L.Built("A1", "One", "T1", "C1", 40.0))
    torn = kept.say(L.TornDown("T1", "A1"))
    second = kept.say(L.Built("A2", "Two", "T1", "C1", 36.0))

    def between(one: int, other: int) -> str | None:
        found = kept.cards.assembly_in(STEEL, one, other)
        return found.key if found else None

    assert [between(1, first - 1), between(1, first), between(first, torn - 1)] == [None, "A1", "A1"]
    assert [between(torn, torn), between(torn - 1, torn)] == [None, "A1"]
    assert [between(1, second), between(second, second + 9), between(torn, second)] == ["A2", "A2", "A2"]
    assert kept.card.assembly is not None and kept.card.assembly.key == "A2"


# labels


def test_a_label_stands_for_what_it_is_bound_to_or_was(kept: Kept) -> None:
    label = codes.make(codes.CodeKind.HOLDER, 77)
    other = codes.make(codes.CodeKind.HOLDER, 78)
    found: Any = kept.cards.subject(label.text)
    assert found == UnknownCode(label.text, foreign=False)
    kept.say(L.CodeBound(label.text, "T1", "holder"), L.CodeBound("MAKER 12", "T1", "holder"))
    found = kept.cards.subject(f" {label.text.lower()} ")
    assert isinstance(found, HolderCard) and found.holder.key == "T1"
    assert isinstance(kept.cards.subject("MAKER 12"), HolderCard) and kept.cards.is_bound("MAKER 12")
    assert not kept.cards.is_bound("MAKER 13")
    kept.say(L.CodeBound(other.text, "T1", "holder", replaces=label.text))
    found = kept.cards.subject(label.text)
    assert isinstance(found, RetiredCode) and found.holder is not None and found.holder.holder.key == "T1"


def test_a_slip_of_a_label_names_the_labels_near_it_that_are_in_use(kept: Kept) -> None:
    label = codes.make(codes.CodeKind.HOLDER, 77).text
    slipped = label[:-1] + ("3" if label[-1] != "3" else "4")
    assert kept.cards.subject(slipped) == DamagedCode(slipped, ())
    kept.say(L.CodeBound(label, "T1", "holder"))
    assert kept.cards.subject(slipped) == DamagedCode(slipped, (label,))
    kept.say(L.CodeRetired(label, "worn"))
    assert kept.cards.subject(slipped) == DamagedCode(slipped, ())


def test_cards_places_and_printed_labels_answer_for_themselves(kept: Kept) -> None:
    card = codes.make(codes.CodeKind.COMMAND, Command.SHOW_HOT.value)
    assert kept.cards.subject(card.text) == CommandCard(Command.SHOW_HOT)
    assert isinstance(kept.cards.subject(codes.make(codes.CodeKind.COMMAND, 99).text), UnknownCode)
    kept.say(L.CodeBound("PR", "PR", "place"))
    found = kept.cards.subject("PR")
    assert isinstance(found, PlaceCard) and found.place == RACK
    assert isinstance(kept.cards.subject("no label of ours"), UnknownCode)
    printed = codes.make(codes.CodeKind.HOLDER, 79).text
    kept.say(L.LabelPrinted(printed, "T1", "holder"))
    fresh = kept.cards.subject(printed)
    assert isinstance(fresh, FreshLabel) and fresh.holder.holder.key == "T1"


# places


def test_places_are_walked_by_number_and_named_from_the_cabinet(kept: Kept) -> None:
    places = kept.cards.places
    assert places.within("PW") == ["PW", "PE", "PD"] and places.path("PD") == ("Wall", "Drawer 2")
    assert kept.cards.find_place(" pd ") == kept.cards.find_place("wall · DRAWER 2") == "PD"
    assert kept.cards.find_place("Drawer 9") is None and kept.cards.place("PX") is None
    assert places.said()["Wall · Drawer 2"] == 1


def test_a_ring_of_places_is_gone_through_a_few_times_and_no_more() -> None:
    ring = [
        {"code": code, "name": code, "parent": parent, "magazine": None} for code, parent in (("A", "B"), ("B", "A"))
    ]
    assert len(Places(ring).path("A")) == 8


# the last step


def test_the_last_step_is_what_a_hand_could_want_back(kept: Kept) -> None:
    line = kept.say(L.Moved("T1", "PS", "PR"))
    step = last_step(kept.book, kept.cards, None)
    assert step is not None and step.origin is not None and step.origin.place == STATION
    assert (step.line, step.goal, step.heated, step.still_there) == (line, "PR", False, True)
    assert (step.at_watched_s, step.holder.holder.key) == (kept.book.now().watched_s, "T1")
    assert last_step(kept.book, kept.cards, "jo") is None, "it was nobody's"
    kept.say(L.Heated("T1", "PR"))
    heated = last_step(kept.book, kept.cards, None)
    assert heated is not None and heated.line == line and heated.heated
    kept.say(L.Moved("T1", "PR", "PS", undoes=line))
    assert last_step(kept.book, kept.cards, None) is None, "what was taken back is not taken back again"
    kept.say(L.Moved("T1", "PS", "PR"), L.Built("A1", "One", "T1", "C1", 40.0))
    assert last_step(kept.book, kept.cards, None) is None, "a cutter went in since"


def test_another_kiosks_last_step_is_none_of_this_ones(kept: Kept) -> None:
    kept.say(L.Moved("T1", "PS", "PR"))
    kept.renamed("other")
    assert last_step(kept.book, kept.cards, None) is None
