"""Copies of a shop: made while it is open, tried by restoring them, brought back into a folder of their own.

A folder of backups holds one database file a backup, named by when it was made and after how many changes, and all
photos once. A photo is named by what is in it and never altered, so a day's backup writes only what is new.

    shop-backups/2026-11-26-140509-after-0000123.sqlite3
    shop-backups/photos/3f/3fa2….jpg
"""

from __future__ import annotations

import datetime
import errno
import os
import re
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import sqlalchemy as sa

from proofpatch.errors import InputError
from proofpatch.shop.check import Checked, check, digest_of
from proofpatch.shop.copied import records_into
from proofpatch.shop.database import FILE, PHOTOS, has_shop, line_of, reading, reading_file
from proofpatch.shop.looked import Original, originals
from proofpatch.shop.on_disk import flush, settle
from proofpatch.shop.scans import SCANS
from proofpatch.shop.store import OURS
from proofpatch.shop.upgrade import WHEN, copy_name, last_change
from proofpatch.shop.versions import refuse_newer, version_in

NAMED = re.compile(r"(\d{4}-\d\d-\d\d-\d{6})-after-(\d{7,})\.sqlite3")
HALF = ".half-"
FORGOTTEN = 86400.0  # s after which what a killed backup left is taken away
EARLY = datetime.timedelta(hours=20)  # a shop that opens a little earlier each morning still has one every morning
AT_ONCE = 8  # files copied; common practice, no source
FULL, CLOSED = (errno.ENOSPC, errno.EDQUOT), (errno.EROFS, errno.EACCES, errno.EPERM)


@dataclass(frozen=True)
class Backup:
    """One backup of a folder. at: when it was made, by the clock; after: the number of the last change in it."""

    path: Path
    at: datetime.datetime
    after: int


@dataclass(frozen=True)
class Made:
    """A backup that was made. checked: what its trial came to; photos: newly copied; gone: older ones taken away.

    further: backups stand beside it that are further on than the shop; then none is taken away.
    """

    backup: Backup
    checked: Checked
    photos: int
    gone: tuple[Path, ...]
    further: bool


def beside(folder: str | Path) -> Path:
    """Where the backups of a shop are kept unless another folder is named."""
    place = Path(folder).resolve()
    return place.with_name(f"{place.name}-backups")


def backups_in(place: str | Path) -> list[Backup]:
    """The backups of a folder, the one that is furthest on first; the clock may have jumped, changes are counted."""
    found = []
    for path in Path(place).glob("*.sqlite3"):
        if said := NAMED.fullmatch(path.name):
            at = datetime.datetime.strptime(said[1], WHEN).replace(tzinfo=datetime.UTC)
            found.append(Backup(path, at, int(said[2])))
    return sorted(found, key=lambda one: (one.after, one.at), reverse=True)


def is_due(folder: str | Path, place: str | Path, now: datetime.datetime) -> bool:
    """Whether something was written since the last backup, and none was made within a day of now.

    Raises:
        InputError: there is no shop in the folder.
    """
    found = backups_in(place)
    with reading(folder) as connection:
        written = last_change(connection)
    return written > 0 and not (
        (found and found[0].after == written) or any(abs(now - one.at) < EARLY for one in found)
    )


