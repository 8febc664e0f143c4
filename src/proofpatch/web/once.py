"""What a phone kept while the laptop was out of reach, and sends when it is back: made once, however often it is sent.

Such a request carries an id of its own. Only an answer with the same id in its head comes from the page it was meant
for; without it the phone keeps what it has: a sign-in page or a refusal at the door looks like an answer too.
"""

from __future__ import annotations

import datetime
import re
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, FastAPI, Request, Response
from fastapi.responses import JSONResponse
from starlette.concurrency import run_in_threadpool

from proofpatch.errors import InputError
from proofpatch.shop.log import stamp
from proofpatch.shop.store import Repeated, Store
from proofpatch.web.guard import Next

SENT, AT, MADE = "Proofpatch-Sent", "Proofpatch-At", "Proofpatch-Made"
ID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
# Forms whose change is made once.
LATER = re.compile(
    r"/jobs/[^/]+/(?:patches|notes|photo|strips/[^/]+/(?:end|photo)|run|run/day|run/control|run/[0-9a-f]{32}/(?:delete|restore))"
)
OLDEST = datetime.timedelta(days=60)  # an entry that waited longer has a wrong clock


@dataclass(frozen=True)
class Sending:
    """What a request says of itself. id: empty of a plain form; when: it was written, as a log has it."""

    id: str
    when: str


def _sending(request: Request) -> Sending:
    return Sending(request.headers.get(SENT, ""), written(request.headers.get(AT, "")))


Later = Annotated[Sending, Depends(_sending)]


def written(said: str) -> str:
    """When an entry was written, by the phone's clock; now where that cannot be."""
    try:
        when = datetime.datetime.fromisoformat(said)
    except ValueError:
        return stamp()
    now = datetime.datetime.now(datetime.UTC)
    if when.tzinfo is None or not now - OLDEST < when < now:
        return stamp()
    return when.astimezone(datetime.UTC).isoformat(timespec="seconds")


def in_one(store: Store, sending: Sending) -> AbstractContextManager[None]:
    """All that a phone sent with its id, or nothing, as it sends it again; a plain form is written as it comes."""
    return store.together(sending.id) if sending.id else nullcontext()


def once(app: FastAPI, store: Store) -> None:
    """Answers what is sent again without doing it again; says of every answer which id it belongs to."""

    @app.exception_handler(Repeated)
    async def repeated(request: Request, _: Repeated) -> JSONResponse:
        return JSONResponse({"made": True})

    @app.middleware("http")
    async def check(request: Request, answer: Next) -> Response:
        sent = request.headers.get(SENT)
        if sent is None or request.method != "POST":
            return await answer(request)
        if not ID.fullmatch(sent) or not LATER.fullmatch(request.url.path):
            return JSONResponse({"made": False, "problem": "This form is not sent later."}, 422)
        response = JSONResponse({"made": True}) if await _stands(store, sent) else await answer(request)
        if response.status_code == 303:
            response = JSONResponse({"made": True})
        elif response.status_code >= 400 and await _stands(store, sent):
            response.headers[MADE] = "yes"  # all but its photo
        response.headers[SENT] = sent
        return response


async def _stands(store: Store, sent: str) -> bool:
    """Whether it was made; a store that cannot be read is told by the page itself."""
    try:
        return await run_in_threadpool(store.stands, sent)
    except InputError:
        return False
