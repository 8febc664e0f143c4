"""The tables of a shop brought to the version of this program: a copy is kept, nobody else is in, all of it or nothing.

The copy lies in the shop's folder and is named as backups are, so that `restore` brings it back; an older program
opens what it brings.
"""

from __future__ import annotations

import datetime
import os
import random
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from proofpatch.errors import InputError
from proofpatch.shop.copied import records_into
from proofpatch.shop.database import (
    FILE,
    PHOTOS,
    mark_in,
    put_mark,
    refuse_strange,
    refuse_unfit,
    sqlite_engine,
)
from proofpatch.shop.held import take_there
from proofpatch.shop.on_disk import flush, settle
from proofpatch.shop.setting import Setting, keep_setting, setting_of, shown
from proofpatch.shop.versions import migrate, revisions, version_of

WHEN = "%Y-%m-%d-%H%M%S"
HALF = ".half-upgrade"
TRIES = 8  # of a second each, and a pause; common practice, no source
ALONE = ("locking_mode=EXCLUSIVE", "busy_timeout=1000", "journal_mode=WAL", "synchronous=FULL")
OLDER = "The shop is open in an older proofpatch, and this one would change its tables."


def copy_name(now: datetime.datetime, after: int) -> str:
    """Of the file of a backup. after: the number of the last change in it."""
    return f"{now:{WHEN}}-after-{after:07d}.sqlite3"


def last_change(connection: sa.Connection) -> int:
    """The number of the last change; 0: there is none."""
    return int(connection.exec_driver_sql("SELECT coalesce(max(number), 0) FROM change").scalar_one())


def bring_up(engine: sa.Engine, folder: Path, now: datetime.datetime) -> None:
    """The tables of a shop made, or brought from an earlier version to this one, in one transaction.

    Args:
        engine: of its database. folder: where it is kept. now: for the name of the copy.

    Raises:
        InputError: it is of a newer version, damaged, of another folder, or somebody is in it.
        sqlalchemy.exc.DatabaseError: it cannot be used.
    """
    setting = setting_of(folder)
    with engine.connect().execution_options(reads=True) as connection:
        found = version_of(connection)
        if found is not None and setting is not None:
            refuse_strange(connection, setting)
        if found == revisions()[0] and (setting is None or mark_in(connection) is not None):
            return
    if setting is not None:
        with engine.connect() as connection, connection.begin():
            _bring_up_there(connection, folder, setting, now)
    elif found is None:
        with engine.connect() as connection:
            _bring_up(connection)
    else:
        _bring_up_alone(engine, folder, now)


def _bring_up(connection: sa.Connection) -> None:
    connection.rollback()
    with connection.begin():
        if version_of(connection) != revisions()[0]:
            migrate(connection)


def _bring_up_alone(engine: sa.Engine, folder: Path, now: datetime.datetime) -> None:
    """The same of a file, with nobody else in. Two that begin at once keep each other out; so each tries again."""
    for turn in range(TRIES):
        try:
            with alone(engine, folder, OLDER) as connection:
                if version_of(connection) != revisions()[0]:  # another one may have been first
                    keep_copy(connection, folder, now)
                _bring_up(connection)
            return
        except InputError:
            with engine.connect().execution_options(reads=True) as connection:
                if version_of(connection) == revisions()[0]:
                    return
            if turn == TRIES - 1:
                raise
        time.sleep(random.uniform(0.0, 0.3))


def _bring_up_there(connection: sa.Connection, folder: Path, setting: Setting, now: datetime.datetime) -> None:
    """The same in PostgreSQL, in a transaction in which nobody else writes."""
    found = version_of(connection)
    if found is None:
        refuse_unfit(connection)
    else:
        refuse_strange(connection, setting)
    if found not in (None, revisions()[0]):
        take_there(connection, whole=False)
        keep_copy(connection, folder, now)
    migrate(connection)
    if mark_in(connection) is None:
        _take(connection, folder, setting)


def _take(connection: sa.Connection, folder: Path, setting: Setting) -> None:
    """Records that are nobody's yet are this folder's, unless it has had others.

    Raises:
        InputError: it has; the photos of those would be swept away.
    """
    if (folder / FILE).exists() or any((folder / PHOTOS).glob("*/*")):
        said = f"There is no shop in {shown(setting.url)}, and this folder has had one."
        raise InputError("folder", said, "Move it there with proofpatch move, or correct the address.")
    mark = setting.mark or uuid.uuid4().hex
    put_mark(connection, mark)
    keep_setting(folder, Setting(setting.url, mark))


@contextmanager
def alone(engine: sa.Engine, folder: Path, said: str) -> Iterator[sa.Connection]:
    """A file of SQLite with nobody else in, an older program neither: the lock is SQLite's own and ends with us.

    Args:
        engine: that gives the file back first. said: what is said if somebody is in it.

    Raises:
        InputError: somebody is.
    """
    engine.dispose()
    own = sqlite_engine(folder / FILE, ALONE, poolclass=sa.NullPool)
    try:
        connection = own.connect()
        connection.exec_driver_sql("SELECT 1 FROM sqlite_master").fetchone()
    except sa.exc.OperationalError as trouble:
        if getattr(trouble.orig, "sqlite_errorname", "") != "SQLITE_BUSY":
            raise
        raise InputError("folder", said, "Close it there first; nothing was changed.") from None
    with connection:
        connection.rollback()
        yield connection


def keep_copy(connection: sa.Connection, folder: Path, now: datetime.datetime) -> Path:
    """The records as they are, on disk in the shop's folder under the name of a backup."""
    after = last_change(connection)
    if connection.dialect.name == "sqlite":
        connection.rollback()  # SQLite copies nothing out of a transaction that may write
    half, kept = folder / HALF, folder / copy_name(now, after)
    half.unlink(missing_ok=True)
    try:
        records_into(connection, half)
        flush(half)
        os.replace(half, kept)
        settle(folder)
    finally:
        half.unlink(missing_ok=True)
    return kept
