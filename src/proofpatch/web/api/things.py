"""Everything else the shop keeps, over HTTP, as it is kept: strips, customers, notes, beliefs, decided recipes."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from proofpatch.shop.people import add_note
from proofpatch.shop.store import Entry, Store
from proofpatch.web.api import models as m
from proofpatch.web.api.fields import SHOWN
from proofpatch.web.api.find import open_job, thing
from proofpatch.web.desk import Desk


def routes(store: Store, _: Desk) -> APIRouter:
    """The addresses of the other kinds of things."""
    router = APIRouter()

    @router.get("/things/{kind}", responses=m.GONE)
    def things(kind: m.Kind, limit: m.Most = SHOWN, deleted: bool = False) -> m.Things:
        """All things of a kind, the last changed first, each with its data as it is kept."""
        return _things(store.all(kind, deleted=deleted, most=limit + 1), limit)

    @router.get("/jobs/{id}/things/{kind}", responses=m.GONE)
    def of_job(id: m.Key, kind: m.Kind, limit: m.Most = SHOWN, deleted: bool = False) -> m.Things:
        """The same of one job."""
        thing(store, "job", id)
        return _things(store.all(kind, id, deleted=deleted, most=limit + 1), limit)

    @router.post("/jobs/{id}/notes", status_code=201, responses=m.CHANGES)
    def note(id: m.Key, sent: m.NewNote) -> m.Thing:
        """A note on a job."""
        return _thing(add_note(store, open_job(store, id).id, sent.text, sent.by))

    return router


def _things(found: list[Entry], limit: int) -> m.Things:
    return m.Things(things=[_thing(one) for one in found[:limit]], more=len(found) > limit)


def _thing(entry: Entry) -> m.Thing:
    data: dict[str, Any] = dict(entry.data)
    return m.Thing(**{name: getattr(entry, name) for name in m.Thing.model_fields if name != "data"}, data=data)
