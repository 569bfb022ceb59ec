"""The shop's settings: one typed object from one TOML file, every value with its unit and default.

A shop that sets nothing gets the defaults below; a file with a key nobody knows, or a value outside its range,
is refused with the file, the table and the key, and the kiosk does not start on a guess.  Facts behind the
defaults: ISO 13732-1 for the limit, the heating unit's manual for everything about heat.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, fields, is_dataclass, replace
from pathlib import Path
from reprlib import repr as shown
from typing import Any, get_type_hints

from kiosk import filing
from kiosk.rules.bounds import SETTINGS, Bound
from kiosk.rules.say import Say
from kiosk.rules.shop_air import TYPED, WARMER_K, is_a_bare_figure
from kiosk.words import ENGLISH, LANGUAGES

NAME = "settings.toml"
MOST_LETTERS = 500  # of a text, in one setting
_YES, _NO = ("true", "yes", "1", "on"), ("false", "no", "0", "off")


class SettingsFault(ValueError):
    """A settings file that cannot be used.  `where`: table and key.  `say`: why, to whoever changes it by touch."""

    def __init__(self, path: Path, where: str, why: str, say: Say | None = None) -> None:
        super().__init__(f"{path}: {where}: {why}" if where else f"{path}: {why}")
        self.path = path
        self.where = where
        self.why = why
        self.say = say


def _number(default: float, name: str) -> Any:
    return field(default=default, metadata={"bound": SETTINGS[name]})


def _choice(default: str, *options: str) -> Any:
    return field(default=default, metadata={"options": options})


@dataclass(frozen=True, slots=True)
class KioskSettings:
    """This tablet."""

    name: str = "kiosk"
    at: str = ""  # code of the place it stands at; empty: two scans move a holder
    language: str = _choice(ENGLISH, *LANGUAGES)
    theme: str = _choice("dark", "dark", "light", "contrast")
    units: str = _choice("metric", "metric", "inch")
    volume: float = _number(0.8, "kiosk.volume")
    muted: bool = False  # heat is never muted below half
    pair_s: float = _number(20.0, "kiosk.pair_s")  # between the two scans of a pair
    undo_s: float = _number(60.0, "kiosk.undo_s")
    sign_out_s: float = _number(900.0, "kiosk.sign_out_s")  # without a scan
    shift_h: float = _number(8.0, "kiosk.shift_h")  # how long a shift is, for its summary
    badge_required: bool = False
    px_per_mm: float = _number(0.0, "kiosk.px_per_mm")  # of this panel; 0: the window is taken for a 7-inch one
    travel_s: float = _number(5.0, "kiosk.travel_s")  # a label seen at two kiosks within this is two labels


@dataclass(frozen=True, slots=True)
class HeatSettings:
    """Shrink fitting and cooling.  The heating unit's manual and local rules come first."""

    limit_c: float = _number(43.0, "heat.limit_c")  # bare metal, ISO 13732-1
    ambient_c: float = _number(23.0, "heat.ambient_c")
    ambient_sd_k: float = _number(1.5, "heat.ambient_sd_k")  # how well that is known; kept by a thermometer alone
    temp_c: float = _number(330.0, "heat.temp_c")  # what the unit brings the nose to
    heating_s: float = _number(60.0, "heat.heating_s")  # from the scan at the station to the end of heating, at most
    reheat_s: float = _number(30.0, "heat.reheat_s")  # two scans at the station within this are one heating
    length_tolerance_um: float = _number(3.0, "heat.length_tolerance_um")  # what heat may add to a measured length
    cycles_limit: float = _number(2000.0, "heat.cycles_limit")  # heat cycles a holder is good for
    probe_tolerance_k: float = _number(2.5, "heat.probe_tolerance_k")  # limit of error on the probe's certificate


@dataclass(frozen=True, slots=True)
class BuildSettings:
    """Build-up and the card to type at the control."""

    friction: float = _number(0.12, "build.friction")  # of a shrink fit, dry and clean
    clearance_um: float = _number(7.0, "build.clearance_um")  # play the shank needs to slide into the heated bore
    side_screw_rpm: float = _number(8000.0, "build.side_screw_rpm")  # most for a cutter that a screw pushes off centre
    balance_grade: float = _number(2.5, "build.balance_grade")  # G by ISO 21940-11 that assemblies are balanced to
    radius_at_control: bool = False  # the controls ask for the radius instead of the diameter


@dataclass(frozen=True, slots=True)
class CameraSettings:
    """The camera, by number or by name; empty: the first one there is."""

    source: str = ""
    mirrored: bool = False
    rotation_deg: float = _number(0.0, "camera.rotation_deg")
    exposure_locked: bool = False
    focus_locked: bool = False
    field_deg: float = _number(65.0, "camera.field_deg")  # horizontal field of view
    distance_mm: float = _number(250.0, "camera.distance_mm")
    label_mm: float = _number(25.0, "camera.label_mm")  # the smallest label to read; it sizes the frame
    budget_ms: float = _number(250.0, "camera.budget_ms")  # a frame's decoding
    keep_unread: bool = True  # the places of the last fifty labels that were not read or were refused


