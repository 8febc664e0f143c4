"""A strip's grades from its photos: which photos show what, and the lines of the patch log that come of it.

Pages, command line and HTTP call these, so that one photo gives one figure everywhere.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from proofpatch.errors import InputError
from proofpatch.photos.frame import Frame
from proofpatch.photos.frame import frame as sheet
from proofpatch.photos.strip import Together
from proofpatch.shop.looks import Look, look_at, window_jpeg
from proofpatch.shop.photos import add_photo, photo_of, photo_path
from proofpatch.shop.seen import grader_of, keep_measured, seen_of
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.strips import Step, Strip

LEAST_ERROR = 1e-3  # a graded patch takes no share as surer


@dataclass(frozen=True)
class Asked:
    """All that the look at a strip depends on: its photos with their corners as JSON, its sheet, its taps as JSON."""

    photos: tuple[tuple[str, str], ...]
    frame: Frame
    taught: str

    def look(self) -> Look:
        """What the photos show; a second or two for a new one."""
        return look_at(self.photos, self.frame, self.taught)


@dataclass(frozen=True)
class Line:
    """A step and the line of the patch log that its grade is."""

    step: Step
    number: int
    data: dict[str, Any]


def photographed(store: Store, strip: Strip) -> Entry:
    """The record of a strip's photos.

    Raises:
        InputError: there is no photo.
    """
    entry = seen_of(store, strip.entry.job or "", strip.entry.id)
    if entry is None or not entry.data["photos"]:
        raise InputError("photo", "There is no photo of this strip yet.", "Take one on the test-patch page.")
    return entry


def asked(store: Store, strip: Strip, entry: Entry) -> Asked:
    """What to look at. Errors as `sheet_of`."""
    photos = tuple(
        (str(photo_path(store, photo_of(store, one["digest"]))), json.dumps(one["corners"]))
        for one in entry.data["photos"]
    )
    frame = sheet_of([one.setting for one in strip.steps], settings_of(store)[0].paper)
    return Asked(photos, frame, json.dumps(grader_of(store, strip.entry.job or "").plain()))


def sheet_of(settings: Sequence[Mapping[str, Any]], paper: str) -> Frame:
    """The sheet of these steps, windows narrower than their narrowest sweep. Errors as `photos.frame.frame`."""
    return sheet(len(settings), paper, min((float(one["sweep_width_m"]) for one in settings), default=None))


def share_of(seen: Together | None, residue: str | None) -> dict[str, float]:
    """The measured share that goes with a grade, with its own standard error; nothing where an eye put it right."""
    if seen is None or seen.fraction_left is None or seen.fraction_error is None or seen.residue != residue:
        return {}
    error = min(max(seen.fraction_error, LEAST_ERROR), 1.0)
    return {"fraction_left": round(seen.fraction_left, 4), "fraction_error": round(error, 4)}


def keep(store: Store, strip: Strip, entry: Entry, look: Look, lines: Iterable[Line], by: str) -> list[Entry]:
    """The grades of a strip in the store, each with the picture of its window and what was measured; all or none."""
    kept: dict[str, Any] = {}
    made = []
    with store.together():
        for line in lines:
            title = f"{line.step.name}: {line.data['residue']}, {line.data['harm']}"
            made.append(store.add("patch", line.data, strip.entry.job, title, by=by))
            window = window_jpeg(look, line.number)
            if window is not None:
                add_photo(store, window, strip.entry.job, about=line.step.name)
            seen = look.steps.get(line.number)
            graded = {name: line.data[name] for name in ("residue", "harm")}
            kept[line.step.name] = {**(asdict(seen) if seen else {}), "kept": graded}
        keep_measured(store, entry, kept)
    return made
