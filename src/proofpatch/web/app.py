"""The pages: read, call, show. Everything works without a script."""

from __future__ import annotations

import copy
import datetime
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, FastAPI, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from fastapi.staticfiles import StaticFiles
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

from proofpatch.cli_hazards import concentration_words
from proofpatch.cli_read import KNOBS, read_setting
from proofpatch.cli_show import clock_sentence, setting_words
from proofpatch.documents.method import method_pdf
from proofpatch.documents.survey import survey_pdf
from proofpatch.errors import InputError
from proofpatch.lasers import laser as find_laser
from proofpatch.lasers import laser_ids
from proofpatch.learn.evidence import ADVISED_WAIT, HARMS, RESIDUES
from proofpatch.learn.limits import PRESETS
from proofpatch.materials import substrate, substrate_ids
from proofpatch.pictures.room import room_svg
from proofpatch.records_hazards import metres, times_over
from proofpatch.shop.job import DEFAULT_LASER, Job, job_from
from proofpatch.shop.log import checked_graded, setting_to
from proofpatch.shop.photos import add_photo, photo_of, thumbnail
from proofpatch.shop.store import Entry, Overtaken, Store
from proofpatch.shop.surveyed import beam_stop
from proofpatch.survey.clear import hazards
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.identify import in_100
from proofpatch.survey.stop import HardStop
from proofpatch.units import parse, show
from proofpatch.web.guard import guard
from proofpatch.web.road import ANSWERS, Road, chance_words, choices, keep, road

HERE = Path(__file__).parent
SHOWN = 50  # jobs on a page
FACTS = ("built", "year", "use", "refinished", "cleaned", "condition", "layers", "thickness", "moisture", "beside",
         "aired")  # fmt: skip
FAMILIES = ("wood", "metal", "stone", "paper")
HAZARD_FIELDS = ("method", "date", "name", "controls", "reason")
Form = Mapping[str, Any]


async def _form(request: Request) -> dict[str, Any]:
    """The fields of a form as text, a file as its bytes."""
    async with request.form(max_files=4, max_fields=60) as form:
        found: dict[str, Any] = {}
        for name, value in form.items():
            found[name] = await value.read() if isinstance(value, UploadFile) else value
        return found


Sent = Annotated[dict[str, Any], Depends(_form)]


