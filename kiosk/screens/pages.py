"""The screens of the window by name, and nothing else to do to add one.

Each is loaded and built when it is first wanted, which takes a tenth of a second and some megabytes; the `SOON`
ones are built before that, while nobody touches anything, because a hand that is near heat does not wait.
"""

from __future__ import annotations

from importlib import import_module

from kiosk.screens.view import View

# name: module of this room, and the class in it
SCREENS = {
    "scan": "scan.scan:ScanScreen",
    "heat": "hot.heat:HeatScreen",
    "hot": "hot.hot:HotScreen",
    "find": "find.find:FindScreen",
    "card": "scan.card:CardScreen",
    "typed": "scan.typed:TypedScreen",
    "machine": "job.machine:MachineScreen",
    "reading": "hot.reading:ReadingScreen",
    "place": "find.place:PlaceScreen",
    "holder": "find.holder:HolderScreen",
    "audit": "audit.audit:AuditScreen",
    "shop": "shop.shop:ShopScreen",
    "labels": "labels.labels:LabelsScreen",
    "history": "records.history:HistoryScreen",
    "heatings": "records.heatings:HeatingsScreen",
    "audit_differences": "audit.differences:AuditDifferencesScreen",
    "audit_photo": "audit.photo:AuditPhotoScreen",
    "audit_spot": "audit.spot:AuditSpotScreen",
    "records": "records.records:RecordsScreen",
    "shift": "records.shift:ShiftScreen",
    "audits": "records.audits:AuditsScreen",
    "report": "records.report:ReportScreen",
    "pin": "shop.pin:PinScreen",
    "settings": "shop.preferences:PreferencesScreen",
    "leave": "shop.leave:LeaveScreen",
    "register": "shop.register:RegisterScreen",
    "correct": "shop.correct:CorrectScreen",
    "adopt": "scan.adopt:AdoptScreen",
    "build": "bench.build:BuildScreen",
    "measure": "bench.measure:MeasureScreen",
    "tear_down": "bench.teardown:TearDownScreen",
    "setup": "job.setup:SetupScreen",
    "compare": "job.compare:CompareScreen",
    "people": "shop.people:PeopleScreen",
    "presetter": "job.presetter:PresetterScreen",
}

SOON = ("heat", "hot", "reading", "card", "typed")


def screen_class(name: str) -> type[View]:
    """The class of a screen, with the layout it needs."""
    module, _, kind = SCREENS[name].partition(":")
    found: type[View] = getattr(import_module(f"kiosk.screens.{module}"), kind)
    return found


def build(name: str) -> View:
    """A new screen, in the language and the colours that are set."""
    return screen_class(name)()
