"""The one setting of a shop whose records are in PostgreSQL: `database.txt` in its folder.

    postgresql+psycopg://shop@localhost/shop
    folder 0f3c…

The first line is the address. The second is put there by the shop; the database says the same, so that the records of
one shop are not used beside the photos of another.
"""

from __future__ import annotations

import os
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from proofpatch.errors import InputError
from proofpatch.shop.on_disk import settle

SETTING = "database.txt"
LIKE = "Write it like postgresql+psycopg://shop@localhost/shop."
OURS = ("postgresql", "postgres", "postgresql+psycopg")
MARK = re.compile(r"folder ([0-9a-f]{32})")
LONGEST = 4096  # bytes that are read of it; common practice, no source


@dataclass(frozen=True)
class Setting:
    """url: of the database. mark: by which it knows this folder; None: not yet."""

    url: sa.URL
    mark: str | None


def setting_of(folder: Path) -> Setting | None:
    """What a shop's folder says; None: nothing, so its records lie in the folder.

    Raises:
        InputError: it cannot be read, or names no database of PostgreSQL.
    """
    try:
        with (folder / SETTING).open(encoding="utf-8") as file:
            said = [line.strip() for line in file.read(LONGEST).splitlines()]
    except (FileNotFoundError, NotADirectoryError):
        return None
    except (OSError, UnicodeDecodeError) as trouble:
        why = getattr(trouble, "strerror", None) or "it is no text"
        raise InputError("folder", f"The setting {SETTING} cannot be read: {why}.", LIKE) from None
    lines = [line for line in said if line and not line.startswith("#")]
    if not lines or len(lines) > 2:
        raise InputError("folder", f"{SETTING} has to hold one address.", LIKE)
    mark = MARK.fullmatch(lines[1]) if len(lines) == 2 else None
    if len(lines) == 2 and mark is None:
        raise InputError("folder", f"The second line of {SETTING} names no folder.", "Leave it as the shop wrote it.")
    return Setting(url_from(lines[0], f"What stands in {SETTING}"), mark[1] if mark else None)


def keep_setting(folder: Path, setting: Setting) -> None:
    """The setting on disk, for its owner only; all of it or none.

    Raises:
        OSError: it cannot be written.
    """
    lines = [setting.url.render_as_string(hide_password=False)]
    lines += [f"folder {setting.mark}"] if setting.mark else []
    handle, half = tempfile.mkstemp(dir=folder, prefix=".half-")  # 0600 from its first byte
    try:
        with open(handle, "w", encoding="utf-8") as file:
            file.write("\n".join(lines) + "\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(half, folder / SETTING)
        settle(folder)
    finally:
        Path(half).unlink(missing_ok=True)


def url_from(said: str, what: str = "What was given", field: str = "folder") -> sa.URL:
    """An address of PostgreSQL as it was written.

    Raises:
        InputError: it is none.
    """
    try:
        url = sa.make_url(said.strip())
    except (sa.exc.ArgumentError, ValueError):  # what they say holds the address, and so the password
        raise InputError(field, f"{what} is no address of a database.", LIKE) from None
    if url.drivername not in OURS:
        kind = "".join(c for c in url.drivername if c.isalnum() or c == "+")[:20]
        said = f"{what} is an address of {kind}; a shop's records lie in its folder or in PostgreSQL."
        raise InputError(field, said, LIKE)
    if not url.database:
        raise InputError(field, f"{what} names no database of that server.", LIKE)
    return url.set(drivername=OURS[-1])


def shown(url: sa.URL, begins: bool = False) -> str:
    """A database as a sentence names it, without a password. begins: the sentence."""
    name, host = named(url)
    return f"{'The' if begins else 'the'} database {name!r} on {host}"


def named(url: sa.URL) -> tuple[str, str]:
    """(the database, its host or the folder of its socket), cut where they are long."""
    host = url.host or url.query.get("host") or "localhost"
    return (url.database or "")[:40], (host if isinstance(host, str) else host[0])[-40:]
