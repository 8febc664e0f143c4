"""Measuring on a scan: how large it is, which parts are picked, what the beam gets to; each press is a form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

import numpy as np
from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from proofpatch.errors import InputError
from proofpatch.measure import picking
from proofpatch.measure.mesh import Mesh, Region
from proofpatch.measure.mesh_file import LARGEST, SMALLEST, UNITS
from proofpatch.measure.reach import Reach, reach
from proofpatch.measure.scanned import scanned_record
from proofpatch.measure.sides import SIDES, facing_words, side_words, stance
from proofpatch.measure.sight import Sight, seen_from
from proofpatch.measure.tables import efforts, instruments
from proofpatch.measure.zones import likely
from proofpatch.pictures.scan import over, pencil
from proofpatch.shop.scans import add_scan, mesh_of, scan_of
from proofpatch.shop.store import Entry, Store
from proofpatch.units import parse, show, system
from proofpatch.web.desk import Desk
from proofpatch.web.outline import KEPT
from proofpatch.web.scan_state import Scanning, scanning_of
from proofpatch.web.shell import Form, Pages, Sent, text, whole
from proofpatch.web.survey import change
from proofpatch.web.taps import SHOWN, TALLEST
from proofpatch.web.zone_form import LIKE, area_of, at_field, put_zone, zone_name, zone_of

# Of what the tap is on: one pixel that shows nothing, for the drawing lies over it in the page's own ink.
BLANK = "data:image/gif;base64,R0lGODlhAQABAIAAAAAAAP///yH5BAEAAAAALAAAAAABAAEAAAIBRAA7"
UNIT_WORDS = {"mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches", "ft": "feet"}
FINE = 1.5  # pixels seen for each of the wide picture
HANDED = ("zone", "at")  # of the state: where the area goes


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of a scan."""
    router = APIRouter()

    def scan_page(
        key: str, digest: str, now: Scanning, error: InputError | None = None, form: Form | None = None
    ) -> Response:
        found = desk.wait(key) if error else desk.look(key)
        scan = scan_of(store, digest, key)
        zones = found.entry.data.get("zones", [])
        into = zone_name(zone_of(found.entry.data, now.zone), int(now.zone)) if now.zone else ""
        shared: dict[str, Any] = {
            "road": found, "here": "measure", "scan": scan, "now": now, "error": error, "form": form or {},
            "into": into, "like": LIKE[system()], "sides": SIDES, "count": len(zones),
        }  # fmt: skip
        try:
            mesh = mesh_of(store, scan, now.unit or None, now.by_tape) if now.sized else None
        except InputError as trouble:
            mesh, shared["error"] = None, error or trouble
        status = 422 if shared["error"] else 200
        if mesh is None:
            return page("scan_size.html", status, **shared, units=_units(scan.data["sides"]))
        region, looked = _region(mesh, now), seen(store, scan, now)
        found_reach = _reach(mesh, now) if region and now.reach and not error else None
        if found_reach and not form:
            shared["form"] = {"hand_finish": show(float(f"{found_reach.by_hand:.2g}"), "share")}
        return page(
            "scan.html", status, **shared, box=_box(mesh), region=region, turn=_turned(now),
            span=_span(region), pictures=_pictures(key, digest, now, looked), kinds=efforts(), creases=picking.CREASES,
            smooth=_listed(mesh, now), facing=float(mesh.areas[picking.turned_to(mesh, now.side, now.up)].sum()),
            reach=_reached(found_reach, now) if found_reach else None,
            steepest=instruments()["head", "incidence"].value,
        )  # fmt: skip

    @router.post("/jobs/{key}/measure/scan")
    def send(key: str, form: Sent) -> Response:
        sent, name = form.get("scan"), text(form, "scan.name")
        zone = text(form, "zone")
        try:
            if not isinstance(sent, bytes) or not sent:
                raise InputError("scan", "No scan was chosen.", "Choose a file that ends in .obj, .stl, .ply or .glb.")
            entry = add_scan(store, sent, name, store.get("job", key).id, text(form, "about")[:80])
        except InputError as error:
            found = desk.wait(key)
            return page("scan_send.html", 422, road=found, here="measure", zone=zone, form=form,
                        error=InputError("scan", error.problem, error.remedy))  # fmt: skip
        query = f"?{urlencode({'zone': zone})}" if zone else ""
        return RedirectResponse(f"/jobs/{key}/measure/scan/{entry.data['digest']}{query}", 303)

    @router.get("/jobs/{key}/measure/scan")
    def choose(key: str, zone: str = "") -> Response:
        return page("scan_send.html", road=desk.look(key), here="measure", zone=zone, form={}, error=None)

    @router.get("/jobs/{key}/measure/scan/{digest}")
    def look(key: str, digest: str, request: Request) -> Response:
        kind = scan_of(store, digest, key).data["kind"]
        return scan_page(key, digest, scanning_of(request.query_params, kind))

    @router.post("/jobs/{key}/measure/scan/{digest}")
    def press(key: str, digest: str, form: Sent) -> Response:
        scan = scan_of(store, digest, key)
        now = scanning_of(form, scan.data["kind"])
        what = text(form, "do")
        if what == "keep":
            return keep(key, digest, scan, now, form)
        try:
            now = _pressed(store, scan, now, what, form)
        except InputError as error:
            return scan_page(key, digest, replace(now, unit="", longest="") if what == "size" else now, error, form)
        anchor = "#reach" if what == "reach" else "#scan"
        return RedirectResponse(f"/jobs/{key}/measure/scan/{digest}?{now.query}{anchor}", 303)

    def keep(key: str, digest: str, scan: Entry, now: Scanning, form: Form) -> Response:
        def make(data: dict[str, Any]) -> None:
            mesh = mesh_of(store, scan, now.unit or None, now.by_tape)
            region = _region(mesh, now)
            if region is None:
                raise InputError("pick", "Nothing of the scan is picked.", "Pick on the picture or in the list.")
            record = scanned_record(region, digest, now.unit or None, now.longest, now.kept)
            if not now.zone:
                entry: dict[str, Any] = {}
                put_zone(entry, form)
                if now.reach and (reached := _reach(mesh, now)).setups:
                    entry["set_ups"] = len(reached.setups)
                data.setdefault("zones", []).append({**entry, "scans": [record]})
            elif now.at:
                entry = zone_of(data, now.zone)
                area_of(entry, "scans", now.at)
                entry["scans"][int(now.at)] = record
            else:
                zone_of(data, now.zone).setdefault("scans", []).append(record)

        back = f"measure/{now.zone}" if now.zone else "measure"
        return change(desk, key, form, back, make, lambda error: scan_page(key, digest, now, at_field(error), form))

    @router.get("/jobs/{key}/measure/scan/{digest}/picture")
    def picture(key: str, digest: str, shown: str, request: Request) -> Response:
        scan = scan_of(store, digest, key)
        now = scanning_of(request.query_params, scan.data["kind"])
        if shown not in SHOWN or not now.sized:
            raise InputError("scan", "There is no such picture of the scan.", "Go back to it.")
        mesh, looked = mesh_of(store, scan, now.unit or None, now.by_tape), seen(store, scan, now)
        picks = picking.picked(mesh, now.picked, now.turn, now.up)
        left = np.zeros(len(picks), bool)
        if now.reach and picks.any():
            left = picks & (_reach(mesh, now).share < picking.SEEN)
        fewer = round(SHOWN["wide"] / SHOWN[shown])
        drawn = Sight(looked.face[::fewer, ::fewer], looked.depth[::fewer, ::fewer], looked.pixel * fewer)
        sharper = drawn.size[0] / _shown(looked, shown)[0]
        return Response(pencil(mesh, drawn, stance(now.side, now.up), picks, left, sharper), media_type="image/png",
                        headers=KEPT)  # fmt: skip

    return router


