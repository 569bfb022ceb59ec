"""A machine, its pockets and its spindle as a decision sees them, people, and who is held, read out of a book."""

from __future__ import annotations

from pathlib import Path

from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Condition, Coupling, Cutter, Family, Holder, Measured
from kiosk.rules.cards import OperatorCard, PlaceCard, RetiredCode, UnknownCode
from kiosk.rules.fitting.magazine import Magazine, MagazineKind
from kiosk.rules.places import Kind, Place
from tests.ledger.test_view import CUTTER, Kept, kept

__all__ = ["kept"]  # the fixture

HSK63 = Coupling(Family.HOLLOW_TAPER, 63)
CHAIN = Magazine(MagazineKind.CHAIN, 6, 130.0)
MACHINE, SPINDLE = Place("M1", "Mill", Kind.MACHINE), Place("S1", "Spindle", Kind.SPINDLE, parent="M1")
POCKETS = [Place(f"K{number}", f"Pocket {number}", Kind.POCKET, parent="M1", number=number) for number in (1, 2, 3)]


def collet(key: str) -> Holder:
    return Holder(key, key, HSK63, Clamping.COLLET, 12.0)


def milling(kept: Kept) -> None:
    """A mill with three pockets: T2 with a cutter in the first, T3 without one in the second, which is T4's."""
    kept.say(L.PlaceAdded(MACHINE, CHAIN), *map(L.PlaceAdded, (SPINDLE, *POCKETS)))
    kept.say(*(L.HolderRegistered(collet(key), stood_cold=True) for key in ("T2", "T3", "T4", "T5")))
    kept.say(*(L.Built(f"A{at}", f"Mill {at}", f"T{at}", "C1", 30.0) for at in (2, 4, 5)))
    kept.say(L.Moved("T2", None, "K1"), L.Moved("T3", None, "K2"), L.Moved("T5", None, "S1"))
    kept.say(L.PocketAssigned("K1", "T2"), L.PocketAssigned("K2", "T4"), L.PocketAssigned("K3", "T5"))
    kept.cards.forget_places()


def place(kept: Kept, code: str) -> PlaceCard:
    found = kept.cards.place(code)
    assert found is not None
    return found


def test_a_pocket_knows_its_magazine_what_stands_in_it_whose_its_pockets_are_and_who_comes_back(kept: Kept) -> None:
    milling(kept)
    for code in ("M1", "S1", "K1", "K2"):
        card = place(kept, code)
        assert card.magazine == CHAIN and card.owners == {1: "T2", 2: "T4", 3: "T5"}
        assert [(one.pocket, one.assembly.key, one.fixed) for one in card.loaded] == [(1, "A2", True)]
        back = sorted((one.pocket, one.assembly.key, one.fixed) for one in card.returning)
        assert back == [(2, "A4", True), (3, "A5", True)], "those with a cutter that are not in a pocket"
    assert place(kept, "K1").occupants == ("T2",) and place(kept, "K3").occupants == ()
    assert place(kept, "S1").occupants == ("T5",) and place(kept, "M1").path == ("Mill",)


def test_what_stands_in_another_holders_pocket_is_not_fixed_there(kept: Kept) -> None:
    milling(kept)
    kept.say(L.PocketAssigned("K1", None), L.Moved("T4", None, "K3"))
    kept.cards.forget_places()
    card = place(kept, "M1")
    assert [(one.pocket, one.fixed) for one in card.loaded] == [(1, False), (3, False)]
    assert card.owners == {2: "T4", 3: "T5"}
    assert [(one.pocket, one.assembly.key) for one in card.returning] == [(3, "A5")]


def test_where_no_magazine_is_on_record_nothing_is_said_of_one(kept: Kept) -> None:
    for code in ("PD", "PW", "PS"):
        card = place(kept, code)
        assert card.magazine is None and card.loaded == card.returning == () and not card.owners
    kept.say(L.PlaceAdded(Place("M2", "Old mill", Kind.MACHINE)))
    kept.say(L.PlaceAdded(Place("K9", "Pocket 9", Kind.POCKET, parent="M2", number=9)), L.PlaceRetired("K9"))
    kept.cards.forget_places()
    card = place(kept, "K9")
    assert card.magazine is None and card.retired and not place(kept, "M2").retired
    kept.say(L.PlaceAdded(MACHINE, CHAIN), L.PlaceRetired("M1"))
    kept.cards.forget_places()
    assert place(kept, "M1").retired and place(kept, "M1").magazine == CHAIN


def test_where_no_pocket_is_anybodys_nobody_comes_back(kept: Kept) -> None:
    kept.say(L.PlaceAdded(MACHINE, CHAIN), *map(L.PlaceAdded, POCKETS))
    kept.cards.forget_places()
    card = place(kept, "K1")
    assert card.returning == card.loaded == () and card.owners == {} and card.magazine == CHAIN


