"""The lasers: what each is by its label and as measured, what to lay, what was read, and one of the shop's own."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from markupsafe import Markup

from proofpatch.cli_lasers import (
    NUMBERS,
    RANGES,
    advices,
    figure_words,
    history_record,
    measured_record,
    newest_first,
    plan_record,
    plan_steps,
    signed,
    tells,
    untold,
    with_reading,
)
from proofpatch.errors import InputError
from proofpatch.hazards import CAUTIONS
from proofpatch.lasers import laser as find_laser
from proofpatch.lasers import laser_from_table, laser_ids
from proofpatch.lasers.history import Course, follow
from proofpatch.lasers.readings import EARLIEST, METER_ERROR, READING_ERROR, Reading
from proofpatch.lasers.wording import interval, percent
from proofpatch.phrases import listed, raised
from proofpatch.pictures.span import span_svg
from proofpatch.records import laser_record
from proofpatch.shop.laser_log import Own
from proofpatch.shop.lasers import (
    KIND,
    add_laser,
    add_reading,
    correct_laser,
    entries_of,
    entry_of,
    id_of,
    own_of,
    take_back,
)
from proofpatch.shop.log import stamp
from proofpatch.shop.store import Entry, Overtaken, Store
from proofpatch.units import show
from proofpatch.web.laser_form import (
    HEAD,
    LABELS,
    LIFT_ROWS,
    LIGHT,
    LIMIT_ROWS,
    MARK_ROWS,
    NAMES,
    NEW,
    PATTERNS,
    PLATE,
    filled,
    limits_in,
    located,
    on_form,
    reading_in,
    table_in,
    usable,
)
from proofpatch.web.shell import Form, Pages, Sent, version

COUNTS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")
FIRST = ("spot_diameter_m", "power_factor")  # of what was measured, what the first line names


def routes(page: Pages, store: Store) -> APIRouter:
    """The pages of the lasers."""
    router = APIRouter()

    @router.get("/lasers")
    def lasers() -> Response:
        rows = [_row(key, entry) for key, entry in entries_of(store).items()]
        return page(
            "lasers.html", rows=rows, said=_of_all(rows), away=list(entries_of(store, away=True).items()),
            invented=[(key, laser_record(find_laser(key))) for key in laser_ids()],
        )  # fmt: skip

    def form_page(form: Form, entry: Entry | None, error: InputError | None = None, status: int = 200) -> Response:
        rows = range(1, max(LIMIT_ROWS, limits_in(form)) + 1)
        names = {*LABELS, "energy_limits", "patterns",
                 *(f"limit-{n}-{part}" for n in rows for part in ("width", "energy"))}  # fmt: skip
        return page(
            "laser_form.html", 422 if error and status == 200 else status, form=form, error=error, entry=entry,
            key=id_of(entry) if entry else "", labels=LABELS, rows=rows, top=error and error.field not in names,
            patterns=PATTERNS, groups=((NAMES, ""), (LIGHT, "The light"), (PLATE, "The plug"), (HEAD, "The head")),
        )  # fmt: skip

    @router.get(f"/lasers/{NEW}")
    def new() -> Response:
        return form_page({"pattern-line": "line"}, None)

    @router.post(f"/lasers/{NEW}")
    def make(form: Sent) -> Response:
        try:
            with on_form():
                entry = add_laser(store, usable(table_in(form)))
        except InputError as error:
            return form_page(form, None, error)
        return RedirectResponse(f"/lasers/{id_of(entry)}", 303)

    @router.get("/lasers/{key}/correct")
    def correct(key: str) -> Response:
        entry = entry_of(store, key)
        laser_from_table(entry.data.get("laser"))  # refused in a sentence where there is nothing to fill in
        return form_page(filled(entry.data["laser"][key]) | {"id": key}, entry)

    @router.post("/lasers/{key}/correct")
    def corrected(key: str, form: Sent) -> Response:
        try:
            with on_form():
                correct_laser(store, key, version(form), usable(table_in({**form, "id": key})))
        except InputError as error:
            return form_page({**form, "id": key}, entry_of(store, key), error)
        except Overtaken as late:
            return form_page({**form, "id": key}, entry_of(store, key), _told(late), 409)
        return RedirectResponse(f"/lasers/{key}", 303)

    def laser_page(
        key: str, form: Form | None = None, error: InputError | None = None, status: int = 200, taught: int = 0
    ) -> Response:  # fmt: skip
        entry = None if key in laser_ids() else entry_of(store, key)
        own = own_of(entry) if entry else _built_in(key)
        laser = own.course.laser
        plan, history = plan_record(laser), history_record(own)
        return page(
            "laser.html", 422 if error and status == 200 else status, key=key, entry=entry, own=own,
            record=laser_record(laser) | history, answer=_answer(key, own), steps=plan_steps(plan),
            knows=_known_rows(own), power=_power_rows(own), findings=newest_first(history) if history else [],
            read=[(n, _read_words(one)) for n, one in reversed(list(enumerate(own.readings)))],
            form=_offered(plan) | dict(form or {}), error=error, top=error and not located(error), ranges=RANGES,
            taught=_taught(own) if entry and taught == entry.version and own.readings else None,
            mark_rows=range(1, MARK_ROWS + 1), lift_rows=range(1, LIFT_ROWS + 1), cautions=CAUTIONS,
            today=datetime.date.today().isoformat(), earliest=EARLIEST.isoformat(),
            before=entry is not None and entry.version > 1,
            usual={"reading_error": show(READING_ERROR, "length"), "meter_error": show(METER_ERROR, "share")},
        )  # fmt: skip

    @router.get("/lasers/{key}")
    def laser(key: str, taught: int = 0) -> Response:
        return laser_page(key, taught=taught)

    @router.post("/lasers/{key}")
    def read(key: str, form: Sent) -> Response:
        own = own_of(entry_of(store, key))
        try:
            reading = reading_in(form)
            record = measured_record(own, with_reading(own, reading), reading)
            if not tells(record):
                raise InputError("lifts", record["because"], untold(own.course.laser))
            entry = add_reading(store, key, version(form), reading, stamp())
        except InputError as error:
            return laser_page(key, form, error)
        except Overtaken as late:
            return laser_page(key, form, _told(late), 409)
        return RedirectResponse(f"/lasers/{key}?taught={entry.version}", 303)

    @router.post("/lasers/{key}/readings/{number}/take-back")
    def unread(key: str, number: int, form: Sent) -> Response:
        try:
            take_back(store, key, version(form), number)
        except InputError as error:
            return laser_page(key, error=InputError("reading", error.problem, "Take back the later one first."))
        return RedirectResponse(f"/lasers/{key}", 303)

    @router.post("/lasers/{key}/undo")
    def undo(key: str, form: Sent) -> Response:
        store.undo(KIND, entry_of(store, key).id, version(form))
        return RedirectResponse(f"/lasers/{key}", 303)

    @router.post("/lasers/{key}/delete")
    def delete(key: str, form: Sent) -> Response:
        store.delete(KIND, entry_of(store, key).id, version(form))
        return RedirectResponse("/lasers", 303)

    @router.post("/lasers/{key}/restore")
    def restore(key: str, form: Sent) -> Response:
        store.restore(KIND, entry_of(store, key).id, version(form))
        return RedirectResponse(f"/lasers/{key}", 303)

    return router


def _told(late: Overtaken) -> InputError:
    """What came too late, beside the form that still holds it."""
    return InputError("version", str(late), "Look at how it stands now; what you typed is below, keep it once more.")


def _built_in(key: str) -> Own:
    laser = find_laser(key)
    return Own(laser, Course(laser, ()), kept=False)


def _row(key: str, entry: Entry) -> dict[str, Any]:
    """A line of the list; one that cannot be read says why."""
    row: dict[str, Any] = {"key": key, "title": entry.title, "record": None, "when": None, "todo": []}
    try:
        own = own_of(entry)
    except InputError as error:
        return row | {"next": str(error)}
    row |= {"title": own.file.title, "record": laser_record(own.course.laser), "todo": advices(own.readings)}
    row["when"] = max((one.date for one in own.readings), default=None)
    if row["todo"]:
        return row | {"next": "Clean or change the protective window, then read again"}
    return row | {"next": "No reading has fallen" if own.readings else "Lay marks, read the power"}


def _of_all(rows: list[dict[str, Any]]) -> dict[str, str]:
    """The answer of the list: how many, and which wants something."""
    if not rows:
        return {"head": "No laser of yours yet; the invented ones stand in.",
                "lead": "Copy what the label and the sheet say; marks and a power meter tell the rest."}  # fmt: skip
    many = COUNTS[len(rows)] if len(rows) < len(COUNTS) else str(len(rows))
    unread = [row["key"] for row in rows if row["record"] is None]
    fallen = [row["key"] for row in rows if row["todo"]]
    never = [row["key"] for row in rows if row["record"] and row["when"] is None]
    if unread:
        what = f"{listed(unread)} cannot be read"
    elif fallen:
        what = f"{listed(fallen)} want{'s' if len(fallen) == 1 else ''} a power check"
    elif never:
        what = f"{listed(never)} {'was' if len(never) == 1 else 'were'} never measured"
    else:
        what = "no reading has fallen"
    lead = next((row["todo"][0] for row in rows if row["todo"]), "")
    return {"head": f"{many} laser{'s' if len(rows) != 1 else ''}; {what}.",
            "lead": lead or "The sheet says what a laser was when it was new; readings say what it is."}  # fmt: skip


def _answer(key: str, own: Own) -> str:
    """The first line of a laser's page."""
    if not own.kept:
        return f"{own.file.title} stands for no machine, so nothing of it is measured."
    if advices(own.readings):
        return f"{key} wants its protective window looked at."
    moved = {name: f"{words} {figure_words(of(own.course.laser), kind)}" for words, name, kind, of in NUMBERS
             if of(own.course.laser) != of(own.file)}  # fmt: skip
    if moved:
        first = [moved[name] for name in FIRST if name in moved] or list(moved.values())[:1]
        return f"{key} as measured: {', '.join(first)}."
    if own.readings:
        return f"What was read of {key} moves no number."
    return f"{key} was never measured; forecasts take its sheet."


