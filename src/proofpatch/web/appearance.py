"""How a device shows the pages: as it is set itself, light, dark, or with the most contrast, through tinted eyewear.

The choice is the device's own and stays in its cookie: the laptop in the office is not the phone behind eyewear.
"""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.responses import RedirectResponse

from proofpatch.web.guard import Next
from proofpatch.web.shell import A_YEAR, Pages, Sent, inside, text

COOKIE = "proofpatch-appearance"
DEVICE = "device"
APPEARANCES = {DEVICE: "As this device", "light": "Light", "dark": "Dark", "eyewear": "Through eyewear"}


@dataclass(frozen=True)
class Look:
    """What a page is told of the device; here: the path it was asked under, to come back to."""

    name: str = DEVICE
    here: str = "/"


_look: ContextVar[Look] = ContextVar("look", default=Look())  # noqa: B039 - it is frozen


def wear(app: FastAPI, page: Pages) -> None:
    """Has every page shown as its device chose, and takes the choice."""
    page.templates.globals |= {"look": _look.get, "APPEARANCES": APPEARANCES}

    @app.middleware("http")
    async def as_chosen(request: Request, answer: Next) -> Response:
        said = request.cookies.get(COOKIE, DEVICE)
        here = quote(request.url.path) + (f"?{request.url.query}" if request.url.query else "")
        token = _look.set(Look(said if said in APPEARANCES else DEVICE, here))
        try:
            return await answer(request)
        finally:
            _look.reset(token)

    app.include_router(routes())


def routes() -> APIRouter:
    """The choice of an appearance."""
    router = APIRouter()

    @router.post("/appearance")
    def choose(request: Request, form: Sent) -> Response:
        said = text(form, "appearance")
        response = RedirectResponse(inside(text(form, "back")), 303)
        if said in APPEARANCES:
            response.set_cookie(
                COOKIE, said, max_age=A_YEAR, httponly=True, samesite="lax", secure=request.url.scheme == "https"
            )
        return response

    return router