def test_places_are_read_again_only_once_they_are_forgotten(kept: Kept) -> None:
    assert kept.cards.place("M1") is None
    kept.say(L.PlaceAdded(MACHINE, CHAIN))
    assert kept.cards.place("M1") is None
    kept.cards.forget_places()
    assert kept.cards.place("M1") is not None


def test_people_are_who_the_book_says(kept: Kept) -> None:
    kept.say(L.OperatorAdded("kim", "Kim Vale", "supervisor", "hash"), L.CodeBound("B1", "kim", "operator"))
    assert kept.cards.operator("kim") == OperatorCard("kim", "Kim Vale", "supervisor", False)
    assert kept.cards.subject("B1") == kept.cards.operator("kim")
    kept.say(L.OperatorRetired("kim"))
    assert kept.cards.operator("kim") == OperatorCard("kim", "Kim Vale", "supervisor", True)
    assert kept.cards.operator("sam") is None


def test_a_label_stands_for_its_subject_whatever_it_is_called(kept: Kept) -> None:
    kept.say(L.CodeBound("h 1", "T1", "holder"), L.CodeBound("PX", "PX", "place"), L.CodeBound("B9", "sam", "operator"))
    assert kept.cards.is_bound("h 1") and not kept.cards.is_bound("H1") and not kept.cards.is_bound("h 2")
    assert kept.cards.subject("h 1") == kept.card
    for text in ("PX", "B9"):
        assert kept.cards.subject(text) == UnknownCode(text, foreign=False), "what it stood for is not in the book"
    kept.say(L.CodeBound("W7", "PW", "place"), L.CodeRetired("W7"), L.CodeRetired("h 1"))
    assert kept.cards.subject("W7") == RetiredCode("W7", None)
    retired = kept.cards.subject("h 1")
    assert isinstance(retired, RetiredCode) and retired.holder is not None and retired.holder.holder.key == "T1"


def test_an_assembly_is_what_was_built_measured_and_said_of_it(kept: Kept) -> None:
    values = Measured(130.5, 11.99)
    kept.say(L.Built("A1", "Mill", "T1", "C1", 38.0), L.MeasuredLine("T1", "A1", values))
    kept.say(L.ConditionSaid("T1", "A1", Condition.WORN, 12.5))
    built = kept.card.assembly
    assert built is not None and built.holder == kept.card.holder and built.cutter == CUTTER
    assert (built.key, built.name, built.insert_mm, built.measured) == ("A1", "Mill", 38.0, values)
    assert (built.condition, built.used_min) == (Condition.WORN, 12.5)
    kept.say(L.TornDown("T1", "A1"))
    assert kept.card.assembly is None


def test_what_is_held_and_what_may_still_be_warm_is_listed(kept: Kept) -> None:
    kept.say(*(L.HolderRegistered(collet(key), stood_cold=True) for key in ("T2", "T3")))
    assert kept.cards.held() == []
    kept.say(L.Heated("T2", "PS"))
    kept.after(100.0)
    kept.say(L.Heated("T1", "PS"), L.HoldEnded("T1", "reading"))
    assert {card.holder.key for card in kept.cards.held()} == {"T1", "T2"}
    kept.after(6 * 3600.0 - 1.0)
    assert {card.holder.key for card in kept.cards.held()} == {"T1", "T2"} and kept.card.measure_in_s == 700.0
    kept.after(1.0)
    assert kept.card.measure_in_s is None, "longer than any steel is warm"
    assert [card.holder.key for card in kept.cards.held()] == ["T2"], "a hold that runs is listed however old it is"


def test_of_a_heating_that_could_not_be_written_nobody_knows_how_warm(kept: Kept) -> None:
    assert kept.card.heat.value == "cool"
    kept.cards.unwritten.add("T1")
    assert kept.card.heat.value == "unknown"
    kept.say(L.Heated("T1", "PS"))
    held = kept.card
    assert held.heat.value == "held" and held.hold is not None and held.hold.needs_reading


def test_a_holder_that_is_not_in_the_book_has_no_card_and_no_facts(kept: Kept) -> None:
    assert kept.cards.holder("T9") is None and kept.cards.hold_facts("T9") is None
    assert kept.cards.hold_facts("T1") is None, "never heated"
    kept.say(L.HolderRetired("T1"))
    assert kept.card.retired and kept.card.code == "T1", "without a label its own name"


def test_a_cutter_is_what_its_row_says(kept: Kept, tmp_path: Path) -> None:
    ground = Cutter("C1", "Mill 12", 11.8, 12.0, 81.0)
    kept.say(L.CutterReground("C1", 11.8, 81.0), L.Built("A1", "Mill", "T1", "C1", 38.0))
    assert kept.card.assembly is not None and kept.card.assembly.cutter == ground
