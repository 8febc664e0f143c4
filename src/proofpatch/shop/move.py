"""A shop's records moved from the file in its folder into PostgreSQL: all of them or none, and the file is kept.

Nobody else is in the file meanwhile. The rows are copied, compared and checked in one transaction; only when that
stands the setting is written, and then the file put aside under the name of a backup.
"""

from __future__ import annotations

import datetime
import os
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from proofpatch.errors import InputError
from proofpatch.shop.copied import Counted, copy_rows, counted, tables_in
from proofpatch.shop.database import (
    FILE,
    postgres_engine,
    put_mark,
    reading,
    reading_file,
    refuse_none,
    refuse_unfit,
    sqlite_engine,
    unusable,
)
from proofpatch.shop.held import held, take_there
from proofpatch.shop.looked import looked
from proofpatch.shop.on_disk import settle
from proofpatch.shop.setting import Setting, keep_setting, setting_of, shown, url_from
from proofpatch.shop.tables import Base
from proofpatch.shop.upgrade import alone, bring_up, copy_name, last_change
from proofpatch.shop.versions import migrate, revisions, version_in

INSIDE = "The shop is open elsewhere, and its records cannot be moved under it."
OTHERS = "That database holds tables of something else."
EARLIER = "That database holds tables of another version."
EMPTY = "Name an empty database; make one with: createdb --encoding UTF8 --template template0 shop"


@dataclass(frozen=True)
class Moved:
    """Where the records are now, in words; how many rows each table has; the file they came from, None: it was gone."""

    where: str
    rows: dict[str, int]
    kept: Path | None


def move(folder: str | Path, address: str, now: datetime.datetime | None = None) -> Moved:
    """Moves the records of a shop into an empty database of PostgreSQL; photos and scans stay in the folder.

    What a killed one left is finished or begun anew by the next with the same address.

    Args:
        now: for the name under which the file is kept; None: the clock's.

    Raises:
        InputError: there is no shop, somebody has it open, it is not whole, or the database cannot be used or holds
            something else. The shop is as it was then.
    """
    place, url = Path(folder).resolve(), url_from(address, field="to")
    refuse_none(place)
    now = now or datetime.datetime.now(datetime.UTC)
    setting = setting_of(place)
    if setting is not None and (setting.url != url or not (place / FILE).exists()):
        said = f"The records of this shop are in PostgreSQL already: {shown(setting.url)}."
        raise InputError("folder", said, "To move it on, back it up, restore it into a new folder, and move that.")
    try:
        with held(place, "its move"):
            if setting is None:
                with _source(place, now) as source, _target(url) as target:
                    mark = _into(source, target)
                    # Here all of it stands in PostgreSQL, and nothing has changed in the folder yet.
                    keep_setting(place, Setting(url, mark))
            return Moved(shown(url), _rows_of(place), _put_aside(place, now))
    except (sa.exc.DatabaseError, sqlite3.DatabaseError) as trouble:
        ours = isinstance(getattr(trouble, "orig", trouble), sqlite3.Error)
        raise unusable(trouble, sa.make_url("sqlite://") if ours else url) from None
    except OSError as trouble:
        said = f"The folder {str(place)[-60:]!r} cannot be written: {trouble.strerror}."
        raise InputError("folder", said, "Make yourself its owner again, and give the command once more.") from None


@contextmanager
def _source(place: Path, now: datetime.datetime) -> Iterator[sa.Connection]:
    """The file of the shop, of this program's version and whole, with nobody else in it.

    Raises:
        InputError: it is not whole, or somebody is in it.
    """
    with _given_back(sqlite_engine(place / FILE)) as engine:
        bring_up(engine, place, now)
        with alone(engine, place, INSIDE) as connection:
            found = looked(connection)
            if found.troubles:
                said = f"The shop is not whole: {found.troubles[0].said}"
                raise InputError("folder", said, "Look at all of it with: proofpatch check.")
            yield connection


@contextmanager
def _target(url: sa.URL) -> Iterator[sa.Connection]:
    """The database, locked for one server as for writers; what is done in it is not yet there."""
    with _given_back(postgres_engine(url)) as engine, engine.connect() as connection:
        take_there(connection, whole=False)
        yield connection


@contextmanager
def _given_back(engine: sa.Engine) -> Iterator[sa.Engine]:
    try:
        yield engine
    finally:
        engine.dispose()


def _into(source: sa.Connection, target: sa.Connection) -> str:
    """Every row, compared, checked and there for good: the mark by which it knows its folder.

    Raises:
        InputError: the database holds something else, or what came is not what was sent.
    """
    _refuse_others(target)
    refuse_unfit(target)
    if version_in(target) is None:
        migrate(target)
    sent, there = counted(source), counted(target)
    if not any(many for many, _ in there.values()):
        copy_rows(source, target)
        there = counted(target)
    elif there != sent:
        raise InputError("to", "That database holds the records of a shop already.", EMPTY)
    wrong = _differing(sent, there) or [one.said for one in looked(target).troubles]
    if wrong:
        raise InputError("to", f"What came there is not what was sent: {wrong[0]}", "Nothing was changed.")
    mark = uuid.uuid4().hex  # another folder with the same records is not served from there any more
    put_mark(target, mark)
    target.commit()
    return mark


def _refuse_others(target: sa.Connection) -> None:
    """Refuses a database with tables that are not this program's."""
    others = set(sa.inspect(target).get_table_names()) - {*Base.metadata.tables, "alembic_version"}
    found = version_in(target)
    if others or (sa.inspect(target).get_table_names() and found != revisions()[0]):
        raise InputError("to", OTHERS if others else EARLIER, EMPTY)


def _differing(sent: Counted, there: Counted) -> list[str]:
    return [f"the table {name} differs." for name in sent if sent[name] != there.get(name)]


def _rows_of(place: Path) -> dict[str, int]:
    with reading(place) as connection:
        count = sa.select(sa.func.count())
        return {table.name: connection.scalar(count.select_from(table)) or 0 for table in tables_in(connection)}


def _put_aside(place: Path, now: datetime.datetime) -> Path | None:
    """The file under the name of a backup, with no log beside it; nobody opens it any more."""
    path = place / FILE
    if not path.exists():
        return None
    with closing(sqlite3.connect(path, isolation_level=None)) as base:
        base.execute("PRAGMA journal_mode=DELETE")
    with reading_file(path) as connection:
        kept = place / copy_name(now, last_change(connection))
    os.replace(path, kept)
    settle(place)
    return kept
