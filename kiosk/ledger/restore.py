"""Putting a copy back, so that nobody burns: whatever any ledger here knows as hot or unknown stays so.

The new ledger is made whole in a folder beside: copied, brought up, told in a line what is hot, verified, on disk.
The replaced one is kept under `replaced/` before that.  The last step is one rename: before it the old ledger is
there, after it the finished new one, and there is no third state to be killed in.

What is hot comes from the ledger that is replaced, from every one that was replaced before and whose knowledge no
later one carries on, and from the copy itself.  Where none of them can say what happened since the copy was made,
nobody knows how warm any shrink-fit holder is.  Who has a say then is `restore_people`'s business.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Mapping
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from secrets import token_hex

from kiosk.ledger import anchor as anchors
from kiosk.ledger import copying
from kiosk.ledger import tables as T
from kiosk.ledger.anchor import Anchor, Mark
from kiosk.ledger.book import NAME, Book, rows
from kiosk.ledger.clock import SecondsSource, boot_counter_s
from kiosk.ledger.copying import CopyFault, look, reading, told
from kiosk.ledger.disk import FOLDER_MODE, make_private, make_private_folder, to_disk, touch_private
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE, entry_of
from kiosk.ledger.lock import FolderLock
from kiosk.ledger.restore_people import People, carried_over, people_in
from kiosk.ledger.trouble import Cause, LedgerFault, cause_of
from kiosk.ledger.upgrade import NewerLedger
from kiosk.ledger.verify import Progress
from kiosk.rules.assembly import Clamping
from kiosk.rules.cards import Heat
from kiosk.rules.lines import Heated, Restored

DAY_S = 86400.0
ASIDE = "replaced"  # folder, beside the ledger, for those that were replaced
MAKING = "restoring"  # folder, beside the ledger, where the new one is made


@dataclass(frozen=True, slots=True)
class RestoreDone:
    """What a restore did.

    aside: where the replaced ledger lies now.  holders: hot until read.  unsure: nobody knows how warm, because
    no ledger could say what happened after the copy was made, or the replaced one did not know either.
    """

    aside: Path | None
    line: int
    holders: tuple[str, ...]
    unsure: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Known:
    """What the ledgers here know about heat.

    hot: holders heated or held.  unknown: of unknown warmth.  absorbed: hashes of the last lines of the ledgers asked.
    whole: nothing that happened since the copy was made is missing.  people: who has a say now.
    """

    hot: frozenset[str]
    unknown: frozenset[str]
    absorbed: frozenset[str]
    whole: bool
    people: People


@dataclass(frozen=True, slots=True)
class _Past:
    """One ledger's knowledge.  last: hash of its last line.  carries: hashes of last lines of those it took over."""

    last: str
    hot: frozenset[str]
    unknown: frozenset[str]
    carries: frozenset[str]


def restore(
    folder: Path,
    backup: Path,
    now_utc_s: float,
    kiosk: str = "kiosk",
    *,
    counter: SecondsSource = boot_counter_s,
    progress: Progress | None = None,
) -> RestoreDone:
    """Puts `backup` in the place of the ledger in `folder`; the kiosk must not be open.

    The replaced ledger stays, in the folder `replaced`.  Until the last step nothing has changed.  Raises InUse,
    CopyFault, NewerLedger, LedgerFault.
    """
    wrong, _, backup_hash = look(backup, progress)
    if wrong:
        raise CopyFault(backup, f"does not verify: {wrong[0].where} {wrong[0].what}", wrong)
    making = folder / MAKING
    try:
        make_private_folder(folder, NAME)
        there = (folder / NAME).exists() and (folder / NAME).stat().st_size > 0
        lock = FolderLock(folder, NAME)
    except OSError as error:
        raise CopyFault(folder / NAME, told(folder / NAME, error)) from error
    try:
        known = _ask(folder, backup, backup_hash, now_utc_s, there)
        shutil.rmtree(making, ignore_errors=True)
        done, line_hash, watched_s = _make(making, backup, now_utc_s, kiosk, counter, known)
        lock.take_over(making / NAME)
        aside = _keep(folder, now_utc_s) if there else None
        _swap(folder, making / NAME, done.id, line_hash, watched_s, there)
    except (OSError, sqlite3.Error) as error:
        raise CopyFault(folder / NAME, told(folder / NAME, error)) from error
    finally:
        shutil.rmtree(making, ignore_errors=True)
        lock.release()
    return RestoreDone(aside, done.id, done.holders, done.unsure)


