"""Forecast, recipe and hazards of a job on screen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Response

from proofpatch.cli_show import clock_sentence, setting_words
from proofpatch.documents.method import method_pdf
from proofpatch.errors import InputError
from proofpatch.pictures.room import room_svg
from proofpatch.shop.settings import settings_of
from proofpatch.web.desk import Desk
from proofpatch.web.road import Road
from proofpatch.web.shell import Form, Pages, Sent, text
from proofpatch.web.survey import change


def routes(page: Pages, desk: Desk) -> APIRouter:
    """The pages of these steps."""
    router = APIRouter()

    @router.get("/jobs/{key}/forecast")
    def forecast(key: str) -> Response:
        found = desk.look(key, "outlook")
        drawn, settles = found.outlook
        return page("forecast.html", road=found, here="forecast", record=found.forecast, drawn=drawn, settles=settles)

    @router.get("/jobs/{key}/recipe")
    def recipe(key: str) -> Response:
        found = desk.look(key, "proof")
        record, margins = (None, []) if found.closed else found.recipe
        dials, drawn = ([], None) if found.closed else found.proof
        return page("recipe.html", road=found, here="recipe", stop=found.closed, record=record, margins=margins,
                    dials=dials, drawn=drawn, words=setting_words, clock=clock_sentence)  # fmt: skip

    @router.get("/jobs/{key}/hazards")
    def danger(key: str) -> Response:
        return hazards_page(desk.look(key))

    def hazards_page(found: Road, error: InputError | None = None, form: Form | None = None) -> Response:
        return page(
            "hazards.html", 422 if error else 200, road=found, here="hazards", record=found.hazards, error=error,
            form=form or _placed(found.entry.data),
        )  # fmt: skip

    @router.post("/jobs/{key}/place")
    def place(key: str, form: Sent) -> Response:
        return change(
            desk,
            key,
            form,
            "hazards",
            lambda data: _place(data, form),
            lambda error: hazards_page(desk.wait(key), error, form),
        )

    @router.get("/jobs/{key}/room.svg")
    def room(key: str) -> Response:
        found = desk.wait(key)
        if found.zone is None:
            raise InputError("room", "The job has no room.", "Describe it first.")
        return Response(room_svg(found.zone), media_type="image/svg+xml")

    @router.get("/jobs/{key}/hazards.pdf")
    def statement(key: str) -> Response:
        found = desk.wait(key)
        if found.hazards is None:
            raise InputError("hazards", "This is refused before any beam.", "Go back to the job.")
        ours, _ = settings_of(desk.store)
        record = {**found.hazards, "title": ours.headed(found.hazards["title"])}
        return Response(method_pdf(record, found.zone, ours.paper), media_type="application/pdf")

    return router


# Field of the form -> where it stands in the job's tables.
PLACE = {
    "length": ("room", "length"), "width": ("room", "width"), "height": ("room", "height"),
    "capture": ("air", "capture"), "flow": ("air", "flow"),
}  # fmt: skip


def _place(data: dict[str, Any], form: Form) -> None:
    """Room and air of a form into the job's tables; what is empty is taken out."""
    for name, (table, key) in PLACE.items():
        data.setdefault(table, {}).pop(key, None)
        if text(form, name):
            data[table][key] = text(form, name)
    work = [part for part in (text(form, "across"), text(form, "up")) if part]
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