@dataclass(frozen=True, slots=True)
class ScannerSettings:
    """A scanner that types."""

    prefix: str = ""
    suffix: str = ""


@dataclass(frozen=True, slots=True)
class LabelSettings:
    """What labels are printed on."""

    size: str = "25x25"
    dpi: float = _number(300.0, "labels.dpi")
    queue: str = ""
    media: str = ""


@dataclass(frozen=True, slots=True)
class AuditSettings:
    """What an audit asks of an assembly on the shelf."""

    measured_days: float = _number(180.0, "audit.measured_days")  # a length older than this is named


@dataclass(frozen=True, slots=True)
class BackupSettings:
    """Where copies go."""

    second_folder: str = ""
    keep: float = _number(14.0, "backup.keep")


@dataclass(frozen=True, slots=True)
class ThermometerSettings:
    """A thermometer that says how warm the shop is; empty: `heat.ambient_c` is set by hand."""

    source: str = ""  # file:/sys/bus/w1/devices/28-…/w1_slave, serial:/dev/ttyUSB0, or typed: like a keyboard
    pattern: str = ""  # of a line: its first group is the number, its second C or F; empty: the first number
    baud: float = _number(9600.0, "thermometer.baud")
    unknown_c: float = _number(28.0, "thermometer.unknown_c")  # what counts while it says nothing, if that is warmer
    probe: str = ""  # a contact probe on a cable, serial:/dev/ttyUSB1, that fills the pad where a reading is entered
    probe_pattern: str = ""


@dataclass(frozen=True, slots=True)
class PresetterSettings:
    """A presetter on a cable, by the map in `presetter-cable.toml` beside this file."""

    on: bool = False


@dataclass(frozen=True, slots=True)
class PhoneSettings:
    """Telephones as the kiosk's hands, over the shop's own network."""

    on: bool = False
    port: float = _number(8443.0, "phones.port")
    address: str = ""  # by which the network knows this machine; empty: found out


@dataclass(frozen=True, slots=True)
class Settings:
    """All of it."""

    kiosk: KioskSettings = KioskSettings()
    heat: HeatSettings = HeatSettings()
    build: BuildSettings = BuildSettings()
    camera: CameraSettings = CameraSettings()
    scanner: ScannerSettings = ScannerSettings()
    labels: LabelSettings = LabelSettings()
    audit: AuditSettings = AuditSettings()
    backup: BackupSettings = BackupSettings()
    thermometer: ThermometerSettings = ThermometerSettings()
    phones: PhoneSettings = PhoneSettings()
    presetter: PresetterSettings = PresetterSettings()


def load(path: Path) -> Settings:
    """The settings in `path`, or the defaults where there is no such file.  Raises SettingsFault."""
    try:
        data = filing.toml_values(filing.take_text(path, filing.MOST_TOML_BYTES))
    except (FileNotFoundError, NotADirectoryError):
        return Settings()
    except (filing.FileUnusable, filing.TomlFault) as fault:
        raise SettingsFault(path, "", fault.why) from fault
    except OSError as error:
        raise SettingsFault(path, "", error.strerror or str(error)) from error
    return _whole(data, path)


_DECIDING = ("name", "pair_s", "undo_s", "sign_out_s", "badge_required", "travel_s")


OF_A_KIOSK = frozenset({"kiosk.name"})  # what of these no other kiosk of the shop goes by


def deciding(settings: Settings) -> dict[str, str]:
    """The settings a decision depends on, by table and key, in words that stay the same from start to start."""
    groups: dict[str, HeatSettings | BuildSettings | AuditSettings] = {
        "heat": settings.heat, "build": settings.build, "audit": settings.audit,
    }  # fmt: skip
    rules = {f"{name}.{each.name}": repr(getattr(of, each.name)) for name, of in groups.items() for each in fields(of)}
    return rules | {f"kiosk.{key}": str(getattr(settings.kiosk, key)) for key in _DECIDING}


def same_value(one: str, other: str) -> bool:
    """Whether two texts are one value: `45`, `45.0` and `45,0` are."""
    try:
        return float(one.replace(",", ".")) == float(other.replace(",", "."))
    except ValueError:
        yes = ("true", "yes", "1", "on")
        both = one.strip().lower(), other.strip().lower()
        return both[0] == both[1] or (both[1] in ("true", "false") and (both[0] in yes) == (both[1] == "true"))


def changed(path: Path, table: str, key: str, value: str) -> Settings:
    """Writes one value into the file, comments kept, and gives the settings as they are then.

    value: as typed; it must fit the key's type and range.  Raises SettingsFault, and then writes nothing.
    """
    group = next((f for f in fields(Settings) if f.name == table), None)
    kinds = get_type_hints(get_type_hints(Settings)[table]) if group else {}
    if key not in kinds:
        raise SettingsFault(path, f"[{table}] {key}", "there is no such setting")
    typed = _typed(kinds[key], value, path, f"[{table}] {key}")
    load(path)  # what the kiosk would not start on is not written to
    import tomlkit  # only for who changes a setting: reading them needs the standard library alone

    document = tomlkit.parse(filing.take_text(path)) if path.exists() else tomlkit.document()
    document.setdefault(table, tomlkit.table())[key] = typed
    text = tomlkit.dumps(document)
    try:
        settings = _whole(filing.toml_values(text), path)
    except filing.TomlFault as fault:
        raise SettingsFault(path, f"[{table}] {key}", fault.why) from fault
    filing.write(path, text)
    return settings


