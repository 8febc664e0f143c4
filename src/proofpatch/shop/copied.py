"""The records of one database in another, of the same version of the tables: every row of every table, as it is.

From a file of SQLite into PostgreSQL when a shop moves there, and from PostgreSQL into a file for each backup.
"""

from __future__ import annotations

import datetime
import hashlib
import itertools
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from proofpatch.errors import InputError
from proofpatch.shop.database import line_of, sqlite_engine
from proofpatch.shop.tables import Base
from proofpatch.shop.versions import migrate, version_in

AT_ONCE = 500  # rows; common practice, no source
Counted = dict[str, tuple[int, str]]


class Moment(sa.TypeDecorator[datetime.datetime]):
    """A time in UTC; SQLite keeps it without its zone."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Any) -> Any:
        return value if value is None else value.astimezone(datetime.UTC)

    def process_result_value(self, value: Any, dialect: Any) -> Any:
        if value is None:
            return None
        return value.replace(tzinfo=datetime.UTC) if value.tzinfo is None else value.astimezone(datetime.UTC)


def tables_in(connection: sa.Connection) -> list[sa.Table]:
    """The shop's tables as they stand in a database, of whatever version; what others name comes first."""
    there = set(sa.inspect(connection).get_table_names())
    found = sa.MetaData()
    sa.event.listen(found, "column_reflect", _alike)
    found.reflect(connection, only=[name for name in Base.metadata.tables if name in there])
    return found.sorted_tables


def _alike(_: Any, __: Any, column: Any) -> None:
    """A column of either database read and written as the same values."""
    kind = column["type"]
    column["type"] = sa.JSON() if isinstance(kind, sa.JSON) else Moment() if isinstance(kind, sa.DateTime) else kind


def copy_rows(source: sa.Connection, target: sa.Connection) -> None:
    """Every row into tables that are empty; the numbers of changes go on from there.

    Raises:
        sqlalchemy.exc.DatabaseError: the target does not take them.
    """
    into = {table.name: table for table in tables_in(target)}
    for table in tables_in(source):
        rows = _parents_first(table, _rows(source, table))
        while some := list(itertools.islice(rows, AT_ONCE)):
            target.execute(into[table.name].insert(), some)
    if target.dialect.name == "postgresql":
        for table in into.values():
            for column in table.primary_key.columns:
                _go_on(target, table.name, column.name)


def _go_on(target: sa.Connection, table: str, column: str) -> None:
    """The next number that PostgreSQL gives follows the last one there is."""
    said = sa.text("SELECT pg_get_serial_sequence(:t, :c)")
    sequence = target.scalar(said, {"t": f'"{table}"', "c": column})
    if sequence is not None:
        last = target.scalar(sa.text(f'SELECT max("{column}") FROM "{table}"'))
        words = {"s": sequence, "n": last or 1, "used": last is not None}
        target.execute(sa.text("SELECT setval(CAST(:s AS regclass), :n, :used)"), words)


def _rows(connection: sa.Connection, table: sa.Table) -> Iterator[dict[str, Any]]:
    try:
        for row in connection.execute(sa.select(table), execution_options={"yield_per": AT_ONCE}).mappings():
            yield dict(row)
    except (ValueError, TypeError) as broken:  # a cell that holds no time, or no record
        said = f"The table {table.name} holds what cannot be read: {line_of(broken)}."
        raise InputError("folder", said, "Look at it with: proofpatch check.") from None


def _parents_first(table: sa.Table, rows: Iterator[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Rows that name another row of their own table come after it."""
    (key,) = table.primary_key.columns.keys()
    own = [str(one.parent.name) for one in table.foreign_keys if one.column.table is table]
    there = {None}
    while True:
        late = list[dict[str, Any]]()
        before = len(there)
        for row in rows:
            if all(row[name] in there for name in own):
                there.add(row[key])
                yield row
            else:
                late.append(row)
        if len(there) == before:
            yield from late  # what names nothing, if there is any: the database refuses it
            return
        rows = iter(late)


def counted(connection: sa.Connection) -> Counted:
    """{table: (how many rows, a digest of all that is in them)}; the order of the rows is none of it."""
    found: Counted = {}
    for table in tables_in(connection):
        many, total = 0, 0
        for row in _rows(connection, table):
            many += 1
            total += int.from_bytes(hashlib.sha256(_words(row).encode()).digest(), "big")
        found[table.name] = (many, f"{total % (1 << 256):064x}")
    return found


def _words(row: dict[str, Any]) -> str:
    return json.dumps(
        row, sort_keys=True, default=lambda value: value.hex() if isinstance(value, bytes) else str(value)
    )


def records_into(connection: sa.Connection, path: Path) -> None:
    """The records of one moment in a file of SQLite, with no log beside it; of PostgreSQL compared row by row.

    Raises:
        InputError: they are not what they were, or cannot be read.
        sqlite3.DatabaseError, sqlalchemy.exc.DatabaseError: they cannot be read or written.
    """
    if connection.dialect.name == "sqlite":
        base = connection.connection.driver_connection
        with closing(sqlite3.connect(path, isolation_level=None)) as file:
            base.backup(file)  # type: ignore[union-attr]  # it is sqlite3's
            file.execute("PRAGMA journal_mode=DELETE")
        return
    engine = sqlite_engine(path, ("journal_mode=DELETE", "foreign_keys=ON"), poolclass=sa.NullPool)
    with engine.connect() as file_, file_.begin():
        migrate(file_, version_in(connection) or "head")
        copy_rows(connection, file_)
        same = counted(file_) == counted(connection)
    if not same:
        said = "The copy of the shop's records is not what stands in the database."
        raise InputError("folder", said, "Try again; nothing was changed.")
