"""How a phone is made to trust this shop, and how that is undone; the authority's certificate to take along."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from proofpatch.errors import InputError
from proofpatch.shop.certificate import Certificate
from proofpatch.web.shell import Pages

FILE = "/trust/proofpatch-shop.crt"


def routes(page: Pages) -> APIRouter:
    """The pages of trust. `state.certificate` of the application is the shop's, None on plain http."""
    router = APIRouter()

    @router.get("/trust")
    def trust(request: Request) -> Response:
        found: Certificate | None = request.app.state.certificate
        port = request.app.state.port
        return page(
            "trust.html", found=found, file=FILE, pairs=lines_of(found.fingerprint) if found else [],
            own=f"https://localhost:{port}/trust", over=f"https://{request.url.hostname}:{port}/",
            secure=request.url.scheme == "https",
        )  # fmt: skip

    @router.get(FILE)
    def authority(request: Request) -> Response:
        found: Certificate | None = request.app.state.certificate
        if found is None:
            raise InputError("tls", "This shop has no certificate.", "Open it with: proofpatch serve --tls")
        named = {"Content-Disposition": f'attachment; filename="{FILE.rpartition("/")[2]}"'}
        return Response(found.der, media_type="application/x-x509-ca-cert", headers=named)

    return router


def lines_of(fingerprint: str) -> list[str]:
    """A fingerprint in four lines of eight pairs, easy to compare."""
    pairs = fingerprint.split(":")
    return [" ".join(pairs[start : start + 8]) for start in range(0, len(pairs), 8)]


class OnlyTrust:
    """The same application over plain http: the pages of trust and nothing else, as all else belongs on https."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self.app, self.port = app, port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"].startswith(("/trust", "/static/")):
            await self.app(scope, receive, send)
            return
        host = dict(scope["headers"]).get(b"host", b"").decode("ascii", "replace").rpartition(":")[0]
        known = host if host.replace(".", "").replace("-", "").isalnum() else "localhost"
        answer = Response(status_code=307, headers={"Location": f"https://{known}:{self.port}/trust"})
        await answer(scope, receive, send)
