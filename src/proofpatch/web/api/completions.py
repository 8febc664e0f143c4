"""The completion record of a job over HTTP: as it stands, and as it was written and signed; read only."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse

from proofpatch.records import refusal_record
from proofpatch.shop.completions import Written, written
from proofpatch.shop.store import Store
from proofpatch.web.api import models as m
from proofpatch.web.api import records as r
from proofpatch.web.api.find import road_of, thing
from proofpatch.web.api.trouble import at
from proofpatch.web.desk import Desk
from proofpatch.web.recorded import record_now


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of the record."""
    router = APIRouter(responses=m.GONE)

    @router.get("/jobs/{id}/record", response_model=r.CompletionRecord | r.Refusal)
    def record(id: m.Key) -> Response:
        """What it would say if it were written now: of a job file, `proofpatch record`."""
        found = road_of(desk, thing(store, "job", id))
        if found.stop or found.work is None:
            return JSONResponse(refusal_record("record", found.stop or ""))
        with at("tables", {}):
            return JSONResponse(record_now(store, found))

    @router.get("/jobs/{id}/records")
    def records(id: m.Key) -> r.CompletionRecords:
        """Every version that was written, the first first, and who signed it."""
        thing(store, "job", id)
        return r.CompletionRecords(records=[r.WrittenRecord(**_written(one)) for one in written(store, id)])

    return router


def _written(one: Written) -> dict[str, Any]:
    signed = None
    if one.paper is not None:
        signed = {key: one.paper.data[key] for key in ("name", "day", "at", "ticked")}
    return {"id": one.entry.id, "written": one.entry.data["at"], "fingerprint": one.entry.data["fingerprint"],
            "record": dict(one.record), "signed": signed}  # fmt: skip
