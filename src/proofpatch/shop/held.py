"""One server at a time in a shop: a lock of the system on a small file. It ends with the process that holds it.

Two servers would not lose a thing: the database takes one writer after the other. But each would count wrong
passphrases for itself, and know nothing of the other's codes; so the second is refused. Commands may write beside it.
A shop in PostgreSQL is locked there as well, for another machine may have a copy of the folder, with photos of its own.
"""

from __future__ import annotations

import contextlib
import datetime
import errno
import json
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import sqlalchemy as sa

from proofpatch.errors import InputError

HELD = ".open"
TAKEN = (errno.EACCES, errno.EAGAIN, errno.EDEADLK)
HOLDER = "1885434983, hashtext(current_schema())"  # number of the lock in PostgreSQL; any would do
PATIENCE = 3.0  # s, as PostgreSQL may not know yet that one was killed; common practice, no source
BEHIND = 4096  # byte that is locked where a lock keeps others from reading: none of the words


@contextlib.contextmanager
def held(folder: Path, address: str, engine: sa.Engine | None = None) -> Iterator[None]:
    """The shop is served by this process, and by no other, until the end of this.

    Args:
        engine: of its database.

    Raises:
        InputError: another one serves it, or the folder keeps no locks.
    """
    where = repr(str(folder)[-60:])
    with contextlib.ExitStack() as stack:
        try:
            file = stack.enter_context(open(folder / HELD, "a+", encoding="utf-8"))
            _lock(file)
        except OSError as trouble:
            if trouble.errno not in TAKEN:
                said = f"The folder {where} cannot be held for one server: {trouble.strerror}."
                raise InputError("folder", said, "Keep the shop on a drive of this machine.") from None
            said = f"The shop in {where} is open already{_who(folder)}."
            raise InputError("folder", said, "Use it there, or close it there first.") from None
        file.truncate(0)
        now = datetime.datetime.now().astimezone().isoformat(timespec="minutes")
        file.write(json.dumps({"process": os.getpid(), "since": now, "address": address}))
        file.flush()
        if engine is not None and engine.dialect.name == "postgresql":
            stack.enter_context(_held_there(engine))
        yield


@contextlib.contextmanager
def _held_there(engine: sa.Engine) -> Iterator[None]:
    """The same by a lock that ends with its connection to PostgreSQL, and is taken anew when that was lost.

    Whoever lost its connection opens another: then it is asked whether the lock's still stands. A connection that comes
    after another server took the lock is refused, so that nothing is written beside it.
    """
    keeper, taking, turn = _taken(engine), False, threading.RLock()

    def still(new: Any, _: Any) -> None:
        nonlocal keeper, taking
        with turn:
            if taking:  # it is taken anew over this very connection
                return
            with contextlib.suppress(sa.exc.SQLAlchemyError):  # lost, or closed when it could not be taken anew
                keeper.exec_driver_sql("SELECT 1")
                return
            taking = True
            try:
                keeper.close()
                keeper = _taken(engine)
            except BaseException:
                new.close()
                raise
            finally:
                taking = False

    sa.event.listen(engine, "connect", still)
    try:
        yield
    finally:
        sa.event.remove(engine, "connect", still)
        keeper.close()


def _taken(engine: sa.Engine) -> sa.Connection:
    """A connection of its own that has the lock.

    Raises:
        InputError: another one has it.
    """
    connection = engine.connect().execution_options(isolation_level="AUTOCOMMIT", reads=True)
    try:
        connection.detach()  # the lock would go back into the pool with it
        take_there(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def take_there(connection: sa.Connection, whole: bool = True) -> None:
    """Takes that lock. whole: until the connection ends, else until its transaction does.

    Raises:
        InputError: another one has it.
    """
    lock = f"SELECT pg_try_advisory_{'' if whole else 'xact_'}lock({HOLDER})"
    end = time.monotonic() + PATIENCE
    while not connection.exec_driver_sql(lock).scalar():
        if time.monotonic() > end:
            said = "The records of this shop are open already, from another folder or another machine."
            raise InputError("folder", said, "Use the shop there, or close it there first.")
        time.sleep(0.1)


def _lock(file: IO[str]) -> None:
    """Takes it at once or raises OSError."""
    try:
        import fcntl
    except ImportError:  # Windows; not tried
        import msvcrt

        file.seek(BEHIND)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]  # mypy checks as Linux
        file.seek(0)
    else:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)


def _who(folder: Path) -> str:
    """What the other one wrote of itself, as a sentence goes on."""
    try:
        said = json.loads((folder / HELD).read_text(encoding="utf-8"))
        since = datetime.datetime.fromisoformat(said["since"])
        return f" at {said['address']} (process {said['process']}, since {since:%d %b, %H:%M})"
    except (OSError, ValueError, KeyError, TypeError):
        return ""
