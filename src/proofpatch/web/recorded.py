"""The completion record of a job of the shop as it stands now; the same for pages, paper and API."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from proofpatch.documents.record import Pictures, record_pdf
from proofpatch.errors import InputError
from proofpatch.shop.charges import tables_of
from proofpatch.shop.completions import record_of
from proofpatch.shop.decided import decided_of, passes_of
from proofpatch.shop.kept_pairs import laid
from proofpatch.shop.pairs import pair_jpegs
from proofpatch.shop.store import Store
from proofpatch.web.road import Road

WIDE = 1200  # px of a picture on paper, before it is fitted
REFUSED = "The job is refused: nothing was done on it, and there is nothing to record."


def record_now(store: Store, found: Road) -> dict[str, Any]:
    """The record as it would be written now.

    Raises:
        InputError: the job is refused, or a part of it cannot be read.
    """
    if found.work is None or found.stop:
        raise InputError("record", REFUSED, "Keep it as a note.")
    # The run counts by the recipe that was decided, so its record does.
    passes = passes_of(decided_of(store, found.entry.id))
    belief = found.window.belief if found.window is not None else None
    air = found.hazards["air"] if found.hazards else None
    return record_of(store, found.entry, found.work, passes, belief, air)


def pictures_of(store: Store, record: Mapping[str, Any]) -> Pictures:
    """JPEG before and after of each pair of a record; None of one whose photos do not fit or are gone."""
    found: list[tuple[bytes, bytes] | None] = []
    for one in record["pairs"]:
        try:
            pair, _ = laid(store, one)
        except InputError:
            found.append(None)
            continue
        found.append(pair_jpegs(pair, WIDE) if pair.before is not None else None)
    return found


def draft_pdf(store: Store, found: Road) -> bytes:
    """The record as it would be written now, marked as a draft. Errors as `record_now`."""
    record = record_now(store, found)
    return record_pdf(record, paper_size(store, found), pictures_of(store, record), draft=True)


def paper_size(store: Store, found: Road) -> str:
    """The size of the paper of a job."""
    return str(tables_of(store, found.entry)["letterhead"].get("paper", "a4"))
