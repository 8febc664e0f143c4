"""Photos of the shop: each file by what is in it, written and then named, never altered after.

The original stays as the camera wrote it, place and all. What leaves the shop is a copy, turned upright and without the
place or anything else the camera wrote into it.
"""

from __future__ import annotations

import hashlib
import io
import os
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa
from PIL import Image

from proofpatch.errors import InputError
from proofpatch.photos.reading import opened, upright
from proofpatch.shop.database import PHOTOS
from proofpatch.shop.on_disk import settle
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.tables import Picture

THUMBNAIL = 480  # px of the longer side
QUALITY = 90
GONE = "The file of this photo is gone from the shop's folder."
UNCLAIMED = 86400.0  # s after which a file that no row names is swept away
KINDS = {"JPEG": ".jpg", "PNG": ".png"}


@dataclass(frozen=True)
class Photo:
    """What is known of a photo's file; width and height as it is seen upright."""

    digest: str
    kind: str
    width: int
    height: int
    size: int


def add_photo(
    store: Store, content: bytes, job: str | None = None, title: str = "", by: str = "", about: str = ""
) -> Entry:
    """A photo of a job, its file on disk before the answer; the same picture twice is one file.

    Args:
        content: of the file, JPEG or PNG. about: what it shows, or which test or patch it belongs to.

    Raises:
        InputError: no picture, one too large, or one that the disk does not take.
    """
    seen, small = looked_at(content)
    keep_file(store, seen, content)
    with store.session() as session:
        if session.get(Picture, seen.digest) is None:
            session.add(
                Picture(digest=seen.digest, size=seen.size, kind=seen.kind, width=seen.width, height=seen.height,
                        thumbnail=small, added=store.clock())
            )  # fmt: skip
    data = {"digest": seen.digest, "kind": seen.kind, "width": seen.width, "height": seen.height, "about": about}
    return store.add("photo", data, job, title, by)


def keep_file(store: Store, photo: Photo, content: bytes) -> None:
    """The original where it belongs, on disk; no row names it yet."""
    path = photo_path(store, photo)
    if not path.exists():
        write_by_digest(path, content)


def photo_path(store: Store, photo: Photo) -> Path:
    """Where the original stands."""
    return store.folder / PHOTOS / photo.digest[:2] / f"{photo.digest}{KINDS[photo.kind]}"


def photo_of(store: Store, digest: str) -> Photo:
    """What is known of a photo's file.

    Raises:
        InputError: there is none.
    """
    with store.session(reads=True) as session:
        row = session.get(Picture, digest)
        if row is None:
            raise InputError("photo", "There is no such photo.", "Look it up in the job.")
        return Photo(row.digest, row.kind, row.width, row.height, row.size)


def thumbnail(store: Store, digest: str) -> bytes:
    """A small upright JPEG of a photo. Errors as `photo_of`."""
    photo_of(store, digest)
    with store.session(reads=True) as session:
        row = session.get(Picture, digest)
        assert row is not None
        return row.thumbnail or b""


def exported(store: Store, digest: str) -> bytes:
    """A copy to hand out: upright, without place, camera or time. Errors as `photo_of`."""
    photo = photo_of(store, digest)
    if not photo_path(store, photo).exists():
        raise InputError("photo", GONE, "Bring it back from a copy.")
    with Image.open(photo_path(store, photo)) as picture:
        seen = upright(picture)
        out = io.BytesIO()
        bare = Image.frombytes(seen.mode, seen.size, seen.tobytes())
        if seen.mode == "P":
            bare.putpalette(seen.getpalette() or [])
        bare.save(out, photo.kind, **({"quality": QUALITY} if photo.kind == "JPEG" else {}))
        return out.getvalue()


def cropped(store: Store, digest: str, box: tuple[float, float, float, float], width: int) -> bytes:
    """A JPEG of a part of a photo, without place, camera or time.

    Args:
        box: left, top, width and height of it, in pixels of the photo seen upright.
        width: of the JPEG [px]; it is never made larger than the part.

    Raises:
        InputError: as `exported`.
    """
    photo = photo_of(store, digest)
    if not photo_path(store, photo).exists():
        raise InputError("photo", GONE, "Bring it back from a copy.")
    left, top, wide, tall = box
    with Image.open(photo_path(store, photo)) as picture:
        scale = min(width / max(wide, 1.0), 1.0)
        # A JPEG can be read at a half, a quarter or an eighth, which is quick; the size it was asked for stays apart.
        picture.draft("RGB", (max(int(picture.width * scale), 1), max(int(picture.height * scale), 1)))
        whole = upright(picture)
        share = whole.width / photo.width
        part = share * left, share * top, share * (left + wide), share * (top + tall)
        small = (max(round(wide * scale), 1), max(round(tall * scale), 1))
        out = io.BytesIO()
        whole.convert("RGB").resize(small, Image.Resampling.BILINEAR, part).save(out, "JPEG", quality=QUALITY)
        return out.getvalue()


def sweep(store: Store, age: float = UNCLAIMED) -> int:
    """Takes away what a killed process left: files half written, and originals that no row names; how many.

    Args:
        age: only what is older [s], as another process may be at work.
    """
    with store.session(reads=True) as session:
        known = set(session.scalars(sa.select(Picture.digest)))
    left, before = 0, time.time() - age
    for path in (store.folder / PHOTOS).glob("*/*"):
        if path.stem not in known and path.stat().st_mtime < before:
            path.unlink()
            left += 1
    return left


def looked_at(content: bytes) -> tuple[Photo, bytes]:
    """(what a file is, a small upright copy).

    Raises:
        InputError: no picture, or one too large.
    """
    kind, seen = opened(content)
    size = seen.size
    seen.thumbnail((THUMBNAIL, THUMBNAIL))
    out = io.BytesIO()
    seen.convert("RGB").save(out, "JPEG", quality=QUALITY)
    return Photo(hashlib.sha256(content).hexdigest(), kind, *size, len(content)), out.getvalue()


def write_by_digest(path: Path, content: bytes, field: str = "photo") -> None:
    """The file, on disk under another name before it takes its own; nothing half stays where that fails.

    Raises:
        InputError: the disk does not take it.
    """
    try:
        path.parent.mkdir(exist_ok=True)
        handle, half = tempfile.mkstemp(dir=path.parent, prefix=".")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            os.replace(half, path)
        except OSError:
            os.unlink(half)
            raise
        settle(path.parent)
    except OSError as trouble:
        said = f"The file cannot be kept: {trouble.strerror}."
        raise InputError(field, said, "Check the disk and its free space, then send it again.") from None
