"""Work over all jobs of a shop at once: sites formed anew, another laser asked of every piece.

Each job is one task, a plain function of what it needs; where it is done, the caller says (`proofpatch.pool`). A task
carries a surface, settings and grades; no customer, no price.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import proofpatch as pp
from proofpatch.lasers import Laser
from proofpatch.learn.belief import Recalled
from proofpatch.learn.evidence import Graded
from proofpatch.learn.memory import site
from proofpatch.learn.memory.reform import again, cavities
from proofpatch.pool import Each
from proofpatch.shop.invented import learned_from
from proofpatch.shop.job import Job
from proofpatch.shop.memory import population_of
from proofpatch.shop.sites import KIND, graded_of, site_to, sites_of, work_of
from proofpatch.shop.store import Entry, Overtaken, Store


@dataclass(frozen=True)
class Work:
    """One job to be looked at from what all others say. weight: of its site."""

    job: Job
    graded: tuple[Graded, ...]
    start: Recalled
    weight: float


def site_anew(work: Work) -> dict[str, Any]:
    """The site of a job formed from this start, as JSON has it."""
    job = work.job
    plain = pp.prior(job.surface, job.laser, job.hand, seed=job.seed)
    return site_to(site(again(pp.update(plain, list(work.graded)), work.start)).weighed(work.weight))


def works_of(store: Store) -> tuple[list[tuple[Entry, Work]], int]:
    """(every graded job with what all others say of it, how many jobs that is, those of other shops too)."""
    own = sites_of(store)
    if not own:
        return [], 0
    found = population_of(store)
    starts = cavities(found)  # of the shop's own first, as `population_of` has them
    jobs = [(entry, work_of(store, entry)) for entry, _ in own]
    return [
        (entry, Work(job, tuple(graded_of(store, entry, job)), start, old.weight))
        for (entry, job), (_, old), start in zip(jobs, own, starts, strict=False) if job is not None
    ], len(found.sites)  # fmt: skip


def form_anew(store: Store, each: Each = map) -> int:
    """The site of every graded job formed anew from what all others say, on disk (`learn.memory.reform`); how many.

    Takes as long as working out the beliefs of all jobs, shared among those who work. What a job already starts from is
    not moved by it.
    """
    works, jobs = works_of(store)
    kept, day = {one.job: one for one in store.all(KIND)}, store.clock().date().isoformat()
    for (entry, _), data in zip(works, each(site_anew, (work for _, work in works)), strict=True):
        before = kept[entry.id]
        more = {"stamp": before.data["stamp"], "formed": {"day": day, "jobs": jobs}}
        with suppress(Overtaken):  # its grades changed meanwhile: its site follows from them again
            store.change(KIND, before.id, before.version, data | more)
    return len(works)


@dataclass(frozen=True)
class Wished:
    """A job and another laser to do it with."""

    job: Job
    laser: Laser


@dataclass(frozen=True)
class Chance:
    """The chance of a piece with its own laser and with another, from published data alone."""

    job: str
    own: float
    other: float


def chances(wished: Wished) -> tuple[float, float]:
    """(chance with its own laser, with the other), before any patch."""
    job = wished.job
    own, other = (
        pp.forecast(pp.prior(job.surface, laser, job.hand, seed=job.seed), job.limits).chance
        for laser in (job.laser, wished.laser)
    )
    return own, other


def with_laser(store: Store, each: Each, laser: Laser) -> Iterator[Chance]:
    """The chance of every job of the shop with another laser, the first job first; of those that nothing stops."""
    works = [(entry.title, job) for entry in learned_from(store) if (job := work_of(store, entry)) is not None]
    found = each(chances, (Wished(job, laser) for _, job in works))
    for (title, _), (own, other) in zip(works, found, strict=True):
        yield Chance(title, own, other)