@dataclass(frozen=True, slots=True)
class _Made:
    """The line that ends the new ledger."""

    id: int
    holders: tuple[str, ...]
    unsure: tuple[str, ...]


def _make(
    making: Path, backup: Path, now_utc_s: float, kiosk: str, counter: SecondsSource, known: _Known
) -> tuple[_Made, str, float]:
    """Makes the new ledger to its end in a folder of its own: its last line, that line's hash, watched time."""
    making.mkdir(mode=FOLDER_MODE)
    touch_private(making / NAME)
    with reading(backup) as source, closing(sqlite3.connect(making / NAME)) as made:
        source.backup(made)
        last = made.execute("SELECT id, hash FROM line ORDER BY id DESC LIMIT 1").fetchone()
        (beaten,) = made.execute("SELECT MAX(watched_s) FROM watch").fetchone()
        lately = _heated_lately(made, now_utc_s)
    number, last_hash = last or (0, HASH_BEFORE_ANY_LINE)
    Anchor.begin(making, Mark(token_hex(4), number, last_hash, beaten or 0.0)).close()
    with Book.open(making, kiosk, counter=counter, wall=lambda: now_utc_s) as book:
        standing = rows(T.Holder.select(T.Holder.key, T.Holder.clamping, T.Holder.heat, T.Holder.retired))
        registered = {row["key"] for row in standing if not row["retired"]}
        hot = known.hot | (lately & registered)
        hot |= {row["holder"] for row in rows(T.Hold.select(T.Hold.holder).where(T.Hold.ended_line.is_null()))}
        hot |= {row["key"] for row in standing if row["heat"] == Heat.HELD.value}
        shrinks = {row["key"] for row in standing if row["clamping"] == Clamping.SHRINK_FIT.value}
        unknown = known.unknown | (set() if known.whole else shrinks)
        holders, unsure = tuple(sorted(hot)), tuple(sorted(unknown - hot))
        taken = frozenset(row["text"] for row in rows(T.Binding.select(T.Binding.text)))
        people = carried_over(known.people, people_in(T.database.connection()), taken)
        restored = Restored(backup.name, holders, unsure, absorbed=tuple(sorted(known.absorbed)))
        book.append([*people, restored])
        if wrong := book.check():
            what = f"{wrong[0].where} {wrong[0].what}"
            raise LedgerFault(backup, what, "restore another backup", Cause.DAMAGED)
        done, last_hash = _Made(book.last_id, holders, unsure), book.last_hash
    with closing(sqlite3.connect(making / NAME)) as made:
        if made.execute("PRAGMA journal_mode = DELETE").fetchone() != ("delete",):
            raise CopyFault(making / NAME, "another program reads it: close that, then do it again")
        (watched_s,) = made.execute("SELECT MAX(watched_s) FROM watch").fetchone()  # closing it was a beat
    to_disk(making / NAME)
    return done, last_hash, watched_s


def _swap(folder: Path, new: Path, line: int, line_hash: str, watched_s: float, there: bool) -> None:
    """The new ledger takes the name.  there: whether an old one has it until now."""
    mark = anchors.read(folder)
    if mark is not None:
        anchor = Anchor(folder, mark)
    else:
        # An old ledger without an anchor has lost something, and is still to be taken so until it is gone.
        anchor = Anchor.begin(folder, Mark(token_hex(4), 0, "" if there else HASH_BEFORE_ANY_LINE))
    try:
        anchor.expect(line, line_hash)  # from here on either of the two is right
        new.replace(folder / NAME)
        to_disk(folder)
        with suppress(OSError):  # it is there; an anchor that still says "the one or the other" is right too
            anchor.write(line, line_hash, watched_s, firm=True)
    finally:
        anchor.close()


