"""Measuring a job on screen: its zones, shapes by their figures, outlines tapped on a photo."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.errors import InputError
from proofpatch.measure.doubt import least_sure
from proofpatch.measure.outline import Outline
from proofpatch.measure.registry import catalogue
from proofpatch.measure.scanned import is_kept
from proofpatch.measure.tables import INSTRUMENTS, efforts
from proofpatch.pictures.shapes import lettered, sketch
from proofpatch.records_measure import measure_record
from proofpatch.shop.changes import last_change
from proofpatch.shop.photos import add_photo
from proofpatch.shop.store import Store
from proofpatch.shop.zones import READERS
from proofpatch.units import show, system
from proofpatch.web.desk import Desk
from proofpatch.web.outline import kept_pictures
from proofpatch.web.road import Road
from proofpatch.web.scan_state import scanning_kept
from proofpatch.web.shell import Form, Pages, Sent, text
from proofpatch.web.survey import change
from proofpatch.web.taps import taps_kept
from proofpatch.web.zone_form import (
    LIKE,
    area_of,
    at_field,
    put_zone,
    rows_of,
    shape_entry,
    shape_said,
    zone_name,
    zone_of,
    zone_said,
)


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of measuring, those of a photo apart."""
    router = APIRouter()

    def measure_page(key: str, error: InputError | None = None, found: Road | None = None) -> Response:
        found = found or desk.look(key)
        zones = found.work.measured if found.work else ()
        record = measure_record(zones) if zones else None
        return page(
            "measure.html", 422 if error else 200, road=found, here="measure", record=record, error=error,
            answer=answer(record) if record else "", doubt=least_sure(zones), shapes=catalogue(), sketch=sketch,
            rows=rows_of_zones(found), photos=store.all("photo", key), scans=store.all("scan", key),
            last=last_change(store, found.entry),
        )  # fmt: skip

    @router.get("/jobs/{key}/measure")
    def measure(key: str) -> Response:
        return measure_page(key)

    @router.post("/jobs/{key}/measure/photo")
    def photo(key: str, form: Sent) -> Response:
        sent = form.get("photo")
        try:
            entry = add_photo(store, sent if isinstance(sent, bytes) else b"", store.get("job", key).id,
                              about=text(form, "about")[:80])  # fmt: skip
        except InputError as error:
            return measure_page(key, error, desk.wait(key))
        return RedirectResponse(f"/jobs/{key}/measure/photo/{entry.data['digest']}{_into(form)}", 303)

    @router.post("/jobs/{key}/measure/remove")
    def remove(key: str, form: Sent) -> Response:
        number, kind, at = (text(form, name) for name in ("zone", "kind", "at"))
        back = "measure" if not kind else f"measure/{number}"

        def make(data: dict[str, Any]) -> None:
            entry = zone_of(data, number)
            if not kind:
                data["zones"].remove(entry)
                if not data["zones"]:
                    del data["zones"]
            elif kind == "area":
                entry.pop("area", None)
                entry.pop("how", None)
            else:
                area_of(entry, kind, at)
                del entry[kind][int(at)]
                if not entry[kind]:
                    del entry[kind]

        return change(desk, key, form, back, make, lambda error: measure_page(key, at_field(error), desk.wait(key)))

    # One zone

    def zone_page(key: str, number: int, error: InputError | None = None, form: Form | None = None) -> Response:
        found = desk.wait(key) if error else desk.look(key)
        entry = zone_of(found.entry.data, number)
        row = rows_of_zones(found)[number] if found.work else None
        for one in row["areas"] if row else ():
            one["pictures"] = (
                kept_pictures(store, key, entry, number, one["at"]) if one["photo"] and one["href"] else {}
            )
        return page(
            "zone.html", 422 if error else 200, road=found, here="measure", number=number, row=row, error=error,
            form=form if form is not None else zone_said(entry), kinds=efforts(), shapes=catalogue(), sketch=sketch,
            photos=store.all("photo", key), scans=store.all("scan", key),
            last=last_change(store, found.entry),
        )  # fmt: skip

    @router.get("/jobs/{key}/measure/{zone:int}")
    def zone(key: str, zone: int) -> Response:
        return zone_page(key, zone)

    @router.post("/jobs/{key}/measure/{zone:int}")
    def keep_zone(key: str, zone: int, form: Sent) -> Response:
        def make(data: dict[str, Any]) -> None:
            put_zone(zone_of(data, zone), form)

        return change(desk, key, form, f"measure/{zone}", make, lambda e: zone_page(key, zone, at_field(e), form))

    # A shape by its figures

    def shape_page(
        key: str, shape: str, zone: int | None, at: str | None, error: InputError | None = None,
        form: Form | None = None,
    ) -> Response:  # fmt: skip
        found = desk.wait(key) if form else desk.look(key)
        one = next((one for one in catalogue() if one["shape"] == shape), None)
        if one is None:
            raise InputError("shape", "This shape is not known.", "Choose one of the list.")
        entry = zone_of(found.entry.data, zone) if zone is not None else None
        called = zone_name(entry, zone) if entry is not None and zone is not None else ""
        told = form or {}
        if not form and entry is not None and at is not None:
            told = shape_said(_shape_at(entry, at))
        return page(
            "shape.html", 422 if error else 200, road=found, here="measure", shape=one, zone=zone, at=at, called=called,
            error=error, form=told, rows=rows_of(shape, told), kinds=efforts(), instruments=INSTRUMENTS,
            sketch=sketch(shape), letters=lettered(shape), like=LIKE[system()],
            count=len(found.entry.data.get("zones", ())),
        )  # fmt: skip

    def keep_shape(key: str, shape: str, zone: int | None, at: str | None, form: Form) -> Response:
        def again(error: InputError | None) -> Response:
            return shape_page(key, shape, zone, at, at_field(error) if error else None, form)

        def make(data: dict[str, Any]) -> None:
            record = shape_entry(shape, form)
            if zone is None:
                entry: dict[str, Any] = {}
                put_zone(entry, form)
                data.setdefault("zones", []).append({**entry, "shapes": [record]})
            elif at is None:
                zone_of(data, zone).setdefault("shapes", []).append(record)
            elif at == "area":
                entry = zone_of(data, zone)
                entry.pop("how", None)
                entry |= {name: value for name, value in record.items() if name != "shape"}
            else:
                entry = zone_of(data, zone)
                _shape_at(entry, at)
                entry["shapes"][int(at)] = record

        if form.get("more"):
            return again(None)
        return change(desk, key, form, "measure" if zone is None else f"measure/{zone}", make, again)

    @router.get("/jobs/{key}/measure/new/{shape}")
    def new_zone(key: str, shape: str) -> Response:
        return shape_page(key, shape, None, None)

    @router.post("/jobs/{key}/measure/new/{shape}")
    def keep_new_zone(key: str, shape: str, form: Sent) -> Response:
        return keep_shape(key, shape, None, None, form)

    @router.get("/jobs/{key}/measure/{zone:int}/new/{shape}")
    def new_shape(key: str, zone: int, shape: str) -> Response:
        return shape_page(key, shape, zone, None)

    @router.post("/jobs/{key}/measure/{zone:int}/new/{shape}")
    def keep_new_shape(key: str, zone: int, shape: str, form: Sent) -> Response:
        return keep_shape(key, shape, zone, None, form)

    @router.get("/jobs/{key}/measure/{zone:int}/{at}")
    def old_shape(key: str, zone: int, at: str) -> Response:
        return shape_page(key, _shape_in(store, key, zone, at), zone, at)

    @router.post("/jobs/{key}/measure/{zone:int}/{at}")
    def keep_old_shape(key: str, zone: int, at: str, form: Sent) -> Response:
        return keep_shape(key, _shape_in(store, key, zone, at), zone, at, form)

    return router


