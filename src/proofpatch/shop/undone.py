"""A job taken back to what it was before its last change."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from proofpatch.shop.confirmed import check_suspected
from proofpatch.shop.run import check_zones
from proofpatch.shop.store import Entry, Store


def title_of(tables: Mapping[str, Any]) -> str:
    """Of a job, from its tables."""
    return str(tables.get("job", {}).get("title", "Untitled job"))


def undo_job(store: Store, key: str, version: int) -> Entry:
    """The job as it was, as a new version; twice undoes the undoing.

    Raises:
        InputError: it never was otherwise, or what was done or confirmed since rests on what would be gone.
        Overtaken: somebody else changed it meanwhile.
    """
    with store.together():
        before = store.get("job", key)
        entry = store.undo("job", key, version)
        check_zones(store, key, before.data, entry.data)
        check_suspected(store, key, before.data, entry.data)
        if entry.title != title_of(entry.data):
            entry = store.change("job", key, entry.version, entry.data, title_of(entry.data))
    return entry
