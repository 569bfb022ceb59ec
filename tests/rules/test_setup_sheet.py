"""What a job needs against what the shop has."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Condition, Coupling, Cutter, Holder
from kiosk.rules.fits import FitRules
from kiosk.rules.magazine import Kind as MagazineKind
from kiosk.rules.magazine import Machine, Magazine
from kiosk.rules.places import Kind
from kiosk.rules.setup_sheet import Need, Picked, Stock, Supply, assemblies, match, pick_round
from kiosk.rules.stock import BookEntry

HSK63 = Coupling.parse("HSK63")
RULES = FitRules()


def steel(key: str, bore_mm: float = 12.0, **more: object) -> Holder:
    holder = Holder(key, f"Collet {key}", HSK63, Clamping.COLLET, bore_mm, bore_mm - 1, 28.0, 80.0, 30.0, 45.0)
    return replace(holder, rpm_max=20000.0, mass_kg=1.0, **more)  # type: ignore[arg-type]


def mill(key: str, dc_mm: float = 12.0, **more: object) -> Cutter:
    return replace(Cutter(key, f"End mill {key}", dc_mm, dc_mm, 83.0, lu_mm=30.0, zefp=4), **more)  # type: ignore[arg-type]


def built(name: str, place: str = "Cabinet A · 1-01", kind: Kind = Kind.SLOT, **more: object) -> BookEntry:
    key = f"{name}@{place}"
    dc_mm = more.pop("dc_mm", 12.0)
    whole = Assembly(f"a-{key}", name, steel(f"h-{key}"), mill(f"c-{key}", dc_mm), 40.0)  # type: ignore[arg-type]
    return replace(BookEntry(key, whole.holder, whole, place, kind), **more)  # type: ignore[arg-type]


def bare(key: str, bore_mm: float = 12.0, **more: object) -> BookEntry:
    return replace(BookEntry(f"code-{key}", steel(key, bore_mm), None, "Cabinet A · 2-01", Kind.SLOT), **more)  # type: ignore[arg-type]


def in_machine(name: str, machine: str, pocket: int = 7) -> BookEntry:
    return built(name, f"{machine} · {pocket}", Kind.POCKET, machine=machine, pocket=pocket)


def supplies(needs: list[Need], *entries: BookEntry, cutters: tuple[Cutter, ...] = ()) -> list[Supply]:
    return [met.supply for met in match(needs, Stock(entries, cutters), RULES)]


def test_the_easiest_way_is_chosen_and_each_piece_gets_one_of_its_own() -> None:
    entries = (
        in_machine("Rougher", "Mill 2"),
        built("Rougher", hot=True, safe_in_s=300.0, kind=Kind.COOLING, place="Rack 1"),
        built("Rougher", "Bench 1", Kind.BENCH),
        built("rougher", "Cabinet A · 1-05"),
        in_machine("Rougher", "Mill 1"),
    )
    needs = [Need(2, "ROUGHER", quantity=6, machine="Mill 1")]
    answer = match(needs, Stock(entries), RULES)
    assert [met.supply for met in answer] == [
        Supply.IN_MACHINE,
        Supply.IN_CABINET,
        Supply.ELSEWHERE,
        Supply.HOT,
        Supply.IN_OTHER_MACHINE,
        Supply.MISSING,
    ]
    assert [met.piece for met in answer] == [1, 2, 3, 4, 5, 6]
    one = match([Need(2, "rougher", machine="Mill 1")], Stock(entries), RULES)
    assert one[0].entry is entries[4]


def test_a_loose_wish_does_not_take_what_a_strict_one_can_only_have() -> None:
    first, second = built("A", "Cabinet A · 1-01"), built("B", "Cabinet A · 1-02")
    needs = [Need(2, dc_mm=12.0), Need(3, "A")]
    answer = match(needs, Stock((first, second)), RULES)
    assert [met.entry.name for met in answer if met.entry] == ["B", "A"]


def test_worn_broken_doubtful_and_spent_ones_are_never_ready() -> None:
    good = built("Mill")
    assert good.assembly is not None
    for condition in (Condition.WORN, Condition.BROKEN, Condition.UNKNOWN):
        bad = replace(good, assembly=replace(good.assembly, condition=condition))
        assert supplies([Need(2, "Mill")], bad) == [Supply.MISSING]
    spent = replace(good.assembly, cutter=replace(good.assembly.cutter, life_min=60.0), used_min=60.0)
    assert supplies([Need(2, "Mill")], replace(good, assembly=spent)) == [Supply.MISSING]
    assert supplies([Need(2, "Mill")], replace(good, kind=Kind.OUT)) == [Supply.MISSING]
    assert supplies([Need(2, "Mill")], replace(good, kind=None, place=None)) == [Supply.MISSING]


@pytest.mark.parametrize(
    ("need", "met"),
    [
        (Need(2, dc_mm=12.0), True),
        (Need(2, dc_mm=12.04), True),
        (Need(2, dc_mm=12.2), False),
        (Need(2, dc_mm=12.0, re_mm=1.0), False),
        (Need(2, dc_mm=12.0, lu_mm=30.0), True),
        (Need(2, dc_mm=12.0, lu_mm=31.0), False),
        (Need(2, dc_mm=12.0, zefp=4), True),
        (Need(2, dc_mm=12.0, zefp=3), False),
        (Need(2, dc_mm=12.0, rpm=20000.0), True),
        (Need(2, dc_mm=12.0, rpm=20001.0), False),
    ],
)
def test_cutting_data_must_be_met(need: Need, met: bool) -> None:
    assert supplies([need], built("Mill")) == [Supply.IN_CABINET if met else Supply.MISSING]


def test_of_hot_ones_the_first_to_be_safe_is_promised() -> None:
    late = built("Mill", "Rack 1", Kind.COOLING, hot=True, safe_in_s=900.0)
    soon = built("Mill", "Rack 2", Kind.COOLING, hot=True, safe_in_s=60.0)
    unknown = built("Mill", "Rack 0", Kind.COOLING, hot=True, safe_in_s=None)
    answer = match([Need(2, "Mill")], Stock((late, soon, unknown)), RULES)
    assert answer[0].entry is soon


def test_what_is_not_there_is_built_from_a_spare_cutter_and_a_free_holder_that_takes_it() -> None:
    answer = match([Need(2, dc_mm=12.0)], Stock((bare("h8", 8.0), bare("h12")), (mill("c12"),)), RULES)
    assert answer[0].supply is Supply.BUILD
    assert answer[0].holder is not None and answer[0].holder.holder.key == "h12"
    assert answer[0].fit is not None and answer[0].fit.ok
    hot = bare("h12", hot=True)
    assert supplies([Need(2, dc_mm=12.0)], hot, cutters=(mill("c12"),)) == [Supply.NO_HOLDER]


def test_holders_are_given_so_that_as_many_as_can_be_are_built() -> None:
    # the wide collet takes both shanks, the narrow one only 12 mm: whoever comes first must not take the wide one
    wide, narrow = bare("wide", 12.0, holder=replace(steel("wide"), bore_min_mm=8.0)), bare("narrow", 12.0)
    needs = [Need(2, dc_mm=12.0), Need(3, dc_mm=8.0)]
    answer = match(needs, Stock((wide, narrow), (mill("c12"), mill("c8", 8.0))), RULES)
    assert [met.supply for met in answer] == [Supply.BUILD, Supply.BUILD]
    assert [met.holder.holder.key for met in answer if met.holder] == ["narrow", "wide"]


def test_a_holder_the_machine_cannot_take_is_not_built_for_it() -> None:
    machine = Machine("Mill 1", Magazine(MagazineKind.CHAIN, 24, 80.0, couplings=frozenset({Coupling.parse("A40")})))
    stock = Stock((bare("h12"),), (mill("c12"),), (machine,))
    assert match([Need(2, dc_mm=12.0, machine="Mill 1")], stock, RULES)[0].supply is Supply.NO_HOLDER
    assert match([Need(2, dc_mm=12.0, machine="Mill 2")], stock, RULES)[0].supply is Supply.BUILD


def test_the_pick_round_goes_by_drawer_and_takes_scans_in_any_order() -> None:
    entries = tuple(built("Mill", f"Cabinet A · {place}") for place in ("10-01", "2-10", "2-09"))
    walk = pick_round(match([Need(2, "Mill", quantity=3)], Stock(entries), RULES))
    assert [stop.place for stop in walk.stops] == [
        "Cabinet A · 2-09",
        "Cabinet A · 2-10",
        "Cabinet A · 10-01",
    ]
    assert walk.next is not None and walk.next.place == "Cabinet A · 2-09"
    walk, picked = walk.scan("Mill@Cabinet A · 2-10")
    assert picked is Picked.TAKEN
    assert walk.scan("Mill@Cabinet A · 2-10")[1] is Picked.AGAIN
    assert walk.scan("H000000000")[1] is Picked.NOT_LISTED
    walk, _ = walk.scan("Mill@Cabinet A · 2-09")
    walk, picked = walk.scan("Mill@Cabinet A · 10-01")
    assert (picked, walk.next) == (Picked.DONE, None)


def test_the_round_fetches_holders_to_build_with_and_leaves_what_is_in_the_machine() -> None:
    entries = (in_machine("Mill", "Mill 1"), bare("h12"))
    needs = [Need(2, "Mill", machine="Mill 1"), Need(3, dc_mm=12.0, quantity=1, machine="Mill 1", zefp=5)]
    answer = match(needs, Stock(entries, (mill("c5", zefp=5),)), RULES)
    assert [stop.code for stop in pick_round(answer).stops] == ["code-h12"]
    assert [entry.name for entry in assemblies(answer, "Mill 1")] == ["Mill"]
    assert assemblies(answer, "Mill 2") == ()


ENTRIES = st.lists(
    st.tuples(st.sampled_from(["A", "B", "C"]), st.sampled_from([8.0, 12.0]), st.booleans(), st.booleans()), max_size=6
)
NEEDS = st.lists(
    st.builds(
        Need,
        line=st.integers(2, 9),
        name=st.sampled_from(["", "A", "B"]),
        quantity=st.integers(1, 2),
        dc_mm=st.sampled_from([8.0, 12.0]),
    ),
    max_size=4,
)


@settings(max_examples=80, deadline=None)
@given(ENTRIES, NEEDS)
def test_nothing_is_promised_twice_and_no_more_could_be_met(
    there: list[tuple[str, float, bool, bool]], needs: list[Need]
) -> None:
    entries = tuple(
        built(name, f"Cabinet A · 1-{at}", dc_mm=dc_mm, hot=hot) for at, (name, dc_mm, hot, _) in enumerate(there)
    )
    answer = match(needs, Stock(entries), RULES)
    assert len(answer) == sum(need.quantity for need in needs)
    promised = [met.entry.code for met in answer if met.entry]
    assert len(set(promised)) == len(promised)
    for met in answer:
        if met.entry is not None:
            assert met.entry.assembly is not None
            assert met.need.name in ("", met.entry.name)
            assert met.entry.assembly.cutter.dc_mm == met.need.dc_mm
            assert (met.supply is Supply.HOT) is met.entry.hot
    assert len(promised) == _most([met.need for met in answer], entries)


def _most(pieces: list[Need], entries: tuple[BookEntry, ...]) -> int:
    """Most pieces that can be met, by trying (augmenting paths)."""
    taken: dict[int, int] = {}

    def find(piece: int, tried: set[int]) -> bool:
        for at, entry in enumerate(entries):
            assert entry.assembly is not None
            need = pieces[piece]
            if at in tried or need.name not in ("", entry.name) or entry.assembly.cutter.dc_mm != need.dc_mm:
                continue
            tried.add(at)
            if at not in taken or find(taken[at], tried):
                taken[at] = piece
                return True
        return False

    return sum(find(piece, set()) for piece in range(len(pieces)))
