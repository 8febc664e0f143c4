"""The survey of a job on screen: one question at a time, facts, hazards put on record, photos."""

from __future__ import annotations

import copy
import datetime
from collections.abc import Callable, Mapping
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.documents.survey import survey_pdf
from proofpatch.errors import InputError
from proofpatch.materials import substrate, substrate_ids
from proofpatch.shop.changes import last_change
from proofpatch.shop.confirmed import (
    HOW,
    KIND,
    SETTLES_NOTHING,
    SPOT,
    bring_back,
    check_suspected,
    confirm,
    confirmed_from,
    confirmed_of,
    history_of,
    seen_of,
    taken_back,
)
from proofpatch.shop.invented import headed
from proofpatch.shop.photos import add_photo
from proofpatch.shop.run import check_zones
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Store, of_job
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.finishes import UNLISTED, finishes
from proofpatch.survey.suspicions import hazards
from proofpatch.web.desk import Desk
from proofpatch.web.jobs import check, with_photo
from proofpatch.web.once import Later, in_one
from proofpatch.web.road import choices
from proofpatch.web.shell import Form, Pages, Sent, text, version

FACTS = ("built", "year", "use", "refinished", "cleaned", "condition", "layers", "thickness", "moisture", "beside",
         "aired")  # fmt: skip
