"""Forecast, recipe and hazards of a job on screen."""

from __future__ import annotations

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.cli_show import clock_sentence, setting_words
from proofpatch.documents.card import card_pdf
from proofpatch.documents.method import method_pdf
from proofpatch.errors import InputError
from proofpatch.hazards.room import WALLS
from proofpatch.pictures.look import themed
from proofpatch.pictures.room import PLANS, room_svg
from proofpatch.shop.decided import decided_of
from proofpatch.shop.invented import headed
from proofpatch.shop.settings import settings_of
from proofpatch.shop.starts import start_as
from proofpatch.shop.store import plain
from proofpatch.web.desk import Desk
from proofpatch.web.place import placed, put_place, rows_of
from proofpatch.web.road import Road
from proofpatch.web.shell import Form, Pages, Sent
from proofpatch.web.survey import change


def routes(page: Pages, desk: Desk) -> APIRouter:
    """The pages of these steps."""
    router = APIRouter()

    @router.get("/jobs/{key}/forecast")
    def forecast(key: str) -> Response:
        found = desk.look(key, "outlook")
        drawn, settles = found.outlook
        return page("forecast.html", road=found, here="forecast", record=found.forecast, drawn=drawn, settles=settles,
                    start=start_as(desk.store, found.entry, found.window.belief) if found.window else None)  # fmt: skip

    @router.get("/jobs/{key}/recipe")
    def recipe(key: str) -> Response:
        found = desk.look(key, "proof")
        record, margins = (None, []) if found.closed else found.recipe
        dials, drawn = ([], None) if found.closed else found.proof
        return page("recipe.html", road=found, here="recipe", stop=found.closed, record=record, margins=margins,
                    dials=dials, drawn=drawn, words=setting_words, clock=clock_sentence,
                    decided=desk.store.all("recipe", key, most=3), now=[one.id for one in found.patches])  # fmt: skip

    @router.post("/jobs/{key}/recipe")
    def decide(key: str) -> Response:
        found = desk.wait(key, "recipe")
        record = None if found.closed else found.recipe[0]
        if record is None or record["setting"] is None or not record["confirmed"]:
            raise InputError("recipe", "There is no confirmed recipe to work by.", "Lay test patches first.")
        if found.unguarded:
            raise InputError("hazards", found.unguarded, "Describe room and air first.")
        # As it was when it was decided: the recipe, the forecast it stands in, and the patches it rests on.
        data = {"record": record, "forecast": found.forecast, "patches": [one.id for one in found.patches],
                "job_version": found.entry.version}  # fmt: skip
        last = decided_of(desk.store, key)
        if last is None or last.data["patches"] != data["patches"] or last.data["record"] != plain(record):
            desk.store.add("recipe", data, key, found.entry.title)
        return RedirectResponse(f"/jobs/{key}/recipe", 303)

    @router.get("/jobs/{key}/recipe.pdf")
    def card(key: str) -> Response:
        found = desk.wait(key, "recipe")
        if found.closed or found.work is None or found.hazards is None:
            raise InputError("recipe", "There is no recipe to print.", "Go back to the job.")
        size = settings_of(desk.store)[0].paper
        sheet = card_pdf(*found.recipe, found.work, headed(desk.store, found.entry), found.unguarded, size)
        return Response(sheet, media_type="application/pdf")

    @router.get("/jobs/{key}/hazards")
    def danger(key: str) -> Response:
        return hazards_page(desk.look(key))

    def hazards_page(found: Road, error: InputError | None = None, form: Form | None = None) -> Response:
        told = form or placed(found.entry.data)
        return page(
            "hazards.html", 422 if error else 200, road=found, here="hazards", record=found.hazards, error=error,
            form=told, rows=rows_of(told), walls=WALLS,
            plans=[themed(room_svg(found.zone, *size), f"plan{size[0]:.0f}-") for size in PLANS] if found.zone else [],
        )  # fmt: skip

    @router.post("/jobs/{key}/place")
    def place(key: str, form: Sent) -> Response:
        return change(
            desk,
            key,
            form,
            "hazards",
            lambda data: put_place(data, form),
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
        record = {**found.hazards, "title": headed(desk.store, found.entry)}
        stops = [found.closed] if found.closed else []
        sheet = method_pdf(record, found.zone, settings_of(desk.store)[0].paper, stops=stops)
        return Response(sheet, media_type="application/pdf")

    return router
