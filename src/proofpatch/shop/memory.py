"""What the jobs of a shop taught together, its own and those that others gave.

No forecast asks for it unless the shop's setting `memory` is on; what a job then starts from is kept by `shop.starts`.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Sequence
from contextlib import suppress

import proofpatch as pp
from proofpatch.learn.belief import Recalled
from proofpatch.learn.memory import Population, Site, population, site
from proofpatch.learn.memory.reform import again, cavities
from proofpatch.shop.lots import lent_sites
from proofpatch.shop.settings import settings_of
from proofpatch.shop.sites import KIND, graded_of, site_from, site_to, sites_of, work_of
from proofpatch.shop.store import Entry, Overtaken, Store


def population_of(store: Store, but: str | None = None) -> Population:
    """What all jobs say together, others' too, each by its weight. but: the id of a job that is left out."""
    return fitted([one for _, one in sites_of(store, but)] + [one for _, one in lent_sites(store)])


def fitted(sites: Sequence[Site]) -> Population:
    """The population of these sites; the last few are kept in memory."""
    return _fitted(tuple(json.dumps(site_to(one)) for one in sites))


def recalled_of(store: Store, entry: Entry) -> Recalled | None:
    """What this job would start from now beyond published data, its own grades left out; None: no memory is used."""
    if not settings_of(store)[0].memory:
        return None
    work = work_of(store, entry)
    others = population_of(store, entry.id) if work else None
    return others.recalled(work.surface, work.laser) if work and others and others.sites else None


def form_anew(store: Store) -> int:
    """The site of every job of the shop formed anew from what all others say (`learn.memory.reform`); how many.

    Takes as long as working out the beliefs of all jobs. What a job already starts from is not moved by it.
    """
    own = sites_of(store)
    if not own:
        return 0
    found = population_of(store)
    starts = cavities(found)  # of the shop's own first, as `population_of` has them
    kept = {one.job: one for one in store.all(KIND)}
    for (entry, old), start in zip(own, starts, strict=False):
        work = work_of(store, entry)
        assert work is not None
        plain = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
        new = site(again(pp.update(plain, graded_of(store, entry, work)), start)).weighed(old.weight)
        before, formed = kept[entry.id], {"day": store.clock().date().isoformat(), "jobs": len(found.sites)}
        with suppress(Overtaken):  # its grades changed meanwhile; its site follows from them again
            store.change(
                KIND, before.id, before.version, site_to(new) | {"stamp": before.data["stamp"], "formed": formed}
            )
    return len(own)


def formed(store: Store) -> tuple[int, int, str | None]:
    """(jobs whose site was formed anew and still stands, all jobs with one, the last day that was done)."""
    kept = store.all(KIND)
    days = [one.data["formed"]["day"] for one in kept if one.data.get("formed")]
    return len(days), len(kept), max(days, default=None)


@functools.lru_cache(maxsize=8)
def _fitted(sites: tuple[str, ...]) -> Population:
    return population([site_from(json.loads(one)) for one in sites])
