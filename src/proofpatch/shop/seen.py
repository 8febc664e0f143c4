"""What photos of a strip are there, and what was tapped on them; one record a strip, of kind `seen`.

Its data: `strip` the strip's id; `photos` a list of {digest, corners}, corners as shares of width and height or None;
`taps` a list of {step, photo, x, y, label, colours}; `kept` what was measured of each step when its grade was kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from proofpatch.errors import InputError
from proofpatch.photos.corrections import Correction, Grader
from proofpatch.shop.store import Entry, Store

KIND = "seen"
MOST_PHOTOS = 4  # of a strip; each is looked at anew with every tap (common practice, no source)
MOST_TAPS = 60


def seen_of(store: Store, job: str, strip: str) -> Entry | None:
    """The record of a strip's photos; None before the first."""
    return next((one for one in store.all(KIND, job) if one.data["strip"] == strip), None)


def add_shot(store: Store, job: str, strip: str, digest: str) -> Entry:
    """One more photo of the strip; the same photo again is the same.

    Raises:
        InputError: there are too many.
    """
    found = seen_of(store, job, strip)
    if found is None:
        data: dict[str, Any] = {"strip": strip, "photos": [_photo(digest)], "taps": [], "kept": {}}
        return store.add(KIND, data, job, "Photos of a strip")
    if any(one["digest"] == digest for one in found.data["photos"]):
        return found
    if len(found.data["photos"]) >= MOST_PHOTOS:
        raise InputError("photo", f"This strip has {MOST_PHOTOS} photos.", "Take one away first.")
    return _changed(store, found, photos=[*found.data["photos"], _photo(digest)])


def drop_shot(store: Store, found: Entry, number: int) -> Entry:
    """Without the photo of that number, from 0, and without what was tapped on it."""
    photos = [one for n, one in enumerate(found.data["photos"]) if n != number]
    taps = [{**one, "photo": one["photo"] - (one["photo"] > number)} for one in found.data["taps"]
            if one["photo"] != number]  # fmt: skip
    return _changed(store, found, photos=photos, taps=taps)


def set_corners(store: Store, found: Entry, number: int, corners: Sequence[Sequence[float]] | None) -> Entry:
    """The sheet's corners in a photo, tapped by hand; None: by its markers."""
    photos = [{**one, "corners": corners} if n == number else one for n, one in enumerate(found.data["photos"])]
    return _changed(store, found, photos=photos)


def add_tap(store: Store, found: Entry, at: Mapping[str, Any], what: Correction) -> Entry:
    """One more tap. at: its step, photo, and x and y from the window's corner [m].

    Raises:
        InputError: there are too many.
    """
    if len(found.data["taps"]) >= MOST_TAPS:
        raise InputError("tap", f"{MOST_TAPS} places are tapped.", "Grade the rest by eye.")
    (plain,) = Grader((what,)).plain()
    return _changed(store, found, taps=[*found.data["taps"], {**at, **plain}])


def untap(store: Store, found: Entry) -> Entry:
    """Without the last tap."""
    return _changed(store, found, taps=found.data["taps"][:-1])


def keep_measured(store: Store, found: Entry, kept: Mapping[str, Any]) -> Entry:
    """What was measured of steps whose grades are kept."""
    return _changed(store, found, kept={**found.data["kept"], **kept})


def grader_of(store: Store, job: str) -> Grader:
    """What all taps of a job teach of its surface."""
    return Grader.of_plain(_taps(store, job))


def _taps(store: Store, job: str) -> Iterator[Mapping[str, Any]]:
    for one in store.in_order(KIND, job):
        yield from one.data["taps"]


def _photo(digest: str) -> dict[str, Any]:
    return {"digest": digest, "corners": None}


def _changed(store: Store, found: Entry, **parts: Any) -> Entry:
    return store.change(KIND, found.id, found.version, {**found.data, **parts})
