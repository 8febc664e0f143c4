"""The list of jobs, a new job, and a job put away or brought back."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from proofpatch.errors import InputError
from proofpatch.lasers import laser as find_laser
from proofpatch.lasers import laser_ids
from proofpatch.learn.limits import PRESETS
from proofpatch.materials import substrate, substrate_ids
from proofpatch.phrases import chance_words
from proofpatch.shop.invented import invented_among
from proofpatch.shop.job import DEFAULT_LASER, job_from
from proofpatch.shop.lasers import entries_of, entry_named, every_of, known
from proofpatch.shop.people import jobs_of
from proofpatch.shop.photos import add_photo, exported, photo_of, thumbnail
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.undone import undo_job
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.stop import HardStop
from proofpatch.web.desk import Desk
from proofpatch.web.filling import Filling
from proofpatch.web.shell import Form, Pages, Sent, inside, text, version

SHOWN = 50  # jobs on a page
AGAIN = 3  # s after which a list that still grows is looked at again
FAMILIES = ("wood", "metal", "stone", "paper")
PLASTIC = "plastic"  # no ground that is cleaned here: it counts as PVC, and the job is refused


def routes(page: Pages, store: Store, desk: Desk, filling: Filling) -> APIRouter:
    """The pages of the list."""
    router = APIRouter()

    @router.get("/")
    def jobs(q: str = "") -> HTMLResponse:
        going = filling.going
        found = store.all("job", words=q[:200], most=SHOWN)
        named = {one.id for one in found}
        theirs = [store.get("job", key) for key in jobs_of(store, q[:200], SHOWN) if key not in named]
        found += [one for one in theirs if one.deleted is None]
        notes = store.titles("survey", [entry.id for entry in found])
        lasers = {id: one.version for id, one in every_of(store).items()}
        rows = [_row(entry, notes.get(entry.id), lasers) for entry in found]
        many = store.count("job", q[:200]) + len(found) - len(named)
        gone = store.all("job", deleted=True, most=SHOWN)
        made_up = invented_among(store, [entry.id for entry in (*found, *gone)])
        answer = page(
            "jobs.html", rows=rows, many=many, q=q[:200], shown=SHOWN, made_up=made_up,
            with_invented=any(entry.id in made_up for entry in found),
            gone=[one for one in gone if one.id not in made_up], away=sum(one.id in made_up for one in gone),
            left=0 if q else filling.left(), going=going, trouble=filling.trouble,
        )  # fmt: skip
        if going:
            answer.headers["Refresh"] = str(AGAIN)
        return answer

    @router.get("/new")
    def new() -> HTMLResponse:
        return page("new.html", **_new_form(store, {"preset": settings_of(store)[0].preset}))

    @router.post("/new")
    def make(form: Sent) -> Response:
        try:
            data = _new_job(form)
            check(store, data)
        except InputError as error:
            return page("new.html", 422, **_new_form(store, form, error))
        entry = store.add("job", data, title=data["job"]["title"])
        desk.begin(entry)
        refused = with_photo(page, store, form, entry.id, "the piece", "job", "survey")
        return refused or RedirectResponse(f"/jobs/{entry.id}/survey", 303)

    @router.get("/jobs/{key}")
    def job(key: str) -> Response:
        store.get("job", key)
        return RedirectResponse(f"/jobs/{key}/survey", 303)

    @router.post("/jobs/{key}/undo")
    def undo(key: str, form: Sent) -> Response:
        desk.begin(undo_job(store, key, version(form)))
        return RedirectResponse(inside(text(form, "after") or f"/jobs/{key}/survey"), 303)

    @router.post("/jobs/{key}/delete")
    def delete(key: str, form: Sent) -> Response:
        store.delete("job", key, version(form))
        return RedirectResponse("/", 303)

    @router.post("/jobs/{key}/restore")
    def restore(key: str, form: Sent) -> Response:
        store.restore("job", key, version(form))
        return RedirectResponse(f"/jobs/{key}/survey", 303)

    @router.get("/photos/{digest}")
    def small(digest: str) -> Response:
        photo_of(store, digest)
        return Response(thumbnail(store, digest), media_type="image/jpeg")

    @router.get("/photos/{digest}/whole")
    def whole(digest: str) -> Response:
        return Response(exported(store, digest), media_type=f"image/{photo_of(store, digest).kind.lower()}")

    return router


def with_photo(
    page: Pages, store: Store, form: Form, job: str, about: str, what: str, step: str
) -> Response | None:  # fmt: skip
    """The photo that came with `what` of a job, kept beside it; a page that says so where it cannot be."""
    photo = form.get("photo")
    if isinstance(photo, bytes) and photo:
        try:
            add_photo(store, photo, job, about=about)
        except InputError as error:
            return page("trouble.html", 422, title=f"The {what} is kept, the photo is not", problem=str(error),
                        back=f"/jobs/{job}/{step}")  # fmt: skip
    return None


def check(store: Store, data: Mapping[str, Any]) -> None:
    """Refuses what cannot be read; a material that no beam touches is kept, its page says the refusal."""
    try:
        job_from(data, lasers=known(entry_named(store, data)))
    except HardStop:
        return


def _new_form(store: Store, form: Form, error: InputError | None = None) -> dict[str, Any]:
    """What the page of a new job shows."""
    grounds = [("unknown", "not sure"), (PLASTIC, "plastic, or it may be PVC"), *((name, name) for name in FAMILIES)]
    grounds += sorted(((key, substrate(key).title) for key in substrate_ids()), key=lambda pair: pair[1])
    return {
        "form": form, "error": error, "kinds": TESTS["kind"].values, "grounds": grounds, **job_choices(store),
    }  # fmt: skip


def presets() -> list[tuple[str, str]]:
    """(name, its limits in words) of each preset."""
    return [
        (name, f"harm at most {chance_words(limits.p_harm)}, clean at least {chance_words(limits.p_clean)}")
        for name, limits in PRESETS.items()
    ]


def job_choices(store: Store, held: str = "") -> dict[str, Any]:
    """What a job may be given: limits in words, lasers with the shop's own first; the one it holds stays in reach."""
    own = [(key, entry.title) for key, entry in entries_of(store).items()]
    if held and held not in (*dict(own), *laser_ids()):
        own.append((held, f"{every_of(store)[held].title if held in every_of(store) else held}, put away"))
    return {
        "presets": presets(), "lasers": own + [(key, find_laser(key).title) for key in laser_ids()],
        "default_laser": own[0][0] if own else DEFAULT_LASER,
    }  # fmt: skip


