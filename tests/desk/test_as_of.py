"""While not all kiosks are heard, a line that rests on another's news says as of when: in the window and by phone."""

from __future__ import annotations

import pytest

from kiosk.handheld import said
from kiosk.ledger import tables as T
from kiosk.rules.apart import Apart
from kiosk.rules.as_of import AsOf, as_of
from kiosk.rules.lines import Heated
from kiosk.telling import old_words, place_words
from kiosk.words import t
from tests.conftest import Shop

ELSEWHERE = "b" * 16
AT_S = 1_790_000_000.0


def cut_off(kiosk: str, at_s: float | None = AT_S) -> Apart:
    return Apart(kiosk, stations_heard=True, all_heard=False, caught_up=False, as_of_utc_s=at_s)


@pytest.mark.parametrize(
    ("apart", "last_kiosk", "old"),
    [
        (None, ELSEWHERE, None),
        (cut_off("a"), "a", None),
        (cut_off("a"), ELSEWHERE, AsOf(AT_S)),
        (cut_off("a"), None, AsOf(AT_S)),
        (cut_off("a", None), ELSEWHERE, AsOf(None)),
        (Apart("a", stations_heard=True, all_heard=True, caught_up=False, as_of_utc_s=AT_S), ELSEWHERE, None),
    ],
)
def test_what_another_told_is_as_old_as_the_last_that_was_heard(
    apart: Apart | None, last_kiosk: str | None, old: AsOf | None
) -> None:
    assert as_of(apart, last_kiosk) == old


def test_where_nobody_was_ever_heard_that_is_said_in_place_of_a_time() -> None:
    assert old_words(AsOf(None)) == "others not heard" and old_words(None) == ""
    assert place_words("Bench", AsOf(None)) == "Bench · others not heard" and place_words("Bench", None) == "Bench"


@pytest.mark.parametrize("mine", [False, True])
def test_find_the_way_there_the_hot_board_and_machines_say_as_of_when(shop: Shop, mine: bool) -> None:
    shop.clock.forward(90 * 86400.0)
    desk = shop.desk
    session = desk.session
    session.write(Heated("T002", "S"))
    last = session.book.kiosk if mine else ELSEWHERE
    T.Holder.update(last_kiosk=last).where(T.Holder.key == "T002").execute()
    desk.finding.catch_up()
    words = t("find.old", known_at=AT_S)

    def told() -> dict[str, str]:
        found = desk.finding.find(session.holder("T002").name, count=500)
        (row,) = [row for row in said.found(found)["rows"] if row["holder"] == "T002"]
        (hot,) = said.board(desk.heat.board(), desk.heat.warm())["rows"]
        return {"find": row["note"], "way": said.way(desk.finding.way("T002"))["word"], "hot": hot["place"]}

    desk.heat.board()  # read before it was cut off
    assert not any(words in each for each in told().values())
    session.cards.apart = cut_off(session.book.kiosk)
    assert {where for where, each in told().items() if words in each} == (set() if mine else {"find", "way", "hot"})
    machines = said.machines(desk.handover.machines())["rows"]
    assert machines and all(words in row["note"] for row in machines)
    session.cards.apart = None
    assert not any(words in each for each in told().values())
    assert not any(words in row["note"] for row in said.machines(desk.handover.machines())["rows"])
