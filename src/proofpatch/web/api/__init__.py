"""The shop over HTTP: the records of pages and command line as JSON, for this machine and signed-in devices."""

from __future__ import annotations

from functools import cached_property

from fastapi import FastAPI
from starlette.types import Receive, Scope, Send

from proofpatch.shop.store import Store
from proofpatch.web.api import (
    answers,
    completions,
    confirmed,
    graded,
    jobs,
    learned,
    offers,
    papers,
    photos,
    run,
    scans,
    strips,
    things,
    tools,
)
from proofpatch.web.api.models import ANY
from proofpatch.web.api.trouble import handlers
from proofpatch.web.desk import Desk

__all__ = ["Interface", "create_api"]

ABOUT = (
    "The jobs of the shop and what is known of them, and the bench and the hazards of a beam without a job. Quantities "
    "are SI, keys carry their unit. Work that is refused is answered with the refusal as a record and status 200; "
    "grading a patch then is a 409. Every error is {field, problem, remedy}. Nothing here is a clearance."
)


def create_api(store: Store, desk: Desk) -> FastAPI:
    """The interface over a store, to be mounted under /api."""
    app = FastAPI(
        title="proofpatch", version="1", description=ABOUT, docs_url=None, redoc_url=None, redirect_slashes=False,
        servers=[{"url": "/api"}], root_path_in_servers=False, responses=ANY,
    )  # fmt: skip
    handlers(app)
    for part in (jobs, answers, graded, strips, offers, papers, completions, run, learned, things, confirmed):
        app.include_router(part.routes(store, desk))
    app.include_router(photos.routes(store))
    app.include_router(scans.routes(store))
    app.include_router(tools.routes(store))
    return app


class Interface:
    """The same, made when it is first asked: it takes four times as long as all the pages, which open without it."""

    def __init__(self, store: Store, desk: Desk) -> None:
        self._over = store, desk

    @cached_property
    def app(self) -> FastAPI:
        """The application itself."""
        return create_api(*self._over)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        await self.app(scope, receive, send)
