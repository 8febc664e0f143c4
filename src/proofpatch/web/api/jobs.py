"""Jobs over HTTP: listed, made, changed, put away, brought back."""

from __future__ import annotations

import contextlib
from typing import Any

from fastapi import APIRouter

from proofpatch.errors import InputError
from proofpatch.shop.confirmed import check_suspected
from proofpatch.shop.invented import invented_among, is_invented
from proofpatch.shop.run import check_zones
from proofpatch.shop.store import Entry, Overtaken, Store
from proofpatch.shop.undone import title_of, undo_job
from proofpatch.web.api import models as m
from proofpatch.web.api.fields import SHOWN
from proofpatch.web.api.find import JOB_FIELDS, open_job, road_of, thing
from proofpatch.web.api.trouble import at, check_plain
from proofpatch.web.desk import Desk
from proofpatch.web.jobs import check


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of jobs."""
    router = APIRouter()

    def told(entry: Entry) -> m.Job:
        return m.Job(**_head(entry), tables=dict(entry.data), invented=is_invented(store, entry.id))

    def kept(entry: Entry) -> m.Job:
        """The job after a change, with what it came to kept beside it."""
        with contextlib.suppress(InputError):  # it is kept; what cannot be worked out is said where it is asked for
            road_of(desk, entry)
        return told(entry)

    @router.get("/jobs")
    def jobs(q: m.Words = "", limit: m.Most = SHOWN, deleted: bool = False) -> m.Jobs:
        """The jobs, the last changed first."""
        found = store.all("job", words=q, deleted=deleted, most=limit + 1)
        made_up = invented_among(store, [entry.id for entry in found])
        shown = [m.Listed(**_head(entry), invented=entry.id in made_up) for entry in found[:limit]]
        return m.Jobs(jobs=shown, more=len(found) > limit)

    @router.post("/jobs", status_code=201, responses=m.CHANGE)
    def add(sent: m.NewJob) -> m.Job:
        """A new job of the tables of a job file."""
        tables = _tables(store, sent)
        return kept(store.add("job", tables, title=title_of(tables), by=sent.by))

    @router.get("/jobs/{id}", responses=m.GONE)
    def job(id: m.Key) -> m.Job:
        """A job with its tables, deleted or not."""
        return told(thing(store, "job", id))

    @router.put("/jobs/{id}", responses=m.CHANGES)
    def change(id: m.Key, sent: m.ChangedJob) -> m.Job:
        """The job with other tables: all of them, what is left out is gone."""
        now = open_job(store, id)
        tables = _tables(store, sent)
        with at("tables"):
            check_zones(store, id, now.data, tables)
            check_suspected(store, id, now.data, tables)
        return kept(store.change("job", id, sent.version, tables, title_of(tables), sent.by))

    @router.delete("/jobs/{id}", responses=m.CHANGES)
    def delete(id: m.Key, version: m.Version) -> m.Job:
        """The job out of sight; nothing is lost."""
        open_job(store, id)
        return told(store.delete("job", id, version))

    @router.post("/jobs/{id}/restore", responses=m.CHANGES)
    def restore(id: m.Key, version: m.Version) -> m.Job:
        """A deleted job back in sight."""
        thing(store, "job", id)
        return kept(store.restore("job", id, version))

    @router.post("/jobs/{id}/undo", responses=m.CHANGES)
    def undo(id: m.Key, version: m.Version) -> m.Job:
        """The job as it was before its last change, as a new version; twice undoes the undoing."""
        now = open_job(store, id)
        if now.version != version:
            raise Overtaken(now, 0)
        with at("tables"):
            return kept(undo_job(store, id, version))

    @router.get("/jobs/{id}/history", responses=m.GONE)
    def history(id: m.Key, limit: m.Most = SHOWN) -> m.History:
        """What the job said at each version, the last of them, and what came too late."""
        thing(store, "job", id)
        whole = store.history("job", id)
        shown = [
            m.Past(number=one.number, version=one.version, what=one.what, tables=dict(one.data), at=one.at, by=one.by)
            for one in whole[-limit:]
        ]
        return m.History(history=shown, more=len(whole) > limit)

    return router


def _head(entry: Entry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in m.Head.model_fields}


def _tables(store: Store, sent: m.NewJob) -> dict[str, Any]:
    """The tables of a body, read once as a job; a material that no beam touches is kept, its records refuse.

    Raises:
        InputError: they make no job.
    """
    check_plain(sent.tables, "tables")
    tables = {name: table for name, table in sent.tables.items() if table is not None}
    head = tables.get("job", {})
    if isinstance(head, dict):
        # A path would be one of the machine that serves, not of whoever asks.
        if str(head.get("laser", "")).strip().endswith(".toml"):
            raise InputError("tables.job.laser", "A laser's file cannot be named here.", "Name a laser by its id.")
        if sent.title is not None:
            tables["job"] = {**head, "title": sent.title}
    with at("tables", JOB_FIELDS):
        check(store, tables)
    return tables