def answer(record: Mapping[str, Any]) -> str:
    """All zones in one sentence."""
    beam, hand, untouched = (record[f"{name}_m2"] for name in ("beam", "by_hand", "untouched"))
    if not record["area_m2"]:
        return f"Nothing here is for the beam: {show(untouched, 'area')} is not to be touched."
    head = (
        f"{show(record['area_m2'], 'area')} to clean, {show(record['area_low_m2'], 'area', like=record['area_m2'])} to "
        f"{show(record['area_high_m2'], 'area', like=record['area_m2'])} nine times in ten"
    )
    if not beam:
        return f"{head}, all of it by hand." if not untouched else f"{head}, all of it by hand; {_left(untouched)}."
    if not hand:
        head = f"{head}, all of it under the beam"
    else:
        head = f"{head}: {show(beam, 'area')} under the beam, {show(hand, 'area')} by hand"
    return f"{head}; {_left(untouched)}." if untouched else f"{head}."


def _left(untouched: float) -> str:
    return f"{show(untouched, 'area')} is left untouched"


def rows_of_zones(found: Road) -> list[dict[str, Any]]:
    """The zones of a job as a page lists them: each with its areas, where these stand, and where they are changed."""
    if found.work is None or not found.work.measured:
        return []
    data = found.entry.data["zones"]
    record = measure_record(found.work.measured)
    rows = []
    for number, (entry, zone, said) in enumerate(zip(data, found.work.measured, record["zones"], strict=True)):
        places = [("area", 0)] if "area" in entry else []
        places += [(kind, i) for kind in READERS for i in range(len(entry.get(kind, ())))]
        areas = [
            {**one, "kind": kind, "at": at, "area": area, "href": _href(found.entry.id, entry, number, kind, at),
             "photo": area.photo if isinstance(area, Outline) else ""}
            for (kind, at), area, one in zip(places, zone.areas, said["areas"], strict=True)
        ]  # fmt: skip
        rows.append({**said, "areas": areas, "number": number, "effort_words": _effort_words(entry)})
    return rows


