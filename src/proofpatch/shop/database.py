"""Where a shop's records lie: in a file of SQLite in its folder, or in PostgreSQL if `database.txt` there names one.

Nothing else opens either. An address is never shown with its password.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles

from proofpatch.errors import InputError
from proofpatch.shop.setting import SETTING, Setting, setting_of, shown

FILE = "shop.sqlite3"
PHOTOS = "photos"
WAIT = 10.0  # s for another writer, and for a server to answer; common practice, no source
WRITER = 0x70617463  # number of the lock that one writer holds in PostgreSQL; any number would do
FOLDED = "und-x-icu"  # letters of all languages, whatever the database's own language is
CAREFUL = ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", f"busy_timeout={int(WAIT * 1000)}")
UNPLUGGED = "Is that server running, and is the address right? What was saved stays."
SPARE = "Check the disk and its free space; what was saved stays."


class Lowered(sa.sql.functions.FunctionElement[str]):
    """A text in small letters, of every alphabet and the same in both databases."""

    type = sa.Text()
    inherit_cache = True


@compiles(Lowered, "sqlite")
def _lowered_there(element: Lowered, compiler: Any, **words: Any) -> str:
    return f"lowered({compiler.process(element.clauses, **words)})"


@compiles(Lowered, "postgresql")
def _lowered(element: Lowered, compiler: Any, **words: Any) -> str:
    (said,) = element.clauses
    return str(compiler.process(sa.func.lower(sa.collate(said, FOLDED)), **words))


def has_shop(folder: str | Path) -> bool:
    """Whether a shop is kept in a folder.

    Raises:
        InputError: the folder cannot be read.
    """
    place = Path(folder)
    try:
        return (place / FILE).is_file() or (place / SETTING).is_file()
    except OSError as trouble:
        said = f"The folder {str(place)[-60:]!r} cannot be read: {trouble.strerror}."
        raise InputError("folder", said, "Check who owns it.") from None


def refuse_none(folder: str | Path) -> None:
    """Refuses a folder without a shop.

    Raises:
        InputError: there is none, or the folder cannot be read.
    """
    if not has_shop(folder):
        said = f"There is no shop in the folder {str(folder)[-60:]!r}."
        raise InputError("folder", said, "Name the folder that proofpatch serve was given.")


def engine_of(folder: Path) -> sa.Engine:
    """The database of a shop, to be read and written.

    Raises:
        InputError: the setting names none that can be used.
    """
    setting = setting_of(folder)
    return sqlite_engine(folder / FILE) if setting is None else postgres_engine(setting.url)


def sqlite_engine(path: Path, settings: tuple[str, ...] = CAREFUL, **more: Any) -> sa.Engine:
    """A file of SQLite, made if it is not there. settings: pragmas of each connection."""

    def prepare(connection: Any, _: Any) -> None:
        connection.isolation_level = None  # begin is ours, below
        connection.create_function("lowered", 1, str.lower, deterministic=True)
        for setting in settings:
            connection.execute(f"PRAGMA {setting}")

    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), **more)
    sa.event.listen(engine, "connect", prepare)
    sa.event.listen(engine, "begin", _begin)
    return engine


def postgres_engine(url: sa.URL) -> sa.Engine:
    """A database of PostgreSQL; nothing is asked of it yet.

    Raises:
        InputError: its driver is not installed.
    """
    wait = {} if "connect_timeout" in url.query else {"connect_timeout": int(WAIT)}
    try:
        engine = sa.create_engine(url, pool_pre_ping=True, connect_args=wait)
    except ImportError:
        said = "The shop's records are in PostgreSQL, and the driver for it is not installed."
        raise InputError("folder", said, 'Install it with: pip install "proofpatch[postgres]".') from None
    sa.event.listen(engine, "connect", _steady)
    sa.event.listen(engine, "begin", _one_writer)
    return engine


def _begin(connection: sa.Connection) -> None:
    """A reader that turned writer could meet another one; so who may write begins as a writer and waits."""
    reads = connection.get_execution_options().get("reads", False)
    connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")


def _steady(connection: Any, _: Any) -> None:
    """Each commit of PostgreSQL on its disk before it is answered; times in UTC; nobody waits for ever."""
    connection.execute(
        "SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'"
    )
    connection.execute("SET TIME ZONE 'UTC'")
    connection.execute(f"SET lock_timeout = {int(WAIT * 1000)}")
    connection.commit()


def _one_writer(connection: sa.Connection) -> None:
    """PostgreSQL lets many write at once; what looks and then writes would be there twice, so writers wait here too."""
    if not connection.get_execution_options().get("reads", False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITER})")


@contextmanager
def reading(folder: str | Path) -> Iterator[sa.Connection]:
    """The records of a shop at one moment, which may be written meanwhile; they are only read.

    Raises:
        InputError: there is no shop, or its database cannot be opened.
    """
    place = Path(folder)
    refuse_none(place)
    setting = setting_of(place)
    if setting is None:
        with closing(_opened(place)) as base, _over(base) as connection:
            yield connection
        return
    engine = postgres_engine(setting.url)
    try:
        options = {"isolation_level": "REPEATABLE_READ", "postgresql_readonly": True, "reads": True}
        with engine.connect().execution_options(**options) as connection:
            if not sa.inspect(connection).has_table("alembic_version"):
                said = f"There is no shop in {shown(setting.url)}, which {SETTING} names."
                raise InputError("folder", said, "Open a new one with proofpatch serve, or move one there.")
            refuse_strange(connection, setting)
            yield connection
    except sa.exc.DBAPIError as trouble:
        if isinstance(trouble.orig, sqlite3.Error):
            raise  # of a file that is written meanwhile
        raise unusable(trouble, setting.url) from None
    finally:
        engine.dispose()


@contextmanager
def reading_file(path: Path) -> Iterator[sa.Connection]:
    """The same of the file of a backup, which nobody writes."""
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)) as base:
        base.isolation_level = None
        with _over(base) as connection:
            yield connection


@contextmanager
def _over(base: sqlite3.Connection) -> Iterator[sa.Connection]:
    base.text_factory = lambda said: said.decode(errors="backslashreplace")  # what is torn is told, not stumbled over
    engine = sa.create_engine("sqlite://", creator=lambda: base, poolclass=sa.StaticPool)
    with engine.connect() as connection:
        connection.exec_driver_sql("BEGIN")  # all of one moment
        yield connection


def _opened(place: Path) -> sqlite3.Connection:
    """The file of a shop, to be read only.

    Raises:
        InputError: it cannot be opened.
    """
    path = (place / FILE).resolve()
    kept = path.with_name(f"{FILE}-wal")
    # Beside a file that may not be written, SQLite cannot see that nobody writes; without a log nobody does.
    quiet = not kept.exists() or not kept.stat().st_size
    said = ""
    for how in ("mode=ro", "mode=ro&immutable=1") if quiet else ("mode=ro",):
        base = sqlite3.connect(
            f"{path.as_uri()}?{how}", uri=True, isolation_level=None, timeout=WAIT, check_same_thread=False
        )
        try:
            base.execute("SELECT 1 FROM sqlite_master").fetchone()
        except sqlite3.OperationalError as trouble:
            said = line_of(trouble)
            base.close()
        except sqlite3.DatabaseError:
            return base  # it opens, and is none: what the check says of it
        else:
            return base
    raise InputError(
        "folder", f"The database in {str(place)[-60:]!r} cannot be opened: {said}.", "Make yourself its owner again."
    )


def mark_in(connection: sa.Connection) -> str | None:
    """Of which folder the records in a database of PostgreSQL are; None: nobody's yet."""
    found = connection.exec_driver_sql("SELECT obj_description('alembic_version'::regclass)").scalar()
    return str(found).rpartition(" ")[2] if found else None


