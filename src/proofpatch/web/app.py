"""The pages: read, call, show. Everything works without a script."""

from __future__ import annotations

import contextlib
import time
from pathlib import Path
from urllib.parse import quote

from fastapi import FastAPI, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from proofpatch.errors import InputError
from proofpatch.shop.charges import KIND as CHARGES
from proofpatch.shop.lasers import KIND
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Overtaken, Store
from proofpatch.units import shown_in
from proofpatch.web import (
    about,
    bench,
    compare,
    day,
    devices,
    elsewhere,
    folder,
    invented,
    jobs,
    lasers,
    learned,
    lots,
    materials,
    measure,
    offer,
    offline,
    outline,
    prices,
    quotes,
    record,
    run,
    scan,
    shop,
    steps,
    trust,
)
from proofpatch.web import patches as patch_pages
from proofpatch.web import seen as seen_pages
from proofpatch.web import survey as survey_pages
from proofpatch.web.apart import kept_apart
from proofpatch.web.api import Interface
from proofpatch.web.api.trouble import of_http
from proofpatch.web.appearance import wear
from proofpatch.web.chosen import language_here, mark_here, units_here
from proofpatch.web.desk import PATIENCE, Desk, Working
from proofpatch.web.door import Door
from proofpatch.web.filling import Filling
from proofpatch.web.guard import API, HEADERS, Next, guard
from proofpatch.web.marks import marked
from proofpatch.web.once import once
from proofpatch.web.sent import Files, smaller
from proofpatch.web.shell import Pages
from proofpatch.web.words import spoken

HERE = Path(__file__).parent


def room_of(request: Request) -> str:
    """Which of the rooms in the menu an address is in."""
    return request.url.path.split("/")[1].capitalize()


def create(store: Store, patience: float | None = PATIENCE, door: Door | None = None) -> FastAPI:
    """The pages over a store.

    Args:
        patience: s a page waits before it says it is at work, None as long as it takes.
        door: to the shop's network; None: this machine only.
    """
    page, desk = Pages(), Desk(store, patience)
    filling = Filling(store, desk)
    app = FastAPI(
        title="proofpatch", docs_url=None, redoc_url=None, openapi_url=None, lifespan=lambda _: invented.ending(filling)
    )
    app.mount("/static", Files(directory=HERE / "static"), name="static")
    once(app, store)
    offline.keeps(app)
    kept_apart(app, page)
    guard(app, door)
    smaller(app)
    wear(app, page)
    invented.marks(app, page, store)
    # An application of its own: what goes wrong there is said as JSON.
    app.mount("/api", Interface(store, desk))

    app.state.asked, app.state.desk, app.state.filling = time.monotonic(), desk, filling
    app.state.daily = None  # whoever makes daily backups names them
    app.state.certificate, app.state.port = None, 0  # plain http; whoever serves TLS names its own

    @app.middleware("http")
    async def in_their_units(request: Request, answer: Next) -> Response:
        if request.url.path.startswith("/static/"):
            return await answer(request)
        app.state.asked = time.monotonic()
        units = "metric"
        with contextlib.suppress(InputError):  # a store that cannot be read is told by the page itself
            units = (await run_in_threadpool(settings_of, store))[0].units
        units = units_here(request) or units
        with shown_in(units), marked(mark_here(request)), spoken(language_here(request)):
            return await answer(request)

    @app.exception_handler(HTTPException)
    async def unknown(request: Request, trouble: HTTPException) -> Response:
        # Not every path below it reaches the interface: one with a line break does not.
        if request.url.path.startswith(API):
            return of_http(request, trouble)
        key = request.path_params.get("key") or request.url.path.removeprefix("/jobs/").partition("/")[0]
        if trouble.status_code == 405 and request.method == "GET" and request.url.path.startswith("/jobs/"):
            return RedirectResponse(f"/jobs/{quote(key)}/survey", 303)  # the address of a form, looked at again
        said = "There is no such page." if trouble.status_code == 404 else f"This cannot be done: {trouble.detail}."
        return page("trouble.html", trouble.status_code, title="Not done", problem=said, back="/")

    @app.exception_handler(InputError)
    async def missing(request: Request, trouble: InputError) -> HTMLResponse:
        # A job that cannot be worked out is mended where its earlier versions stand.
        key = request.path_params.get("key", "") if request.url.path.startswith("/jobs/") else ""
        back = f"/jobs/{key}/piece" if key and trouble.field != "job" else "/"
        return page("trouble.html", 404, title="Not done", problem=str(trouble), back=back)

    @app.exception_handler(Exception)
    async def broken(request: Request, trouble: Exception) -> HTMLResponse:
        # Outside of everything else, so its head is put on here; the server's output says more.
        with spoken(language_here(request)):
            said = "This is a fault of proofpatch, not of what was sent. What was answered before is kept."
            answer = page("trouble.html", 500, title="Not done", problem=said, back="/")
        answer.headers.update(HEADERS | {"Cache-Control": "no-store"})
        return answer

    @app.exception_handler(Overtaken)
    async def overtaken(request: Request, trouble: Overtaken) -> HTMLResponse:
        key = request.path_params.get("key", "")
        back = f"/lasers/{key}" if trouble.now.kind == KIND else f"/jobs/{key}/piece" if key else "/"
        back = "/shop/prices" if trouble.now.kind == CHARGES else back
        return page("trouble.html", 409, title="Changed meanwhile", problem=str(trouble), back=back)

    @app.exception_handler(Working)
    async def working(request: Request, at: Working) -> HTMLResponse:
        answer = page("working.html", at=at, room=room_of(request), again=f"{request.url.path}?{request.url.query}")
        answer.headers["Refresh"] = "1"
        return answer

    for router in (
        folder.routes(page, store),
        jobs.routes(page, store, desk, filling),
        invented.routes(store, filling),
        survey_pages.routes(page, store, desk),
        steps.routes(page, desk),
        learned.routes(page, store, desk),
        lots.routes(page, store, desk),
        elsewhere.routes(page, store, desk),
        scan.routes(page, store, desk),
        measure.routes(page, store, desk),
        outline.routes(page, store, desk),
        patch_pages.routes(page, store, desk),
        seen_pages.routes(page, store, desk),
        run.routes(page, store, desk),
        day.routes(page, store, desk),
        compare.routes(page, store, desk),
        about.routes(page, store, desk),
        bench.routes(page, store, desk),
        offer.routes(page, store, desk),
        quotes.routes(page, store, desk),
        record.routes(page, store, desk),
        shop.routes(page, store),
        prices.routes(page, store),
        devices.routes(page, store, door),
        lasers.routes(page, store),
        materials.routes(page, store),
        offline.routes(page),
        trust.routes(page),
    ):
        app.include_router(router)
    return app
