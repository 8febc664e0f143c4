"""Graded patches over HTTP: written, listed, taken back."""

from __future__ import annotations

from functools import partial

from fastapi import APIRouter

from proofpatch.records import graded_record
from proofpatch.shop.log import UNIT_KEYS, graded_from, setting_to, stamp
from proofpatch.shop.store import Entry, Store
from proofpatch.web.api import models as m
from proofpatch.web.api.find import open_job, road_of, thing
from proofpatch.web.api.trouble import Declined, at
from proofpatch.web.desk import Desk

# Fields of the readers -> fields of a body.
SETTING_FIELDS = {name: f"setting.{key}" for knob, key in UNIT_KEYS.items() for name in (knob, key)}
FIELDS = SETTING_FIELDS | {"waited": "waited_s"}


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of the graded patches of a job."""
    router = APIRouter(responses=m.GONE)

    @router.get("/jobs/{id}/graded")
    def graded(id: m.Key) -> m.AllGraded:
        """The graded patches of a job."""
        thing(store, "job", id)
        return m.AllGraded(graded=[patch_model(entry) for entry in store.in_order("patch", id)])

    @router.post("/jobs/{id}/graded", status_code=201, responses=m.CHANGES)
    def grade(id: m.Key, sent: m.NewGraded) -> m.Taught:
        """A patch that was laid, and what it taught: `proofpatch grade`. Refused (409) as long as a stop is open."""
        before = road_of(desk, open_job(store, id))
        why, work = before.closed, before.work
        if why or work is None or before.window is None:
            raise Declined(409, "job", why or "", "Settle it in the job's tables first.")
        data = sent.model_dump(exclude_none=True)
        data |= {"waited": data.pop("waited_s")} if "waited_s" in data else {}
        data["when"] = stamp()
        with at("", FIELDS):
            one = graded_from(data, len(work.surface.coats))
            work.laser.check(one.setting)
        data["setting"] = setting_to(one.setting)
        entry = store.add("patch", data, id, f"{one.residue}, {one.harm}", by=sent.grader or "")
        after = road_of(desk, thing(store, "job", id)).window
        taught = desk.run(partial(graded_record, entry.id, before.window, after, one)) if after else {}
        return m.Taught(graded=patch_model(entry), taught=taught)

    @router.delete("/jobs/{id}/graded/{patch}", responses=m.CHANGES)
    def ungrade(id: m.Key, patch: m.Key, version: m.Version) -> m.Graded:
        """A graded patch taken back."""
        job = open_job(store, id)
        if thing(store, "patch", patch, id).deleted:
            raise Declined(409, "patch", "The patch is taken back already.", "Read the list again.")
        entry = store.delete("patch", patch, version)
        desk.begin(job)
        return patch_model(entry)

    @router.post("/jobs/{id}/graded/{patch}/restore", responses=m.CHANGES)
    def regrade(id: m.Key, patch: m.Key, version: m.Version) -> m.Graded:
        """A graded patch that was taken back, back in the list."""
        job = open_job(store, id)
        thing(store, "patch", patch, id)
        entry = store.restore("patch", patch, version)
        desk.begin(job)
        return patch_model(entry)

    return router


def patch_model(entry: Entry) -> m.Graded:
    """A graded patch as it is sent back."""
    said = dict(entry.data)
    waited = said.pop("waited", None)
    return m.Graded(id=entry.id, version=entry.version, deleted=entry.deleted, waited_s=waited, **said)
