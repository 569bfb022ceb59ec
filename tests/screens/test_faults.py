"""What a disk or a damaged book said is worded, in both languages, with what to do next."""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

import msgspec
import peewee
import pytest

from kiosk import words
from kiosk.desk.session import Locked, NeedsReason, NotThere, StillHot
from kiosk.ledger.book import LedgerFault
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
