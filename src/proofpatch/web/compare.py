"""Before and after on screen and in print: two photos of one place, laid over each other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse

from proofpatch.documents.pair import pair_pdf
from proofpatch.errors import InputError
from proofpatch.photos.overlay import WIDTH
from proofpatch.photos.pairs import Pair
from proofpatch.shop.invented import headed
from proofpatch.shop.pair_words import pair_words
from proofpatch.shop.pairs import PLACES, by_length, marked_jpeg, narrowed, pair_jpegs, pair_of
from proofpatch.shop.photos import photo_of, photo_path
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Entry, Store
from proofpatch.units import parse
from proofpatch.web.desk import Desk
from proofpatch.web.shell import Pages
from proofpatch.web.tapped import place_of, places_of, places_said

WIDE = 748  # px, as wide as a page's text
PRINTED = 1200  # px of a printed picture
TAPS = {"places": 2 * PLACES, "ends": 2}  # how many of each are tapped


@dataclass(frozen=True)
class Asked:
    """Which two photos, by their digests, and what was tapped: places and ends as `places_said`, length in words."""

    before: str = ""
    after: str = ""
    places: str = ""
    ends: str = ""
    length: str = ""

    def query(self, **changed: str) -> str:
        """The same as part of an address."""
        said = {**vars(self), **changed}
        return "?" + urlencode({name: value for name, value in said.items() if value})


def _asked(request: Request) -> Asked:
    return Asked(**{name: request.query_params.get(name, "")[:200] for name in vars(Asked())})


Asking = Annotated[Asked, Depends(_asked)]


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of before and after."""
    router = APIRouter(prefix="/jobs/{key}/compare")

    def photos(key: str) -> list[Entry]:
        return store.in_order("photo", key)

    def paths(key: str, asked: Asked) -> tuple[Path, Path]:
        known = {one.data["digest"] for one in photos(key)}
        for name in ("before", "after"):
            if getattr(asked, name) not in known:
                raise InputError(name, f"The photo {name} is not of this job.", "Choose two photos of it.")
        if asked.before == asked.after:
            raise InputError("after", "Both photos are the same one.", "Choose another one for after.")
        before, after = (photo_path(store, photo_of(store, one)) for one in (asked.before, asked.after))
        return before, after

    def laid_of(key: str, asked: Asked) -> tuple[Pair, list[str]]:
        files = paths(key, asked)
        pair, error = pair_of(*files, places_of(asked.places, TAPS["places"])), None
        ends = places_of(asked.ends, TAPS["ends"])
        if asked.length and len(ends) == TAPS["ends"] and pair.share is not None and pair.area is None:
            length = parse(asked.length, "length", "length")
            pair, error = by_length(pair, files[0], ends, length, WIDTH)
        return pair, pair_words(pair, error) if pair.before is not None else []

    def found(key: str, asked: Asked) -> tuple[Pair, list[str]]:
        pair, lines = laid_of(key, asked)
        if pair.before is None:
            raise InputError("after", pair.because, "")
        return pair, lines

    @router.get("")
    def compare(key: str, asked: Asking) -> Response:
        lines: list[str] = []
        pair, error = None, None
        if asked.before or asked.after:
            try:
                pair, lines = laid_of(key, asked)
            except InputError as trouble:
                error = trouble
                if trouble.field in ("length", "ends"):
                    pair, lines = laid_of(key, replace(asked, length=""))
        return page(
            "compare.html", 422 if error else 200, road=desk.wait(key), here="compare", photos=photos(key), pair=pair,
            asked=asked, error=error, lines=lines, taken=taken_words,
            measuring=len(places_of(asked.ends, TAPS["ends"])) == TAPS["ends"],
        )  # fmt: skip

    @router.get("/tap/{what}")
    def tap(key: str, what: str, asked: Asking, request: Request) -> Response:
        if what not in TAPS:
            raise InputError("what", "There is nothing of that name to tap.", "Go back to the job.")
        files = paths(key, asked)
        done = places_of(getattr(asked, what), TAPS[what])
        if "tap.x" in request.query_params and len(done) < TAPS[what]:
            done = (*done, place_of(request.query_params, "tap", narrowed(files[len(done) >= PLACES], WIDTH)))
            more = asked.query(**{what: places_said(done)})
            whole = len(done) == TAPS[what]
            return RedirectResponse(f"/jobs/{key}/compare{'' if whole else f'/tap/{what}'}{more}", 303)
        if len(done) == TAPS[what]:
            done = ()
        other = len(done) >= PLACES
        return page(
            "taps.html", road=desk.wait(key), here="compare", asked=asked, what=what, done=done, wide=WIDTH,
            which="after" if other else "before", number=len(done) % PLACES + 1, said=places_said(done),
            back=places_said(done[:-1]), own=places_said(done[PLACES:] if other else done),
            first=places_said(done[:PLACES]),
        )  # fmt: skip

    @router.get("/photo/{which}.jpg")
    def photo(key: str, which: str, asked: Asking, marks: str = "") -> Response:
        if which not in ("before", "after"):
            raise InputError("which", "There is no such picture.", "Go back to the job.")
        made = marked_jpeg(paths(key, asked)[which == "after"], places_of(marks, PLACES), WIDTH)
        return Response(made, media_type="image/jpeg")

    @router.get("/{which}.jpg")
    def picture(key: str, which: str, asked: Asking) -> Response:
        if which not in ("before", "after"):
            raise InputError("which", "There is no such picture.", "Go back to the job.")
        made = pair_jpegs(found(key, replace(asked, length=""))[0], WIDE)
        return Response(made[which == "after"], media_type="image/jpeg")

    @router.get(".pdf")
    def printed(key: str, asked: Asking) -> Response:
        (pair, lines), size = found(key, asked), settings_of(store)[0].paper
        known = {one.data["digest"]: one for one in photos(key)}
        said = [taken_words(known[digest]) for digest in (asked.before, asked.after)]
        title = headed(store, store.get("job", key))
        measured = pair.share is not None
        sheet = pair_pdf(title, pair_jpegs(pair, PRINTED), said, lines, size, measured=measured)
        return Response(sheet, media_type="application/pdf")

    return router


def taken_words(one: Entry) -> str:
    """What a photo shows, and when it came."""
    about = one.data.get("about") or "the piece"
    return f"{about}, {one.created.astimezone().strftime('%d %b %Y, %H:%M')}"
