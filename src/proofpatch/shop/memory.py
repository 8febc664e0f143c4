"""What the jobs of a shop taught together, its own and those that others gave.

No forecast asks for it unless the shop's setting `memory` is on; what a job then starts from is kept by `shop.starts`.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Sequence

from proofpatch.learn.belief import Recalled
from proofpatch.learn.memory import Population, Site, population
from proofpatch.shop.lots import lent_sites
from proofpatch.shop.settings import settings_of
from proofpatch.shop.sites import KIND, site_from, site_to, sites_of, work_of
from proofpatch.shop.store import Entry, Store


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


def formed(store: Store) -> tuple[int, int, str | None]:
    """(jobs whose site was formed anew and still stands, all jobs with one, the last day that was done)."""
    days = [day for _, day in store.told(KIND, "formed.day")]
    done = [day for day in days if day]
    return len(done), len(days), max(done, default=None)


@functools.lru_cache(maxsize=8)
def _fitted(sites: tuple[str, ...]) -> Population:
    return population([site_from(json.loads(one)) for one in sites])