def back_up(
    folder: str | Path, place: str | Path, keep: int | None = None, now: datetime.datetime | None = None
) -> Made:  # fmt: skip
    """A backup of a shop that may be open meanwhile, on disk and tried by restoring it.

    Args:
        folder: of the shop. place: of its backups; the folder that it lies in has to be there. keep: so many, older
            ones are taken away once this one is found whole; None: all. now: None: the clock's.

    Raises:
        InputError: there is no shop, it was written by a newer program, or the backup cannot be written; earlier ones
            stay as they were.
    """
    shop, into = Path(folder).resolve(), Path(place).resolve()
    if into == shop or shop in into.parents:
        raise InputError("to", "The backups would lie inside the shop itself.", "Name a folder on another drive.")
    now = now or datetime.datetime.now(datetime.UTC)
    with reading(shop) as connection:  # before anything is made for a shop that is not there
        refuse_newer(version_in(connection))
    with _told("to", into, "The backup was not made; earlier ones stay."):
        # Not its parents: a drive that is not plugged in is not made up on this one.
        into.mkdir(mode=OURS, exist_ok=True)
        (into / PHOTOS).mkdir(exist_ok=True)
        _tidy(into)
        half = _half(into)
        try:
            after, pictures = _copy_records(shop, half)
            copied = _copy_photos(shop, into, pictures)
            checked = _tried(half, into, pictures)
            bad = any(one.where in ("photo", "scan") for one in checked.troubles)
            if bad and _copy_photos(shop, into, pictures, look=True):
                checked = _tried(half, into, pictures)  # what had gone bad here was still good in the shop
            done = Backup(into / copy_name(now, after), now.replace(microsecond=0), after)
            os.replace(half, done.path)
            settle(into)
        finally:
            half.unlink(missing_ok=True)
        found = backups_in(into)
        further = found[0].after > after
        gone = [] if keep is None or further or not checked.whole else [one.path for one in found[max(keep, 1) :]]
        gone = [path for path in gone if path != done.path]
        for path in gone:
            path.unlink()
    return Made(done, checked, copied, tuple(gone), further)


def restore(source: str | Path, folder: str | Path) -> tuple[Backup, Checked]:
    """A shop brought back from a backup into a folder of its own: (the backup, what a check found there).

    Args:
        source: a folder of backups, of which the one furthest on is taken, or the file of one of them.

    Raises:
        InputError: there is no backup, a newer program wrote it, the folder holds something already, or it cannot be
            written.
    """
    given, shop = Path(source).resolve(), Path(folder).resolve()
    found = [
        one for one in backups_in(given if given.is_dir() else given.parent) if given in (one.path, one.path.parent)
    ]
    if not found:
        raise InputError("backups", f"There is no backup in {str(given)[-60:]!r}.", "Name the folder of the backups.")
    if has_shop(shop):
        said = f"There is a shop in the folder {str(shop)[-60:]!r}; nothing was changed."
        raise InputError("folder", said, "Restore beside it: name another.")
    if shop.exists() and (not shop.is_dir() or any(shop.iterdir())):
        raise InputError("folder", f"The folder {str(shop)[-60:]!r} is not empty.", "Name another.")
    one = found[0]
    with _told("folder", shop, "Nothing was restored."):
        shop.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=shop.parent, prefix=HALF, ignore_cleanup_errors=True) as half:
            new = Path(half) / "shop"
            with reading_file(one.path) as base:
                refuse_newer(version_in(base), "backups")
                pictures = originals(base)
            _lay(one.path, one.path.parent, pictures, new, linked=False)
            checked = check(new)
            if shop.exists():
                shop.rmdir()
            os.replace(new, shop)
            settle(shop.parent)
    return one, checked


def _copy_records(shop: Path, half: Path) -> tuple[int, list[Original]]:
    """The records of one moment in a file; the last change and the photos in it. Writers go on meanwhile."""
    with reading(shop) as connection:
        records_into(connection, half)
    try:
        with reading_file(half) as copy:
            found = last_change(copy), originals(copy)
    except sa.exc.DatabaseError as broken:
        said = f"The shop's database cannot be read: {line_of(broken.orig)}."
        raise InputError("folder", said, "Look at it with: proofpatch check; earlier backups stay.") from None
    flush(half)
    return found


def _copy_photos(shop: Path, into: Path, pictures: list[Original], look: bool = False) -> int:
    """What is not there yet, each checked as it is copied; a photo that is broken or gone in the shop is left out.

    Args:
        look: into each file that is there too, and bring what is broken anew.
    """

    def copied(one: Original) -> bool:
        path = into / one.where
        try:
            if path.stat().st_size == one.size and not (look and digest_of(path)[0] != one.digest):
                return False
        except FileNotFoundError:
            pass
        return _copy_photo(shop / one.where, path, one.digest)

    # Most of it is waiting for the disk, which takes several at once better than one after the other.
    with ThreadPoolExecutor(AT_ONCE) as hands:
        new = list(hands.map(copied, pictures))
    for folder in {(into / one.where).parent for one, done in zip(pictures, new, strict=True) if done}:
        settle(folder)
    return sum(new)


