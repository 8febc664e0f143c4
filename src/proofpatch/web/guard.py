"""What every answer carries, and which requests are not answered at all."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from fastapi import FastAPI, Request, Response
from fastapi.responses import PlainTextResponse

from proofpatch.shop.job import LARGEST_FILE
from proofpatch.web.api.trouble import trouble

# This machine only: whoever reaches the port under another name was sent there by a page of somebody else.
HOSTS = ("127.0.0.1", "localhost")
LARGEST_BODY = 64_000_000  # bytes, of a photo with its form
API = "/api/"
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}
Next = Callable[[Request], Awaitable[Response]]


def guard(app: FastAPI) -> None:
    """Refuses foreign hosts and changes asked for by other sites; adds the headers."""

    @app.middleware("http")
    async def check(request: Request, answer: Next) -> Response:
        why = _refused(request)
        response = await answer(request) if why is None else _said(request, *why)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if not request.url.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "no-store")
        return response


def _said(request: Request, status: int, field: str, problem: str, remedy: str) -> Response:
    """A refusal in words, or as JSON for a program."""
    if request.url.path.startswith(API):
        return trouble(status, field, problem, remedy)
    return PlainTextResponse(f"{problem} {remedy}", status)


def _refused(request: Request) -> tuple[int, str, str, str] | None:
    """(status, field, problem, remedy) of what is not answered."""
    host = request.headers.get("host", "")
    if host.rpartition(":")[0] not in HOSTS and host not in HOSTS:
        return 421, "host", "This shop is served under 127.0.0.1 only.", "Open it on the machine it runs on."
    if request.method in ("GET", "HEAD"):
        return None
    origin = request.headers.get("origin")
    foreign = request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")
    if foreign if origin is None else origin != f"{request.url.scheme}://{host}":
        return 403, "origin", "This change was asked for by another site and was not made.", "Make it here."
    if request.url.path.startswith(API) and not request.url.path.endswith("/photos"):
        most, remedy = LARGEST_FILE, "A job is a page of text; check what was sent."
    else:
        most, remedy = LARGEST_BODY, "Choose a smaller photo."
    length = request.headers.get("content-length", "0")
    stated = length.isascii() and length.isdigit() and len(length) < 12 and "transfer-encoding" not in request.headers
    if not stated or int(length) > most:
        return 413, "body", f"At most {most // 10**6} MB may be sent at once, and its length has to be stated.", remedy
    return None
