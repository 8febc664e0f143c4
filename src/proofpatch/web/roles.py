"""Who may change what: the one place where it is decided, before a page or the interface is asked.

Looking is every role's. A change is the least role's that names its address here; one that nobody named is the owner's.
The laptop itself is the owner's.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache

from starlette.routing import compile_path

from proofpatch.shop.roles import OPERATOR, OWNER, ROLES, VIEWER, covers

# What a role cannot do, said once on a page.
SAID = {
    "": "This device is not signed in; nothing was changed.",
    VIEWER: "This device is signed in as a viewer: it looks, and changes nothing.",
    OPERATOR: "This device is signed in as an operator: prices, papers, settings, deleting and other "
    "shops' files are the owner's.",
}
REMEDY = "The laptop gives another role, under Shop, Devices."
LOOKS = ("GET", "HEAD", "OPTIONS")
J = "/jobs/{key}"
LOTS = ("", "/look", "/starter", "/{key}/weight", "/{key}/delete", "/{key}/restore")
# Role -> method and address of each change that it may ask for, the lesser roles' beside. "": also who did not sign in.
CHANGES = {
    "": ("POST /door", "POST /join/{code}", "POST /appearance"),
    # A device's own choices, its own leaving, and figures that are worked out and not kept.
    VIEWER: (
        "POST /shop/here", "POST /shop/devices/{key}/end", "POST /api/bench", "POST /api/hazards",
    ),
    OPERATOR: (
        "POST /new", f"POST {J}/piece", f"POST {J}/notes",
        # Survey, with what settles a hazard, and the room the beam is used in.
        *(f"POST {J}/{step}" for step in ("survey", "about", "settle", "aired", "photo", "place")),
        # What it turned out to be, after the fact.
        f"POST {J}/confirmed", f"POST {J}/confirmed/{{one}}/delete", f"POST {J}/confirmed/{{one}}/restore",
        # Measured by shape, photo or scan; removing a zone is the owner's.
        f"POST {J}/measure/{{zone:int}}", f"POST {J}/measure/{{zone:int}}/{{at}}", f"POST {J}/measure/new/{{shape}}",
        f"POST {J}/measure/{{zone:int}}/new/{{shape}}", f"POST {J}/measure/photo",
        f"POST {J}/measure/photo/{{digest}}", f"POST {J}/measure/scan", f"POST {J}/measure/scan/{{digest}}",
        # Patches. A slip of the thumb is taken back where it was made: nobody may work by a grade known to be wrong.
        f"POST {J}/strips", f"POST {J}/patches", f"POST {J}/patches/{{patch}}/delete",
        f"POST {J}/patches/{{patch}}/restore",
        *(f"POST {J}/strips/{{strip}}/{step}" for step in ("end", "photo", "tap", "untap", "drop", "grades")),
        f"POST {J}/strips/{{strip}}/corners/{{number}}", f"POST {J}/recipe", "POST /lasers/{key}",
        f"POST {J}/start", f"POST {J}/start/undo",
        # The day and the run, and what is signed at the piece.
        f"POST {J}/run", f"POST {J}/run/day", f"POST {J}/run/control", f"POST {J}/run/{{entry}}/delete",
        f"POST {J}/run/{{entry}}/restore", f"POST {J}/approval", f"POST {J}/record", f"POST {J}/record/pairs",
        f"POST {J}/record/pairs/{{pair}}/delete", f"POST {J}/record/pairs/{{pair}}/restore",
        f"POST {J}/records/{{one}}/sign",
        # The same over HTTP.
        *(f"POST /api/jobs/{{id}}/{what}" for what in (
            "notes", "photos", "scans", "scans/{scan}/measured", "strips", "strips/{strip}/photos",
            "strips/{strip}/graded", "graded", "graded/{patch}/restore", "day", "control", "run",
            "run/{entry}/restore", "approvals", "start",
            "confirmed", "confirmed/{one}/restore",
        )),
        "DELETE /api/jobs/{id}/graded/{patch}", "DELETE /api/jobs/{id}/run/{entry}",
        "DELETE /api/jobs/{id}/confirmed/{one}",
    ),
    # Named too, so that none is an owner's only because it was forgotten.
    OWNER: (
        "POST /jobs/import", f"POST {J}/job", f"POST {J}/past/{{number}}", f"POST {J}/undo", f"POST {J}/delete",
        f"POST {J}/restore", f"POST {J}/notes/{{note}}/delete", f"POST {J}/notes/{{note}}/restore",
        f"POST {J}/measure/remove",
        f"POST {J}/offer", f"POST {J}/quote", f"POST {J}/quotes", f"POST {J}/quotes/{{quote}}/accept",
        f"POST {J}/quotes/{{quote}}/payments", f"POST {J}/quotes/{{quote}}/invoice",
        f"POST {J}/payments/{{payment}}/delete", f"POST {J}/payments/{{payment}}/restore",
        "POST /shop", "POST /shop/prices", "POST /shop/prices/undo", "POST /shop/devices/passphrase",
        "POST /shop/devices/code", "POST /shop/devices/end", "POST /shop/devices/{key}/role",
        "POST /lasers/new", "POST /lasers/{key}/correct", "POST /lasers/{key}/readings/{number}/take-back",
        "POST /lasers/{key}/undo", "POST /lasers/{key}/delete", "POST /lasers/{key}/restore",
        # What jobs start from, what others gave, and the invented workshop.
        "POST /learned/use", "POST /learned/form-anew", *(f"POST /learned/lots{what}" for what in LOTS),
        "POST /api/lots", "POST /api/lots/look", "POST /api/lots/starter", "PUT /api/lots/{lot}",
        "DELETE /api/lots/{lot}",
        "PUT /api/settings/{setting}",
        "POST /api/lots/{lot}/restore", *(f"POST /invented{what}" for what in ("", "/away", "/back")),
        "POST /api/jobs", "PUT /api/jobs/{id}", "DELETE /api/jobs/{id}", "POST /api/jobs/{id}/restore",
        "POST /api/jobs/{id}/undo", "POST /api/jobs/{id}/quotes/{quote}/invoices",
        "POST /api/jobs/{id}/quotes/{quote}/payments",
    ),
}  # fmt: skip
# As the router itself reads addresses, so that none is one thing here and another there.
READ = [
    (role, method, compile_path(address)[0])
    for role, changes in CHANGES.items()
    for method, address in (change.split(" ") for change in changes)
]
_acting: ContextVar[str] = ContextVar("acting", default=OWNER)


def acting() -> str:
    """The role of the device that is being answered; "" of one that is not signed in."""
    return _acting.get()


@contextmanager
def acting_as(role: str) -> Iterator[None]:
    """What is made inside is made for a device of that role."""
    before = _acting.set(role)
    try:
        yield
    finally:
        _acting.reset(before)


@lru_cache(maxsize=4096)
def least(method: str, address: str) -> str:
    """The least role that may ask for this. Where several read the same address the strictest counts."""
    if method in LOOKS:
        return ""  # whether it is signed in is asked at the door
    found = [role for role, how, read in READ if how == method and read.match(address)]
    return max(found, key=("", *ROLES).index) if found else OWNER


def may(role: str, method: str, address: str) -> bool:
    """Whether a device of that role may ask for this."""
    return covers(role, least(method, address))
