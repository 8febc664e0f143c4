"""The pieces of an invented workshop in a shop: told by who first made them, whatever becomes of them later.

They are marked wherever they are shown, teach nothing to a shop with a piece of its own, and can be put away at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from proofpatch.shop.charges import charges_of, keep_charges
from proofpatch.shop.settings import keep_settings, settings_of
from proofpatch.shop.store import Entry, Store

BY = "the invented workshop"
WORKSHOP = "Hollow Lane Workshop"
NAME = f"{WORKSHOP} (invented)"
INVENTED = "Invented: "  # before a title on paper; documents/letterhead.typ repeats it on each page


def is_invented(store: Store, job: str) -> bool:
    """Whether a job is a piece of the invented workshop."""
    return bool(store.made_by("job", BY, [job]))


def invented_among(store: Store, jobs: Sequence[str]) -> set[str]:
    """Those of these jobs that are invented."""
    return store.made_by("job", BY, jobs) if jobs else set()


def on_paper(store: Store, entry: Entry) -> str:
    """The title of a job on its papers: an invented piece is told whatever the shop is called."""
    return INVENTED + entry.title if is_invented(store, entry.id) else entry.title


def headed(store: Store, entry: Entry) -> str:
    """The title of a job on its own sheets, with the shop's name if it has one."""
    return settings_of(store)[0].headed(on_paper(store, entry))


def only_invented(store: Store) -> bool:
    """Whether all jobs there are, are pieces of the invented workshop; not where there is none."""
    jobs = {key for key, *_ in store.names("job")}
    return bool(jobs) and jobs <= store.made_by("job", BY)


def own_jobs(store: Store) -> list[Entry]:
    """The jobs that are not invented, the first made first."""
    made_up = store.made_by("job", BY)
    return [one for one in store.in_order("job") if one.id not in made_up]


def learned_from(store: Store) -> list[Entry]:
    """The jobs a shop learns from, the first made first: invented ones only as long as it has none of its own."""
    made_up, jobs = store.made_by("job", BY), store.in_order("job")
    return [one for one in jobs if one.id not in made_up] or jobs


def furnish(store: Store, prices: Mapping[str, Mapping[str, Any]]) -> None:
    """Name and prices of the invented workshop, where the shop has none."""
    now, entry = settings_of(store)
    if not now.name:
        keep_settings(store, {"name": NAME}, entry.version if entry else 0)
    tables, kept = charges_of(store)
    if not tables:
        keep_charges(store, prices, kept.version if kept else 0)


def put_away(store: Store, prices: Mapping[str, Mapping[str, Any]]) -> int:
    """All invented pieces out of sight, with the invented name and prices; how many. `bring_back` undoes it."""
    made_up = store.made_by("job", BY)
    with store.together():
        gone = [one for one in store.all("job") if one.id in made_up]
        for one in gone:
            store.delete("job", one.id, one.version)
        now, entry = settings_of(store)
        if entry is not None and now.name == NAME:
            keep_settings(store, {"name": ""}, entry.version)
        tables, kept = charges_of(store)
        if kept is not None and tables == prices:
            keep_charges(store, {}, kept.version)
    return len(gone)


def bring_back(store: Store, prices: Mapping[str, Mapping[str, Any]]) -> int:
    """The invented pieces back in sight; name and prices too, unless the shop has a piece of its own. How many."""
    made_up = store.made_by("job", BY)
    with store.together():
        if not store.count("job"):
            furnish(store, prices)
        back = [one for one in store.in_order("job", deleted=True) if one.id in made_up]
        for one in back:
            store.restore("job", one.id, one.version)
    return len(back)
