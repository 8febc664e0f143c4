"""What a piece turned out to be, over HTTP: put on record, put right, taken back, brought back."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, Field

from proofpatch.shop.confirmed import HOW, KIND, LONGEST_WHO, bring_back, confirm, confirmed_of, history_of, taken_back
from proofpatch.shop.store import Entry, Store
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.finishes import names
from proofpatch.web.api import models as m
from proofpatch.web.api.fields import MOST_VERSIONS, line, one_of, whole
from proofpatch.web.api.find import open_job, thing
from proofpatch.web.api.trouble import Declined
from proofpatch.web.desk import Desk


class NewConfirmed(m.Sent):
    """version: of the record it puts right, 0 where none stands. finish: an id of the survey's finishes, or unlisted.
    test: of a spot test, which one decided. day: as year-month-day."""

    finish: Annotated[str, line(60), one_of(names())]
    how: Annotated[str, line(20), one_of(tuple(HOW))]
    who: Annotated[str, line(LONGEST_WHO)]
    day: Annotated[str, line(10)]
    ground: Annotated[str, line(60)] = ""
    test: Annotated[str, line(30), one_of(("", *(key for key, one in TESTS.items() if one.values)))] = ""
    version: Annotated[int, whole(0, MOST_VERSIONS)] = 0


class OneConfirmed(BaseModel):
    """A record as it is kept."""

    id: str
    version: int
    deleted: bool
    data: dict[str, Any]


class Standing(BaseModel):
    """What is on record of a job, what was taken back last where nothing stands, and all that was ever said."""

    confirmed: OneConfirmed | None
    taken_back: OneConfirmed | None
    history: list[dict[str, Any]] = Field(description="the newest first: at, by, what, said")


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of what pieces turned out to be."""
    router = APIRouter(responses=m.GONE)

    @router.get("/jobs/{id}/confirmed")
    def standing(id: m.Key) -> Standing:
        """What the piece turned out to be: `proofpatch confirm`."""
        thing(store, "job", id)
        now, back = confirmed_of(store, id), taken_back(store, id)
        return Standing(confirmed=_one(now) if now else None, taken_back=_one(back) if back else None,
                        history=history_of(store, id))  # fmt: skip

    @router.post("/jobs/{id}/confirmed", status_code=201, responses=m.CHANGES)
    def put(id: m.Key, sent: NewConfirmed) -> OneConfirmed:
        """What it turned out to be, put on record or put right. It settles no hazard."""
        open_job(store, id)
        data = sent.model_dump()
        return _one(confirm(store, id, data, data.pop("version"), sent.who))

    @router.delete("/jobs/{id}/confirmed/{one}", responses=m.CHANGES)
    def take_back(id: m.Key, one: m.Key, version: m.Version) -> OneConfirmed:
        """A record taken back; it teaches nothing any more, and can be brought back."""
        open_job(store, id)
        if thing(store, KIND, one, id).deleted:
            raise Declined(409, KIND, "The record is taken back already.", "Read it again.")
        return _one(store.delete(KIND, one, version))

    @router.post("/jobs/{id}/confirmed/{one}/restore", responses=m.CHANGES)
    def restore(id: m.Key, one: m.Key, version: m.Version) -> OneConfirmed:
        """A record that was taken back, standing again, unless another stands (409)."""
        open_job(store, id)
        if thing(store, KIND, one, id).deleted and confirmed_of(store, id) is not None:
            raise Declined(409, KIND, "Another record stands meanwhile.", "Put that one right, or take it back first.")
        return _one(bring_back(store, id, one, version))

    return router


def _one(entry: Entry) -> OneConfirmed:
    return OneConfirmed(id=entry.id, version=entry.version, deleted=entry.deleted is not None, data=dict(entry.data))
