"""The screens of the window: one class each, and nothing else to do to add one."""

from __future__ import annotations

from kiosk.screens.audit.audit import AuditScreen
from kiosk.screens.audit.differences import AuditDifferencesScreen
from kiosk.screens.audit.photo import AuditPhotoScreen
from kiosk.screens.audit.spot import AuditSpotScreen
from kiosk.screens.bench.build import BuildScreen
from kiosk.screens.bench.measure import MeasureScreen
from kiosk.screens.bench.teardown import TearDownScreen
from kiosk.screens.find.find import FindScreen
from kiosk.screens.find.holder import HolderScreen
from kiosk.screens.find.place import PlaceScreen
from kiosk.screens.hot.heat import HeatScreen
from kiosk.screens.hot.hot import HotScreen
from kiosk.screens.hot.reading import ReadingScreen
from kiosk.screens.job.compare import CompareScreen
from kiosk.screens.job.machine import MachineScreen
from kiosk.screens.job.presetter import PresetterScreen
from kiosk.screens.job.setup import SetupScreen
from kiosk.screens.labels.labels import LabelsScreen
from kiosk.screens.records.audits import AuditsScreen
from kiosk.screens.records.heatings import HeatingsScreen
from kiosk.screens.records.history import HistoryScreen
from kiosk.screens.records.records import RecordsScreen
from kiosk.screens.records.report import ReportScreen
from kiosk.screens.records.shift import ShiftScreen
from kiosk.screens.scan.adopt import AdoptScreen
from kiosk.screens.scan.card import CardScreen
from kiosk.screens.scan.scan import ScanScreen
from kiosk.screens.scan.typed import TypedScreen
from kiosk.screens.shop.people import PeopleScreen
from kiosk.screens.shop.pin import PinScreen
from kiosk.screens.shop.preferences import PreferencesScreen
from kiosk.screens.shop.register import RegisterScreen
from kiosk.screens.shop.shop import ShopScreen
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
