"""Scans over HTTP: kept as they came, and measured: what is picked, how sure its area is, what the beam gets to."""

from __future__ import annotations

import datetime
import math
from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter, File, Form, UploadFile
from pydantic import BaseModel, Field

from proofpatch.errors import InputError
from proofpatch.measure import picking
from proofpatch.measure.mesh import CREASE, Region
from proofpatch.measure.mesh_file import KINDS, LARGEST, SMALLEST, UNITS
from proofpatch.measure.reach import reach
from proofpatch.measure.scanned import scanned_record
from proofpatch.measure.sides import UP_OF, UPS, facing_words
from proofpatch.measure.zones import likely
from proofpatch.records_measure import area_record, reach_record
from proofpatch.shop.scans import add_scan, mesh_of, scan_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.values import LONGEST_TEXT
from proofpatch.web.api import models as m
from proofpatch.web.api.fields import PRINTABLE, bounded, line, one_of
from proofpatch.web.api.find import open_job, thing
from proofpatch.web.api.trouble import Declined, at


class Scan(BaseModel):
    """A scan of a job; sides: of the box about it, in whatever its numbers are in."""

    id: str
    version: int
    digest: str
    kind: str
    name: str
    about: str
    size: int
    sides: list[float]
    faces: int
    created: datetime.datetime
    by: str


class Scans(BaseModel):
    """The scans of a job, the last first."""

    scans: list[Scan]


class ReachAsked(m.Sent):
    """How the head is led; what is left out is as the table of instruments has it."""

    incidence_rad: Annotated[float | None, bounded(0.01, math.radians(85), "steepest the beam may fall [rad]")] = None
    focus_depth_m: Annotated[float | None, bounded(1e-5, 10, "along the beam [m]")] = None
    sweep_width_m: Annotated[float | None, bounded(1e-4, 10, "of the swept line [m]")] = None
    follows: Annotated[bool, Field(description="whether the hand keeps the stand-off along the face")] = True


class ScanAsked(m.Sent):
    """unit or longest_m: its scale, one of them. picks: "all", "s-top", "f12", "n12", in order; none picks all."""

    unit: Annotated[str | None, one_of(list(UNITS)), line(2)] = None
    longest_m: Annotated[float | None, bounded(SMALLEST, LARGEST, "longest side, by tape [m]")] = None
    up: Annotated[str | None, one_of(UPS), line(1)] = None
    crease_rad: Annotated[float, bounded(0, math.pi, "turn that ends a smooth face [rad]")] = CREASE
    picks: Annotated[
        list[Annotated[str, Field(pattern=r"^(all|s-[a-z]{3,6}|[fn][0-9]{1,7})$", max_length=8)]],
        Field(max_length=picking.MOST_PICKS, default_factory=list),
    ]
    reach: ReachAsked | None = None


class SmoothFace(BaseModel):
    """A smooth face: the number to pick it by, its area and where it faces."""

    seed: int
    area_m2: float
    form: str
    direction: list[float]
    facing: str
    picked: bool


class ScanMeasured(BaseModel):
    """What is picked of a scan; zone_scan: for the `scans` of a zone of the job's tables."""

    area_m2: float
    area_low_m2: float
    area_high_m2: float
    spread: float
    words: str
    sides_m: list[float]
    notes: list[str]
    smooth: list[SmoothFace]
    reach: dict[str, Any] | None
    zone_scan: dict[str, Any]


def routes(store: Store) -> APIRouter:
    """The addresses of scans."""
    router = APIRouter(responses=m.GONE)

    @router.get("/jobs/{id}/scans")
    def scans(id: m.Key) -> Scans:
        """The scans of a job."""
        thing(store, "job", id)
        return Scans(scans=[_scan(entry) for entry in store.all("scan", id)])

    @router.post("/jobs/{id}/scans", status_code=201, responses=m.CHANGES)
    def add(
        id: m.Key,
        scan: Annotated[UploadFile, File(description="OBJ, STL, PLY or GLB")],
        kind: Annotated[Literal[KINDS], Form()],  # type: ignore[valid-type]  # the reader's own list
        about: Annotated[str, Form(max_length=LONGEST_TEXT, pattern=PRINTABLE)] = "",
    ) -> Scan:
        """A scan of the piece, kept as it came."""
        open_job(store, id)
        with at("", {"mesh": "scan"}):
            return _scan(add_scan(store, scan.file.read(), f"scan.{kind}", id, about))

    @router.post("/jobs/{id}/scans/{scan}/measured", responses=m.CHANGES)
    def measured(id: m.Key, scan: m.Digest, sent: ScanAsked) -> ScanMeasured:
        """Its picked parts measured, nothing kept: `proofpatch measure --mesh`."""
        open_job(store, id)
        try:
            entry = scan_of(store, scan, id)
        except InputError as error:
            raise Declined(404, "scan", error.problem, error.remedy) from None
        up = sent.up or UP_OF[entry.data["kind"]]
        if (sent.unit is None) == (sent.longest_m is None):
            raise InputError("unit", "The scan does not say its unit.", "Give unit or longest_m, one of them.")
        with at("", {"longest": "longest_m", "pick": "picks", "mesh": "unit", "crease": "crease_rad"}):
            mesh = mesh_of(store, entry, sent.unit, sent.longest_m)
            picks = picking.picked(mesh, sent.picks or ["all"], sent.crease_rad, up)
            region = Region(mesh=mesh, picked=picks, title="whole mesh" if picks.all() else "picked parts")
        low, high = likely(region.area, region.spread)
        longest = "" if sent.longest_m is None else f"{sent.longest_m!r} m"
        return ScanMeasured(
            area_m2=region.area, area_low_m2=low, area_high_m2=high, spread=region.spread,
            words=area_record(region)["words"], sides_m=[float(side) for side in np.ptp(mesh.vertices, axis=0)],
            notes=list(mesh.notes),
            smooth=[_smooth(one, picks, up) for one in picking.smooth_faces(mesh, sent.crease_rad)],
            reach=_reach(region, sent.reach) if sent.reach else None,
            zone_scan=scanned_record(region, scan, sent.unit, longest, ""),
        )  # fmt: skip

    return router


def _reach(region: Region, asked: ReachAsked) -> dict[str, Any]:
    names = {"incidence": "reach.incidence_rad", "focus_depth": "reach.focus_depth_m",
             "sweep_width": "reach.sweep_width_m"}  # fmt: skip
    with at("", names):
        return reach_record(
            reach(region, incidence=asked.incidence_rad, focus_depth=asked.focus_depth_m,
                  sweep_width=asked.sweep_width_m, follows=asked.follows)
        )  # fmt: skip


def _smooth(one: picking.Smooth, picks: Any, up: str) -> SmoothFace:
    facing = "all round" if one.form == "turning round" else facing_words(one.direction, up)
    return SmoothFace(seed=one.seed, area_m2=one.area, form=one.form, direction=list(one.direction), facing=facing,
                      picked=bool(picks[one.seed]))  # fmt: skip


def _scan(entry: Entry) -> Scan:
    return Scan(id=entry.id, version=entry.version, created=entry.created, by=entry.by, **entry.data)
