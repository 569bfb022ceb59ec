"""The screens of the window: one class each, and nothing else to do to add one."""

from __future__ import annotations

from kiosk.screens.adopt import AdoptScreen
from kiosk.screens.audit import AuditScreen
from kiosk.screens.audit_differences import AuditDifferencesScreen
from kiosk.screens.audit_photo import AuditPhotoScreen
from kiosk.screens.audit_spot import AuditSpotScreen
from kiosk.screens.audits import AuditsScreen
from kiosk.screens.build import BuildScreen
from kiosk.screens.card import CardScreen
from kiosk.screens.compare import CompareScreen
from kiosk.screens.find import FindScreen
from kiosk.screens.heat import HeatScreen
from kiosk.screens.heatings import HeatingsScreen
from kiosk.screens.history import HistoryScreen
from kiosk.screens.holder import HolderScreen
from kiosk.screens.hot import HotScreen
from kiosk.screens.labels import LabelsScreen
from kiosk.screens.machine import MachineScreen
from kiosk.screens.measure import MeasureScreen
from kiosk.screens.people import PeopleScreen
from kiosk.screens.pin import PinScreen
from kiosk.screens.place import PlaceScreen
from kiosk.screens.preferences import PreferencesScreen
from kiosk.screens.presetter import PresetterScreen
from kiosk.screens.reading import ReadingScreen
from kiosk.screens.records import RecordsScreen
from kiosk.screens.register import RegisterScreen
from kiosk.screens.report import ReportScreen
from kiosk.screens.scan import ScanScreen
from kiosk.screens.setup import SetupScreen
from kiosk.screens.shift import ShiftScreen
from kiosk.screens.shop import ShopScreen
from kiosk.screens.teardown import TearDownScreen
from kiosk.screens.typed import TypedScreen
from kiosk.screens.view import View

SCREENS: tuple[type[View], ...] = (
    ScanScreen,
    HeatScreen,
    HotScreen,
    ReadingScreen,
    TypedScreen,
    MachineScreen,
    CardScreen,
    FindScreen,
    PlaceScreen,
    HolderScreen,
    HistoryScreen,
    HeatingsScreen,
    AuditScreen,
    AuditDifferencesScreen,
    AuditPhotoScreen,
    AuditSpotScreen,
    RecordsScreen,
    ShiftScreen,
    AuditsScreen,
    ReportScreen,
    LabelsScreen,
    ShopScreen,
    PinScreen,
    PreferencesScreen,
    RegisterScreen,
    AdoptScreen,
    BuildScreen,
    MeasureScreen,
    TearDownScreen,
    SetupScreen,
    CompareScreen,
    PeopleScreen,
    PresetterScreen,
)
