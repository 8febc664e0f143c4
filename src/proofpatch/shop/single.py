"""Things a shop has one of: what it says of itself, what it asks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from proofpatch.shop.store import Entry, Store


def only(store: Store, kind: str) -> Entry | None:
    """Where the one of its kind is kept; None: nowhere yet."""
    return next(iter(store.all(kind, most=1)), None)


def keep_only(store: Store, kind: str, data: Mapping[str, Any], version: int, title: str) -> Entry:
    """The one of its kind, on disk.

    Args:
        version: the change was made on; 0: nothing was kept yet.

    Raises:
        Overtaken: somebody changed it, or kept the first one, meanwhile; both are kept.
    """
    with store.together():
        entry = only(store, kind)
        if entry is None:
            return store.add(kind, data, title=title)
        return store.change(kind, entry.id, version, data, title)