def _effort_words(entry: Mapping[str, Any]) -> str:
    said = entry.get("effort", "")
    return ", ".join(efforts()[name].locator for name in said.split()) if isinstance(said, str) else ""


def _href(key: str, entry: Mapping[str, Any], number: int, kind: str, at: int) -> str:
    """Where an area of a zone is changed; empty where it cannot be."""
    if kind == "area":
        return f"/jobs/{key}/measure/{number}/area"
    if kind == "shapes":
        return f"/jobs/{key}/measure/{number}/{at}"
    if kind == "scans":
        record = entry["scans"][at]
        kept = is_kept(record["scan"])
        return f"/jobs/{key}/measure/scan/{record['scan']}?{_again(record, number, at)}" if kept else ""
    record = entry["outlines"][at]
    if len(str(record.get("photo", ""))) != 64 or "homography" in record:
        return ""
    return f"/jobs/{key}/measure/photo/{record['photo']}?{taps_kept(record, number, at).query}"


def _again(record: Mapping[str, Any], number: int, at: int) -> str:
    """The state of a measured scan; what another program wrote is begun anew."""
    try:
        return scanning_kept(record, number, at, "obj").query
    except InputError:
        return urlencode({"zone": number, "at": at})


def _into(form: Form) -> str:
    zone = text(form, "zone")
    return f"?{urlencode({'zone': zone})}" if zone else ""


def _shape_at(entry: Mapping[str, Any], at: str) -> Mapping[str, Any]:
    """The record of a shape of a zone; "area" is the area it was given."""
    if at == "area" and "area" in entry:
        how = {"how": entry["how"]} if "how" in entry else {}
        return {"shape": "area", "area": entry["area"], **how}
    found: Mapping[str, Any] = area_of(entry, "shapes", at)
    return found


def _shape_in(store: Store, key: str, zone: int, at: str) -> str:
    return str(_shape_at(zone_of(store.get("job", key).data, zone), at)["shape"])
