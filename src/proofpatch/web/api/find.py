"""What every address looks up first: a thing of the store, its road, and what stops it."""

from __future__ import annotations

from proofpatch.errors import InputError
from proofpatch.shop.store import Entry, Store
from proofpatch.web.api.trouble import Declined, at
from proofpatch.web.desk import Desk
from proofpatch.web.road import Road

# Options that the sentences of the shared readers name -> fields of a job.
JOB_FIELDS = {"--capture": "tables.air.capture", "--air-flow": "tables.air.flow", "--area-rate": "tables.zones"}


def thing(store: Store, kind: str, key: str, job: str | None = None) -> Entry:
    """A thing of the store, of that job if one is named.

    Raises:
        Declined: 404, there is none.
    """
    try:
        entry = store.get(kind, key)
    except InputError as error:
        if error.field != kind:
            raise
        raise Declined(404, kind, error.problem, error.remedy) from None
    if job is not None and entry.job != job:
        raise Declined(404, kind, f"The job has no {kind} {key!r}.", "Look it up in the job.")
    return entry


def open_job(store: Store, key: str) -> Entry:
    """A job that may be changed.

    Raises:
        Declined: 404, there is none; 409, it is deleted.
    """
    entry = thing(store, "job", key)
    if entry.deleted:
        raise Declined(409, "job", "The job is deleted.", "Restore it first.")
    return entry


def road_of(desk: Desk, entry: Entry, part: str = "") -> Road:
    """The road of a job, one of its parts computed too, its errors at the field of the job's tables."""
    with at("tables", JOB_FIELDS):
        return desk.wait(entry.id, part)
