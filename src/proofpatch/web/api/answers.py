"""What is known of a job, over HTTP: the very records that the command line prints with --json."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse

import proofpatch as pp
from proofpatch.records import refusal_record
from proofpatch.records_survey import refused_survey_record, survey_record
from proofpatch.shop.confirmed import seen_of
from proofpatch.shop.log import graded_from
from proofpatch.shop.store import Store
from proofpatch.shop.surveyed import finding_of
from proofpatch.web.api import models as m
from proofpatch.web.api import records as r
from proofpatch.web.api.find import road_of, thing
from proofpatch.web.desk import Desk
from proofpatch.web.road import Road


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of a job's records; work that is refused is a record too, as at the command line."""
    router = APIRouter(responses=m.GONE)

    def folder(key: str, part: str = "") -> Road:
        return road_of(desk, thing(store, "job", key), part)

    @router.get("/jobs/{id}/survey", response_model=r.SurveyRecord)
    def survey(id: m.Key) -> Response:
        """What it is, what bites, what to try next: `proofpatch survey`."""
        found = folder(id)
        return JSONResponse(desk.run(lambda: _survey(store, found)))

    @router.get("/jobs/{id}/forecast", response_model=r.ForecastRecord)
    def forecast(id: m.Key) -> Response:
        """Can it be done at all: `proofpatch forecast`."""
        found = folder(id)
        return JSONResponse(found.forecast or refusal_record("forecast", found.stop or ""))

    @router.get("/jobs/{id}/patches", response_model=r.PatchesRecord)
    def patches(id: m.Key) -> Response:
        """The next strip: `proofpatch patch --count 3`."""
        found = folder(id, "strip")
        why = found.closed
        return JSONResponse(refusal_record("patch", why) if why else found.strip[0])

    @router.get("/jobs/{id}/recipe", response_model=r.RecipeRecord)
    def recipe(id: m.Key) -> Response:
        """What to dial in, or why nothing: `proofpatch recipe`."""
        found = folder(id, "recipe")
        why = found.closed
        return JSONResponse(refusal_record("recipe", why) if why else found.recipe[0])

    @router.get("/jobs/{id}/hazards", response_model=r.PlanRecord | r.Refusal)
    def hazards(id: m.Key) -> Response:
        """Who can be hurt, air, fire, room and power: `proofpatch hazards`. Never a clearance."""
        found = folder(id)
        return JSONResponse(found.hazards or refusal_record("hazards", found.stop or ""))

    return router


def _survey(store: Store, found: Road) -> Any:
    """The record of the survey; where the survey itself refuses the piece, with all that it found."""
    if found.survey is not None:
        return found.survey
    work = found.work
    if work is None:
        return refused_survey_record(found.stop or "")
    # The road of a refused job ends before the forecast.
    graded = [graded_from(one.data, len(work.surface.coats)) for one in store.all("patch", found.entry.id)]
    belief = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
    window = pp.forecast(pp.update(belief, graded) if graded else belief, work.limits)
    return survey_record(finding_of(work, float(window.chance), seen_of(store, found.entry.id)))
