"""What hands and voices can do at the desk: scan, read, build, correct, relabel, walk through an audit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from kiosk.desk.build import BuildRefused
from kiosk.desk.heat import ReadingFault
from kiosk.rules import codes
from kiosk.rules.bounds import OutOfBounds
from kiosk.rules.outcomes import Done
from kiosk.rules.outline import OutlineError
from tests.faults.truth import SURE_K, Truth


class ByHand(Truth):
    """A shop floor with somebody at its desk."""

    def scan(self, text: str) -> None:
        scanned = self.act(lambda: self.desk.scan(text))
        outcome = scanned.outcome if scanned else None
        if isinstance(outcome, Done) and outcome.holder and outcome.goal and self.desk.session.audit is None:
            key, code = outcome.holder.holder.key, outcome.goal.place.code
            if key in self.bodies and code == self.code["Shrink station"]:
                self._heats(key)  # told that it stands there, whoever scanned it there heats it

    def scan_holder(self, key: str) -> None:
        self.scan(self.card(key).code)

    def scan_place(self, name: str) -> None:
        self.scan(self.code[name])

    def undo(self, never_left: bool) -> None:
        self.act(self.desk.undo, never_left=never_left)

    def wait(self, seconds: float) -> None:
        parts = 1 if seconds < 60 else 4
        for _ in range(parts):
            self.forward(seconds / parts)
            self.act(self.desk.tick)

    def read(self, key: str, where_: str, noise_k: float) -> None:
        """A contact probe, held against the steel: true but for its noise."""
        value_c = min(self.bodies[key].steel.read_c(where_) + noise_k, 480.0)
        self.act(lambda: self.desk.heat.read(key, where_, value_c), (ReadingFault,))

    def mistype(self, key: str, where_: str) -> None:
        """What the probe shows, with its last digit left out or its digits the wrong way round."""
        shown = f"{self.bodies[key].steel.read_c(where_):.0f}"
        value_c = float(shown[:-1] if len(shown) > 2 else shown[::-1])
        self.act(lambda: self.desk.heat.read(key, where_, value_c), (ReadingFault,))

    def build(self, key: str) -> None:
        if self.card(key).assembly is None:
            offers = [offer.cutter.key for offer in self.desk.build.offers(key) if offer.fit.ok]
            if offers:
                self.act(lambda: self.desk.build.build(key, offers[0]), (BuildRefused,))

    def tear_down(self, key: str) -> None:
        was = self._taken(key)
        if self.act(lambda: self.desk.build.tear_down(key), (BuildRefused,)) is not None:
            self.bodies[key].torn = was

    def correct_place(self, key: str, name: str | None) -> None:
        code = self.code[name] if name else None
        self.act(lambda: self.desk.shop.correct_place(key, code, "found it"))

    def withdraw(self, key: str) -> None:
        """The last reading was a slip.  Nobody moved, read or waited for that: no hold may end sooner by it."""
        line = self.desk.heat.slip(key)
        if line is not None:
            with self._shortens_nothing("a reading withdrawn"):
                self.act(lambda: self.desk.heat.withdraw(key, line.id), (ReadingFault,))

    def correct_holder(self, key: str, changes: dict[str, Any]) -> None:
        """Other facts in the book; the steel stays what it is."""
        holder = replace(self.card(key).holder, **changes)
        with self._shortens_nothing(f"corrected to {changes}"):
            self.act(lambda: self.desk.shop.correct(holder, "measured again"), (OutlineError, OutOfBounds))

    def retire_label(self, key: str) -> str:
        """The text of the label that was on it, and still is."""
        text = self.card(key).code
        self.retire_text(text)
        return text

    def retire_text(self, text: str) -> None:
        with self._shortens_nothing("a label retired"):
            self.act(lambda: self.desk.shop.retire_code(text, "torn"))

    def retire_holder(self, key: str) -> None:
        """Off the books; whoever brings it back in a file does not know how warm it is."""
        self.act(lambda: self.desk.shop.retire(key, "worn out"))

    def adopt(self, key: str) -> None:
        """A new label of ours goes onto the holder."""
        text = self.desk.shop.fresh_code(codes.CodeKind.HOLDER).text
        self.act(lambda: self.desk.adopting.give(text, key))

    def adopt_mark(self, key: str, text: str) -> None:
        """A maker's mark answers for the holder beside its label, unless it does for another."""
        self.act(lambda: self.desk.adopting.give(text, key))

    def register(self) -> None:
        """A holder that is new to the book, and really cold, of a kind that is hot elsewhere."""
        holder = replace(self.card("T001").holder, key=f"N{self.desk.session.book.last_id}")
        text = self.desk.shop.fresh_code(codes.CodeKind.HOLDER).text
        self.act(lambda: self.desk.adopting.register(holder, text, self.code["Bench 1"], stood_cold=True))

    # audits -----------------------------------------------------------------------------------------------------

    def audit(self, name: str, seen: tuple[str, ...]) -> None:
        """Walks to a place and ticks off what is really seen there: cool ones that somebody carried, hot ones not."""
        if self.act(lambda: self.desk.audits.open(self.code[name])) is None:
            return
        self.scan_place(name)
        for key in seen:
            body = self.bodies[key]
            if body.hot_by_k < -SURE_K or (body.spot and body.spot.name == name):
                self.act(lambda key=key: self.desk.scan(self.card(key).code))

    def settle(self, key: str, action: str) -> None:
        if self.desk.session.audit is None:
            return
        open_ = [each for each in self.desk.audits.status().differences if each.text == key]
        chosen = [(each.key, known) for each in open_ for known in each.actions if known.value == action]
        if chosen:
            self.act(lambda: self.desk.audits.settle(*chosen[0], "so it is"))

    def leave_audit(self, close: bool) -> None:
        if self.desk.session.audit is not None:
            self.act(self.desk.audits.close if close else self.desk.audits.pause)
