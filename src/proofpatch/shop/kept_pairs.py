"""Pairs of photos that are to stand in the completion record: which two, what was tapped in them, what they show.

    {"before": digest, "after": digest, "about": words, "places": [[x, y], …], "ends": [[x, y], …], "length_m": 0.12}

Places and ends as `shop.pairs` takes them, shares of a picture's width and height.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from proofpatch.errors import InputError
from proofpatch.offer.quote import text_line
from proofpatch.photos.overlay import WIDTH
from proofpatch.photos.pairs import Pair
from proofpatch.shop.pairs import Point, by_length, pair_of
from proofpatch.shop.photos import photo_of, photo_path
from proofpatch.shop.store import Entry, Store

KIND = "pair"
MOST = 4  # that a record shows
ENDS = 2


def add_pair(
    store: Store, job: str, before: str, after: str, about: str = "", places: Sequence[Point] = (),
    ends: Sequence[Point] = (), length: float | None = None,
) -> Entry:  # fmt: skip
    """One more pair for the record, on disk; the same two photos again replace what was tapped in them.

    Raises:
        InputError: a photo is not of this job, both are the same, or there are too many pairs.
    """
    known = {one.data["digest"] for one in store.all("photo", job)}
    for name, digest in (("before", before), ("after", after)):
        if digest not in known:
            raise InputError(name, f"The photo {name} is not of this job.", "Choose two photos of it.")
    if before == after:
        raise InputError("after", "Both photos are the same one.", "Choose another one for after.")
    data = {
        "before": before, "after": after, "about": text_line(about, "about"), "length_m": length,
        "places": [list(one) for one in places], "ends": [list(one) for one in ends],
    }  # fmt: skip
    with store.together():
        own = pairs_of(store, job)
        same = next((one for one in own if (one.data["before"], one.data["after"]) == (before, after)), None)
        if same is not None:
            return store.change(KIND, same.id, same.version, data)
        if len(own) >= MOST:
            raise InputError("before", f"The record has {MOST} pairs.", "Take one out first.")
        return store.add(KIND, data, job, "Before and after")


def pairs_of(store: Store, job: str, deleted: bool = False) -> list[Entry]:
    """The pairs of a job, the first chosen first."""
    return store.in_order(KIND, job, deleted=deleted)


def laid(store: Store, data: Mapping[str, Any]) -> tuple[Pair, float | None]:
    """(the two photos laid over each other, relative error of an area that rests on taps).

    Raises:
        InputError: a file is gone, or what was tapped makes no sense.
    """
    before, after = (photo_path(store, photo_of(store, data[name])) for name in ("before", "after"))
    if not (before.exists() and after.exists()):
        raise InputError("before", "The file of a photo is gone from the shop's folder.", "Bring it back from a copy.")
    pair = pair_of(before, after, tuple((x, y) for x, y in data["places"]))
    ends = [(x, y) for x, y in data["ends"]]
    if data["length_m"] and len(ends) == ENDS and pair.share is not None and pair.area is None:
        return by_length(pair, before, ends, data["length_m"], WIDTH)
    return pair, None
