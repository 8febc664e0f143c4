"""Whether the records of a shop are whole: the database itself, the history of every thing, what things name.

They are read over one connection and of one moment, the same in SQLite and in PostgreSQL.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from proofpatch.measure.mesh_file import KINDS as SCAN_KINDS
from proofpatch.measure.scanned import is_kept
from proofpatch.phrases import many_of
from proofpatch.shop.database import PHOTOS, line_of
from proofpatch.shop.photos import KINDS as ENDINGS
from proofpatch.shop.refers import BRING, TELL, Known, Named, Trouble, record_of, references
from proofpatch.shop.scans import scan_path
from proofpatch.shop.tables import FROZEN, KINDS, Base
from proofpatch.shop.versions import refuse_newer, version_in
from proofpatch.units import quoted

MOST = 20  # sentences of the database's own check
AS_TEXT = {"thing": "cast(thing.data as text)", "change": "cast(change.data as text)"}


@dataclass(frozen=True)
class Original:
    """A file beside the database, named by what is in it. what: photo or scan; where: below the shop's folder."""

    what: str
    where: str
    digest: str
    size: int


@dataclass
class Looked:
    """What is in the records, and what is wrong with them. size: of the photos [bytes]; files: of photos and scans."""

    schema: str = ""
    things: Mapping[str, int] = field(default_factory=dict)
    changes: int = 0
    photos: int = 0
    size: int = 0
    files: list[Original] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)


def looked(connection: sa.Connection) -> Looked:
    """Looks through the records; nothing is written.

    Raises:
        InputError: they were written by a newer program.
    """
    refuse_newer(version_in(connection))
    found = Looked()
    said = found.troubles
    try:
        if connection.dialect.name == "sqlite":
            said += _sound(connection)
        found.schema, wrong = _schema(connection)
        said += wrong
        said += _lost(connection)
        known = _known(connection)
        pictures = {str(one[0]): one[1] for one in _all(connection, "SELECT digest, size FROM picture")}
        found.photos, found.size = len(pictures), sum(size for size in pictures.values() if isinstance(size, int))
        found.changes = connection.exec_driver_sql("SELECT count(*) FROM change").scalar_one()
        kinds = [one.kind for one in known.values()]
        found.things = {kind: kinds.count(kind) for kind in KINDS if kind in kinds}
        said += _histories(connection, known)
        found.files = originals(connection)
        strange = len(pictures) - sum(one.what == "photo" for one in found.files)
        if strange:
            said.append(Trouble("photo", f"{many_of(strange, 'photo')} by a name that none has.", BRING))
        rows = _all(connection, f"SELECT id, {_text(connection)} FROM thing ORDER BY id")
        said += references([(str(key), record_of(data)) for key, data in rows], known, pictures)
    except sa.exc.DatabaseError as broken:
        what = line_of(broken.orig)
        said.append(Trouble("database", f"The database cannot be read to its end: {what}.", BRING))
    return found


def _all(connection: sa.Connection, query: str) -> Iterable[Sequence[Any]]:
    """Its rows, not all of them in memory at once."""
    return connection.exec_driver_sql(query, execution_options={"stream_results": True})


def _text(connection: sa.Connection, table: str = "thing") -> str:
    """The records of a table as text; PostgreSQL would read them."""
    return f"{table}.data" if connection.dialect.name == "sqlite" else AS_TEXT[table]


def _sound(connection: sa.Connection) -> Iterator[Trouble]:
    """What SQLite says of its own file."""
    for (said,) in _all(connection, f"PRAGMA integrity_check({MOST})"):
        if said != "ok":
            yield Trouble("database", f"The database file is damaged: {line_of(said)}.", BRING)


def _lost(connection: sa.Connection) -> Iterator[Trouble]:
    """Rows that name a row of another table that is not there; the databases see to it themselves."""
    for table in Base.metadata.sorted_tables:
        (key,) = table.primary_key.columns.keys()
        for one in table.foreign_keys:
            parent, column, own = one.column.table.name, one.column.name, one.parent.name
            rows = connection.exec_driver_sql(
                f"SELECT a.{key} FROM {table.name} a LEFT JOIN {parent} b ON b.{column} = a.{own} "
                f"WHERE a.{own} IS NOT NULL AND b.{column} IS NULL ORDER BY a.{key} LIMIT {MOST}"
            )
            for (row,) in rows:
                said = f"Row {str(row)[:8]} of the table {table.name} names a {parent} that is not there."
                yield Trouble("reference", said, TELL)