def _new_job(form: Form) -> dict[str, Any]:
    """The tables of a new job."""
    title = text(form, "title") or f"Piece of {datetime.datetime.now():%d %B, %H:%M}"
    data: dict[str, Any] = {
        "job": {"title": title, "laser": text(form, "laser") or DEFAULT_LASER},
        "limits": {"preset": text(form, "preset") or "ordinary"},
        "evidence": {"substrate": text(form, "substrate") or "unknown"},
    }
    if text(form, "substrate") == PLASTIC:
        data["evidence"]["substrate"] = "unknown"
        data["job"]["suspects"] = ["PVC"]
    if text(form, "kind"):
        data["evidence"]["kind"] = text(form, "kind")
    if text(form, "year"):
        data["evidence"]["year"] = text(form, "year")
    return data


def _row(entry: Entry, note: str | None, lasers: Mapping[str, int]) -> dict[str, Any]:
    """A line of the list; what was said of an older version of the job or its laser is not said of this one.

    lasers: of the shop, id -> version.
    """
    about = json.loads(note) if note else {}
    now = (entry.version, lasers.get(entry.data.get("job", {}).get("laser", DEFAULT_LASER), 0))
    if (about.get("version"), about.get("laser", 0)) != now:
        about = {"next": "Open it", "states": [], "found": ""}
    about.setdefault("at", "survey")
    return {"entry": entry, "over": about["states"][-1:] == ["done"], **about}
