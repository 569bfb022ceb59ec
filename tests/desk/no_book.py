"""In the place of a session, for the heat counter without book and model."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from kiosk.desk.heat import HeatCounter
from kiosk.desk.session import NotThere
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.belief import FilmSlope, Prediction
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cards import Heat, HolderCard, HoldView, Moment, PlaceCard
from kiosk.rules.cooling.assessment import Advice, Room, Way, Zone
from kiosk.rules.hold import Verdict
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Reading, Stay
from kiosk.rules.places import Kind, Place
from kiosk.settings import HeatSettings

BEGUN_S = 90 * 86400.0
HOLDER = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
HELD = HoldView(150.0, 120.0, 170.0, "nose", 1500.0, 2500.0, heating=7)
RACK = PlaceCard(Place("P2", "Rack", Kind.COOLING, way="free_air"), ("Rack",))
FACTS = HoldFacts(
    HOLDER, None, BEGUN_S, 1.79e9, None, None,
    (Stay("station", BEGUN_S), Stay("P2", BEGUN_S + 30.0, "free_air")), heating=7,
)  # fmt: skip
SEEN = Prediction(22.0, 90.0, 61.0, -31.0, 2.5, 7.0, 93.0, 0.07, (FilmSlope(Way.FREE_AIR, "P2", -31.0, 0.1),))
AGREES = Verdict(Word.AGREES, False, False, SEEN, Zone.NOSE, 0.2)


def card(key: str = "k1", hold: HoldView | None = HELD, heat: Heat = Heat.HELD, **more: Any) -> HolderCard:
    return HolderCard(replace(HOLDER, key=key), f"code of {key}", None, RACK, heat=heat, hold=hold, **more)


class Book:
    """Of the book only what the counter asks: the next line's number, this kiosk's name, the lines of a holder."""

    def __init__(self) -> None:
        self.next_id, self.changed, self.kiosk, self.told = 51, (50, 0), "mill", list[Any]()

    def lines(self, subject: str, newest: int) -> Iterator[Any]:
        assert (subject, newest) == ("k1", 40)
        return iter(self.told)


class Fake:
    """In the place of a session: one holder or more, what the model says of a reading, and what was written."""

    def __init__(self, *cards: HolderCard) -> None:
        self.shown = {each.holder.key: each for each in cards or (card(),)}
        self.facts: dict[str, HoldFacts] = {key: replace(FACTS, holder=each.holder) for key, each in self.shown.items()}
        self.after: HolderCard | None = None  # the card once something was written
        self.judged: Verdict | None = AGREES
        self.written: list[Any] = []
        self.now_s = BEGUN_S + 900.0
        self.seen = HELD
        self.reads = 0
        self.book = Book()
        self.settings = SimpleNamespace(heat=HeatSettings(limit_c=43.0, probe_tolerance_k=1.25))
        self.cards = SimpleNamespace(hold_facts=self.facts.get, held=self.held, apart=None)
        self.calls: list[str] = []
        self.ahead_s = 0.0  # of this kiosk's clock, where several kiosks count a hold
        self.holds = SimpleNamespace(
            moment=lambda facts, moment: replace(moment, watched_s=moment.watched_s + self.ahead_s),
            view=lambda facts, moment: self.seen, judge=self.judge, rules_of=lambda facts: self.rules,
            learnt=lambda: self.calls.append("learnt"), unlearnt=lambda: self.calls.append("unlearnt"),
            curve=lambda facts, moment: (facts, moment), skin=lambda facts, moment: ("skin", moment),
            advice=lambda facts, moment: self.advised, keep_only=lambda holders: None,
        )  # fmt: skip
        self.rules = HoldRules(Room(23.0, 43.0), 330.0, probe_tolerance_k=1.5)
        self.advised: Advice | None = None

    def held(self) -> list[HolderCard]:
        self.reads += 1
        return list(self.shown.values())

    def judge(self, facts: HoldFacts, reading: Reading) -> Verdict | None:
        assert facts == self.facts["k1"] and reading.at_s == self.now_s + self.ahead_s
        assert reading.tolerance_k == self.rules.probe_tolerance_k, "the worst since it was heated"
        return self.judged

    def now(self) -> Moment:
        return Moment(1.79e9, self.now_s)

    def holder(self, key: str) -> HolderCard:
        if key not in self.shown:
            raise NotThere("holder", key)
        return self.after if self.after and self.written else self.shown[key]

    def signed_in(self) -> None:
        self.calls.append("signed in")

    def write(self, *entries: L.Entry) -> list[Any]:
        self.written += entries
        return [SimpleNamespace(id=51 + at) for at in range(len(entries))]


def counter(fake: Fake) -> HeatCounter:
    return HeatCounter(fake)  # type: ignore[arg-type]
