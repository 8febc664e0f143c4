"""What the jobs of a shop taught: the site of each is kept with it, and what they say together follows from these.

A site is kept when the grades of its job are, and worked out anew where it is missing or of other data. No forecast
asks for it unless the shop's setting `memory` is on.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief, Recalled, latents
from proofpatch.learn.evidence import Graded
from proofpatch.learn.memory import Part, Population, Site, population, site
from proofpatch.learn.memory.population import named
from proofpatch.learn.surface import Layer, Surface
from proofpatch.shop.invented import teaching
from proofpatch.shop.job import Job, job_from
from proofpatch.shop.lasers import entry_named, known, laser_on
from proofpatch.shop.log import graded_on_its_day
from proofpatch.shop.run import entries_of, evidence_of
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Entry, Overtaken, Store
from proofpatch.shop.surveyed import refused
from proofpatch.survey.stop import HardStop

KIND = "site"
DIGITS = 5  # of a number kept; a site is not known to a thousandth
# From how many nats on the belief is said to have moved so; common practice, no source.
MOVED = ((0.05, "hardly moved"), (1.0, "moved a little"), (4.0, "moved clearly"), (float("inf"), "moved far"))
NAMED = 2  # properties named


@dataclass(frozen=True)
class Pair:
    """What the shop knows of one kind of work.

    name: in words. jobs, patches: graded. waiting: jobs without a grade yet. first: the day of the first job graded.
    nats: from published data to what a new piece now starts from. most: (property, shift in spreads of published data).
    because: what a start rests on.
    """

    name: str
    jobs: int
    patches: int
    waiting: int
    first: str | None
    nats: float
    most: tuple[tuple[str, float], ...]
    because: str

    @property
    def moved(self) -> str:
        """How far, in words."""
        return next(words for most, words in MOVED if self.nats < most)


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
    for entry in teaching(store):
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


def population_of(store: Store, but: str | None = None) -> Population:
    """What all jobs of the shop say together. but: the id of a job that is left out."""
    return _fitted(tuple(json.dumps(site_to(one)) for _, one in sites_of(store, but)))


def recalled_of(store: Store, entry: Entry) -> Recalled | None:
    """What this job starts from beyond published data, its own grades left out; None: the shop uses no memory."""
    if not settings_of(store)[0].memory:
        return None
    work = work_of(store, entry)
    others = population_of(store, entry.id) if work else None
    return others.recalled(work.surface, work.laser) if work and others and others.sites else None


def learned(store: Store) -> list[Pair]:
    """What the shop knows of each kind of work it has a job of, the best known first."""
    sites = sites_of(store)
    found = _fitted(tuple(json.dumps(site_to(one)) for _, one in sites))
    graded: dict[str, list[tuple[Entry, Site]]] = {}
    for entry, one in sites:
        graded.setdefault(named(one.surface), []).append((entry, one))
    surfaces = {named(one.surface): one.surface for _, one in sites}
    waiting: dict[str, int] = {}
    done = {entry.id for entry, _ in sites}
    for entry in teaching(store):
        work = None if entry.id in done else work_of(store, entry)
        if work is not None:
            name = named(work.surface)
            surfaces.setdefault(name, work.surface)
            waiting[name] = waiting.get(name, 0) + 1
    rows = []
    for name, surface in surfaces.items():
        mine = graded.get(name, [])
        nats, shifts = found.moved(surface)
        most = sorted(shifts, key=lambda key: -abs(shifts[key]))[:NAMED]
        rows.append(Pair(
            name, len(mine), sum(one.patches for _, one in mine), waiting.get(name, 0),
            mine[0][0].created.date().isoformat() if mine else None, nats,
            tuple((f"{key[1].replace('_', ' ')} ({key[0]})", shifts[key]) for key in most if shifts[key]),
            found.because(surface),
        ))  # fmt: skip
    return sorted(rows, key=lambda row: (-row.jobs, -row.patches, row.name))


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


@functools.lru_cache(maxsize=8)
def _fitted(sites: tuple[str, ...]) -> Population:
    return population([site_from(json.loads(one)) for one in sites])
