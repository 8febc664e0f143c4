"""The invented workshop on the pages: offered to an empty shop, marked on each of its pages, put away at once."""

from __future__ import annotations

import contextlib
import re
from collections.abc import AsyncIterator
from contextvars import ContextVar

from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from proofpatch.demo_shop import prices
from proofpatch.errors import InputError
from proofpatch.shop.invented import bring_back, is_invented, only_invented, put_away
from proofpatch.shop.store import Store
from proofpatch.web.filling import Filling
from proofpatch.web.guard import Next
from proofpatch.web.shell import Pages

OF_JOB = re.compile(r"/jobs/([0-9a-f]{32})(?:/|$)")
OF_MEMORY = re.compile(r"/learned(?:/|$)")  # invented pieces teach while there is no other
_shown: ContextVar[bool] = ContextVar("invented", default=False)


def marks(app: FastAPI, page: Pages, store: Store) -> None:
    """Has every page of an invented piece say so, and what was learned of such pieces alone."""
    page.templates.globals |= {"is_invented": _shown.get}

    @app.middleware("http")
    async def as_it_is(request: Request, answer: Next) -> Response:
        said = OF_JOB.match(request.url.path)
        key = said[1] if said else request.query_params.get("job", "")
        made_up = False
        with contextlib.suppress(InputError):  # a store that cannot be read is told by the page itself
            if key:
                made_up = await run_in_threadpool(is_invented, store, key)
            elif OF_MEMORY.match(request.url.path):
                made_up = await run_in_threadpool(only_invented, store)
        token = _shown.set(made_up)
        try:
            return await answer(request)
        finally:
            _shown.reset(token)


def ending(filling: Filling) -> contextlib.AbstractAsyncContextManager[None]:
    """The life of the server: what is being taken in ends with it."""

    @contextlib.asynccontextmanager
    async def life() -> AsyncIterator[None]:
        yield
        filling.stop()

    return life()


def routes(store: Store, filling: Filling) -> APIRouter:
    """Taking it in, putting it away, bringing it back."""
    router = APIRouter()

    @router.post("/invented")
    def begin() -> Response:
        filling.begin()
        return RedirectResponse("/", 303)

    @router.post("/invented/away")
    def away() -> Response:
        filling.stop()
        put_away(store, prices())
        return RedirectResponse("/", 303)

    @router.post("/invented/back")
    def back() -> Response:
        bring_back(store, prices())
        return RedirectResponse("/", 303)

    return router
