"""Files that are there whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from proofpatch.errors import InputError


def write_whole(path: Path, content: bytes, field: str) -> None:
    """The content into a file, on disk before it takes its name.

    Raises:
        InputError: the place cannot be written.
    """
    made: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(dir=path.resolve().parent, prefix=f".{path.name}.", delete=False) as file:
            made = Path(file.name)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        made.chmod(0o644)
        os.replace(made, path)
    except OSError as trouble:
        with contextlib.suppress(OSError):
            if made:
                made.unlink()
        why = trouble.strerror or "no room"
        raise InputError(field, f"The file {path.name!r} cannot be written: {why}.", "Name another place.") from None