# What is asked of a scan again and again while it is picked from; the last few answers stay.


def seen(store: Store, scan: Entry, now: Scanning) -> Sight:
    """What is seen of a scan from the side that is looked at."""
    return _seen(mesh_of(store, scan, now.unit or None, now.by_tape), now.side, now.up)


@lru_cache(maxsize=len(SIDES))
def _seen(mesh: Mesh, side: str, up: str) -> Sight:
    return seen_from(mesh, stance(side, up), round(FINE * SHOWN["wide"]), round(FINE * TALLEST["wide"]))


def _reach(mesh: Mesh, now: Scanning) -> Reach:
    return _reached_of(mesh, now.picked, now.crease, now.up, now.incidence, now.focus_depth, now.sweep_width, now.held)


@lru_cache(maxsize=4)
def _reached_of(
    mesh: Mesh, picks: tuple[str, ...], crease: str, up: str, incidence: str, depth: str, width: str, held: str
) -> Reach:  # fmt: skip
    region = Region(mesh=mesh, picked=picking.picked(mesh, picks, parse(crease, "angle", "crease"), up))
    given: dict[str, Any] = {
        name: parse(said, kind, name)
        for name, said, kind in (("incidence", incidence, "angle"), ("focus_depth", depth, "length"),
                                 ("sweep_width", width, "length"))
        if said
    }  # fmt: skip
    return reach(region, follows=not held, **given)


def _region(mesh: Mesh, now: Scanning) -> Region | None:
    """What is picked, or None."""
    picks = picking.picked(mesh, now.picked, now.turn, now.up)
    if not picks.any():
        return None
    return Region(mesh=mesh, picked=picks, title="whole mesh" if picks.all() else "picked parts")


def _span(region: Region | None) -> tuple[float, float] | None:
    return likely(region.area, region.spread) if region else None


