"""What needs no job, over HTTP: the bench, the hazards of a beam, lasers and materials."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse

from proofpatch.cli_hazards import FIGURES, read_beam
from proofpatch.cli_materials import materials_record
from proofpatch.cli_read import OPTIONS
from proofpatch.errors import InputError
from proofpatch.lasers import laser as find_laser
from proofpatch.lasers import laser_ids
from proofpatch.records import bench_record, laser_record
from proofpatch.records_hazards import beam_record
from proofpatch.shop.job import DEFAULT_LASER
from proofpatch.shop.lasers import lasers_of
from proofpatch.shop.log import setting_from
from proofpatch.shop.store import Store
from proofpatch.units import kind_named
from proofpatch.web.api import models as m
from proofpatch.web.api import records as r
from proofpatch.web.api.graded import SETTING_FIELDS
from proofpatch.web.api.trouble import Declined, at

# Option of the command line -> (field of the body, named with its SI unit; kind of quantity).
BEAM = {
    name: (name if kind_named(kind).si == "1" else f"{name}_{kind_named(kind).si}", kind)
    for name, kind in FIGURES.values()
}
BEAM_FIELDS = {OPTIONS[name][0]: field for name, (field, _) in BEAM.items()}


def routes(store: Store) -> APIRouter:
    """The addresses of the calculators and tables."""
    router = APIRouter()

    @router.post("/bench", response_model=r.BenchRecord, responses=m.CHANGE)
    def bench(sent: m.BenchAsked) -> Response:
        """Pulse, overlap and dose of one setting: of `proofpatch bench` what needs no drawing."""
        laser = lasers_of(store).get(sent.laser) or find_laser(sent.laser) if sent.laser else None
        with at("", SETTING_FIELDS):
            setting = setting_from(sent.setting.model_dump())
            if laser:
                laser.check(setting)
        share = (laser or find_laser(DEFAULT_LASER)).top_hat_share if sent.top_hat_share is None else sent.top_hat_share
        return JSONResponse(bench_record(setting, share, (), laser.power_factor if laser else 1.0))

    @router.post("/hazards", response_model=r.BeamRecord, responses=m.CHANGE)
    def hazards(sent: m.BeamAsked) -> Response:
        """Limits, distances and eyewear of a beam: `proofpatch hazards`. Never a clearance."""
        given: dict[str, Any] = {"laser": sent.laser}
        for name, (field, kind) in BEAM.items():
            value, unit = getattr(sent, field), kind_named(kind).si
            given[name] = None if value is None else f"{value!r} {'' if unit == '1' else unit}"
        with at("", BEAM_FIELDS):
            found, assumed = read_beam(given)
        record = beam_record(found)
        return JSONResponse(record | {"assumptions": [*assumed, *record["assumptions"]]})

    @router.get("/lasers", response_model=r.Lasers)
    def lasers() -> Response:
        """The shop's lasers as their readings have them, then the built-in ones, all invented: `proofpatch lasers`."""
        every = [*lasers_of(store).values(), *map(find_laser, laser_ids())]
        return JSONResponse({"lasers": [laser_record(one) for one in every]})

    @router.get("/materials", response_model=r.Materials)
    def materials() -> Response:
        """Every coating and substrate by name: `proofpatch materials`."""
        return JSONResponse(materials_record(None))

    @router.get("/materials/{name}", response_model=r.Material, responses=m.GONE)
    def material(name: m.Named) -> Response:
        """One coating or substrate, by id or everyday name, with every value and its source."""
        try:
            return JSONResponse(materials_record(name))
        except InputError as error:
            remedy = error.remedy.replace("proofpatch materials", "/api/materials")
            raise Declined(404, "name", error.problem.replace("The NAME", "The name", 1), remedy) from None

    return router
