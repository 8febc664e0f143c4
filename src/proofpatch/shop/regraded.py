"""The photos of all strips of a shop graded again, as photos are graded today; nothing is changed.

A strip is one task, as in `shop.many`: its photos, its sheet and what was tapped on them.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Any

from proofpatch.errors import InputError
from proofpatch.photos.corrections import Grader
from proofpatch.photos.frame import Frame
from proofpatch.photos.shot import judge, shoot, together
from proofpatch.pool import Each
from proofpatch.shop.by_photo import asked
from proofpatch.shop.seen import seen_of
from proofpatch.shop.store import Store
from proofpatch.shop.strips import strips_of


@dataclass(frozen=True)
class Photos:
    """The photos of a strip: each its bytes, and its corners as JSON; the sheet they show; the taps as JSON."""

    photos: tuple[tuple[bytes, str], ...]
    frame: Frame
    taught: str


@dataclass(frozen=True)
class Regraded:
    """One step graded again. before: what was measured when its grade was kept, and now: the same today, or None."""

    job: str
    step: str
    before: dict[str, Any]
    now: dict[str, Any] | None

    @property
    def moved(self) -> bool:
        """Whether it is another grade now: what is left, or what it did."""
        return self.now is None or any(self.before[name] != self.now[name] for name in ("residue", "harm"))


def graded_again(strip: Photos) -> dict[int, dict[str, Any]]:
    """What these photos show, by the number of the step; a photo that cannot be read shows nothing."""
    shots = []
    for content, corners in strip.photos:
        with suppress(InputError):
            shots.append(shoot(content, strip.frame, json.loads(corners)))
    found = together(tuple(judge(shots, Grader.of_plain(json.loads(strip.taught)))))
    return {number: asdict(one) for number, one in found.items()}


def regrade(store: Store, each: Each) -> Iterator[Regraded]:
    """Every step whose photos were kept with its grade, graded again as photos are graded today; nothing is changed."""
    named = []
    for job in store.in_order("job"):
        for strip in strips_of(store, job.id, store.in_order("patch", job.id)):
            entry = seen_of(store, job.id, strip.entry.id)
            if entry is not None and entry.data["photos"] and entry.data["kept"]:
                named.append((job.title, strip, entry))

    def photos() -> Iterator[Photos]:
        for _, strip, entry in named:
            look = asked(store, strip, entry)
            read = []
            for path, corners in look.photos:
                with suppress(OSError), open(path, "rb") as file:
                    read.append((file.read(), corners))
            yield Photos(tuple(read), look.frame, look.taught)

    for (title, strip, entry), found in zip(named, each(graded_again, photos()), strict=True):
        for number, step in enumerate(strip.steps, 1):
            before = entry.data["kept"].get(step.name)
            if before and "residue" in before:
                yield Regraded(title, step.name, before, found.get(number))
