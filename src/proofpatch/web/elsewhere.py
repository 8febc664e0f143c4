"""A job on other lasers, and past jobs on one, on screen and over HTTP."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from fastapi import APIRouter, Response

import proofpatch as pp
from proofpatch.cli_show import setting_words
from proofpatch.lasers import Laser
from proofpatch.offer.money import shown
from proofpatch.pictures.outcomes import clock
from proofpatch.shop.elsewhere import (
    PAST,
    START,
    Elsewhere,
    elsewhere,
    elsewhere_record,
    laser_of,
    others,
    past_record,
    past_words,
    priced,
)
from proofpatch.shop.invented import learned_from
from proofpatch.shop.sites import work_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.surveyed import beam_stop
from proofpatch.web.desk import Desk
from proofpatch.web.road import Inputs, Road, inputs, road_of, settled
from proofpatch.web.shell import Pages


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of other lasers."""
    router = APIRouter()

    @router.get("/jobs/{key}/lasers")
    def lasers(key: str) -> Response:
        found = desk.look(key)
        rows = carried_records(store, desk, found)
        return page("carried.html", road=found, here="recipe", rows=rows, start=START, words=setting_words,
                    clock=clock, money=money)  # fmt: skip

    @router.get("/learned/lasers/{laser}")
    def past(laser: str) -> Response:
        record = past_of(store, desk, laser)
        return page("would.html", record=record, said=past_words(record), words=setting_words, clock=clock,
                    money=money)  # fmt: skip

    return router


def carried_records(store: Store, desk: Desk, found: Road, waits: bool = False) -> list[dict[str, Any]]:
    """The job on every other laser, the quickest first, those without a recipe last; none while something stops it.

    Raises:
        Working: it takes longer than a page may.
    """
    if found.closed or found.work is None:
        return []
    given = inputs(store, found.entry)
    rows = [_told(store, desk, given, laser, owned, waits) for laser, owned in others(store, found.work.laser)]
    return [elsewhere_record(one) for one in sorted(rows, key=lambda one: -one.found.there.area_rate)]


def past_of(store: Store, desk: Desk, key: str, waits: bool = False) -> dict[str, Any]:
    """What the newest past jobs with zones and a recipe would have taken with this laser.

    Raises:
        Working, InputError: as `carried_records`, `laser_of`.
    """
    laser, owned = laser_of(store, key)
    rows: list[tuple[Entry, Elsewhere]] = []
    for entry in reversed(learned_from(store)):
        if len(rows) == PAST:
            break
        if not entry.data.get("zones") or not store.all("patch", entry.id, most=1):
            continue
        work = work_of(store, entry)
        if work is None or beam_stop(work):  # what stops a beam now names no setting, for no laser
            continue
        found = _told(store, desk, inputs(store, entry), laser, owned, waits)
        if found.found.here.setting is not None and found.found.here is not found.found.there:
            rows.append((entry, found))
    return past_record(laser, owned, rows, len(rows))


def _told(store: Store, desk: Desk, given: Inputs, laser: Laser, owned: bool, waits: bool) -> Elsewhere:
    work = priced(store, given.entry)

    def tell() -> Elsewhere:
        road = road_of(settled(store, given))
        assert road.work is not None
        assert road.window is not None
        belief = road.window.belief
        here = road.best or pp.recipe(belief, road.work.limits)
        return elsewhere(belief, road.work.limits, here, laser, owned, work)

    about = ("elsewhere", given, laser, store.state("prices", "shop"))
    return desk.tell(about, "what other lasers would do", tell, waits)


def money(record: Mapping[str, Any], name: str = "cost") -> str:
    """A sum of a record as people write it; empty where nothing has a price."""
    value = record[name]
    return "" if value is None else shown(Decimal(str(round(value))), record["currency"])
