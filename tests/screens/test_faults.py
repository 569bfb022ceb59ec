"""What a disk or a damaged book said is worded, in both languages, with what to do next."""

from __future__ import annotations

import errno
import importlib
import pkgutil
import re
import socket
import sqlite3
import subprocess
from pathlib import Path

import msgspec
import peewee
import pytest

import kiosk
from kiosk import words
from kiosk.desk.session import Locked, NeedsReason, NotThere, StillHot
from kiosk.ledger.book import LedgerFault
from kiosk.rules.fitting.magazine import Magazine, MagazineFault, MagazineKind
from kiosk.rules.reasons import NAMES, quoted, reason
from kiosk.screens.clerk import fault_words
from kiosk.settings import SettingsFault, changed
from kiosk.telling import cause_words
from kiosk.words import catalogue

SAID = (
    (OSError(errno.ENOSPC, "No space left on device"), "disk_full"),
    (PermissionError(errno.EACCES, "Permission denied"), "not_allowed"),
    (OSError(errno.EROFS, "Read-only file system"), "not_allowed"),
    (FileNotFoundError(errno.ENOENT, "No such file"), "gone"),
    (OSError(errno.EIO, "Input/output error"), "disk"),
    (peewee.DatabaseError("database disk image is malformed"), "damaged"),
    (sqlite3.DatabaseError("file is not a database"), "damaged"),
    (peewee.OperationalError("database is locked"), "busy"),
    (peewee.OperationalError("database or disk is full"), "disk_full"),
    (peewee.OperationalError("disk I/O error"), "disk"),
    (LedgerFault(Path("ledger.db"), "database or disk is full", "free the disk"), "disk_full"),
    (msgspec.ValidationError("Object missing required field"), "damaged"),
    (Locked(), "locked"),
    (NeedsReason(), "needs_reason"),
)


@pytest.mark.parametrize(("error", "name"), SAID, ids=lambda value: str(value)[:40])
@pytest.mark.parametrize("language", words.LANGUAGES)
def test_a_cause_a_person_can_act_on_has_its_own_sentence(error: Exception, name: str, language: str) -> None:
    words.speak(language)
    try:
        assert fault_words(error) == catalogue(language).say(f"fault.{name}")
        assert str(error) not in fault_words(error)
    finally:
        words.speak("en")


def test_what_came_first_decides_where_one_fault_hides_another() -> None:
    try:
        try:
            raise sqlite3.OperationalError("database or disk is full")
        except sqlite3.OperationalError as first:
            raise peewee.OperationalError("cannot rollback - no transaction is active") from first
    except peewee.OperationalError as error:
        assert cause_words(error) == catalogue("en").say("fault.disk_full")


def test_a_hot_holder_and_a_missing_thing_are_named() -> None:
    assert "End mill 6" in fault_words(StillHot("End mill 6"))
    assert "T099" in fault_words(NotThere("holder", "T099"))


def test_other_errors_have_no_cause_to_name() -> None:
    assert cause_words(ZeroDivisionError("division by zero")) is None


@pytest.mark.parametrize(("language", "limit"), [("en", "touch limit"), ("de", "Berührgrenze")])
def test_a_shop_as_warm_as_its_touch_limit_is_refused_without_a_word_of_the_file(
    language: str, limit: str, tmp_path: Path
) -> None:
    words.speak(language)
    try:
        with pytest.raises(SettingsFault) as refused:
            changed(tmp_path / "settings.toml", "heat", "ambient_c", "39")
        said = fault_words(refused.value)
        assert limit in said and "43" in said and "39" in said
        assert "settings.toml" not in said and "_c" not in said
    finally:
        words.speak("en")


