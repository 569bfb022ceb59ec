"""The papers counter: lists and files that come in from, or go out to, machines, presetters and other programs.

Sets the book beside a job's list or a control's list, and hands measurements on to the build-up counter one by
one, so that each is checked like one typed by hand.  Formats are `kiosk.exchange`' business.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from kiosk.desk.build import BuildCounter, BuildRefused, MeasureTaken
from kiosk.desk.session import NotThere, Session
from kiosk.exchange import control_list, mtconnect, presetter, template
from kiosk.exchange.columns import write_book
from kiosk.exchange.tables_csv import PLAIN, Dialect
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.rules.bounds import OutOfBounds
from kiosk.rules.cards import HolderCard
from kiosk.rules.compare import Comparison, compare
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.fitting.setup_sheet import Met, Need, match
from kiosk.rules.fitting.setup_sheet import Stock as SetupStock
from kiosk.rules.offsets import Card, CardRules, card
from kiosk.rules.say import say
from kiosk.rules.stock import BookEntry, book_entry


@dataclass(frozen=True, slots=True)
class Presetting:
    """What became of one line of a presetter's list."""

    reading: presetter.Reading
    taken: MeasureTaken | None
    refused: BuildRefused | NotThere | None


class PapersCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._build = BuildCounter(session)

    def entries(self) -> tuple[BookEntry, ...]:
        """Every holder in use, by name."""
        cards = self._session.cards
        owners = {row["owner"] for row in cards.places.rows.values() if row["owner"]}
        found = rows(T.Holder.select().where(T.Holder.retired == 0).order_by(T.Holder.name, T.Holder.key))
        numbers = self._numbers([row["assembly"] for row in found if row["assembly"]])
        entries = []
        for row in found:
            number, regrinds = numbers.get(row["key"], (None, 0))
            card_ = cards.holder_of(row)
            entries.append(book_entry(card_, fixed=row["key"] in owners, tool_number=number, regrinds=regrinds))
        return tuple(entries)

    @staticmethod
    def _numbers(assemblies: list[str]) -> dict[str, tuple[int | None, int]]:
        """Tool number of the assembly and regrinds of the cutter, by holder."""
        chosen = T.Assembly.select(T.Assembly.holder, T.Assembly.tool_number, T.Cutter.regrinds).join(
            T.Cutter, on=(T.Assembly.cutter == T.Cutter.key)
        )
        found: dict[str, tuple[int | None, int]] = {}
        for first in range(0, len(assemblies), 500):  # a database takes only so many values in one sentence
            for row in rows(chosen.where(T.Assembly.key.in_(assemblies[first : first + 500]))):
                found[row["holder"]] = (row["tool_number"], row["regrinds"])
        return found

    def magazines(self) -> dict[str, Magazine]:
        """Magazines by the name of their machine."""
        return {machine.name: machine.magazine for machine in self._build.machines()}

    def _card_rules(self) -> CardRules:
        mine = self._session.settings
        return CardRules(mine.build.radius_at_control, mine.heat.length_tolerance_um)

    def card(self, holder_key: str, rules: CardRules | None = None) -> Card:
        """What to type at the control for the assembly in this holder.  Raises NotThere, CardFault."""
        held = self._session.holder(holder_key)
        number, regrinds = self._numbers([held.assembly.key] if held.assembly else []).get(holder_key, (None, 0))
        entry = book_entry(held, tool_number=number, regrinds=regrinds)
        return card(entry, rules or self._card_rules(), entry.pocket)

    def offsets(self, machine: str, text: str, file: str, rules: CardRules | None = None) -> bytes:
        """The shop's own template filled with what stands in a machine.  Raises FileFaults, CardFault."""
        standing = [entry for entry in self.entries() if entry.machine == machine and entry.assembly]
        wanted = sorted(standing, key=lambda entry: entry.pocket or 0)
        return template.fill(template.read_template(text, file), wanted, rules or self._card_rules(), machine=machine)

    def setup(self, needs: Sequence[Need]) -> tuple[Met, ...]:
        """What is there for a job, what is hot, and what must be built from which holder."""
        stock = SetupStock(self.entries(), self._build.free_cutters(), self._build.machines())
        return match(needs, stock, self._build.rules())

    def compare(self, machine: str, data: bytes, file: str, made: control_list.ListMap) -> Comparison:
        """A control's own list against the book.  Raises NotThere, FileFaults where a row cannot be read."""
        if machine not in self.magazines():
            raise NotThere("machine", machine)
        listed = control_list.read_list(data, file, made).whole()
        return compare(listed, self.entries(), machine, made.tolerance)

    def presettings(self, readings: Iterable[presetter.Reading]) -> tuple[Presetting, ...]:
        """Takes a presetter's measurements down, each checked like one typed by hand."""
        found = []
        for reading in readings:
            try:
                key = self._holder_of(reading)
                found.append(Presetting(reading, self._build.measure(key, reading.values, by_hand=False), None))
            except (BuildRefused, NotThere) as refused:
                found.append(Presetting(reading, None, refused))
            except OutOfBounds:  # what follows from figures that each could be
                impossible = BuildRefused(say("measure.impossible", name=reading.called), say("measure.again"))
                found.append(Presetting(reading, None, impossible))
        return tuple(found)

    def as_csv(self, dialect: Dialect = PLAIN) -> str:
        """The book as a table with ISO 13399 columns."""
        return write_book(self.entries(), dialect)

    def as_mtconnect(self) -> bytes:
        """The book as CuttingTool assets."""
        session = self._session
        when = datetime.fromtimestamp(session.now().utc_s, UTC)
        export = mtconnect.Export(when, session.book.kiosk, max(1, session.book.last_id))
        return mtconnect.document(self.entries(), export, self.magazines())

    def meant(self, reading: presetter.Reading) -> HolderCard:
        """The holder that a measurement is of.  Raises NotThere where nobody knows, or more than one it could be."""
        return self._session.holder(self._holder_of(reading))

    @staticmethod
    def _holder_of(reading: presetter.Reading) -> str:
        """A presetter names a tool by its label, by the assembly's name, or by its number at the controls."""
        tool = reading.tool
        for bound in rows(T.Binding.select().where(T.Binding.text == tool, T.Binding.retired_line.is_null())):
            return str(bound["subject"])
        by_number = not tool and reading.number is not None
        called = T.Assembly.tool_number == reading.number if by_number else T.Assembly.name == tool
        named = rows(T.Assembly.select().where(called, T.Assembly.torn_line.is_null()))
        if len(named) != 1:
            raise NotThere("assembly" if not named else "single assembly", reading.called)
        return str(named[0]["holder"])
