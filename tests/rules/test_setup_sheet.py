"""What a job needs against what the shop has."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from math import inf
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Condition, Coupling, Cutter, Holder
from kiosk.rules.fitting.fits import FitRules
from kiosk.rules.fitting.magazine import Machine, Magazine
from kiosk.rules.fitting.magazine import MagazineKind as MagazineKind
from kiosk.rules.fitting.setup_sheet import Need, Picked, Stock, Supply, assemblies, match, pick_round
from kiosk.rules.places import Kind
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


def test_a_ready_tool_goes_to_the_line_that_can_have_nothing_else() -> None:
    # the loose line may be built, the strict one is met by the ready tool alone
    loose, strict = Need(2, dc_mm=12.0), Need(3, "A")
    stock = Stock((built("A"), bare("h12")), (mill("c12"),))
    for needs in ([loose, strict], [strict, loose]):
        found = {met.need: met.supply for met in match(needs, stock, RULES)}
        assert found == {loose: Supply.BUILD, strict: Supply.IN_CABINET}


def test_two_that_can_be_built_are_found_whichever_cutter_comes_first() -> None:
    # the long cutter suits both lines, the short one only the first; the long one goes only into the wide holder
    short, long = mill("short", 8.0, lu_mm=20.0), mill("long", 8.0, dmm_mm=12.0, lu_mm=40.0)
    narrow, wide = bare("narrow", 8.0), bare("wide", 12.0)
    needs = [Need(2, dc_mm=8.0), Need(3, dc_mm=8.0, lu_mm=35.0)]
    for cutters in ((short, long), (long, short)):
        for entries in ((narrow, wide), (wide, narrow)):
            for asked in (needs, needs[::-1]):
                answer = match(asked, Stock(entries, cutters), RULES)
                assert [met.supply for met in answer] == [Supply.BUILD, Supply.BUILD]


def test_of_holders_that_are_alike_each_shows_its_own_heats() -> None:
    fresh, worn = bare("fresh", heats=3), bare("worn", heats=900)
    shrink = [
        replace(one, holder=replace(one.holder, clamping=Clamping.SHRINK_FIT, nose_mm=24.0)) for one in (fresh, worn)
    ]
    answer = match([Need(2, dc_mm=12.0, quantity=2)], Stock(tuple(shrink), (mill("c1"), mill("c2"))), RULES)
    assert {
        met.holder.heats: met.fit.shrink.heats_used for met in answer if met.holder and met.fit and met.fit.shrink
    } == {
        3: 3,
        900: 900,
    }


def test_a_holder_with_few_heats_left_is_built_with_last_and_one_with_none_never() -> None:
    def shrink(key: str, heats: int, place: str) -> BookEntry:
        holder = replace(steel(key), clamping=Clamping.SHRINK_FIT, nose_mm=24.0, heat_limit=1000)
        return replace(bare(key), holder=holder, heats=heats, place=place)

    few, many, none = shrink("few", 990, "1-01"), shrink("many", 10, "1-02"), shrink("none", 1000, "1-00")
    answer = match([Need(2, dc_mm=12.0)], Stock((few, many, none), (mill("c1"),)), RULES)
    assert answer[0].holder is many
    answer = match([Need(2, dc_mm=12.0, quantity=3)], Stock((few, many, none), tuple(map(mill, "abc"))), RULES)
    assert [met.holder and met.holder.holder.key for met in answer] == ["many", "few", None]


Score = tuple[int, int, int, int, float]


def _score(needs: list[Need], found: list[tuple[int, Supply, float]]) -> Score:
    """What a way of meeting needs comes to, the lower the better.  found: need, supply, wait of each piece."""
    had = Counter(line for line, supply, _ in found if supply < Supply.NO_HOLDER)
    pieces = sum(need.quantity for need in needs)
    whole = sum(had[line] >= need.quantity for line, need in enumerate(needs))
    trouble = sum(supply for _, supply, _ in found) + (pieces - len(found)) * Supply.MISSING
    waits = [wait_s for _, _, wait_s in found]
    return -whole, -had.total(), trouble, waits.count(inf), sum(wait_s for wait_s in waits if wait_s < inf)


def _tried(needs: list[Need], stock: Stock) -> Score:
    """The best score of every way there is, each piece in turn with each thing that is left, or with nothing."""
    pieces = [line for line, need in enumerate(needs) for _ in range(need.quantity)]
    free = [entry for entry in stock.entries if entry.assembly is None]

    def suits(need: Need, cutter: Cutter, names: set[str]) -> bool:
        return (
            need.name in {"", *names}
            and need.dc_mm in (None, cutter.dc_mm)
            and (need.lu_mm or 0) <= (cutter.lu_mm or 0)
        )

    def ways(left: list[int], used: frozenset[str]) -> Iterator[list[tuple[int, Supply, float]]]:
        if not left:
            yield []
            return
        need = needs[left[0]]
        choices: list[tuple[Supply, float, set[str]]] = []
        for entry in stock.entries:
            if entry.assembly is not None and suits(need, entry.assembly.cutter, {entry.name}):
                supply = Supply.IN_CABINET
                if entry.machine is not None:
                    supply = Supply.IN_MACHINE if need.machine in ("", entry.machine) else Supply.IN_OTHER_MACHINE
                elif entry.hot:
                    supply = Supply.HOT
                wait_s = 0.0 if not entry.hot else inf if entry.safe_in_s is None else entry.safe_in_s
                choices.append((supply, wait_s, {entry.code}))
        for cutter in stock.cutters:
            if suits(need, cutter, {cutter.name}):
                choices.append((Supply.NO_HOLDER, 0.0, {cutter.key}))
                for entry in free:
                    if (entry.holder.bore_min_mm or 0.0) <= cutter.dmm_mm <= entry.holder.bore_mm:
                        choices.append((Supply.BUILD, 0.0, {cutter.key, entry.code}))
        for rest in ways(left[1:], used):
            yield rest
        for supply, wait_s, takes in choices:
            if not takes & used:
                for rest in ways(left[1:], used | takes):
                    yield [(left[0], supply, wait_s), *rest]

    return min(_score(needs, found) for found in ways(pieces, frozenset()))


def _drawn(chance: Random) -> tuple[list[Need], Stock]:
    """A small sheet and a small shop, with everything the one asks for scarce in the other."""
    needs = [
        Need(
            line,
            chance.choice(["", "", "A", "B"]),
            chance.choice([1, 1, 1, 2]),
            chance.choice(["", "Mill 1"]),
            dc_mm=chance.choice([8.0, 12.0]),
            lu_mm=chance.choice([None, None, 35.0]),
        )
        for line in range(2, 2 + chance.randint(1, 3))
    ]
    entries: list[BookEntry] = []
    for at in range(chance.randint(0, 3)):
        hot = chance.random() < 0.3
        entry = built(chance.choice("AB"), f"Cabinet A · 1-0{at}", dc_mm=chance.choice([8.0, 12.0]), hot=hot)
        entry = replace(entry, safe_in_s=chance.choice([None, 60.0, 900.0]) if hot else None)
        if not hot and chance.random() < 0.3:
            machine = chance.choice(["Mill 1", "Mill 2"])
            entry = replace(entry, kind=Kind.POCKET, machine=machine, pocket=at, place=f"{machine} · {at}")
        entries.append(entry)
    for at in range(chance.randint(0, 3)):
        least_mm, most_mm = chance.choice([(7.0, 8.0), (11.0, 12.0), (7.0, 12.0)])
        holder = replace(steel(f"free{at}", most_mm), bore_min_mm=least_mm)
        entries.append(bare(f"free{at}", holder=holder, place=f"Cabinet A · 2-0{at}"))
    cutters = tuple(
        mill(f"cut{at}", dc_mm, dmm_mm=chance.choice([8.0, 12.0]), lu_mm=chance.choice([30.0, 40.0]))
        for at, dc_mm in enumerate(chance.choice([8.0, 12.0]) for _ in range(chance.randint(0, 3)))
    )
    return needs, Stock(tuple(entries), cutters)


def test_no_way_to_meet_a_sheet_that_was_tried_is_better_and_no_order_changes_the_answer() -> None:
    builds = 0
    for seed in range(700):
        chance = Random(seed)
        needs, stock = _drawn(chance)
        answer = match(needs, stock, RULES)
        found = [
            (
                needs.index(met.need),
                met.supply,
                0.0 if met.entry is None or not met.entry.hot else met.entry.safe_in_s or inf,
            )
            for met in answer
            if met.supply is not Supply.MISSING
        ]
        assert _score(needs, found) == _tried(needs, stock), seed
        promised = [met.entry or met.holder for met in answer if met.entry or met.holder]
        cutters = [met.cutter for met in answer if met.cutter]
        assert len(promised) == len({entry.code for entry in promised if entry}), seed
        assert len(cutters) == len({cutter.key for cutter in cutters}), seed
        builds += sum(met.supply is Supply.BUILD for met in answer)
        mixed = Stock(
            tuple(chance.sample(stock.entries, len(stock.entries))),
            tuple(chance.sample(stock.cutters, len(stock.cutters))),
        )
        again = match(chance.sample(needs, len(needs)), mixed, RULES)
        assert sorted(map(repr, again)) == sorted(map(repr, answer)), seed
    assert builds > 100, "the cases must be of the hard kind too"


@pytest.mark.parametrize("off_mm", [-0.049, 0.0, 0.049])
@pytest.mark.parametrize("named", [False, True])
def test_a_cutter_as_far_off_its_size_as_may_be_is_found_among_thousands(off_mm: float, named: bool) -> None:
    others = [built(f"tool {at}", f"Cabinet A · {at}") for at in range(3000)]
    entries = [replace(each, assembly=replace(each.assembly, cutter=mill(f"X{at}", 3.0 + at * 0.001)))
               for at, each in enumerate(others) if each.assembly is not None]  # fmt: skip
    wanted = built("Right One", "Cabinet B · 01")
    assert wanted.assembly is not None
    entries.append(replace(wanted, assembly=replace(wanted.assembly, cutter=mill("R", 12.0 + off_mm))))
    need = Need(1, " right  one" if named else "", dc_mm=12.0)
    found = match([need], Stock(tuple(entries)), FitRules())
    assert [met.entry and met.entry.place for met in found] == ["Cabinet B · 01"]
