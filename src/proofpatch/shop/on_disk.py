"""Files and names on the disk itself, not only in what the system keeps of them in memory."""

from __future__ import annotations

import os
from pathlib import Path


def flush(path: Path) -> None:
    """The file on the disk itself."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def settle(place: Path) -> None:
    """The names of a folder on the disk itself."""
    if os.name == "posix":
        handle = os.open(place, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
