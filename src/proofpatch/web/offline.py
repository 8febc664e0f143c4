"""What a phone needs to open the shop without the laptop in reach: a service worker, and pages that may be kept."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from fastapi import APIRouter, FastAPI, Request, Response

from proofpatch.web.guard import Next
from proofpatch.web.shell import Pages

HERE = Path(__file__).parent
WORKER = HERE / "static" / "sw.js"
KEEP = "Proofpatch-Keep"
# What a phone may keep: the list, the jobs, what waits on it. Never a page that somebody signs in on, nor settings.
KEPT = ("/jobs/", "/waiting")


def routes(page: Pages) -> APIRouter:
    """The service worker, and the page of what waits on a phone."""
    router, worker = APIRouter(), worker_text()

    @router.get("/sw.js")
    def service_worker() -> Response:
        return Response(worker, media_type="text/javascript", headers={"Cache-Control": "no-cache"})

    @router.get("/waiting")
    def waiting() -> Response:
        return page("waiting.html")

    return router


def worker_text() -> str:
    """The service worker with the static files it keeps and their version, which changes when one of them does."""
    files = sorted(
        path for path in (HERE / "static").iterdir() if path.suffix not in (".txt", ".py") and path != WORKER
    )
    seal = hashlib.sha256(WORKER.read_bytes())
    for path in (*files, *sorted((HERE / "templates").glob("*.html"))):
        seal.update(path.name.encode() + path.read_bytes())
    given = json.dumps({"version": seal.hexdigest()[:16], "files": [f"/static/{path.name}" for path in files]})
    return WORKER.read_text(encoding="utf-8").replace('{ version: "none", files: [] }', given)


def keeps(app: FastAPI) -> None:
    """Says on each page whether a phone may keep it."""

    @app.middleware("http")
    async def mark(request: Request, answer: Next) -> Response:
        response = await answer(request)
        path, whole = request.url.path, response.headers.get("content-type", "").startswith("text/html")
        still = response.status_code == 200 and "refresh" not in response.headers  # not one that is at work
        if request.method == "GET" and whole and still and (path == "/" or path.startswith(KEPT)):
            response.headers[KEEP] = "yes"
        return response
