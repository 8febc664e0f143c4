"""The run of a job on screen: the zone in hand and what is done in it, entry by entry."""

from __future__ import annotations

import datetime
import uuid
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.cli_show import as_dialled, setting_words
from proofpatch.errors import InputError
from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.materials import substrate
from proofpatch.pictures.outcomes import clock
from proofpatch.pictures.zones import Field, zones_svg
from proofpatch.run.after import after_harm
from proofpatch.run.stops import sign
from proofpatch.shop.log import setting_to
from proofpatch.shop.photos import add_photo
from proofpatch.shop.run import BEGIN, RUN, add_entry
from proofpatch.shop.store import Repeated, Store, of_job
from proofpatch.web.desk import Desk
from proofpatch.web.once import ID, Later, Sending, in_one
from proofpatch.web.patches import KNOB_NAMES, dial
from proofpatch.web.run_form import entry_of, local_day
from proofpatch.web.sheet import Sheet, held, sheet_of
from proofpatch.web.shell import Form, Pages, Sent, text, version, whole
from proofpatch.web.today import Today, scorches, today_of

LATE = datetime.timedelta(minutes=2)  # an entry older than this already happened, whatever a gate says of it now
MOST_GONE = 20
HEADS = {"begin": "begun", "end": "done", "check": "graded", "incident": "stopped", "note": "note"}


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of the run."""
    router = APIRouter(prefix="/jobs/{key}")

    def run_page(key: str, wanted: int | None, error: InputError | None = None, form: Form | None = None) -> Response:
        found = desk.wait(key) if error else desk.look(key)
        now = datetime.datetime.now().astimezone()
        day = today_of(store, desk, found, now.date())
        if day is None:
            return page("run.html", road=found, here="run", day=None)
        sheet = sheet_of(store, desk, day, wanted, now)
        return page(
            "run.html", 422 if error else 200, road=found, here="run", day=day, sheet=sheet, gate=held(day, sheet),
            error=error, form=form or {}, residues=RESIDUES, harms=HARMS, knobs=KNOB_NAMES, fresh=str(uuid.uuid4()),
            about=about,
            dial=dial(setting_to(day.setting)) if day.setting else [], words=setting_words, heads=HEADS,
            dialled=as_dialled(day.setting, day.work.laser) if day.setting else {}, plan=_plan(sheet),
            under=substrate(day.work.surface.substrate).title.lower(), sign=sign,
            after=after_harm(day.piece) if _scorched(sheet) else None, when=_clock,
            by_hand=[(n, one) for n, one in enumerate(day.work.measured, 1) if not one.beam_share],
            named={n: one.name for n, one in enumerate(day.work.measured, 1)},
            gone=store.all(RUN, key, deleted=True, most=MOST_GONE), asks=[one.name for one in day.morning.checks],
        )  # fmt: skip

    @router.get("/run")
    def run(key: str, zone: str = "") -> Response:
        return run_page(key, whole(zone, 10_000))

    @router.post("/run")
    def happened(key: str, form: Sent, sending: Later) -> Response:
        found, wanted = desk.wait(key), whole(text(form, "zone"), 10_000)
        day = today_of(store, desk, found, local_day(sending.when))
        if day is None:
            raise InputError("job", f"{found.stop}", "Settle it in the survey first.")
        sheet = sheet_of(store, desk, day, wanted, datetime.datetime.now().astimezone())
        gate = held(day, sheet) if text(form, "what") == BEGIN and _live(sending) else None
        if gate is not None:
            return run_page(key, wanted, InputError("what", gate.said, ""), form)
        try:
            data = entry_of(form, day, sheet, sending.when)
            with in_one(store, told(sending, form)):
                refused = _kept(page, store, key, form, data, day)
        except Repeated:
            if sending.id:
                raise
            return RedirectResponse(f"/jobs/{key}/run", 303)  # pressed twice
        except InputError as error:
            return run_page(key, wanted, error, form)
        desk.begin(store.get("job", key))
        at = f"?zone={wanted}" if wanted and data["what"] in ("begin", "end", "incident") else ""
        return refused or RedirectResponse(f"/jobs/{key}/run{at}", 303)

    @router.post("/run/{entry}/delete")
    def take_back(key: str, entry: str, form: Sent, sending: Later) -> Response:
        of_job(store, RUN, entry, key)
        with in_one(store, sending):
            store.delete(RUN, entry, version(form))
        desk.begin(store.get("job", key))
        return RedirectResponse(f"/jobs/{key}/run", 303)

    @router.post("/run/{entry}/restore")
    def bring_back(key: str, entry: str, form: Sent, sending: Later) -> Response:
        of_job(store, RUN, entry, key)
        with in_one(store, sending):
            store.restore(RUN, entry, version(form))
        desk.begin(store.get("job", key))
        return RedirectResponse(f"/jobs/{key}/run", 303)

    return router


def told(sending: Sending, form: Form) -> Sending:
    """The id of what was sent; a plain form brings the one its page gave it, so that pressing twice makes it once."""
    given = text(form, "once")
    return sending if sending.id or not ID.fullmatch(given) else Sending(given, sending.when)


def _live(sending: Sending) -> bool:
    return datetime.datetime.now(datetime.UTC) - datetime.datetime.fromisoformat(sending.when) < LATE


def _kept(
    page: Pages, store: Store, key: str, form: Form, data: dict[str, Any], day: Today
) -> Response | None:  # fmt: skip
    """The entry on disk with its photo; a page that says so where the photo cannot be."""
    content, refused = form.get("photo"), None
    where = f"zone {data['zone']}" if data["zone"] else "the run"
    if isinstance(content, bytes) and content:
        try:
            shot = add_photo(store, content, key, about=f"{where}: {HEADS.get(data['what'], 'note')}")
            data["photos"] = [shot.data["digest"]]
        except InputError as error:
            refused = page("trouble.html", 422, title="The entry is kept, the photo is not", problem=str(error),
                           back=f"/jobs/{key}/run")  # fmt: skip
    add_entry(store, key, data, len(day.work.measured), len(day.work.surface.coats), text(form, "grader"))
    return refused


def _plan(sheet: Sheet) -> str:
    rows = sorted(sheet.rows, key=lambda one: one.number)
    here = sheet.row.number if sheet.row else None
    fields = [Field(one.number, one.area, one.standing.state, one.harm, one.number == here) for one in rows]
    return zones_svg(fields, "; ".join(f"zone {one.number}, {one.standing.state}" for one in rows))


def _scorched(sheet: Sheet) -> bool:
    """Whether the zone in hand shows harm, or a sign of it."""
    return sheet.row is not None and (
        sheet.row.harm != "none" or (sheet.incident is not None and scorches(sheet.incident.data))
    )


def about(seconds: float) -> str:
    """A time [s] that is not known to the second, in words."""
    return clock(max(seconds, 60.0) / 3600.0)


def _clock(at: str) -> str:
    return datetime.datetime.fromisoformat(at).astimezone().strftime("%H:%M")
