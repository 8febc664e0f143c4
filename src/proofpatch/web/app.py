"""The pages: read, call, show. Everything works without a script."""

from __future__ import annotations

from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from proofpatch.errors import InputError
from proofpatch.shop.store import Overtaken, Store
from proofpatch.web import jobs, steps
from proofpatch.web import patches as patch_pages
from proofpatch.web import survey as survey_pages
from proofpatch.web.api import create_api
from proofpatch.web.api.trouble import of_http
from proofpatch.web.guard import API, guard
from proofpatch.web.shell import Pages

HERE = Path(__file__).parent


def create(store: Store) -> FastAPI:
    """The pages over a store."""
    app = FastAPI(title="proofpatch", docs_url=None, redoc_url=None, openapi_url=None)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    # An application of its own: what goes wrong there is said as JSON.
    app.mount("/api", create_api(store))
    guard(app)
    page = Pages()

    @app.exception_handler(HTTPException)
    async def unknown(request: Request, trouble: HTTPException) -> Response:
        # Not every path below it reaches the interface: one with a line break does not.
        if request.url.path.startswith(API):
            return of_http(request, trouble)
        said = "There is no such page." if trouble.status_code == 404 else f"This cannot be done: {trouble.detail}."
        return page("trouble.html", trouble.status_code, title="Not done", problem=said, back="/")

    @app.exception_handler(InputError)
    async def missing(_: Request, trouble: InputError) -> HTMLResponse:
        return page("trouble.html", 404, title="Not done", problem=str(trouble), back="/")

    @app.exception_handler(Overtaken)
    async def overtaken(request: Request, trouble: Overtaken) -> HTMLResponse:
        back = f"/jobs/{request.path_params.get('key', '')}/survey"
        return page("trouble.html", 409, title="Changed meanwhile", problem=str(trouble), back=back)

    for room in (jobs, survey_pages, steps, patch_pages):
        app.include_router(room.routes(page, store))
    return app
