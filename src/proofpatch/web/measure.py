"""Measuring a job on screen: its zones, shapes by their figures, outlines tapped on a photo."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from proofpatch.errors import InputError
from proofpatch.measure.doubt import least_sure
from proofpatch.measure.outline import Outline, outline_from
from proofpatch.measure.registry import catalogue
from proofpatch.measure.tables import INSTRUMENTS, efforts
from proofpatch.measure.zones import likely
from proofpatch.pictures.shapes import lettered, sketch, tapped
from proofpatch.records_measure import measure_record
from proofpatch.shop.changes import last_change
from proofpatch.shop.photos import add_photo, cropped, photo_of
from proofpatch.shop.store import Store
from proofpatch.units import show, system
from proofpatch.web.desk import Desk
from proofpatch.web.road import Road
from proofpatch.web.shell import Form, Pages, Sent, text
from proofpatch.web.survey import change
from proofpatch.web.taps import SHOWN, WAYS, Taps, shown_size, tap_error, taps_kept, taps_of
from proofpatch.web.zone_form import at_field, put_zone, rows_of, shape_entry, shape_said, zone_said

# A printed frame found in a photo: its homography from pixels to metres, or None where it shows none.
FrameOf = Callable[[Store, str], tuple[tuple[float, ...], ...] | None]
LIKE = {"metric": "700 mm or 1.2 m", "us": "28 in or 4 ft"}
SHARPER = 2  # pixels of a picture for each that is shown, for the screens of phones
KEPT = {"Cache-Control": "private, max-age=86400"}  # a photo's address is of what is in it


def no_frame(store: Store, digest: str) -> None:
    """Looks for no printed frame: sizes are told by tape."""


def routes(page: Pages, store: Store, desk: Desk, frame_of: FrameOf = no_frame) -> APIRouter:
    """The pages of measuring. frame_of: what finds a printed frame in a photo."""
    router = APIRouter()

    def measure_page(key: str, error: InputError | None = None, found: Road | None = None) -> Response:
        found = found or desk.look(key)
        zones = found.work.measured if found.work else ()
        record = measure_record(zones) if zones else None
        return page(
            "measure.html", 422 if error else 200, road=found, here="measure", record=record, error=error,
            answer=answer(record) if record else "", doubt=least_sure(zones), shapes=catalogue(), sketch=sketch,
            rows=rows_of_zones(found), photos=store.all("photo", key), last=last_change(store, found.entry),
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
            entry = _zone_of(data, number)
            if not kind:
                data["zones"].remove(entry)
                if not data["zones"]:
                    del data["zones"]
            elif kind == "area":
                entry.pop("area", None)
                entry.pop("how", None)
            else:
                _area_of(entry, kind, at)
                del entry[kind][int(at)]
                if not entry[kind]:
                    del entry[kind]

        return change(desk, key, form, back, make, lambda error: measure_page(key, at_field(error), desk.wait(key)))

    # One zone

    def zone_page(key: str, number: int, error: InputError | None = None, form: Form | None = None) -> Response:
        found = desk.wait(key) if error else desk.look(key)
        entry = _zone_of(found.entry.data, number)
        row = rows_of_zones(found)[number] if found.work else None
        for one in row["areas"] if row else ():
            one["pictures"] = (
                _kept_pictures(store, key, entry, number, one["at"]) if one["photo"] and one["href"] else {}
            )
        return page(
            "zone.html", 422 if error else 200, road=found, here="measure", number=number, row=row, error=error,
            form=form if form is not None else zone_said(entry), kinds=efforts(), shapes=catalogue(), sketch=sketch,
            photos=store.all("photo", key), last=last_change(store, found.entry),
        )  # fmt: skip

    @router.get("/jobs/{key}/measure/{zone:int}")
    def zone(key: str, zone: int) -> Response:
        return zone_page(key, zone)

    @router.post("/jobs/{key}/measure/{zone:int}")
    def keep_zone(key: str, zone: int, form: Sent) -> Response:
        def make(data: dict[str, Any]) -> None:
            put_zone(_zone_of(data, zone), form)

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
        entry = _zone_of(found.entry.data, zone) if zone is not None else None
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
                _zone_of(data, zone).setdefault("shapes", []).append(record)
            elif at == "area":
                entry = _zone_of(data, zone)
                entry.pop("how", None)
                entry |= {name: value for name, value in record.items() if name != "shape"}
            else:
                entry = _zone_of(data, zone)
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

    # An outline on a photo

    def outline_page(
        key: str, digest: str, taps: Taps, done: bool, error: InputError | None = None, form: Form | None = None
    ) -> Response:
        found = desk.wait(key) if error else desk.look(key)
        photo = photo_of(store, digest)
        size = photo.width, photo.height
        area, why = _outlined(taps, digest)
        taken = replace(taps, rough=None) if done or taps.step == "size" else taps
        pictures = {name: _picture(key, digest, taken, size, name, done) for name in SHOWN}
        zones = found.entry.data.get("zones", [])
        into = zone_name(_zone_of(found.entry.data, taps.zone), int(taps.zone)) if taps.zone else ""
        return page(
            "outline.html", 422 if error else 200, road=found, here="measure", digest=digest, taps=taps, done=done,
            error=error, form=form or {}, area=area, span=likely(area.area, area.spread) if area else None, why=why,
            pictures=pictures, ways=WAYS, framed=taps.homography is not None, into=into, kinds=efforts(),
            count=len(zones), size=size, like=LIKE[system()],
        )  # fmt: skip

    @router.get("/jobs/{key}/measure/photo/{digest}")
    def outline(key: str, digest: str, request: Request) -> Response:
        said = request.query_params
        taps = taps_of(said, frame_of(store, digest))
        return outline_page(key, digest, taps, done=bool(said.get("done")) and taps.step == "outline")

    @router.post("/jobs/{key}/measure/photo/{digest}")
    def tap(key: str, digest: str, form: Sent) -> Response:
        photo = photo_of(store, digest)
        taps = taps_of(form, frame_of(store, digest))
        what = text(form, "do")
        if what == "keep":
            return keep_outline(key, digest, taps, form)
        try:
            taps = _moved(taps, what, form, (photo.width, photo.height))
        except InputError as error:
            asked = replace(taps, way="") if what == "size" else taps
            return outline_page(key, digest, asked, False, error, form)
        done = "&done=yes" if what == "close" else ""
        return RedirectResponse(f"/jobs/{key}/measure/photo/{digest}?{taps.query}{done}#photo", 303)

    def keep_outline(key: str, digest: str, taps: Taps, form: Form) -> Response:
        def make(data: dict[str, Any]) -> None:
            record = taps.record(digest)
            outline_from(record)
            if not taps.zone:
                entry: dict[str, Any] = {}
                put_zone(entry, form)
                data.setdefault("zones", []).append({**entry, "outlines": [record]})
            elif taps.at:
                entry = _zone_of(data, taps.zone)
                _area_of(entry, "outlines", taps.at)
                entry["outlines"][int(taps.at)] = record
            else:
                _zone_of(data, taps.zone).setdefault("outlines", []).append(record)

        back = f"measure/{taps.zone}" if taps.zone else "measure"
        return change(desk, key, form, back, make, lambda e: outline_page(key, digest, taps, True, at_field(e), form))

    @router.get("/jobs/{key}/measure/photo/{digest}/part")
    def part(key: str, digest: str, left: float, top: float, wide: float, tall: float, shown: str) -> Response:
        photo = photo_of(store, digest)
        if shown not in SHOWN or not (0 <= left < photo.width and 0 <= top < photo.height):
            raise InputError("photo", "There is no such part of the photo.", "Go back to it.")
        box = left, top, min(max(wide, 1.0), photo.width - left), min(max(tall, 1.0), photo.height - top)
        return Response(cropped(store, digest, box, SHARPER * SHOWN[shown]), media_type="image/jpeg", headers=KEPT)

    return router


def answer(record: Mapping[str, Any]) -> str:
    """All zones in one sentence."""
    beam, hand, untouched = (record[f"{name}_m2"] for name in ("beam", "by_hand", "untouched"))
    if not record["area_m2"]:
        return f"Nothing here is for the beam: {show(untouched, 'area')} is not to be touched."
    head = (
        f"{show(record['area_m2'], 'area')} to clean, {show(record['area_low_m2'], 'area')} to "
        f"{show(record['area_high_m2'], 'area')} nine times in ten"
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


def zone_name(entry: Mapping[str, Any], number: int) -> str:
    """What a zone is called."""
    return str(entry.get("name", f"zone {number + 1}"))


def rows_of_zones(found: Road) -> list[dict[str, Any]]:
    """The zones of a job as a page lists them: each with its areas, where these stand, and where they are changed."""
    if found.work is None or not found.work.measured:
        return []
    data = found.entry.data["zones"]
    record = measure_record(found.work.measured)
    rows = []
    for number, (entry, zone, said) in enumerate(zip(data, found.work.measured, record["zones"], strict=True)):
        places = [("area", 0)] if "area" in entry else []
        places += [(kind, i) for kind in ("shapes", "outlines") for i in range(len(entry.get(kind, ())))]
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
    record = entry["outlines"][at]
    if len(str(record.get("photo", ""))) != 64 or "homography" in record:
        return ""
    return f"/jobs/{key}/measure/photo/{record['photo']}?{taps_kept(record, number, at).query}"


def _into(form: Form) -> str:
    zone = text(form, "zone")
    return f"?{urlencode({'zone': zone})}" if zone else ""


def _zone_of(data: Mapping[str, Any], number: int | str) -> dict[str, Any]:
    zones = data.get("zones", ())
    if not str(number).isdigit() or int(number) >= len(zones):
        raise InputError("zone", "There is no such zone.", "Look at the list of zones.")
    found: dict[str, Any] = zones[int(number)]
    return found


def _area_of(entry: Mapping[str, Any], kind: str, at: str) -> Any:
    if kind not in ("shapes", "outlines") or not at.isdigit() or int(at) >= len(entry.get(kind, ())):
        raise InputError("zone", "The zone has no such area.", "Look at the list of zones.")
    return entry[kind][int(at)]


def _shape_at(entry: Mapping[str, Any], at: str) -> Mapping[str, Any]:
    """The record of a shape of a zone; "area" is the area it was given."""
    if at == "area" and "area" in entry:
        how = {"how": entry["how"]} if "how" in entry else {}
        return {"shape": "area", "area": entry["area"], **how}
    found: Mapping[str, Any] = _area_of(entry, "shapes", at)
    return found


def _shape_in(store: Store, key: str, zone: int, at: str) -> str:
    return str(_shape_at(_zone_of(store.get("job", key).data, zone), at)["shape"])


def _outlined(taps: Taps, digest: str) -> tuple[Outline | None, str]:
    """(the outline as far as it is tapped, why there is none)."""
    if taps.step != "outline" or len(taps.points) < 3:
        return None, ""
    whole = tuple(hole for hole in taps.holes if len(hole) > 2)
    try:
        return outline_from(replace(taps, holes=whole).record(digest)), ""
    except InputError as error:
        return None, str(error)


def _moved(taps: Taps, what: str, form: Form, size: tuple[int, int]) -> Taps:
    """The state after one press or tap.

    Raises:
        InputError: it cannot be done as things stand.
    """
    if what == "size":
        if taps.way not in WAYS:
            raise InputError("way", "It is not said what is known in the photo.", "Choose one of them.")
        taps.sized()
        return taps
    if what == "back":
        return taps.back()
    if what in ("quick", "twice"):
        return replace(taps, quick=what == "quick")
    if what == "opening":
        return taps.opening()
    if what == "outline":
        return replace(taps, hole=False)
    if what == "close":
        if len(taps.points) < 3:
            raise InputError("tap", f"The outline has {len(taps.points)} corners.", "Tap three or more.")
        outline_from(replace(taps, holes=tuple(hole for hole in taps.holes if hole)).record("photo"))
        return replace(taps, hole=False, rough=None)
    box = taps.box(size)
    if what == "point":
        at = _pixel(form, "x", size[0]), _pixel(form, "y", size[1])
        return replace(replace(taps, quick=True).tapped(*at, tap_error("wide", 1.0)), quick=taps.quick)
    for name in SHOWN:
        if f"{name}.x" in form:
            x, y = text(form, f"{name}.x"), text(form, f"{name}.y")
            wide = shown_size(size, name)[0]
            scale = box[2] / wide
            # A key pressed on the picture says nought and nought.
            if not (x.isdigit() and y.isdigit()) or int(x) == int(y) == 0:
                raise InputError("tap", "A key does not say where on the photo.", "Give the point by numbers below.")
            across, down = (edge + (int(said) + 0.5) * scale for edge, said in zip(box, (x, y), strict=False))
            return taps.tapped(min(across, size[0]), min(down, size[1]), tap_error(name, scale))
    raise InputError("tap", "Nothing was tapped.", "Tap the photo, or give the point by numbers below.")


def _pixel(form: Form, name: str, most: int) -> int:
    said = text(form, name)
    if not (said.isascii() and said.isdigit() and len(said) < 7 and int(said) <= most):
        raise InputError(name, f"{said[:20]!r} is not a pixel of this photo.", f"Give a whole number up to {most}.")
    return int(said)


def _kept_pictures(store: Store, key: str, entry: Mapping[str, Any], number: int, at: int) -> dict[str, Any]:
    """The photo of a kept outline as it is shown, with it; empty where the photo is not of this shop."""
    record = entry["outlines"][at]
    try:
        photo = photo_of(store, record["photo"])
    except InputError:
        return {}
    taps, size = taps_kept(record, number, at), (photo.width, photo.height)
    return {name: _picture(key, photo.digest, taps, size, name, True) for name in SHOWN}


def _picture(
    key: str, digest: str, taps: Taps, size: tuple[int, int], name: str, closed: bool
) -> dict[str, Any]:  # fmt: skip
    """A photo as it is shown, with the taps drawn over it."""
    box, shown = taps.box(size), shown_size(size, name)
    scale = shown[0] / box[2]
    first = [taps.rough] if taps.rough else []

    def placed(points: tuple[tuple[int, int, int], ...]) -> list[tuple[float, float]]:
        return [((x - box[0]) * scale, (y - box[1]) * scale) for x, y, _ in points]

    part = dict(zip(("left", "top", "wide", "tall"), (f"{edge:.2f}" for edge in box), strict=True))
    return {
        "src": f"/jobs/{key}/measure/photo/{digest}/part?{urlencode({**part, 'shown': name})}",
        "width": shown[0], "height": shown[1],
        "over": tapped(shown, placed(taps.known), [placed(one) for one in (taps.points, *taps.holes)], closed,
                       len(taps.holes) if taps.hole else None, placed(tuple(first))),
    }  # fmt: skip