def put_mark(connection: sa.Connection, mark: str) -> None:
    """Says in the database of which folder it is. mark: hex."""
    assert mark.isalnum()
    connection.exec_driver_sql(f"COMMENT ON TABLE alembic_version IS 'proofpatch, of the folder {mark}'")


def refuse_strange(connection: sa.Connection, setting: Setting) -> None:
    """Refuses records that are of another folder: their photos lie there, and what is here would be swept away.

    Raises:
        InputError: they are.
    """
    mark = mark_in(connection)
    if mark is not None and mark != setting.mark:
        said = f"The records in {shown(setting.url)} are of a shop in another folder, where its photos lie."
        remedy = f"Use it there. If that folder is gone for good, let the second line of {SETTING} be: folder {mark}"
        raise InputError("folder", said, remedy)


def refuse_unfit(connection: sa.Connection) -> None:
    """Refuses a database of PostgreSQL that cannot keep all letters or compare them.

    Raises:
        InputError: it cannot.
    """
    coded = connection.exec_driver_sql("SHOW server_encoding").scalar()
    if coded != "UTF8":
        said = f"That database keeps its text as {coded}."
        raise InputError("folder", said, "Make one with: createdb --encoding UTF8 --template template0 shop")
    rule = sa.text("SELECT count(*) FROM pg_collation WHERE collname = :name")
    if not connection.scalar(rule, {"name": FOLDED}):
        raise InputError("folder", "That PostgreSQL was built without ICU.", "Use one that was built with it.")


def unusable(trouble: Exception, url: sa.URL) -> InputError:
    """What a database said, in a sentence."""
    cause = getattr(trouble, "orig", None) or trouble
    said = line_of(str(cause).strip().partition("\n")[0], 160)
    if url.get_backend_name() == "sqlite":
        return InputError("folder", f"The shop's database cannot be used: {said}.", SPARE)
    for secret in (url.password, *_words(url.query.get("password"))):
        said = said.replace(secret, "…") if secret else said
    code = getattr(cause, "sqlstate", None)
    if code == "55P03":  # lock_not_available
        said = f"Somebody else is writing in {shown(url)}, longer than {WAIT:.0f} s."
        return InputError("folder", said, "Try again; what was saved stays.")
    if code is None or code[:2] in ("08", "28", "3D", "57"):
        return InputError("folder", f"{shown(url, True)} cannot be reached: {said}.", UNPLUGGED)
    return InputError(
        "folder", f"{shown(url, True)} cannot be used: {said}.", "Ask who keeps that server; what was saved stays."
    )


def _words(found: Any) -> tuple[str, ...]:
    return (found,) if isinstance(found, str) else tuple(found or ())


def line_of(said: object, most: int = 120) -> str:
    """What a library said, on one short line without its stop."""
    return " ".join(str(said).split())[:most].rstrip(".")