def _copy_photo(old: Path, path: Path, digest: str) -> bool:
    """One file checked as it is copied, on disk before it takes its name; False: it is broken or gone."""
    path.parent.mkdir(parents=True, exist_ok=True)
    half = _half(path.parent)
    try:
        with half.open("wb") as file:
            try:
                good = digest_of(old, file.write)[0] == digest
            except OSError as trouble:
                if trouble.errno in FULL:
                    raise
                good = False  # gone, or its drive is failing: the trial tells of it
            file.flush()
            os.fsync(file.fileno())
        if good:
            os.replace(half, path)
        return good
    finally:
        half.unlink(missing_ok=True)


def _tried(records: Path, into: Path, pictures: list[Original]) -> Checked:
    """What a check finds in the backup, restored for the while."""
    with tempfile.TemporaryDirectory(dir=into, prefix=HALF, ignore_cleanup_errors=True) as place:
        _lay(records, into, pictures, Path(place) / "shop", linked=True)
        return check(Path(place) / "shop")


def _lay(records: Path, pool: Path, pictures: list[Original], shop: Path, linked: bool) -> None:
    """A shop's folder of the file of a backup and the photos beside it.

    Args:
        linked: the photos are the same files under a second name where the drive can do that: a trial needs no room.
    """
    shop.mkdir(mode=OURS)
    (shop / PHOTOS).mkdir()
    shutil.copyfile(records, shop / FILE)
    for one in pictures:
        old, new = pool / one.where, shop / one.where
        if not old.exists():
            continue  # the check tells of it
        new.parent.mkdir(parents=True, exist_ok=True)
        try:
            if not linked:
                raise OSError
            os.link(old, new)
        except OSError:
            shutil.copyfile(old, new)
            flush(new)
    flush(shop / FILE)


def _half(place: Path) -> Path:
    """A new empty file that takes another name when it is whole."""
    handle, name = tempfile.mkstemp(dir=place, prefix=HALF)
    os.close(handle)
    return Path(name)


def _tidy(place: Path) -> None:
    """Takes away what a killed backup left."""
    halves = [path for part in (PHOTOS, SCANS) for path in (place / part).glob(f"*/{HALF}*")]
    for path in [*place.glob(f"{HALF}*"), *halves]:
        if time.time() - path.stat().st_mtime > FORGOTTEN:
            shutil.rmtree(path) if path.is_dir() else path.unlink()


@contextmanager
def _told(field: str, place: Path, so: str) -> Iterator[None]:
    """What a drive refuses, in a sentence."""
    try:
        yield
    except OSError as trouble:
        _refuse(field, place, so, trouble.errno in FULL, trouble.errno in CLOSED, trouble.strerror or str(trouble))
    except (sqlite3.DatabaseError, sa.exc.DatabaseError) as trouble:
        said = getattr(trouble, "orig", None) or trouble
        name = getattr(said, "sqlite_errorname", "")
        _refuse(field, place, so, name == "SQLITE_FULL", "READONLY" in name or "CANTOPEN" in name, str(said))


def _refuse(field: str, place: Path, so: str, full: bool, closed: bool, said: str) -> NoReturn:
    where = repr(str(place)[-60:])
    if full:
        problem, remedy = f"The drive of {where} is full.", "Free some space, or name a folder on another drive."
    elif closed:
        problem, remedy = f"The folder {where} cannot be written.", "Make yourself its owner again, or name another."
    else:
        problem, remedy = f"The folder {where} cannot be used: {said.rstrip('.')}.", "Is its drive plugged in?"
    raise InputError(field, f"{problem} {so}", remedy) from None
