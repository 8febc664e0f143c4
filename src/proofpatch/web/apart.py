"""Each device kept to its role: what is not its own is refused before anything of it is read."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import FastAPI, Request, Response

from proofpatch.shop.roles import OWNER
from proofpatch.web.api.trouble import trouble
from proofpatch.web.guard import API, Next
from proofpatch.web.once import ID, SENT
from proofpatch.web.roles import REMEDY, SAID, acting_as, may


def role_of(request: Request) -> str:
    """Of who asks, once the door was passed: the laptop is the owner's."""
    if request.state.here:
        return OWNER
    device = request.state.device
    return device.role if device else ""


def kept_apart(app: FastAPI, page: Callable[..., Response]) -> None:
    """Asks of every request whether its device may. page: makes the page that says no."""

    @app.middleware("http")
    async def check(request: Request, answer: Next) -> Response:
        role = role_of(request)
        with acting_as(role):
            # The path as the router has it: an address can be spelled so that its own parts differ from it.
            if may(role, request.method, request.scope["path"]):
                return await answer(request)
            return _refusal(request, role, page)


def _refusal(request: Request, role: str, page: Callable[..., Response]) -> Response:
    """The refusal as a page, or as JSON for a program."""
    if request.scope["path"].startswith(API):
        return trouble(403, "role", SAID[role], REMEDY)
    problem = f"{SAID[role]} {REMEDY}"
    response = page("trouble.html", 403, title="Not done", problem=problem, back="/")
    # What waits on a phone is told so, and stays there until its role is another.
    sent = request.headers.get(SENT, "")
    if ID.fullmatch(sent):
        response.headers[SENT] = sent
    return response
