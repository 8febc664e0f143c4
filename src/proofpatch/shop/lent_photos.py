"""Small photos of patches that go from shop to shop: bare copies out, and in only what is small and can be read.

A copy is drawn anew from its pixels: no place, camera, time or comment of the original is in it. Neither is anything
else that somebody hid in a photo that came in.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence

from PIL import Image

from proofpatch.errors import InputError
from proofpatch.learn.memory.exchange import DONE, MOST_PHOTO, MOST_PHOTOS_OF_JOB, Exchanged, Photo
from proofpatch.photos.reading import TROUBLES, opened
from proofpatch.shop.photos import THUMBNAIL, add_photo, thumbnail
from proofpatch.shop.store import Entry, Store

QUALITIES = (85, 70, 55, 40, 25)  # the first whose copy is small enough


def photos_given(store: Store, job: str) -> tuple[Photo, ...]:
    """Copies of the photos of a job's patches and strips, patches first; of no other photo of it.

    Of a photo that was sent twice one goes; no more than MOST_PHOTOS_OF_JOB.
    """
    strips = store.in_order("strip", job)
    patches = {f"{one.data['name']}{n}" for one in strips for n, _ in enumerate(one.data["steps"], 1)}
    sheets = {f"strip {one.data['name']}" for one in strips}
    kept = [(one.data.get("about", ""), one.data["digest"]) for one in store.in_order("photo", job)]
    chosen: dict[str, str] = {}
    for among in (patches, sheets):
        for about, digest in kept:
            if about in among:
                chosen.setdefault(digest, about)
    found: dict[str, Photo] = {}
    for digest, about in list(chosen.items())[:MOST_PHOTOS_OF_JOB]:
        small = thumbnail(store, digest)
        if small and (copy := bare(small)):
            one = Photo.of(about, copy)
            found.setdefault(one.sha256, one)
    return tuple(found.values())


def bare(content: bytes) -> bytes:
    """A small JPEG of a photo's pixels and nothing else; empty where even the coarsest is too large.

    Raises:
        InputError: no photo that can be read.
    """
    seen = opened(content)[1].convert("RGB")
    seen.thumbnail((THUMBNAIL, THUMBNAIL))
    pixels = Image.frombytes("RGB", seen.size, seen.tobytes())
    for quality in QUALITIES:
        out = io.BytesIO()
        pixels.save(out, "JPEG", quality=quality)
        if out.tell() <= MOST_PHOTO:
            return out.getvalue()
    return b""


def expect_photos(jobs: Sequence[Exchanged]) -> None:
    """Every photo that came in is a small JPEG that can be read.

    Raises:
        InputError: one is not; `field` is file.
    """
    for number, content in enumerate((p.content for job in jobs for p in job.photos if p.content is not None), 1):
        try:
            _expect_photo(content)
        except InputError as slip:
            raise InputError("file", f"Photo {number} in the file: {slip.problem}", DONE) from None


def keep_photos(store: Store, job: Exchanged, lot: str, by: str) -> list[str]:
    """The photos that came with a job, as ids of photos of no job of this shop."""
    return [
        add_photo(store, bare(one.content), None, one.shows, by, about=f"lot {lot[:8]}").id
        for one in job.photos
        if one.content is not None
    ]


def photo_of_part(store: Store, part: Entry) -> Entry | None:
    """The first photo that was taken in with a job of a lot, or None."""
    ids = part.data.get("photos") or ()
    return store.get("photo", ids[0]) if ids else None


def _expect_photo(content: bytes) -> None:
    """The size it states is asked before a pixel of it is drawn."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=("JPEG",)) as picture:
                size = picture.size
    except TROUBLES:
        raise InputError("photo", "The file is no photo that can be read.", "Choose another.") from None
    if max(size) > THUMBNAIL:
        raise InputError("photo", f"It is larger than {THUMBNAIL} by {THUMBNAIL} pixels.", "Give a smaller copy.")
    if not bare(content):
        raise InputError("photo", "It is too large.", "Give a smaller copy.")
