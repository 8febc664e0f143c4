"""One server at a time in a shop: a lock of the system on a small file. It ends with the process that holds it.

Two servers would not lose a thing: the database takes one writer after the other. But each would count wrong
passphrases for itself, and know nothing of the other's codes; so the second is refused. Commands may write beside it.
"""

from __future__ import annotations

import contextlib
import datetime
import errno
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from proofpatch.errors import InputError

HELD = ".open"
TAKEN = (errno.EACCES, errno.EAGAIN, errno.EDEADLK)
BEHIND = 4096  # byte that is locked where a lock keeps others from reading: none of the words


@contextlib.contextmanager
def held(folder: Path, address: str) -> Iterator[None]:
    """The shop is served by this process, and by no other, until the end of this.

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
        yield


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
