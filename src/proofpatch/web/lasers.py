"""The lasers: what each is by its label and as measured, what to lay, what was read, and one of the shop's own."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from markupsafe import Markup

from proofpatch.cli_hazards import beam_of_laser, read_values
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
from proofpatch.cli_readings import apart, read_diameter, read_energy, read_lift
from proofpatch.errors import InputError
from proofpatch.hazards import CAUTIONS
from proofpatch.lasers import laser as find_laser
from proofpatch.lasers import laser_from_table, laser_ids
from proofpatch.lasers.history import Course, follow
from proofpatch.lasers.plan import ENERGY_STEPS, LIFTS
from proofpatch.lasers.readings import EARLIEST, METER_ERROR, READING_ERROR, Reading
from proofpatch.lasers.wording import interval, percent
from proofpatch.learn.forecast import envelope
from proofpatch.pictures.span import span_svg
from proofpatch.records import laser_record
from proofpatch.shop.job import DEFAULT_LASER
from proofpatch.shop.laser_log import FITTED, Own, read_date
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
from proofpatch.units import parse, show
from proofpatch.web.shell import Form, Pages, Sent, text, version, whole

MARK_ROWS, LIFT_ROWS = ENERGY_STEPS + 2, len(LIFTS) + 1  # what the plan lays, and some of one's own
LIMIT_ROWS = 6  # pulse widths on the form, more where a laser has more
NEW = "new"  # the page that no laser may be called after
COUNTS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")
# Field of the form: its name there, and where to find it with an example.
LABELS: dict[str, tuple[str, str]] = {
    "id": ("Short name", "small letters, digits and hyphens, like ours-300; jobs know it by this"),
    "title": ("What you call it", "like Our 300 W handheld"),
    "source": ("Where these numbers come from", "like the label and the sheet that came with it"),
    "wavelength": ("Wavelength", "on the warning label, like 1064 nm"),
    "max_power": ("Rated average power", "on the warning label or the sheet, like 300 W"),
    "min_rate": ("Lowest repetition rate", "the lowest the panel takes, like 1 kHz"),
    "max_rate": ("Highest repetition rate", "the highest the panel takes, like 1000 kHz"),
    "spot_diameter": ("Spot diameter in focus", "on the sheet, across and not from the middle, like 0.7 mm"),
    "m2": ("M²", "on the sheet as beam quality, a plain number like 30"),
    "top_hat_share": ("Top-hat share", "0 % of a Gaussian beam, 100 % of a flat one; the invented lasers say "
                      f"{show(find_laser(DEFAULT_LASER).top_hat_share, 'share')}"),
    "electrical_power": ("Drawn from the wall at full power", "on the type plate, like 1800 W"),
    "supply_voltage": ("Supply voltage", "on the type plate, in volts, like 230"),
    "sweep_width_min": ("Narrowest sweep", "the smallest the panel takes, like 10 mm"),
    "sweep_width_max": ("Widest sweep", "the largest the panel takes with this lens, like 120 mm"),
    "sweep_width_default": ("Usual sweep", "what you work with; forecasts take it, like 80 mm"),
    "sweep_speed_max": ("Fastest sweep", "along the line, on the sheet of the head, like 15 m/s"),
    "sweep_speed_default": ("Usual sweep speed", "what you work with; forecasts take it, like 10 m/s"),
    "stand_off": ("Stand-off in focus", "from the front of the head to the work, by rule, like 250 mm"),
    "focus_cue": ("How the head shows focus", "a sentence, like: In focus the two red guide dots fall into one."),
}  # fmt: skip
NAMES, LIGHT, PLATE, HEAD = (
    ("id", "title", "source"),
    ("wavelength", "max_power", "min_rate", "max_rate", "spot_diameter", "m2", "top_hat_share"),
    ("electrical_power", "supply_voltage"),
    ("sweep_width_min", "sweep_width_max", "sweep_width_default", "sweep_speed_max", "sweep_speed_default",
     "stand_off", "focus_cue"),
)  # fmt: skip
PATTERNS = {"line": "to and fro on a straight line", "sine": "slower at the turns, as a swinging mirror goes"}
GROUPS = ("marks", "lifts", "power", "cards")  # lists of a reading; each a group of the form
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
        rows = range(1, max(LIMIT_ROWS, _limits_in(form)) + 1)
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
            with _on_form():
                entry = add_laser(store, _usable(_table(form)))
        except InputError as error:
            return form_page(form, None, error)
        return RedirectResponse(f"/lasers/{id_of(entry)}", 303)

    @router.get("/lasers/{key}/correct")
    def correct(key: str) -> Response:
        entry = entry_of(store, key)
        laser_from_table(entry.data.get("laser"))  # refused in a sentence where there is nothing to fill in
        return form_page(_filled(entry.data["laser"][key]) | {"id": key}, entry)

    @router.post("/lasers/{key}/correct")
    def corrected(key: str, form: Sent) -> Response:
        try:
            with _on_form():
                correct_laser(store, key, version(form), _usable(_table({**form, "id": key})))
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
            form=_offered(plan) | dict(form or {}), error=error, top=error and not _located(error), ranges=RANGES,
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
            reading = _reading(form)
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
        what = f"{_and(unread)} cannot be read"
    elif fallen:
        what = f"{_and(fallen)} want{'s' if len(fallen) == 1 else ''} a power check"
    elif never:
        what = f"{_and(never)} {'was' if len(never) == 1 else 'were'} never measured"
    else:
        what = "no reading has fallen"
    lead = next((row["todo"][0] for row in rows if row["todo"]), "")
    return {"head": f"{many} laser{'s' if len(rows) != 1 else ''}; {what}.",
            "lead": lead or "The sheet says what a laser was when it was new; readings say what it is."}  # fmt: skip


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


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
        (name[:1].upper() + name[1:], figure_words(of(own.file), kind), figure_words(of(own.course.laser), kind))
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


@contextmanager
def _at(field: str) -> Iterator[None]:
    """Puts an InputError raised inside at a field of the form."""
    try:
        yield
    except InputError as error:
        raise InputError(field, error.problem, error.remedy) from None


def _located(error: InputError) -> bool:
    """Whether the page has a place of its own for the sentence."""
    return error.field in GROUPS or error.field.partition("-")[0] in ("mark", "lift", "power", "card") or (
        error.field in ("material", "date", "top_hat_share", "reading_error", "meter_error")
    )  # fmt: skip


def _reading(form: Form) -> Reading:
    """What was read, from the form; rows without a diameter were not laid.

    Raises:
        InputError: a field that cannot be read, or nothing was.
    """
    values: dict[str, Any] = {"marks": _marks(form), "lifts": _lifts(form), "power": [], "cards": []}
    if text(form, "power"):
        with _at("power-set"):
            dialled = parse(text(form, "power-set"), "power", "power set")
        with _at("power"):
            values["power"] = [(dialled, parse(one, "power", "power measured")) for one in apart(text(form, "power"))]
    if text(form, "card"):
        with _at("card-energy"):
            pulse = read_energy("pulse of the burn card", text(form, "card-energy"))
        with _at("card"):
            values["cards"] = [
                (pulse, parse(one, "length", "diameter of the burn card")) for one in apart(text(form, "card"))
            ]
    today = datetime.date.today()
    values["date"] = read_date("date", text(form, "date")) if text(form, "date") else today
    values["material"] = text(form, "material")
    share = text(form, "top_hat_share")
    if share.casefold() == FITTED:
        values["fit_share"] = True
    elif share:
        values["top_hat_share"] = parse(share, "share", "top_hat_share")
    for name, kind in (("reading_error", "length"), ("meter_error", "share")):
        if text(form, name):
            values[name] = parse(text(form, name), kind, name)
    return Reading(**values)


def _marks(form: Form) -> list[tuple[float, float]]:
    found = []
    for n in range(1, MARK_ROWS + 1):
        energy, said = text(form, f"mark-{n}-energy"), text(form, f"mark-{n}")
        if energy and not said and n > ENERGY_STEPS:
            raise InputError(f"mark-{n}", f"Mark {n} has no diameter.", "Write what you read, or none.")
        if said:
            with _at(f"mark-{n}-energy"):
                pulse = read_energy(f"pulse of mark {n}", energy)
            with _at(f"mark-{n}"):
                found += [(pulse, read_diameter(f"diameter of mark {n}", one)) for one in apart(said)]
    return found


def _lifts(form: Form) -> list[tuple[float, float, float]]:
    found = []
    for n in range(1, LIFT_ROWS + 1):
        by, said = text(form, f"lift-{n}-by"), text(form, f"lift-{n}")
        if by and not said and n > len(LIFTS):
            raise InputError(f"lift-{n}", f"Lift {n} has no diameter.", "Write what you read.")
        if said:
            with _at("lift-energy"):
                pulse = read_energy("pulse of the lifted marks", text(form, "lift-energy"))
            with _at(f"lift-{n}-by"):
                if not by:
                    raise InputError("", f"Lift {n} does not say how far.", "Write it like 12 mm.")
                lift = read_lift(f"lift {n}", by)
            with _at(f"lift-{n}"):
                found += [(lift, pulse, parse(one, "length", f"diameter of lift {n}")) for one in apart(said)]
    return found


@contextmanager
def _on_form() -> Iterator[None]:
    """Says at a field where to find it and how it is written, in the words of its hint."""
    try:
        yield
    except InputError as error:
        field = "id" if error.field == "laser" else error.field
        remedy = error.remedy
        if field in LABELS and field != "id" and remedy.startswith(("Write it", "It must lie")):
            remedy = f"{remedy if remedy.startswith('It must') else ''} {_hint(field)}".strip()
        raise InputError(field, error.problem, remedy) from None


def _hint(field: str) -> str:
    hint = LABELS[field][1]
    return f"{hint[:1].upper()}{hint[1:].rstrip('.')}."


def _table(form: Form) -> dict[str, dict[str, Any]]:
    """The table of an own-laser file from the form.

    Raises:
        InputError: a field is empty, or no number where one must be.
    """
    for name, (label, _) in LABELS.items():
        if not text(form, name):
            raise InputError(name, f"{label} is not said.", _hint(name))
    if text(form, "id") == NEW:
        raise InputError("id", f"No laser can be called {NEW!r}.", "Choose another short name.")
    entry: dict[str, Any] = {name: text(form, name) for name in (*NAMES[1:], *LIGHT, *PLATE)}
    entry["m2"] = _plain("m2", text(form, "m2"))
    entry["supply_voltage"] = _plain("supply_voltage", text(form, "supply_voltage").removesuffix("V"))
    entry["energy_limits"] = _limits(form)
    patterns = [name for name in PATTERNS if text(form, f"pattern-{name}")]
    entry["handpiece"] = {name: text(form, name) for name in HEAD} | {"patterns": patterns}
    return {text(form, "id"): entry}


def _usable(table: dict[str, dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """The table, if a job with this laser can be worked out: its hazards and its window.

    Raises:
        InputError: no beam or no setting can be computed with it.
    """
    laser = laser_from_table(table)
    try:
        read_values({}, beam_of_laser(laser) | {"wavelength": laser.wavelength})
        envelope(laser)
    except InputError as error:
        said = f"Nothing can be worked out with such a laser: {error.problem}"
        raise InputError("spot_diameter" if "diameter" in error.problem else "id", said, "Check each number.") from None
    return table


def _plain(name: str, said: str) -> float:
    try:
        found = float(said.replace(",", "."))
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise InputError(name, f"{LABELS[name][0]} is not a plain number.", _hint(name))
    return found


def _limits_in(form: Form) -> int:
    """How many rows of pulse widths a form holds."""
    rows = [name.split("-")[1] for name in form if name.startswith("limit-")]
    return max((whole(row, 99) or 0 for row in rows), default=0)


def _limits(form: Form) -> list[list[str]]:
    found = []
    for n in range(1, _limits_in(form) + 1):
        row = {part: text(form, f"limit-{n}-{part}") for part in ("width", "energy")}
        if any(row.values()):
            for part, kind, words in (("width", "time", "pulse width"), ("energy", "energy", "most energy")):
                with _at(f"limit-{n}-{part}"):
                    parse(row[part], kind, f"{words} of row {n}")
            found.append([row["width"], row["energy"]])
    if not found:
        said = "No pulse width with its most energy is said."
        raise InputError("limit-1-width", said, "Give the shortest and the longest, like 30 ns and 500 ns.")
    return found


def _filled(entry: Mapping[str, Any]) -> dict[str, str]:
    """The form of a laser as it is kept."""
    flat = {name: str(value) for name, value in {**entry, **entry["handpiece"]}.items() if name in LABELS}
    flat |= {name: f"{entry[name]:g}" for name in ("m2", "supply_voltage")}
    for n, (width, energy) in enumerate(entry["energy_limits"], 1):
        flat |= {f"limit-{n}-width": str(width), f"limit-{n}-energy": str(energy)}
    return flat | {f"pattern-{name}": name for name in entry["handpiece"]["patterns"]}