def _schema(connection: sa.Connection) -> tuple[str, list[Trouble]]:
    found = version_in(connection)
    if found is not None:
        return found, []
    rows = connection.exec_driver_sql("SELECT version_num FROM alembic_version").fetchall()
    said = ", ".join(quoted(str(one)) for (one,) in rows[:MOST]) or "nothing"
    return "", [Trouble("schema", f"In the place of the tables' version stands {said}.", BRING)]


def _known(connection: sa.Connection) -> dict[str, Known]:
    rows = _all(connection, "SELECT id, kind, job, title, deleted IS NOT NULL FROM thing")
    return {
        str(key): Known(str(kind), None if job is None else str(job), str(title), bool(gone))
        for key, kind, job, title, gone in rows
    }


def _histories(connection: sa.Connection, known: Mapping[str, Known]) -> Iterator[Trouble]:
    """Every thing: its kind, its job, that its history leads, without a gap, to what it is now, and its order."""
    numbered = "latest" in connection.exec_driver_sql("SELECT * FROM thing WHERE 1 = 0").keys()  # noqa: SIM118  # a result, no dict
    order = "thing.made, thing.latest" if numbered else "NULL, NULL"  # older tables have none
    rows = _all(
        connection,
        f"SELECT thing.id, thing.version, {_text(connection)}, thing.deleted IS NOT NULL, {order}, change.version, "
        f"change.what, {_text(connection, 'change')}, change.number "
        "FROM thing LEFT JOIN change ON change.thing = thing.id ORDER BY thing.id, change.number",
    )
    for key, group in itertools.groupby(rows, lambda row: str(row[0])):
        past = list(group)
        name, (_, version, data, gone, made, latest, *_) = Named(known, key), past[0]
        one = known[key]
        if one.kind not in KINDS:
            yield Trouble("history", f"{name} is of a kind that is not known.", "Update proofpatch.")
        if one.job is not None and one.job in known and known[one.job].kind != "job":
            yield Trouble("reference", f"{name} belongs to something that is no job.", TELL)
        steps = [row[6:] for row in past if row[7] not in (None, "aside")]
        if [step[0] for step in steps] != list(range(1, version + 1 if isinstance(version, int) else 0)):
            yield Trouble("history", f"{name} has a gap in its history before version {version}.", BRING)
            continue
        if not _same(steps[-1][2], data):
            yield Trouble("history", f"{name} is not what its history ends in.", BRING)
        hidden = [step[1] for step in steps if step[1] in ("deleted", "restored")]
        if steps[0][1] != "made" or (hidden[-1:] == ["deleted"]) != bool(gone):
            yield Trouble("history", f"{name} is in sight or out of it against its history.", BRING)
        if one.kind in FROZEN and (version > 1 or gone):
            yield Trouble("history", f"{name} was changed after it was sent or signed.", BRING)
        elif numbered and (made, latest) != (steps[0][3], steps[-1][3]):
            yield Trouble("history", f"{name} is out of its order.", BRING)


def _same(one: str, other: str) -> bool:
    return one == other or (record_of(one) is not None and record_of(one) == record_of(other))


def originals(connection: sa.Connection) -> list[Original]:
    """Every file that stands beside the database: photos, and scans; what is no name of one names nothing."""
    rows = _all(connection, "SELECT digest, kind, size FROM picture ORDER BY digest")
    found = [Original("photo", f"{PHOTOS}/{d[:2]}/{d}{ENDINGS[kind]}", d, size) for d, kind, size in rows
             if is_kept(str(d)) and kind in ENDINGS and isinstance(size, int)]  # fmt: skip
    scans = {}
    for (data,) in _all(connection, f"SELECT {_text(connection)} FROM thing WHERE kind = 'scan' ORDER BY id"):
        record = record_of(data) or {}
        digest, kind, size = str(record.get("digest")), record.get("kind"), record.get("size")
        if is_kept(digest) and kind in SCAN_KINDS and isinstance(size, int):
            where = scan_path(Path(), digest, kind).as_posix()
            scans[where] = Original("scan", where, digest, size)
    return [*found, *scans.values()]
