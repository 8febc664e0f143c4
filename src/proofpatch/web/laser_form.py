"""The forms of a laser: what its label says, and what was read of it."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from proofpatch.cli_hazards import beam_of_laser, read_values
from proofpatch.cli_readings import apart, read_diameter, read_energy, read_lift
from proofpatch.errors import InputError
from proofpatch.lasers import laser as find_laser
from proofpatch.lasers import laser_from_table
from proofpatch.lasers.plan import ENERGY_STEPS, LIFTS
from proofpatch.lasers.readings import Reading
from proofpatch.learn.forecast import envelope
from proofpatch.phrases import raised
from proofpatch.shop.job import DEFAULT_LASER
from proofpatch.shop.laser_log import FITTED, read_date
from proofpatch.units import parse, show
from proofpatch.web.shell import Form, text, whole

MARK_ROWS, LIFT_ROWS = ENERGY_STEPS + 2, len(LIFTS) + 1  # what the plan lays, and some of one's own
LIMIT_ROWS = 6  # pulse widths on the form, more where a laser has more
NEW = "new"  # the page that no laser may be called after
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


@contextmanager
def _at(field: str) -> Iterator[None]:
    """Puts an InputError raised inside at a field of the form."""
    try:
        yield
    except InputError as error:
        raise InputError(field, error.problem, error.remedy) from None


def located(error: InputError) -> bool:
    """Whether the page has a place of its own for the sentence."""
    return error.field in GROUPS or error.field.partition("-")[0] in ("mark", "lift", "power", "card") or (
        error.field in ("material", "date", "top_hat_share", "reading_error", "meter_error")
    )  # fmt: skip


def reading_in(form: Form) -> Reading:
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
def on_form() -> Iterator[None]:
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
    return f"{raised(hint).rstrip('.')}."


def table_in(form: Form) -> dict[str, dict[str, Any]]:
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


def usable(table: dict[str, dict[str, Any]]) -> dict[str, dict[str, Any]]:
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


def limits_in(form: Form) -> int:
    """How many rows of pulse widths a form holds."""
    rows = [name.split("-")[1] for name in form if name.startswith("limit-")]
    return max((whole(row, 99) or 0 for row in rows), default=0)


def _limits(form: Form) -> list[list[str]]:
    found = []
    for n in range(1, limits_in(form) + 1):
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


def filled(entry: Mapping[str, Any]) -> dict[str, str]:
    """The form of a laser as it is kept."""
    flat = {name: str(value) for name, value in {**entry, **entry["handpiece"]}.items() if name in LABELS}
    flat |= {name: f"{entry[name]:g}" for name in ("m2", "supply_voltage")}
    for n, (width, energy) in enumerate(entry["energy_limits"], 1):
        flat |= {f"limit-{n}-width": str(width), f"limit-{n}-energy": str(energy)}
    return flat | {f"pattern-{name}": name for name in entry["handpiece"]["patterns"]}
