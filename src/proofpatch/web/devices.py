"""The door's pages: signing in on a phone, the code on the laptop's screen, who is signed in."""

from __future__ import annotations

import segno
from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from proofpatch.errors import InputError
from proofpatch.shop import door as kept
from proofpatch.shop.roles import BY_PASSPHRASE, OPERATOR, OWNER, ROLES, VIEWER
from proofpatch.shop.store import Store
from proofpatch.web.door import COOKIE, Door, address_of, keep_key, own_addresses
from proofpatch.web.shell import Pages, Sent, inside, text

# What each role may do, in words; who may what is in web/roles.py.
MAY = {
    OWNER: "everything but what only the laptop does",
    OPERATOR: "survey, measure, grade, photograph, run, sign off; no prices, settings, deleting",
    VIEWER: "look, and change nothing",
}
AN = {OWNER: "an owner", OPERATOR: "an operator", VIEWER: "a viewer"}
QUIET = 4  # modules of white around a code (ISO/IEC 18004)


def routes(page: Pages, store: Store, door: Door | None) -> APIRouter:
    """The pages of the door; without a door only the list and the passphrase, on this machine."""
    router = APIRouter()
    list_pages(router, page, store, door)
    if door is not None:
        door_pages(router, page, store, door)
    return router


def code_picture(address: str) -> str:
    """An address as a code a phone's camera reads, dark on white whatever the page is."""
    return str(
        segno.make(address, error="m").svg_inline(
            border=QUIET, dark="#000", light="#fff", omitsize=True, svgclass="code", lineclass=None
        )
    )


def door_pages(router: APIRouter, page: Pages, store: Store, door: Door) -> None:
    """Signing in by the passphrase, or by the code."""

    def at_the_door(after: str, error: InputError | None = None, device: str = "", status: int = 200) -> Response:
        return page("door.html", status, after=inside(after), error=error, device=device)

    @router.get("/door")
    def look(request: Request, after: str = "/") -> Response:
        if request.state.here or door.device(request):
            return RedirectResponse(inside(after), 303)
        return at_the_door(after)

    @router.post("/door")
    async def knock(request: Request, form: Sent) -> Response:
        address, after, name = address_of(request), text(form, "after"), text(form, "name")
        wait = door.tries.wait(address)
        if wait > 0:
            seconds = f"{wait:.0f} s" if wait >= 1 else "a second"
            problem = "There were too many wrong passphrases."
            error = InputError("passphrase", problem, f"Wait {seconds}, or scan the code on the laptop's screen.")
            answer = at_the_door(after, error, name, 429)
            answer.headers["Retry-After"] = str(int(wait) + 1)
            return answer
        # Counted before it is looked at, so that many at once are many; a right one takes it back.
        door.tries.wrong(address)
        said = form.get("passphrase")
        if not await run_in_threadpool(door.fits, said if isinstance(said, str) else ""):
            error = InputError("passphrase", "This is not the shop's passphrase.", "It is set on the laptop.")
            return at_the_door(after, error, name, 403)
        door.tries.right(address)
        return await run_in_threadpool(let_in, request, after, name, BY_PASSPHRASE)

    @router.get("/join/{code}")
    def shown(request: Request, code: str) -> Response:
        # Looked at only: a phone's camera or messenger may fetch an address before anyone taps it.
        return page("join.html", 200 if door.codes.good(code) else 410, code=code if door.codes.good(code) else "")

    @router.post("/join/{code}")
    def join(request: Request, code: str, form: Sent) -> Response:
        role = door.codes.spend(code)
        if not role:
            return page("join.html", 410, code="")
        return let_in(request, "/", text(form, "name"), role)

    def let_in(request: Request, after: str, name: str, role: str) -> Response:
        try:
            token = kept.sign_in(store, name, address_of(request), role)
        except InputError as error:
            return at_the_door(after, error, name, 409)
        return keep_key(RedirectResponse(inside(after), 303), request, token)


def list_pages(router: APIRouter, page: Pages, store: Store, door: Door | None) -> None:
    """Who is signed in, and signing out; on the laptop also the code and the passphrase."""

    def devices_page(request: Request, error: InputError | None = None) -> Response:
        code, left = door.codes.now() if door else ("", 0.0)
        own = request.state.device
        known = kept.devices(store) if request.state.here else [own] if own else []
        at = f"{request.url.scheme}://{{}}:{door.port}" if door else "{}"
        addresses = [at.format(one) for one in own_addresses()] if door else []
        return page(
            "devices.html", 422 if error else 200, here=request.state.here, own=own, error=error,
            signed_in=[one for one in known if kept.stays(store, one)],
            gone=[one for one in known if not kept.stays(store, one)],
            since=kept.passphrase_set(store), shortest=kept.SHORTEST, open=door is not None, addresses=addresses,
            code=code, minutes=left / 60, role=door.codes.role if door else OPERATOR, roles=MAY,
            an=AN, by_passphrase=BY_PASSPHRASE, plain=request.url.scheme != "https",
            picture=code_picture(f"{addresses[0]}/join/{code}") if code and addresses else "",
        )  # fmt: skip

    def on_the_laptop(request: Request) -> None:
        if not request.state.here:
            raise HTTPException(403, "only the machine the shop runs on may do it")

    @router.get("/shop/devices")
    def look(request: Request) -> Response:
        return devices_page(request)

    @router.post("/shop/devices/passphrase")
    async def keep(request: Request, form: Sent) -> Response:
        on_the_laptop(request)
        said, again = (str(form.get(name, "")) for name in ("passphrase", "again"))
        try:
            if said != again:
                raise InputError("again", "The two do not match.", "Type the passphrase twice.")
            await run_in_threadpool(kept.set_passphrase, store, said)
        except InputError as error:
            return await run_in_threadpool(devices_page, request, error)
        return RedirectResponse("/shop/devices", 303)

    @router.post("/shop/devices/code")
    def show_code(request: Request, form: Sent) -> Response:
        on_the_laptop(request)
        if door is not None:
            door.codes.make(said if (said := text(form, "role")) in ROLES else OPERATOR)
        return RedirectResponse("/shop/devices#code", 303)

    @router.post("/shop/devices/end")
    def all_out(request: Request) -> Response:
        on_the_laptop(request)
        kept.sign_out(store, why="signed out on the laptop")
        return RedirectResponse("/shop/devices", 303)

    @router.post("/shop/devices/{key}/role")
    def give(request: Request, key: str, form: Sent) -> Response:
        on_the_laptop(request)
        try:
            kept.give_role(store, key, text(form, "role"))
        except InputError as error:
            return devices_page(request, error)
        return RedirectResponse("/shop/devices", 303)

    @router.post("/shop/devices/{key}/end")
    def out(request: Request, key: str) -> Response:
        own = request.state.device
        if own is None or own.id != key:
            on_the_laptop(request)
            kept.sign_out(store, key, "signed out on the laptop")
            return RedirectResponse("/shop/devices", 303)
        kept.sign_out(store, key, "signed itself out")
        answer = RedirectResponse("/door", 303)
        answer.delete_cookie(COOKIE)
        return answer