def with_value(settings: Settings, name: str, value: str, path: Path) -> Settings:
    """The settings with one value, by table and key, that counts though no file could say it beside the others.

    value: as typed; it must fit the key's type and range.  path: the file that does not say it.  Raises SettingsFault.
    """
    table, _, key = name.partition(".")
    group = getattr(settings, table)
    known = {each.name: each for each in fields(group)}
    kind, where = get_type_hints(type(group))[key], f"[{table}] {key}"
    typed = _checked(_typed(kind, value, path, where), kind, dict(known[key].metadata), path, where)
    return replace(settings, **{table: replace(group, **{key: typed})})


def _typed(kind: type, value: str, path: Path, where: str) -> str | float | bool:
    if kind is bool:
        if (word := value.strip().lower()) not in (*_YES, *_NO):
            raise SettingsFault(path, where, f"{value!r} is neither yes nor no")
        return word in _YES
    if kind is float:
        try:
            return float(value.replace(",", "."))
        except ValueError:
            raise SettingsFault(path, where, f"{value!r} is not a number") from None
    return value


def _whole(data: dict[str, Any], path: Path) -> Settings:
    settings: Settings = _filled(Settings, data, path, "")
    heat = settings.heat
    if heat.limit_c < heat.ambient_c + WARMER_K:
        why = f"must be {WARMER_K:g} K above ambient_c = {heat.ambient_c:g}, or no holder would ever count as cool"
        over = (("limit_c", heat.limit_c), ("over_k", WARMER_K), ("ambient_c", heat.ambient_c))
        raise SettingsFault(path, "[heat] limit_c", why, Say("settings.limit_over_air", over))
    told = settings.thermometer
    for key, pattern in (("pattern", told.pattern), ("probe_pattern", told.probe_pattern)):
        try:
            groups = re.compile(pattern).groups
        except re.error as error:
            raise SettingsFault(path, f"[thermometer] {key}", f"is no pattern: {error}") from None
        if pattern and not groups:
            raise SettingsFault(path, f"[thermometer] {key}", "has no group, in brackets, for the number")
    if told.source == TYPED:
        if not told.pattern or is_a_bare_figure(told.pattern):
            why = "must ask for what the thermometer types beside its figure, or nobody could tell it from a probe's"
            raise SettingsFault(path, "[thermometer] pattern", why)
    elif told.source and not told.source.startswith(("file:", "serial:")):
        raise SettingsFault(path, "[thermometer] source", "begins with file: or serial:, or is typed:")
    if told.probe and not told.probe.startswith(("file:", "serial:")):
        raise SettingsFault(path, "[thermometer] probe", "begins with file: or serial:")
    if not re.fullmatch(r"[A-Za-z0-9.-]*", settings.phones.address):
        raise SettingsFault(path, "[phones] address", "is no name or address: letters, figures, points and dashes")
    return settings


def _filled(kind: type[Any], data: dict[str, Any], path: Path, table: str) -> Any:
    hints = get_type_hints(kind)
    known = {f.name: f for f in fields(kind)}
    for key in data:
        if key not in known:
            where = f"[{table}] {key}" if table else f"[{key}]"
            raise SettingsFault(path, where, f"there is no such setting; there are: {', '.join(known)}")
    values = {}
    for key, value in data.items():
        where = f"[{table}] {key}"
        if is_dataclass(hints[key]):
            if not isinstance(value, dict):
                raise SettingsFault(path, f"[{key}]", "must be a table")
            values[key] = _filled(hints[key], value, path, key)
        else:
            values[key] = _checked(value, hints[key], dict(known[key].metadata), path, where)
    return kind(**values)


def _checked(value: Any, kind: type, range_: dict[str, Any], path: Path, where: str) -> Any:
    if kind is float and isinstance(value, int | float) and not isinstance(value, bool):
        bound: Bound = range_["bound"]
        if not bound.takes(value):
            raise SettingsFault(path, where, f"{value} lies outside {bound}")
        return float(value)
    if not isinstance(value, kind):
        words = {float: "a number", str: "a text in quotes", bool: "true or false"}
        raise SettingsFault(path, where, f"must be {words[kind]}, not {shown(value)}")
    if isinstance(value, str) and (len(value) > MOST_LETTERS or not value.isprintable()):
        raise SettingsFault(path, where, f"must be one line of at most {MOST_LETTERS} signs that can be printed")
    if "options" in range_ and value not in range_["options"]:
        raise SettingsFault(path, where, f"must be one of {', '.join(range_['options'])}, not {shown(value)}")
    return value
