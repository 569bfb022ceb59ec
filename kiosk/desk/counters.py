"""The counters of the desk: what an operator can do there, a door each.

Those of heat and of the shop are always there; the others from when they are first asked for, because together they
take longer to load than all the rest, and what is hot is told without them.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from kiosk.desk.heat import HeatCounter
from kiosk.desk.session import Session
from kiosk.desk.shop import ShopCounter

if TYPE_CHECKING:
    from kiosk.desk.adopting import AdoptingCounter
    from kiosk.desk.audits import AuditCounter
    from kiosk.desk.balancing import BalancingCounter
    from kiosk.desk.build import BuildCounter
    from kiosk.desk.copies import CopiesCounter
    from kiosk.desk.differences import DifferencesCounter
    from kiosk.desk.finding import FindingCounter
    from kiosk.desk.handover import HandoverCounter
    from kiosk.desk.intake import IntakeCounter
    from kiosk.desk.label_wear import LabelWear
    from kiosk.desk.labels import LabelCounter
    from kiosk.desk.papers import PapersCounter
    from kiosk.desk.people import PeopleCounter
    from kiosk.desk.phones import PhonesCounter
    from kiosk.desk.records import RecordsCounter
    from kiosk.desk.reports import ReportsCounter
    from kiosk.desk.setup_sheets import SetupSheetCounter


class Counters:
    """All that can be done at one open desk."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.heat = HeatCounter(session)
        self.shop = ShopCounter(session)

    @cached_property
    def adopting(self) -> AdoptingCounter:
        """Labels nobody knows."""
        from kiosk.desk.adopting import AdoptingCounter

        return AdoptingCounter(self.session, self.shop, self.audits)

    @cached_property
    def audits(self) -> AuditCounter:
        """Audits of places and of heat."""
        from kiosk.desk.audits import AuditCounter

        return AuditCounter(self.session)

    @cached_property
    def balancing(self) -> BalancingCounter:
        """What unbalance assemblies may have, and what they were found to have."""
        from kiosk.desk.balancing import BalancingCounter

        return BalancingCounter(self.session, self.build)

    @cached_property
    def build(self) -> BuildCounter:
        """Building up, measuring and tearing down."""
        from kiosk.desk.build import BuildCounter

        return BuildCounter(self.session)

    @cached_property
    def copies(self) -> CopiesCounter:
        """Copies of the ledger."""
        from kiosk.desk.copies import CopiesCounter

        return CopiesCounter(self.session)

    @cached_property
    def differences(self) -> DifferencesCounter:
        """What kiosks that worked apart tell differently."""
        from kiosk.desk.differences import DifferencesCounter

        return DifferencesCounter(self.session)

    @cached_property
    def finding(self) -> FindingCounter:
        """Where things are."""
        from kiosk.desk.finding import FindingCounter

        return FindingCounter(self.session)

    @cached_property
    def handover(self) -> HandoverCounter:
        """Machines and their pockets."""
        from kiosk.desk.handover import HandoverCounter

        return HandoverCounter(self.session)

    @cached_property
    def intake(self) -> IntakeCounter:
        """Shop data in and out."""
        from kiosk.desk.intake import IntakeCounter

        return IntakeCounter(self.session)

    @cached_property
    def label_wear(self) -> LabelWear:
        """How worn labels are."""
        from kiosk.desk.label_wear import LabelWear

        return LabelWear(self.session)

    @cached_property
    def labels(self) -> LabelCounter:
        """Labels, and what draws and prints them."""
        from kiosk.desk.labels import LabelCounter

        return LabelCounter(self.session)

    @cached_property
    def papers(self) -> PapersCounter:
        """Papers of a job: sheets, lists, measurements."""
        from kiosk.desk.papers import PapersCounter

        return PapersCounter(self.session)

    @cached_property
    def setup_sheets(self) -> SetupSheetCounter:
        """Setup sheets written by hand."""
        from kiosk.desk.setup_sheets import SetupSheetCounter

        return SetupSheetCounter(self.session)

    @cached_property
    def people(self) -> PeopleCounter:
        """Badges and PINs."""
        from kiosk.desk.people import PeopleCounter

        return PeopleCounter(self.session)

    @cached_property
    def phones(self) -> PhonesCounter:
        """Whose telephones ask too."""
        from kiosk.desk.phones import PhonesCounter

        return PhonesCounter(self.session, lambda: self.audits)

    @cached_property
    def records(self) -> RecordsCounter:
        """What was done."""
        from kiosk.desk.records import RecordsCounter

        return RecordsCounter(self.session)

    @cached_property
    def reports(self) -> ReportsCounter:
        """Audits and shifts as papers."""
        from kiosk.desk.reports import ReportsCounter

        return ReportsCounter(self.session, self.audits, self.records)
