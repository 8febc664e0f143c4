"""What every answer carries, and which requests are not answered at all."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from urllib.parse import quote

from fastapi import FastAPI, Request, Response
from fastapi.responses import PlainTextResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool

from proofpatch.shop.job_tables import LARGEST_FILE
from proofpatch.web.api.trouble import trouble
from proofpatch.web.chosen import language_here
from proofpatch.web.door import HERE, Door, host_of, is_here, open_to_all
from proofpatch.web.words import say, spoken

LARGEST_BODY = 64_000_000  # bytes, of a photo or a scan with its form
LARGEST_FOLDER = 1_000_000_000  # bytes, of a packed job; it is read from disk, never whole in memory
LARGEST_AT_DOOR = 20_000  # bytes, of a device that has not signed in
API = "/api/"
IMPORT = "/jobs/import"
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
Next = Callable[[Request], Awaitable[Response]]


def guard(app: FastAPI, door: Door | None = None) -> None:
    """Refuses foreign hosts, devices that have not signed in and changes asked for by other sites; adds the headers.

    door: to the shop's network; None: this machine only.
    """

    @app.middleware("http")
    async def check(request: Request, answer: Next) -> Response:
        why = _refused(request, door)
        if why is not None:
            response = _said(request, *why)
        elif await _may_pass(request, door):
            response = await answer(request)
        else:
            response = _to_the_door(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if not request.url.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "no-store")
        return response


async def _may_pass(request: Request, door: Door | None) -> bool:
    """Whether it comes from this machine or a signed-in device, or only asks for the door."""
    request.state.here, request.state.device = is_here(request, door), None
    if request.state.here or door is None:
        return True
    request.state.device = await run_in_threadpool(door.device, request)
    return request.state.device is not None or open_to_all(request)


def _to_the_door(request: Request) -> Response:
    """The way in for a person; a sentence for a program or a form."""
    if request.method == "GET" and not request.url.path.startswith(API):
        after = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/door?after={quote(after, safe='')}", 303)
    remedy = "Open the shop on this device again, then send this once more."
    return _said(request, 401, "device", "This device is not signed in; nothing was changed.", remedy)


def _said(request: Request, status: int, field: str, problem: str, remedy: str) -> Response:
    """A refusal in words, or as JSON for a program."""
    if request.url.path.startswith(API):
        return trouble(status, field, problem, remedy)
    # Said before the pages' own language is set.
    with spoken(language_here(request)):
        return PlainTextResponse(say(f"{problem} {remedy}"), status)


def _refused(request: Request, door: Door | None) -> tuple[int, str, str, str] | None:
    """(status, field, problem, remedy) of what is not answered."""
    here = is_here(request, door)
    # Whoever reaches the port under another name was sent there by a page of somebody else.
    if not (host_of(request) in HERE if here else door is not None and door.knows(host_of(request), request)):
        where = "127.0.0.1 only" if door is None else "its own addresses only"
        return 421, "host", f"This shop is served under {where}.", "Open it under the address the laptop shows."
    site, mode = (request.headers.get(f"sec-fetch-{name}", "") for name in ("site", "mode"))
    if request.method in ("GET", "HEAD"):
        # A link from anywhere may be followed; a page elsewhere may not have ours worked out, drawn or framed in it.
        if site in ("cross-site", "same-site") and (
            mode != "navigate" or request.headers.get("sec-fetch-dest") != "document"
        ):
            return 403, "origin", "This was asked for by another site and is not shown there.", "Open it here."
        return None
    origin = request.headers.get("origin")
    own = f"{request.url.scheme}://{request.headers.get('host', '')}"
    foreign = site not in ("", "same-origin", "none")
    # A browser says where a change comes from; only a program on this machine may leave it out.
    if (foreign or not here) if origin is None else origin != own:
        return 403, "origin", "This change was asked for by another site and was not made.", "Make it here."
    return _too_large(request, here)


def _too_large(request: Request, here: bool) -> tuple[int, str, str, str] | None:
    """The same, of a body."""
    if not here and open_to_all(request):
        most, remedy = LARGEST_AT_DOOR, "Sign in first."
    elif request.url.path.startswith(API) and not request.url.path.endswith(
        ("/photos", "/scans", "/lots", "/lots/look")
    ):
        most, remedy = LARGEST_FILE, "A job is a page of text; check what was sent."
    elif request.url.path == IMPORT:
        most, remedy = LARGEST_FOLDER, "Bring it in at the command line: proofpatch unpack."
    else:
        most, remedy = LARGEST_BODY, "Choose a smaller file."
    length = request.headers.get("content-length", "0")
    stated = length.isascii() and length.isdigit() and len(length) < 12 and "transfer-encoding" not in request.headers
    if not stated or int(length) > most:
        return 413, "body", f"At most {most / 1e6:g} MB may be sent at once, and its length has to be stated.", remedy
    return None
