"""Outlining a face on a photo: each tap is a form and its answer an address that holds all taps."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from proofpatch.errors import InputError
from proofpatch.measure.outline import Outline, outline_from
from proofpatch.measure.tables import efforts
from proofpatch.measure.zones import likely
from proofpatch.pictures.shapes import tapped
from proofpatch.shop.photos import cropped, photo_of
from proofpatch.shop.store import Store
from proofpatch.units import system
from proofpatch.web.desk import Desk
from proofpatch.web.shell import Form, Pages, Sent, text, whole
from proofpatch.web.survey import change
from proofpatch.web.taps import SHOWN, WAYS, Taps, shown_size, tap_error, taps_kept, taps_of
from proofpatch.web.zone_form import LIKE, area_of, at_field, put_zone, zone_name, zone_of

# A printed frame found in a photo: its homography from pixels to metres, or None where it shows none.
FrameOf = Callable[[Store, str], tuple[tuple[float, ...], ...] | None]
SHARPER = 2  # pixels of a picture for each that is shown, for the screens of phones
KEPT = {"Cache-Control": "private, max-age=86400"}  # a photo's address is of what is in it


def no_frame(store: Store, digest: str) -> None:
    """Looks for no printed frame: sizes are told by tape."""


def routes(page: Pages, store: Store, desk: Desk, frame_of: FrameOf = no_frame) -> APIRouter:
    """The pages of a photo. frame_of: what finds a printed frame in it."""
    router = APIRouter()

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
        into = zone_name(zone_of(found.entry.data, taps.zone), int(taps.zone)) if taps.zone else ""
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
                entry = zone_of(data, taps.zone)
                area_of(entry, "outlines", taps.at)
                entry["outlines"][int(taps.at)] = record
            else:
                zone_of(data, taps.zone).setdefault("outlines", []).append(record)

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
            x, y = (whole(text(form, f"{name}.{axis}")) for axis in "xy")
            wide = shown_size(size, name)[0]
            scale = box[2] / wide
            # A key pressed on the picture says nought and nought.
            if x is None or y is None or x == y == 0:
                raise InputError("tap", "A key does not say where on the photo.", "Give the point by numbers below.")
            across, down = (edge + (at + 0.5) * scale for edge, at in zip(box, (x, y), strict=False))
            return taps.tapped(min(across, size[0]), min(down, size[1]), tap_error(name, scale))
    raise InputError("tap", "Nothing was tapped.", "Tap the photo, or give the point by numbers below.")


def _pixel(form: Form, name: str, most: int) -> int:
    said = text(form, name)
    found = whole(said, most)
    if found is None:
        raise InputError(name, f"{said[:20]!r} is not a pixel of this photo.", f"Give a whole number up to {most}.")
    return found


def kept_pictures(store: Store, key: str, entry: Mapping[str, Any], number: int, at: int) -> dict[str, Any]:
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
