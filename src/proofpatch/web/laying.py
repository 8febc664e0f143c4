"""Lays out the next strip of a job, for page and program alike."""

from __future__ import annotations

from proofpatch.shop.store import Store
from proofpatch.shop.strips import Strip, lay_out, strip_of, strips_of
from proofpatch.web.desk import Desk
from proofpatch.web.road import Road


def lay_next(store: Store, desk: Desk, found: Road) -> Strip | None:
    """The next strip of a job that nothing stops, laid out, or the one that waits; None: no patch is worth laying."""
    record, dialled = found.strip
    key = found.entry.id
    with desk.turn:
        strips = strips_of(store, key, store.in_order("patch", key))
        # Two presses lay out one strip.
        if strips and strips[-1].due:
            return strips[-1]
        if not record["patches"]:
            return None
        made = lay_out(store, key, record["patches"], dialled)
    desk.remember(found)
    return strip_of(store, key, made.id)
