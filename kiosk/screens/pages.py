"""The screens of the window by name, and nothing else to do to add one.

Each is loaded when it is first wanted or nobody touches anything, and built when it is wanted, which takes some
megabytes; the `SOON` ones are built before that, because a hand that is near heat does not wait.  What a screen is
loaded with takes the desk's rooms along, up to a tenth of a second: that is the desk's thread's to do, never Kivy's.
"""

from __future__ import annotations

from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING

from kiosk.screens.view import View

if TYPE_CHECKING:  # the first screen is there before the desk is loaded
    from kiosk.desk import Desk
    from kiosk.screens.questions import Question

# name: module of this room, and the class in it
SCREENS = {
    "scan": "scan.scan:ScanScreen",
    "heat": "hot.heat:HeatScreen",
    "hot": "hot.hot:HotScreen",
    "find": "find.find:FindScreen",
    "card": "scan.card:CardScreen",
    "typed": "scan.typed:TypedScreen",
    "choose": "scan.choose:ChooseScreen",
    "machine": "job.machine:MachineScreen",
    "reading": "hot.reading:ReadingScreen",
    "place": "find.place:PlaceScreen",
    "holder": "find.holder:HolderScreen",
    "audit": "audit.audit:AuditScreen",
    "shop": "shop.shop:ShopScreen",
    "labels": "labels.labels:LabelsScreen",
    "stick": "labels.stick:StickScreen",
    "history": "records.history:HistoryScreen",
    "heatings": "records.heatings:HeatingsScreen",
    "audit_differences": "audit.differences:AuditDifferencesScreen",
    "audit_photo": "audit.photo:AuditPhotoScreen",
    "audit_spot": "audit.spot:AuditSpotScreen",
    "records": "records.records:RecordsScreen",
    "shift": "records.shift:ShiftScreen",
    "audits": "records.audits:AuditsScreen",
    "report": "records.report:ReportScreen",
    "unread": "records.unread:UnreadScreen",
    "pin": "shop.pin:PinScreen",
    "settings": "shop.preferences:PreferencesScreen",
    "leave": "shop.leave:LeaveScreen",
    "register": "shop.register:RegisterScreen",
    "correct": "shop.correct:CorrectScreen",
    "adopt": "scan.adopt:AdoptScreen",
    "build": "bench.build:BuildScreen",
    "measure": "bench.measure:MeasureScreen",
    "balance": "bench.balance:BalanceScreen",
    "tear_down": "bench.teardown:TearDownScreen",
    "setup": "job.setup:SetupScreen",
    "sheets": "job.sheets:SheetsScreen",
    "compare": "job.compare:CompareScreen",
    "people": "shop.people:PeopleScreen",
    "phones": "shop.phones:PhonesScreen",
    "kiosks": "shop.kiosks:KiosksScreen",
    "apart": "shop.apart:ApartScreen",
    "health": "shop.health:HealthScreen",
    "update": "shop.update:UpdateScreen",
    "things": "shop.things:ThingsScreen",
    "enter": "shop.enter:EnterScreen",
    "first": "shop.first:FirstScreen",
    "put_out": "shop.put_out:PutOutScreen",
    "bring_in": "shop.bring_in:BringInScreen",
    "presetter": "job.presetter:PresetterScreen",
    "cable": "job.cable:CableScreen",
}

SOON = ("heat", "hot", "reading", "card", "typed")

_there: set[str] = set()  # screens whose class is loaded


def screen_class(name: str) -> type[View]:
    """The class of a screen, with the layout it needs."""
    module, _, kind = SCREENS[name].partition(":")
    found: type[View] = getattr(import_module(f"kiosk.screens.{module}"), kind)
    _there.add(name)
    return found


def loading(name: str) -> Question[None] | None:
    """What loads a screen's class on the desk's own thread; None: it is there."""
    return None if name in _there else partial(_load, name=name)


def _load(_: Desk, name: str) -> None:
    screen_class(name)


def build(name: str) -> View:
    """A new screen, in the language and the colours that are set."""
    return screen_class(name)()
