"""Test patches of a job on screen: the next strip, what came of each step, what it taught."""

from __future__ import annotations

import datetime
import json
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.cli_read import KNOBS, read_setting
from proofpatch.cli_show import setting_words
from proofpatch.errors import InputError
from proofpatch.learn.evidence import ADVISED_WAIT, HARMS, RESIDUES
from proofpatch.materials import substrate
from proofpatch.shop.job import Job
from proofpatch.shop.log import checked_graded, setting_to
from proofpatch.shop.store import Store
from proofpatch.units import parse
from proofpatch.web.desk import Desk
from proofpatch.web.road import Road
from proofpatch.web.shell import Form, Pages, Sent, text, version


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of the patches."""
    router = APIRouter()

    def patches_page(found: Road, error: InputError | None = None, form: Form | None = None) -> Response:
        record, dialled = (None, []) if found.closed else found.strip
        return page(
            "patches.html", 422 if error else 200, road=found, here="patches", stop=found.closed, record=record,
            dialled=[json.dumps(one) for one in dialled], error=error, form=form or {}, words=setting_words,
            residues=RESIDUES, harms=HARMS,
            advised=ADVISED_WAIT.get(substrate(found.work.surface.substrate).family) if found.work else None,
        )  # fmt: skip

    @router.get("/jobs/{key}/patches")
    def patches(key: str) -> Response:
        return patches_page(desk.look(key, "strip"))

    @router.post("/jobs/{key}/patches")
    def grade(key: str, form: Sent) -> Response:
        found = desk.wait(key, "strip")
        if found.work is None or found.closed:
            return patches_page(found)
        try:
            data = _graded(form, found.work)
        except InputError as error:
            return patches_page(found, error, form)
        store.add("patch", data, key, f"{data['residue']}, {data['harm']}", by=text(form, "grader"))
        desk.begin(store.get("job", key))
        return RedirectResponse(f"/jobs/{key}/patches", 303)

    @router.post("/jobs/{key}/patches/{patch}/delete")
    def ungrade(key: str, patch: str, form: Sent) -> Response:
        store.delete("patch", patch, version(form))
        desk.begin(store.get("job", key))
        return RedirectResponse(f"/jobs/{key}/patches", 303)

    return router


def _graded(form: Form, work: Job) -> dict[str, Any]:
    """A line of the patch log from a form: the step that was laid, the speed that was moved, what came of it.

    Raises:
        InputError: a choice is missing, or the patch contradicts itself.
    """
    try:
        given = json.loads(text(form, "step") or "null")
    except ValueError:
        given = None
    if not isinstance(given, dict) or not all(isinstance(value, str) for value in given.values()):
        raise InputError("step", "No step was chosen.", "Choose the one that was laid.")
    for name, words in (("residue", "how much is left"), ("harm", "what it did to what lies under it")):
        if not text(form, name):
            raise InputError(name, f"It was not said {words}.", "Choose one of the grades.")
    setting, _ = read_setting({**dict.fromkeys(KNOBS), **given}, work.laser)
    values: dict[str, Any] = {"residue": text(form, "residue"), "harm": text(form, "harm")}
    for name, kind in (("seconds", "duration"), ("length", "length"), ("waited", "duration")):
        if text(form, name):
            values[name] = parse(text(form, name), kind, name)
    if text(form, "grader"):
        values["grader"] = text(form, "grader")
    values["wiped"] = text(form, "unwiped") == ""
    graded = checked_graded(setting, values, len(work.surface.coats))
    when = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
    return {"setting": setting_to(graded.setting), **values, "when": when}