def _errors() -> list[type[Exception]]:
    """Every kind of error that this program raises."""
    for module in pkgutil.walk_packages(kiosk.__path__, "kiosk."):
        if not module.name.endswith("__main__") and ".windows" not in module.name:
            importlib.import_module(module.name)
    found: set[type[Exception]] = set()
    waiting: list[type[Exception]] = [Exception]
    while waiting:
        kind = waiting.pop()
        waiting += kind.__subclasses__()
        if kind.__module__.startswith("kiosk."):
            found.add(kind)
    return sorted(found, key=lambda kind: (kind.__module__, kind.__name__))


def test_no_error_of_the_program_reads_in_english_in_a_german_window() -> None:
    """What has no sentence of its own is quoted behind one; an error that is new cannot be forgotten."""
    said = "the quick brown fox is not there"
    kinds = _errors()
    assert len(kinds) > 50
    bare = []
    words.speak("de")
    try:
        for kind in kinds:
            error = kind.__new__(kind, said)
            try:
                told = fault_words(error)
            except AttributeError:  # its sentence is made of fields that this one was not given
                continue
            if said in told and f"„{said}“" not in told:
                bare.append(f"{kind.__module__}.{kind.__name__}: {told}")
    finally:
        words.speak("en")
    assert bare == []


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_reason_of_a_system_has_words_and_any_other_is_quoted(language: str) -> None:
    known = catalogue(language).words
    assert all(f"reason.{name}" in known for name in NAMES)
    for error, name in (
        (OSError(errno.ENOSPC, "No space left on device"), "disk_full"),
        (PermissionError(errno.EACCES, "Permission denied"), "not_allowed"),
        (FileNotFoundError(errno.ENOENT, "No such file"), "not_found"),
        (OSError(errno.EROFS, "Read-only file system"), "read_only"),
        (ConnectionRefusedError(errno.ECONNREFUSED, "Connection refused"), "refused"),
        (TimeoutError("timed out"), "timed_out"),
        (subprocess.TimeoutExpired("pip", 5.0), "timed_out"),
        (socket.gaierror(-2, "Name or service not known"), "name_unknown"),
        (OSError(errno.EIO, "Input/output error"), "disk"),
    ):
        assert reason(error).key == f"reason.{name}"
    assert reason(ValueError("odd")) == quoted("odd")
    told = catalogue(language).say("update.refused.not_made", file="kiosk.whl", why=reason(OSError(28, "No space")))
    assert "Errno" not in told and "No space" not in told and known["reason.disk_full"] in told


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_what_is_wrong_with_a_magazine_is_said_in_the_language_of_the_window(language: str) -> None:
    said = []
    for wrong in (
        {"pockets": 0}, {"pitch_mm": 0.0}, {"clearance_mm": -1.0}, {"rows": 7}, {"rows": 2}, {"ring_mm": 400.0},
        {"fixed": frozenset((61,))}, {"closed": frozenset((0,))}, {"change_at": 99},
    ):  # fmt: skip
        with pytest.raises(MagazineFault) as refused:
            Magazine(**({"kind": MagazineKind.CHAIN, "pockets": 60, "pitch_mm": 80.0} | wrong))  # type: ignore[arg-type]
        said.append(refused.value.why.key)
        told = catalogue(language).say("file_fault.magazine", why=refused.value.why)
        assert told == catalogue(language).say(refused.value.why.key, **dict(refused.value.why.values))
    keys = {key for key in catalogue(language).words if key.startswith("magazine_fault.")}
    assert set(said) == keys


def test_no_screen_shows_an_error_as_python_writes_it() -> None:
    folder = Path(kiosk.__file__).parent
    shown = [
        f"{path.relative_to(folder)}: {line.strip()}"
        for room in ("screens", "handheld")
        for path in sorted((folder / room).rglob("*.py"))
        for line in path.read_text("utf-8").splitlines()
        if re.search(r"\bstr\((error|fault|refused)\)", line)
    ]
    allowed = ("screens/showing.py", "handheld/link.py", "handheld/serving/__main__.py")  # quoted where they are shown
    assert [line for line in shown if not line.startswith(allowed)] == []
