"""The site of each job: what its grades taught, kept with it, worked out anew where it is missing or of other data."""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, fields
from typing import Any

import numpy as np

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief
from proofpatch.learn.evidence import Graded
from proofpatch.learn.memory import Part, Site, site
from proofpatch.learn.memory.population import named
from proofpatch.learn.surface import Layer, Surface
from proofpatch.learn.unknowns import latents
from proofpatch.shop.invented import learned_from
from proofpatch.shop.job import Job, job_from
from proofpatch.shop.lasers import entry_named, known, laser_on
from proofpatch.shop.log import graded_on_its_day
from proofpatch.shop.run import entries_of, evidence_of
from proofpatch.shop.store import Entry, Overtaken, Store
from proofpatch.shop.surveyed import refused
from proofpatch.survey.stop import HardStop

KIND = "site"
DIGITS = 5  # of a number kept; a site is not known to a thousandth


def keep_site(store: Store, entry: Entry, belief: Belief) -> None:
    """What the grades of this job taught, beside it on disk; nothing where they are as they were."""
    kept, stamp = store.all(KIND, entry.id, most=1), _stamp(belief)
    if (kept and kept[0].data["stamp"] == stamp) or not (belief.evidence or kept):
        return
    data = site_to(site(belief)) | {"stamp": stamp}
    if not kept:
        store.add(KIND, data, entry.id, named(belief.surface))
        return
    # Worked out from the job itself: whoever writes last or first, the next change writes it anew.
    with suppress(Overtaken):
        store.change(KIND, kept[0].id, kept[0].version, data, named(belief.surface))


def sites_of(store: Store, but: str | None = None) -> list[tuple[Entry, Site]]:
    """(job, its site) of every job with grades, the first made first; missing ones are worked out and kept.

    but: the id of a job that is left out.
    """
    kept = {one.job: one for one in store.all(KIND)}
    found = []
    for entry in learned_from(store):
        if entry.id == but:
            continue
        work = work_of(store, entry)
        graded = graded_of(store, entry, work) if work else []
        if work is None or not graded:
            continue
        start = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
        stamp = _stamp_of(start, graded)
        if entry.id not in kept or kept[entry.id].data["stamp"] != stamp:
            keep_site(store, entry, pp.update(start, graded))
            (kept[entry.id],) = store.all(KIND, entry.id, most=1)
        found.append((entry, site_from(kept[entry.id].data)))
    return found


def work_of(store: Store, entry: Entry) -> Job | None:
    """The job as it stands; None where no answer is given of it."""
    try:
        work = job_from(entry.data, lasers=known(entry_named(store, entry.data)))
    except (HardStop, InputError):
        return None
    return None if refused(work) else work


def graded_of(store: Store, entry: Entry, work: Job) -> list[Graded]:
    """Its patches and what its run graded, with the laser as it was on the day, as the road of the job reads them."""
    laser, layers = entry_named(store, entry.data), len(work.surface.coats)
    on = functools.partial(laser_on, laser) if laser else None
    ran = evidence_of(entries_of(store, entry.id))
    lines = [one.data for one in store.in_order("patch", entry.id)] + [one | {"layer": layers - 1} for one in ran]
    return [graded_on_its_day(line, layers, on) for line in lines]


def site_to(found: Site) -> dict[str, Any]:
    """A site as JSON has it."""
    surface = found.surface
    return {
        "surface": {
            **{f.name: getattr(surface, f.name) for f in fields(Surface) if f.name != "layers"},
            "layers": [asdict(coat) | {"coating": dict(coat.shares)} for coat in surface.coats],
        },
        "parts": [
            {"stack": [list(coat) for coat in part.stack], "state": part.state, "share": _short(part.share),
             "reading": [[_short(value) for value in row] for row in part.reading],
             "read": [_short(value) for value in part.read]}
            for part in found.parts
        ],
        "patches": found.patches, "laser": found.laser, "grader": found.grader, "weight": found.weight,
    }  # fmt: skip


def site_from(data: Any) -> Site:
    """A site of JSON.

    Raises:
        InputError: it does not fit its surface.
    """
    table = dict(data["surface"])
    surface = Surface([Layer(**one) for one in table.pop("layers")], **table)
    unknowns = len(latents(surface).names)
    parts = tuple(
        Part(
            tuple(tuple(coat) for coat in part["stack"]), part["state"], part["share"],
            np.array(part["reading"], dtype=np.float64).reshape(-1, unknowns),
            np.array(part["read"], dtype=np.float64),
        )
        for part in data["parts"]
    )  # fmt: skip
    return Site(surface, parts, data["patches"], data["laser"], data["grader"], data["weight"])


def _short(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def _stamp(belief: Belief) -> str:
    return _stamp_of(belief, belief.evidence)


def _stamp_of(start: Belief, graded: Sequence[Graded]) -> str:
    """Of all a site follows from: the surface as published data know it, laser, hand, grades; not what was recalled."""
    table = latents(start.surface)
    said = hashlib.sha256(repr((
        start.surface, start.laser, start.hand, table.names, sorted(repr(one.key()) for one in graded),
    )).encode())  # fmt: skip
    for array in (table.centre, table.below, table.above):
        said.update(array.tobytes())
    return said.hexdigest()[:24]