HAZARD_FIELDS = ("method", "date", "name", "controls", "reason")


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of the survey."""
    router = APIRouter()

    def survey_page(key: str, test: str | None, error: InputError | None = None, form: Form | None = None) -> Response:
        found = (desk.wait if error else desk.look)(key)
        record = found.survey
        asked = test if test in TESTS else (record["next_test"] if record and test is None else None)
        ask, seen = TESTS.get(asked) if asked else None, seen_of(store, key)
        return page(
            "survey.html", 422 if error else 200, road=found, here="survey", record=record, ask=ask,
            next=record["next"] if record and ask and ask.id == record["next_test"] else None,
            choices=choices(found.work, ask.id, seen) if ask and found.work and found.work.survey else [],
            tests=sorted(TESTS.values(), key=lambda one: one.rank), said=_said(found.entry.data), facts=FACTS,
            error=error, form=form or {}, photos=store.all("photo", found.entry.id),
            settle=[hazards()[one["hazard"]] for one in record["hazards"] if one["open"]] if record else [],
            last=last_change(store, found.entry), turned=_turned(store, found.entry.id), how=HOW,
            may_be=[*((one.id, one.name) for one in finishes().values()), (UNLISTED, "something not listed")],
            grounds=[(one, substrate(one).title) for one in substrate_ids()],
        )  # fmt: skip

    @router.get("/jobs/{key}/survey")
    def survey(key: str, test: str | None = None) -> Response:
        return survey_page(key, test)

    def change_survey(key: str, form: Form, test: str, make: Callable[[dict[str, Any]], None]) -> Response:
        return change(desk, key, form, "survey", make, lambda error: survey_page(key, test, error, form))

    @router.post("/jobs/{key}/survey")
    def answer(key: str, form: Sent) -> Response:
        test = str(form.get("test", ""))

        def make(data: dict[str, Any]) -> None:
            if test not in TESTS:
                raise InputError("test", "This test is not known.", "Choose one of the list.")
            value, spot, time = (text(form, name) for name in ("value", "spot", "time"))
            if not value:
                raise InputError("value", "No answer was chosen.", "Choose what you saw, or ask something else.")
            evidence = data.setdefault("evidence", {})
            evidence[f"{test}@{spot}" if spot else test] = f"{value}, {time}" if time else value

        answered = change_survey(key, form, test, make)
        if answered.status_code != 303:
            return answered
        about = f"{TESTS[test].title}: {text(form, 'value')}"
        return with_photo(page, store, form, key, about, "answer", "survey") or answered

    @router.post("/jobs/{key}/about")
    def about(key: str, form: Sent) -> Response:
        def make(data: dict[str, Any]) -> None:
            evidence = data.setdefault("evidence", {})
            for name in FACTS:
                said = text(form, name)
                evidence.pop(name, None)
                if said:
                    evidence[name] = said

        return change_survey(key, form, "none", make)

    @router.post("/jobs/{key}/settle")
    def settle(key: str, form: Sent) -> Response:
        def make(data: dict[str, Any]) -> None:
            hazard, status = text(form, "hazard"), text(form, "status")
            record = {"status": status} | {name: text(form, name) for name in HAZARD_FIELDS if text(form, name)}
            if hazard == "lead":
                data["lead"] = record
            else:
                kept = [one for one in data.get("cleared", []) if one["hazard"] != hazard]
                data["cleared"] = [*kept, {"hazard": hazard, **record}]

        return change_survey(key, form, "none", make)

    @router.post("/jobs/{key}/aired")
    def aired(key: str, form: Sent) -> Response:
        return change_survey(key, form, "none", lambda data: data.setdefault("evidence", {}).update(aired="yes"))

    @router.post("/jobs/{key}/confirmed")
    def turned_out(key: str, form: Sent) -> Response:
        said = {name: text(form, name) for name in ("finish", "ground", "how", "test", "who", "day")}
        if said["how"] != SPOT:
            said["test"] = ""  # left as it stood in the form
        try:
            confirm(store, key, said, version(form), said["who"])
        except InputError as error:
            return survey_page(key, "none", error, form)
        return RedirectResponse(f"/jobs/{key}/survey#turned", 303)

    @router.post("/jobs/{key}/confirmed/{one}/delete")
    def not_so(key: str, one: str, form: Sent) -> Response:
        store.delete(KIND, of_job(store, KIND, one, key).id, version(form))
        return RedirectResponse(f"/jobs/{key}/survey#turned", 303)

    @router.post("/jobs/{key}/confirmed/{one}/restore")
    def so_again(key: str, one: str, form: Sent) -> Response:
        try:
            bring_back(store, key, one, version(form))
        except InputError as error:
            return survey_page(key, "none", error, form)
        return RedirectResponse(f"/jobs/{key}/survey#turned", 303)

    @router.post("/jobs/{key}/photo")
    def photo(key: str, form: Sent, sending: Later) -> Response:
        try:
            sent = form.get("photo")
            content = sent if isinstance(sent, bytes) else b""
            with in_one(store, sending):
                add_photo(store, content, store.get("job", key).id, about=text(form, "about")[:80])
        except InputError as error:
            return survey_page(key, None, error, form)
        return RedirectResponse(f"/jobs/{key}/survey", 303)

    @router.get("/jobs/{key}/survey.pdf")
    def survey_sheet(key: str) -> Response:
        found = desk.wait(key)
        if found.survey is None:
            raise InputError("survey", "This is refused before any survey.", "Go back to the job.")
        sheet = survey_pdf(found.survey, headed(store, found.entry), settings_of(store)[0].paper)
        return Response(sheet, media_type="application/pdf")

    return router


def _turned(store: Store, key: str) -> dict[str, Any]:
    """What is on record of what it turned out to be, as the page shows it."""
    now, gone = confirmed_of(store, key), taken_back(store, key)
    return {
        "now": now, "gone": gone, "said": confirmed_from(now.data).said if now else "", "past": history_of(store, key),
        "today": datetime.date.today().isoformat(), "settles": SETTLES_NOTHING,
    }  # fmt: skip


def change(
    desk: Desk, key: str, form: Form, step: str, make: Callable[[dict[str, Any]], None],
    again: Callable[[InputError], Response],
) -> Response:  # fmt: skip
    """The job's data with something changed, checked and kept; `again` shows the form that cannot be read."""
    data = copy.deepcopy(dict(desk.store.get("job", key).data))
    try:
        make(data)
        check(desk.store, data)
        before = desk.store.get("job", key).data
        check_zones(desk.store, key, before, data)
        check_suspected(desk.store, key, before, data)
    except InputError as error:
        return again(error)
    desk.begin(desk.store.change("job", key, version(form), data, data.get("job", {}).get("title")))
    return RedirectResponse(f"/jobs/{key}/{step}", 303)


def _said(data: Mapping[str, Any]) -> dict[str, str]:
    """What the evidence says so far, by name."""
    return {str(name): ", ".join(map(str, value)) if isinstance(value, list) else str(value)
            for name, value in data.get("evidence", {}).items()}  # fmt: skip