def _pressed(store: Store, scan: Entry, now: Scanning, what: str, form: Form) -> Scanning:
    """The state after one press or tap.

    Raises:
        InputError: it cannot be done as things stand.
    """
    if what == "size":
        if now.unit and now.longest:
            raise InputError("longest", "A unit is chosen and a longest side is given.", "Keep one of them.")
        if not now.sized:
            raise InputError("unit", "It is not said how large the scan is.", "Choose one, or give the longest side.")
        mesh_of(store, scan, now.unit or None, now.by_tape)
        return now
    if what in ("side", "crease"):
        return replace(now, reach="") if what == "crease" else now
    if what == "up":
        return replace(now, up="z" if now.up == "y" else "y")
    mesh = mesh_of(store, scan, now.unit or None, now.by_tape)
    if what == "back":
        return now.with_picks(now.picked[:-1])
    if what in ("all", "facing"):
        word = "all" if what == "all" else f"s-{now.side}"
        return now.with_picks(("all",) if what == "all" else (*(one for one in now.picked if one != word), word))
    if what.startswith("face-"):
        face = whole(what.removeprefix("face-"), len(mesh.faces) - 1)
        if face is None:
            raise InputError("pick", "The scan has no such face.", "Pick on the picture or in the list.")
        return now.with_picks(picking.tapped(now.picked, face, mesh, now.turn, now.up))
    if what == "reach":
        if _region(mesh, now) is None:
            raise InputError("pick", "Nothing of the scan is picked.", "Pick on the picture or in the list.")
        asked = replace(now, reach="yes", held=now.held)
        _reach(mesh, asked)
        return asked
    looked = seen(store, scan, now)
    for name in SHOWN:
        if f"{name}.x" in form:
            x, y = (whole(text(form, f"{name}.{axis}")) for axis in "xy")
            wide, tall = _shown(looked, name)
            # A key pressed on the picture says nought and nought.
            if x is None or y is None or x == y == 0:
                raise InputError("tap", "A key does not say where on the scan.", "Pick it in the list below.")
            face = looked.at((x + 0.5) / wide, (y + 0.5) / tall)
            if face is None:
                raise InputError("tap", "Where you tapped there is nothing of the scan.", "Tap the piece itself.")
            return now.with_picks(picking.tapped(now.picked, face, mesh, now.turn, now.up))
    raise InputError("tap", "Nothing was tapped.", "Tap the scan, or pick in the list below.")


def _shown(looked: Sight, name: str) -> tuple[int, int]:
    """Width and height of the picture on a phone ("narrow") or a laptop ("wide") [px]."""
    wide, tall = looked.size
    return SHOWN[name], max(round(tall * SHOWN[name] / wide), 1)


def _pictures(key: str, digest: str, now: Scanning, looked: Sight) -> dict[str, Any]:
    said = {name: value for name, value in now.said().items() if value and name not in HANDED}
    address = f"/jobs/{key}/measure/scan/{digest}/picture?"
    return {
        name: {"width": size[0], "height": size[1], "blank": BLANK,
               "over": over(size, address + urlencode({**said, "shown": name}), name)}
        for name in SHOWN for size in [_shown(looked, name)]
    }  # fmt: skip


def _units(sides: Any) -> list[tuple[str, str, str]]:
    """(unit, in words, the box about the scan were its numbers in it) of those a piece may have."""
    return [
        (unit, UNIT_WORDS[unit], _sides([side * scale for side in sides]))
        for unit, scale in sorted(UNITS.items(), key=lambda one: list(UNIT_WORDS).index(one[0]))
        if SMALLEST <= max(sides) * scale <= LARGEST
    ]


def _box(mesh: Mesh) -> str:
    return _sides([float(side) for side in np.ptp(mesh.vertices, axis=0)])


def _sides(sides: list[float]) -> str:
    """The sides of a box, longest first, in the units that hold here."""
    return " by ".join(show(float(f"{side:.3g}"), "length") for side in sorted(sides, reverse=True))


def _turned(now: Scanning) -> str:
    return side_words(stance(now.side, now.up)[0], now.up)


def _listed(mesh: Mesh, now: Scanning) -> list[dict[str, Any]]:
    """The largest smooth faces: words, area, and whether they are picked."""
    picks = picking.picked(mesh, now.picked, now.turn, now.up)
    return [
        {"seed": one.seed, "area": one.area, "picked": bool(picks[one.seed]), "form": one.form,
         "side": facing_words(one.direction, now.up) if one.form != "turning round" else ""}
        for one in picking.smooth_faces(mesh, now.turn)
    ]  # fmt: skip


def _reached(found: Reach, now: Scanning) -> Mapping[str, Any]:
    """What the page says of it."""
    rows = [
        {"words": side_words(one.direction, now.up), "gained": one.gained,
         "depth": one.depth[1] - one.depth[0] if one.depth else None}
        for one in found.setups
    ]  # fmt: skip
    return {"area": found.area, "reached": found.reached, "by_hand": float(f"{found.by_hand:.2g}"), "setups": rows,
            "incidence": found.incidence}  # fmt: skip
