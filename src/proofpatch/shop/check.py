"""Whether a shop's folder is whole. It is only read: nothing is mended, moved, swept or brought up to date.

Asked are the database file itself, the history of every thing, what things say of each other, the photos by the digest
they are named by, and what a killed process left. A shop may be open meanwhile: what is read is of one moment.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from proofpatch.phrases import many_of
from proofpatch.shop.certificate import FOLDER as TLS
from proofpatch.shop.database import FILE, PHOTOS, reading
from proofpatch.shop.looked import Original, looked
from proofpatch.shop.refers import Trouble
from proofpatch.shop.scans import SCANS
from proofpatch.shop.setting import SETTING

PIECE = 1 << 20  # bytes of a file read at once


@dataclass(frozen=True)
class Checked:
    """What a check found. things: how many of each kind; size: of the photos [bytes]; leftovers: harmless, in words."""

    folder: Path
    schema: str
    things: Mapping[str, int]
    changes: int
    photos: int
    size: int
    troubles: tuple[Trouble, ...]
    leftovers: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing is wrong."""
        return not self.troubles


def check(folder: str | Path) -> Checked:
    """Looks a shop's folder through.

    Raises:
        InputError: there is no shop in it, it cannot be read, or it was written by a newer program.
    """
    place = Path(folder)
    with reading(place) as connection:
        found = looked(connection)
    troubles = [*found.troubles, *_files(place, found.files)]
    return Checked(
        place, found.schema, found.things, found.changes, found.photos, found.size, tuple(troubles),
        tuple(_leftovers(place, found.files)),
    )  # fmt: skip


def _files(place: Path, files: Iterable[Original]) -> Iterator[Trouble]:
    """The originals, by the digest each is named by."""
    for one in files:
        do = f"Bring the file back from a backup's {one.what}s, or from where it came."
        try:
            found = digest_of(place / one.where)
        except FileNotFoundError:
            yield Trouble(one.what, f"The file of a {one.what} is gone: {one.where}.", do)
        except OSError as trouble:
            yield Trouble(one.what, f"The file of a {one.what} cannot be read ({trouble.strerror}): {one.where}.", do)
        else:
            if found != (one.digest, one.size):
                yield Trouble(one.what, f"The file of a {one.what} is not what it was: {one.where}.", do)


def digest_of(path: Path, each: Callable[[bytes], object] = len) -> tuple[str, int]:
    """(SHA-256, size) of a file; each: is given its bytes as they are read.

    Raises:
        OSError: it cannot be read.
    """
    seal, size = hashlib.sha256(), 0
    with path.open("rb") as file:
        while piece := file.read(PIECE):
            seal.update(piece)
            each(piece)
            size += len(piece)
    return seal.hexdigest(), size


def _leftovers(place: Path, originals: Iterable[Original]) -> Iterator[str]:
    """What is there and belongs to nothing."""
    known = {one.digest for one in originals}
    files = [path for part in (PHOTOS, SCANS) for path in (place / part).glob("*/*") if path.is_file()]
    half = [path for path in files if path.name.startswith(".")]
    half += [path for path in (place / TLS).glob(".*") if path.is_file()]
    unnamed = [path for path in files if not path.name.startswith(".") and path.stem not in known]
    if half:
        yield f"{many_of(len(half), 'file')} half written when the shop was cut off: harmless."
    if unnamed:
        yield f"{many_of(len(unnamed), 'file')} that nothing names: harmless."
    if (place / SETTING).exists() and (place / FILE).exists():
        yield f"{FILE} lies beside {SETTING} and is not used: proofpatch move puts it aside."
