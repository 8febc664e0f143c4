"""The versions of the tables: which one a database has, which this program knows, and the way from one to the next."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory

from proofpatch.errors import InputError

NAMED = re.compile(r"[0-9]{4}")  # as migrations/versions names them
NEWER = "The shop's database was written by a newer proofpatch."


@lru_cache(maxsize=1)
def revisions() -> tuple[str, ...]:
    """The versions of the tables that this program knows, the newest first."""
    place = Path(__file__).parent / "migrations"
    return tuple(one.revision for one in ScriptDirectory(str(place)).walk_revisions())


def version_in(connection: sa.Connection) -> str | None:
    """The version of the tables of a database, known or newer.

    None: it has none, is no database, or what stands there is damaged.
    """
    try:
        if not sa.inspect(connection).has_table("alembic_version"):
            return None
        found = connection.exec_driver_sql("SELECT * FROM alembic_version").mappings().fetchall()
    except sa.exc.DatabaseError:
        return None
    said = found[0].get("version_num") if len(found) == 1 else None
    if not isinstance(said, str) or not NAMED.fullmatch(said):
        return None
    return said if said in revisions() or said > revisions()[0] else None


def refuse_newer(found: str | None, field: str = "folder") -> None:
    """Refuses tables of a version that this program does not know.

    Raises:
        InputError: they are of one.
    """
    if found and found not in revisions():
        raise InputError(field, NEWER, "Update this one; nothing was changed.")


def version_of(connection: sa.Connection) -> str | None:
    """The version of a shop's tables; None: there are none yet.

    Raises:
        InputError: they are newer than this program, or their version is damaged.
    """
    found = version_in(connection)
    if found is None and sa.inspect(connection).has_table("thing"):
        said = "The version of the shop's tables cannot be read: its database is damaged."
        raise InputError("folder", said, "Look at it with: proofpatch check.")
    refuse_newer(found)
    return found


def migrate(connection: sa.Connection, to: str = "head") -> None:
    """The tables of a database made, or brought from an earlier version to another, in the transaction it is in."""
    settings = Config()
    settings.set_main_option("script_location", "proofpatch:shop/migrations")
    settings.attributes["connection"] = connection
    command.upgrade(settings, to)
