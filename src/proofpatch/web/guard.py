"""What every answer carries, and which requests are not answered at all."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from fastapi import FastAPI, Request, Response
from fastapi.responses import PlainTextResponse

# This machine only: whoever reaches the port under another name was sent there by a page of somebody else.
HOSTS = ("127.0.0.1", "localhost")
LARGEST_BODY = 64_000_000  # bytes, of a photo with its form
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
        response = PlainTextResponse(why[1], why[0]) if why else await answer(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if not request.url.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "no-store")
        return response


def _refused(request: Request) -> tuple[int, str] | None:
    host = request.headers.get("host", "")
    if host.rpartition(":")[0] not in HOSTS and host not in HOSTS:
        return 421, "This shop is served under 127.0.0.1 only."
    if request.method in ("GET", "HEAD"):
        return None
    origin = request.headers.get("origin")
    if origin is not None and origin != f"{request.url.scheme}://{host}":
        return 403, "This change was asked for by another site and was not made."
    if origin is None and request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return 403, "This change was asked for by another site and was not made."
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > LARGEST_BODY:
        return 413, f"A page may send at most {LARGEST_BODY // 10**6} MB. Choose a smaller photo."
    return None