def _known_rows(own: Own) -> list[tuple[str, str, str]]:
    """(what, as the sheet says, as forecasts take it) of each number that a reading can move."""
    return [
        (raised(name), figure_words(of(own.file), kind), figure_words(of(own.course.laser), kind))
        for name, _, kind, of in NUMBERS
    ]


def _power_rows(own: Own) -> dict[str, Any] | None:
    """The share that arrived on each day as a line, the newest first; None where it was never read."""
    found = [(one.date, one.figures["power_factor"]) for one in own.course.findings if one.kind == "power"]
    if not found:
        return None
    start = math.floor(10 * min(share.low for _, share in found)) / 10
    end = math.ceil(10 * max(share.high for _, share in found)) / 10
    lines = [(day.isoformat(), Markup(span_svg(share.value, share.low, share.high, start, end)), percent(share.value),
              interval(share, "factor")) for day, share in reversed(found)]  # fmt: skip
    return {"start": percent(start), "end": percent(end), "rows": lines}


def _read_words(reading: Reading) -> str:
    """A reading in a line: when, how much, on what."""
    counts = ((len(reading.marks), "mark"), (len(reading.lifts), "lifted mark"), (len(reading.power), "power reading"),
              (len(reading.cards), "burn card"))  # fmt: skip
    said = ", ".join(f"{count} {word}{'s' if count > 1 else ''}" for count, word in counts if count)
    return f"{reading.date.isoformat()}: {said}{f' on {reading.material}' if reading.material else ''}"


def _taught(own: Own) -> Mapping[str, Any]:
    """What the reading written last taught."""
    *before, last = own.readings
    earlier = Own(own.file, follow(own.file, before), tuple(before))
    return measured_record(earlier, own, last)


def _offered(plan: Mapping[str, Any]) -> dict[str, str]:
    """What the form of a reading holds before anything is typed: the pulses and lifts of the plan."""
    rate = show(plan["repetition_rate_Hz"], "frequency")
    pulses = [f"{show(power, 'power')}/{rate}" for power in plan["average_powers_W"]]
    found = {f"mark-{n}-energy": pulse for n, pulse in enumerate(pulses, 1)}
    found |= {f"lift-{n}-by": signed(lift) for n, lift in enumerate(plan["lifts_m"], 1)}
    return found | {"lift-energy": pulses[0], "power-set": show(plan["meter_power_W"], "power")}