def create(store: Store) -> FastAPI:
    """The pages over a store."""
    app = FastAPI(title="proofpatch", docs_url=None, redoc_url=None, openapi_url=None)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    guard(app)
    pages = Environment(
        loader=PackageLoader("proofpatch.web"), autoescape=select_autoescape(), undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    pages.globals |= {"show": show, "in_100": in_100, "metres": metres, "times_over": times_over, "ANSWERS": ANSWERS,
                      "concentration": concentration_words, "chance_words": chance_words}  # fmt: skip

    def page(name: str, status: int = 200, **values: Any) -> HTMLResponse:
        return HTMLResponse(pages.get_template(name).render(values), status)

    @app.exception_handler(HTTPException)
    async def unknown(_: Request, trouble: HTTPException) -> HTMLResponse:
        said = "There is no such page." if trouble.status_code == 404 else f"This cannot be done: {trouble.detail}."
        return page("trouble.html", trouble.status_code, title="Not done", problem=said, back="/")

    @app.exception_handler(InputError)
    async def missing(_: Request, trouble: InputError) -> HTMLResponse:
        return page("trouble.html", 404, title="Not done", problem=str(trouble), back="/")

    @app.exception_handler(Overtaken)
    async def overtaken(request: Request, trouble: Overtaken) -> HTMLResponse:
        back = f"/jobs/{request.path_params.get('key', '')}/survey"
        return page("trouble.html", 409, title="Changed meanwhile", problem=str(trouble), back=back)

    @app.get("/")
    def jobs(q: str = "") -> HTMLResponse:
        found = store.all("job", words=q[:200], most=SHOWN)
        notes = store.titles("survey", [entry.id for entry in found])
        rows = [_row(entry, notes.get(entry.id)) for entry in found]
        many = store.count("job", q[:200])
        return page(
            "jobs.html", rows=rows, many=many, q=q[:200], shown=SHOWN, gone=store.all("job", deleted=True, most=5)
        )

    @app.get("/new")
    def new() -> HTMLResponse:
        return page("new.html", **_new_form({}))

    @app.post("/new")
    def make(form: Sent) -> Response:
        try:
            data, photo = _new_job(form)
            _check(data)
        except InputError as error:
            return page("new.html", 422, **_new_form(form, error))
        entry = store.add("job", data, title=data["job"]["title"])
        if photo:
            try:
                add_photo(store, photo, entry.id, about="the piece")
            except InputError as error:
                keep(store, road(store, entry))
                return page("trouble.html", 422, title="The job is kept, the photo is not", problem=str(error),
                            back=f"/jobs/{entry.id}/survey")  # fmt: skip
        keep(store, road(store, entry))
        return RedirectResponse(f"/jobs/{entry.id}/survey", 303)

    def folder(key: str) -> Road:
        return road(store, store.get("job", key))

    @app.get("/jobs/{key}")
    def job(key: str) -> Response:
        store.get("job", key)
        return RedirectResponse(f"/jobs/{key}/survey", 303)

    def survey_page(key: str, test: str | None, error: InputError | None = None, form: Form | None = None) -> Response:
        found = folder(key)
        record = found.survey
        asked = test if test in TESTS else (record["next_test"] if record and test is None else None)
        ask = TESTS.get(asked) if asked else None
        return page(
            "survey.html", 422 if error else 200, road=found, here="survey", record=record, ask=ask,
            next=record["next"] if record and ask and ask.id == record["next_test"] else None,
            choices=choices(found.work, ask.id) if ask and found.work and found.work.survey else [],
            tests=sorted(TESTS.values(), key=lambda one: one.rank), said=_said(found.entry.data), facts=FACTS,
            error=error, form=form or {}, photos=store.all("photo", found.entry.id),
            settle=[hazards()[one["hazard"]] for one in record["hazards"] if one["open"]] if record else [],
            before=len(store.history("job", key)) > 1,
        )  # fmt: skip

    @app.get("/jobs/{key}/survey")
    def survey(key: str, test: str | None = None) -> Response:
        return survey_page(key, test)

    def change(
        key: str, form: Form, step: str, make: Callable[[dict[str, Any]], None], again: Callable[[InputError], Response]
    ) -> Response:
        """The job's data with something changed, checked and kept; `again` shows the form that cannot be read."""
        data = copy.deepcopy(dict(store.get("job", key).data))
        try:
            make(data)
            _check(data)
        except InputError as error:
            return again(error)
        keep(store, road(store, store.change("job", key, _version(form), data)))
        return RedirectResponse(f"/jobs/{key}/{step}", 303)

    def change_survey(key: str, form: Form, test: str, make: Callable[[dict[str, Any]], None]) -> Response:
        return change(key, form, "survey", make, lambda error: survey_page(key, test, error, form))

    @app.post("/jobs/{key}/survey")
    def answer(key: str, form: Sent) -> Response:
        test = str(form.get("test", ""))

        def make(data: dict[str, Any]) -> None:
            if test not in TESTS:
                raise InputError("test", "This test is not known.", "Choose one of the list.")
            value, spot, time = (_text(form, name) for name in ("value", "spot", "time"))
            if not value:
                raise InputError("value", "No answer was chosen.", "Choose what you saw, or ask something else.")
            evidence = data.setdefault("evidence", {})
            evidence[f"{test}@{spot}" if spot else test] = f"{value}, {time}" if time else value

        return change_survey(key, form, test, make)

    @app.post("/jobs/{key}/about")
    def about(key: str, form: Sent) -> Response:
        def make(data: dict[str, Any]) -> None:
            evidence = data.setdefault("evidence", {})
            for name in FACTS:
                text = _text(form, name)
                evidence.pop(name, None)
                if text:
                    evidence[name] = text

        return change_survey(key, form, "none", make)

    @app.post("/jobs/{key}/settle")
    def settle(key: str, form: Sent) -> Response:
        def make(data: dict[str, Any]) -> None:
            hazard, status = _text(form, "hazard"), _text(form, "status")
            record = {"status": status} | {name: _text(form, name) for name in HAZARD_FIELDS if _text(form, name)}
            if hazard == "lead":
                data["lead"] = record
            else:
                kept = [one for one in data.get("cleared", []) if one["hazard"] != hazard]
                data["cleared"] = [*kept, {"hazard": hazard, **record}]

        return change_survey(key, form, "none", make)

    @app.post("/jobs/{key}/photo")
    def photo(key: str, form: Sent) -> Response:
        try:
            add_photo(store, form.get("photo") or b"", store.get("job", key).id, about=_text(form, "about"))
        except InputError as error:
            return survey_page(key, None, error, form)
        return RedirectResponse(f"/jobs/{key}/survey", 303)

    @app.post("/jobs/{key}/undo")
    def undo(key: str, form: Sent) -> Response:
        keep(store, road(store, store.undo("job", key, _version(form))))
        return RedirectResponse(f"/jobs/{key}/survey", 303)

    @app.post("/jobs/{key}/delete")
    def delete(key: str, form: Sent) -> Response:
        store.delete("job", key, _version(form))
        return RedirectResponse("/", 303)

    @app.post("/jobs/{key}/restore")
    def restore(key: str, form: Sent) -> Response:
        store.restore("job", key, _version(form))
        return RedirectResponse(f"/jobs/{key}/survey", 303)

    @app.get("/jobs/{key}/forecast")
    def forecast(key: str) -> Response:
        found = folder(key)
        return page("forecast.html", road=found, here="forecast", record=found.forecast)

    def patches_page(found: Road, error: InputError | None = None, form: Form | None = None) -> Response:
        stop = found.stop or (beam_stop(found.work) if found.work else None)
        record, dialled = (None, []) if stop else found.strip
        return page(
            "patches.html", 422 if error else 200, road=found, here="patches", stop=stop, record=record,
            dialled=[json.dumps(one) for one in dialled], error=error, form=form or {}, words=setting_words,
            residues=RESIDUES, harms=HARMS,
            advised=ADVISED_WAIT.get(substrate(found.work.surface.substrate).family) if found.work else None,
        )  # fmt: skip

    @app.get("/jobs/{key}/patches")
    def patches(key: str) -> Response:
        return patches_page(folder(key))

    @app.post("/jobs/{key}/patches")
    def grade(key: str, form: Sent) -> Response:
        found = folder(key)
        if found.work is None or found.stop or beam_stop(found.work):
            return patches_page(found)
        try:
            data = _graded(form, found.work)
        except InputError as error:
            return patches_page(found, error, form)
        store.add("patch", data, key, f"{data['residue']}, {data['harm']}", by=_text(form, "grader"))
        keep(store, folder(key))
        return RedirectResponse(f"/jobs/{key}/patches", 303)

    @app.post("/jobs/{key}/patches/{patch}/delete")
    def ungrade(key: str, patch: str, form: Sent) -> Response:
        store.delete("patch", patch, _version(form))
        keep(store, folder(key))
        return RedirectResponse(f"/jobs/{key}/patches", 303)

    @app.get("/jobs/{key}/recipe")
    def recipe(key: str) -> Response:
        found = folder(key)
        stop = found.stop or (beam_stop(found.work) if found.work else None)
        record, margins = (None, []) if stop else found.recipe
        return page("recipe.html", road=found, here="recipe", stop=stop, record=record, margins=margins,
                    words=setting_words, clock=clock_sentence)  # fmt: skip

    @app.get("/jobs/{key}/hazards")
    def danger(key: str) -> Response:
        return hazards_page(folder(key))

    def hazards_page(found: Road, error: InputError | None = None, form: Form | None = None) -> Response:
        return page(
            "hazards.html", 422 if error else 200, road=found, here="hazards", record=found.hazards, error=error,
            form=form or _placed(found.entry.data),
        )  # fmt: skip

    @app.post("/jobs/{key}/place")
    def place(key: str, form: Sent) -> Response:
        return change(
            key, form, "hazards", lambda data: _place(data, form), lambda error: hazards_page(folder(key), error, form)
        )

    @app.get("/jobs/{key}/room.svg")
    def room(key: str) -> Response:
        found = folder(key)
        if found.zone is None:
            raise InputError("room", "The job has no room.", "Describe it first.")
        return Response(room_svg(found.zone), media_type="image/svg+xml")

    @app.get("/jobs/{key}/survey.pdf")
    def survey_sheet(key: str) -> Response:
        found = folder(key)
        if found.survey is None:
            raise InputError("survey", "This is refused before any survey.", "Go back to the job.")
        return Response(survey_pdf(found.survey, found.entry.title), media_type="application/pdf")

    @app.get("/jobs/{key}/hazards.pdf")
    def statement(key: str) -> Response:
        found = folder(key)
        if found.hazards is None:
            raise InputError("hazards", "This is refused before any beam.", "Go back to the job.")
        return Response(method_pdf(found.hazards, found.zone), media_type="application/pdf")

    @app.get("/photos/{digest}")
    def small(digest: str) -> Response:
        photo_of(store, digest)
        return Response(thumbnail(store, digest), media_type="image/jpeg")

    return app


def _text(form: Form, name: str) -> str:
    value = form.get(name, "")
    return " ".join(value.split()) if isinstance(value, str) else ""


def _version(form: Form) -> int:
    text = _text(form, "version")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0


def _check(data: Mapping[str, Any]) -> None:
    """Refuses what cannot be read; a material that no beam touches is kept, its page says the refusal."""
    try:
        job_from(data)
    except HardStop:
        return


def _graded(form: Form, work: Job) -> dict[str, Any]:
    """A line of the patch log from a form: the step that was laid, the speed that was moved, what came of it.

    Raises:
        InputError: a choice is missing, or the patch contradicts itself.
    """
    try:
        given = json.loads(_text(form, "step") or "null")
    except ValueError:
        given = None
    if not isinstance(given, dict) or not all(isinstance(value, str) for value in given.values()):
        raise InputError("step", "No step was chosen.", "Choose the one that was laid.")
    for name, words in (("residue", "how much is left"), ("harm", "what it did to what lies under it")):
        if not _text(form, name):
            raise InputError(name, f"It was not said {words}.", "Choose one of the grades.")
    setting, _ = read_setting({**dict.fromkeys(KNOBS), **given}, work.laser)
    values: dict[str, Any] = {"residue": _text(form, "residue"), "harm": _text(form, "harm")}
    for name, kind in (("seconds", "duration"), ("length", "length"), ("waited", "duration")):
        if _text(form, name):
            values[name] = parse(_text(form, name), kind, name)
    if _text(form, "grader"):
        values["grader"] = _text(form, "grader")
    values["wiped"] = _text(form, "unwiped") == ""
    graded = checked_graded(setting, values, len(work.surface.coats))
    when = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
    return {"setting": setting_to(graded.setting), **values, "when": when}


def _new_form(form: Form, error: InputError | None = None) -> dict[str, Any]:
    """What the page of a new job shows."""
    presets = [
        (name, f"harm at most {chance_words(limits.p_harm)}, clean at least {chance_words(limits.p_clean)}")
        for name, limits in PRESETS.items()
    ]
    grounds = [("unknown", "not sure"), *((name, name) for name in FAMILIES)]
    grounds += sorted(((key, substrate(key).title) for key in substrate_ids()), key=lambda pair: pair[1])
    return {
        "form": form, "error": error, "kinds": TESTS["kind"].values, "grounds": grounds, "presets": presets,
        "lasers": [(key, find_laser(key).title) for key in laser_ids()], "default_laser": DEFAULT_LASER,
    }  # fmt: skip


def _new_job(form: Form) -> tuple[dict[str, Any], bytes]:
    """(the tables of a new job, its photo or nothing)."""
    title = _text(form, "title") or f"Piece of {datetime.datetime.now():%d %B, %H:%M}"
    data: dict[str, Any] = {
        "job": {"title": title, "laser": _text(form, "laser") or DEFAULT_LASER},
        "limits": {"preset": _text(form, "preset") or "ordinary"},
        "evidence": {"substrate": _text(form, "substrate") or "unknown"},
    }
    if _text(form, "kind"):
        data["evidence"]["kind"] = _text(form, "kind")
    if _text(form, "year"):
        data["evidence"]["year"] = _text(form, "year")
    photo = form.get("photo")
    return data, photo if isinstance(photo, bytes) else b""


# Field of the form -> where it stands in the job's tables.
PLACE = {
    "length": ("room", "length"), "width": ("room", "width"), "height": ("room", "height"),
    "capture": ("air", "capture"), "flow": ("air", "flow"),
}  # fmt: skip


def _place(data: dict[str, Any], form: Form) -> None:
    """Room and air of a form into the job's tables; what is empty is taken out."""
    for name, (table, key) in PLACE.items():
        data.setdefault(table, {}).pop(key, None)
        if _text(form, name):
            data[table][key] = _text(form, name)
    work = [part for part in (_text(form, "across"), _text(form, "up")) if part]
    data["room"].pop("work", None)
    if work:
        data["room"]["work"] = work
    for table in ("room", "air"):
        if not data[table]:
            del data[table]


def _placed(data: Mapping[str, Any]) -> dict[str, str]:
    """Room and air of a job as its form shows them."""
    found = {name: str(data.get(table, {}).get(key, "")) for name, (table, key) in PLACE.items()}
    across, up = data.get("room", {}).get("work", ["", ""])
    return found | {"across": across, "up": up}


def _row(entry: Entry, note: str | None) -> dict[str, Any]:
    """A line of the list; what was said of an older version of the job is not said of this one."""
    about = json.loads(note) if note else {}
    if about.get("version") != entry.version:
        about = {"next": "Open it", "states": [], "found": ""}
    return {"entry": entry, **about}


def _said(data: Mapping[str, Any]) -> dict[str, str]:
    """What the evidence says so far, by name."""
    return {str(name): ", ".join(value) if isinstance(value, list) else str(value)
            for name, value in data.get("evidence", {}).items()}  # fmt: skip
