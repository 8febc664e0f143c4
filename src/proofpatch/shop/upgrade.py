"""The tables of a shop brought to the version of this program: a copy is kept, nobody else is in, all of it or nothing.

The copy lies in the shop's folder and is named as backups are, so that `restore` brings it back; an older program
opens what it brings.
"""

from __future__ import annotations

import contextlib
import datetime
import os
import sqlite3
from functools import lru_cache
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from proofpatch.errors import InputError
from proofpatch.shop.on_disk import flush, settle

WHEN = "%Y-%m-%d-%H%M%S"
HALF = ".half-upgrade"
NEWER = "The shop's database was written by a newer proofpatch."


@lru_cache(maxsize=1)
def revisions() -> tuple[str, ...]:
    """The versions of the tables that this program knows, the newest first."""
    place = Path(__file__).parent / "migrations"
    return tuple(one.revision for one in ScriptDirectory(str(place)).walk_revisions())


def refuse_newer(found: str | None, field: str = "folder") -> None:
    """Refuses tables of a version that this program does not know.

    Raises:
        InputError: they are of one.
    """
    if found and found not in revisions():
        raise InputError(field, NEWER, "Update this one; nothing was changed.")


def version_in(base: sqlite3.Connection) -> str | None:
    """The version of the tables of a file; None: it has none, or is no database."""
    try:
        found = base.execute("SELECT version_num FROM alembic_version").fetchall()
    except sqlite3.DatabaseError:
        return None
    return str(found[0][0]) if len(found) == 1 else None


def last_number(base: sqlite3.Connection) -> int:
    """The number of the last change in a database; 0: it has none."""
    return int(base.execute("SELECT coalesce(max(number), 0) FROM change").fetchone()[0])


def copy_name(now: datetime.datetime, after: int) -> str:
    """Of the file of a backup. after: the number of the last change in it."""
    return f"{now:{WHEN}}-after-{after:07d}.sqlite3"


def bring_up(engine: sa.Engine, path: Path, now: datetime.datetime) -> None:
    """The tables of a database made, or brought from an earlier version to this one, in one transaction.

    Args:
        engine: of the database. path: of its file, where it is SQLite. now: for the name of the copy.

    Raises:
        InputError: it is of a newer version.
        sqlalchemy.exc.DatabaseError: it cannot be used, or somebody is in it.
    """
    alone = engine
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            found = _version(connection)
        refuse_newer(found)
        if found == revisions()[0]:
            return
        if found is not None:
            # From here on nobody else is in, an older program neither: the lock is SQLite's own and ends with us.
            engine.dispose()
            alone = sa.create_engine(engine.url, poolclass=sa.NullPool)
            sa.event.listen(alone, "connect", _alone)
            sa.event.listen(alone, "begin", _begin)
    with contextlib.ExitStack() as stack:
        if alone is not engine:
            stack.callback(alone.dispose)
            try:
                connection = stack.enter_context(alone.connect())
                found = _version(connection)
            except sa.exc.OperationalError as trouble:
                if getattr(trouble.orig, "sqlite_errorname", "") != "SQLITE_BUSY":
                    raise
                said = "The shop is open in an older proofpatch, and this one would change its tables."
                raise InputError("folder", said, "Close it there first; nothing was changed.") from None
            connection.rollback()
            if found != revisions()[0]:  # another one may have been first
                _keep_copy(connection.connection.driver_connection, path, now)
        else:
            connection = stack.enter_context(engine.connect())
        with connection.begin():
            found = _version(connection)
            refuse_newer(found)
            if found != revisions()[0]:
                settings = Config()
                settings.set_main_option("script_location", "proofpatch:shop/migrations")
                settings.attributes["connection"] = connection
                command.upgrade(settings, "head")


def _version(connection: sa.Connection) -> str | None:
    heads = MigrationContext.configure(connection).get_current_heads()
    return heads[0] if heads else None


def _alone(connection: Any, _: Any) -> None:
    """The only one in the file, from the first look till the connection ends."""
    connection.isolation_level = None
    for setting in ("locking_mode=EXCLUSIVE", "busy_timeout=3000", "journal_mode=WAL", "synchronous=FULL"):
        connection.execute(f"PRAGMA {setting}")


def _begin(connection: sa.Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")


def _keep_copy(base: Any, path: Path, now: datetime.datetime) -> None:
    """The database as it is, on disk beside itself under the name of a backup."""
    base.rollback()
    after = last_number(base)
    half = path.with_name(HALF)
    half.unlink(missing_ok=True)
    try:
        with contextlib.closing(sqlite3.connect(half, isolation_level=None)) as copy:
            base.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")  # one file, with no log beside it
        flush(half)
        os.replace(half, path.with_name(copy_name(now, after)))
        settle(path.parent)
    finally:
        half.unlink(missing_ok=True)