def _keep(folder: Path, now_utc_s: float) -> Path:
    """Keeps the ledger that is there under another name as well, in one file; where."""
    there = folder / NAME
    aside = folder / ASIDE
    aside.mkdir(mode=FOLDER_MODE, exist_ok=True)
    log_in = in_one_file(there)
    for path in aside.glob(f"{copying.STEM}*.db"):
        if path.samefile(there):  # by a restore that was cut short after this
            return path
    stamp = datetime.fromtimestamp(now_utc_s, UTC).strftime("%Y%m%d-%H%M%S")
    kept = aside / f"{copying.STEM}{stamp}.db"
    again = 1
    while kept.exists():
        again += 1
        kept = aside / f"{copying.STEM}{stamp}-{again}.db"
    if not log_in:  # too damaged to be closed properly: its log stays beside it
        for ending in ("-wal", "-shm"):
            beside = there.with_name(there.name + ending)
            if beside.exists():
                shutil.copyfile(beside, kept.with_name(kept.name + ending))
    part = kept.with_name(kept.name + copying.PART)
    part.unlink(missing_ok=True)
    try:
        os.link(there, part)
    except OSError:  # a disk without a second name for a file
        touch_private(part)
        shutil.copyfile(there, part)
        to_disk(part)
    make_private(part)
    part.replace(kept)
    to_disk(aside)
    for ending in ("-wal", "-shm"):
        there.with_name(there.name + ending).unlink(missing_ok=True)  # never to be read with the new ledger
    return kept


def in_one_file(path: Path) -> bool:
    """Brings the log of a ledger into its file and leaves no log; False where it is too damaged for that.

    Raises sqlite3.OperationalError where another program is reading it or the disk is full.
    """
    try:
        with closing(sqlite3.connect(path)) as old:
            old.execute("PRAGMA busy_timeout = 5000")
            old.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            if old.execute("PRAGMA journal_mode = DELETE").fetchone() != ("delete",):
                raise sqlite3.OperationalError("database is locked")
            return True
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError:
        return False


def _ask(folder: Path, backup: Path, backup_hash: str, now_utc_s: float, there: bool) -> _Known:
    """What the ledgers in a data folder know: the one that is there, and those it or an older kiosk replaced."""
    whole = there and _is_whole(folder)
    files = [folder / NAME] if there else []
    files += [path for path in (folder / ASIDE).glob(f"{copying.STEM}*.db") if not there or not path.samefile(files[0])]
    found = {path: past for path in files if (past := _past(path, now_utc_s)) is not None}
    lasts = {past.last for past in found.values()} | {backup_hash}
    carried: set[str] = set()  # last lines of ledgers whose knowledge another one has and goes on with
    since_backup = False
    for path, past in found.items():
        inside = _which_of(lasts, path)
        since_backup = since_backup or backup_hash in inside
        if path != folder / NAME or whole:  # one that has lost its end may have lost what it carried
            carried |= past.carries | (inside - {past.last})
    own = found.get(folder / NAME)
    if own and whole:
        carried.add(own.last)
    asked = [past for path, past in found.items() if past is own or past.last not in carried]
    return _Known(
        frozenset[str]().union(*(past.hot for past in asked)),
        frozenset[str]().union(*(past.unknown for past in asked)),
        frozenset(past.last for past in asked),
        whole and since_backup,
        _people_now(found, folder, backup),
    )


def _past(path: Path, now_utc_s: float) -> _Past | None:
    """What one ledger knows; None where it is too damaged to be asked.

    Raises what a disk said that is not about the ledger itself: whoever is asked again may still know.
    """
    try:
        with reading(path) as ledger:
            row = ledger.execute("SELECT hash FROM line ORDER BY id DESC LIMIT 1").fetchone()
            hot = _heated_lately(ledger, now_utc_s) | _keys(ledger, "SELECT holder FROM hold WHERE ended_line IS NULL")
            hot |= _keys(ledger, f"SELECT key FROM holder WHERE heat = '{Heat.HELD.value}'")
            unknown = _keys(ledger, f"SELECT key FROM holder WHERE heat = '{Heat.UNKNOWN.value}'")
            if ledger.execute("SELECT 1 FROM sqlite_master WHERE name = 'doubted'").fetchone():
                unknown |= _keys(ledger, "SELECT holder FROM doubted")
            last_hash = row[0] if row else HASH_BEFORE_ANY_LINE
            return _Past(last_hash, frozenset(hot), frozenset(unknown), _taken_over(ledger))
    except (sqlite3.Error, CopyFault, KeyError, ValueError, TypeError) as error:
        _only_damage(error)
        return None


