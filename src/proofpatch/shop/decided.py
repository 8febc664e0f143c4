"""The recipe that a job is worked by."""

from __future__ import annotations

from proofpatch.shop.store import Entry, Store


def decided_of(store: Store, key: str) -> Entry | None:
    """The recipe the shop decided to work by, the last one."""
    return next(iter(store.all("recipe", key, most=1)), None)


def passes_of(decided: Entry | None) -> int:
    """Passes that it asks for; one where none was decided."""
    return int(decided.data["record"]["setting"]["passes"]) if decided else 1