def _people_now(found: Mapping[Path, _Past], folder: Path, backup: Path) -> People:
    """Who has a say by the ledger that is replaced, or the last one before it; nobody where the copy goes on from it.

    Nobody too where it is too damaged to be asked.
    """
    path = max(found, key=lambda each: (each == folder / NAME, each.stat().st_mtime_ns), default=None)
    if path is None or found[path].last in _which_of({found[path].last}, backup):
        return People()
    try:
        with reading(path) as ledger:
            return people_in(ledger)
    except (sqlite3.Error, CopyFault, KeyError, ValueError, TypeError) as error:
        _only_damage(error)
        return People()


def _only_damage(error: BaseException) -> None:
    """Raises again what is not damage: a disk that is full or a file somebody else has is no reason to doubt it."""
    said = error.__cause__ if isinstance(error, CopyFault) and error.__cause__ else error
    if cause_of(said) not in (None, Cause.DAMAGED):
        raise error


def _keys(ledger: sqlite3.Connection, sql: str) -> set[str]:
    return {row[0] for row in ledger.execute(sql)}


def _which_of(hashes: set[str], path: Path) -> set[str]:
    """Which of these lines a ledger has."""
    with reading(path) as ledger:
        marks = ", ".join("?" * len(hashes))
        return {row[0] for row in ledger.execute(f"SELECT hash FROM line WHERE hash IN ({marks})", tuple(hashes))}


def _taken_over(ledger: sqlite3.Connection) -> frozenset[str]:
    """Last lines of ledgers whose knowledge this one carries."""
    found: set[str] = set()
    for (payload,) in ledger.execute("SELECT payload FROM line WHERE kind = ?", (Restored.kind,)):
        line = entry_of(Restored.kind, payload)
        found |= set(line.absorbed) if isinstance(line, Restored) else set()
    return frozenset(found)


def _is_whole(folder: Path) -> bool:
    """Whether the ledger in a data folder verifies and has its end."""
    mark = anchors.read(folder)
    try:
        if look(folder / NAME)[0]:
            return False
        with reading(folder / NAME) as ledger:
            version = ledger.execute("SELECT version FROM schema").fetchone()[0]
            if mark is None:  # right for an older kiosk, which had no anchor, and no seals either
                columns = {row[1] for row in ledger.execute("PRAGMA table_info(watch)")}
                return bool(version == 1) and "seal" not in columns

            def hash_of(number: int) -> str | None:
                row = ledger.execute("SELECT hash FROM line WHERE id = ?", (number,)).fetchone()
                return row[0] if row else None

            return mark.stands_in(hash_of)
    except (sqlite3.Error, CopyFault, NewerLedger, TypeError) as error:
        _only_damage(error)
        return False


def _heated_lately(ledger: sqlite3.Connection, now_utc_s: float) -> set[str]:
    """Holders heated within the last day, by wall time or by what the ledger's kiosk watched: whichever is more.

    A wall clock that was set wrongly, or a kiosk that was off, must not make a hot holder look old.
    """
    last = "SELECT watched_s FROM (SELECT watched_s FROM line ORDER BY id DESC LIMIT 1)"
    watched = ledger.execute(f"SELECT MAX(watched_s) FROM (SELECT watched_s FROM watch UNION {last})")
    (watched_s,) = watched.fetchone()
    found = ledger.execute(
        "SELECT payload FROM line WHERE kind = ? AND (utc_s >= ? OR watched_s >= ?)",
        (Heated.kind, now_utc_s - DAY_S, (watched_s or 0.0) - DAY_S),
    )
    lines = (entry_of(Heated.kind, payload) for (payload,) in found)
    return {line.holder for line in lines if isinstance(line, Heated)}
