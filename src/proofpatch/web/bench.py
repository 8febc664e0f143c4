"""The bench on screen: two settings side by side, all of them in the address, every figure the command line's."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response

import proofpatch as pp
from proofpatch.bench import Side, lay_out
from proofpatch.cli_read import (
    KNOBS,
    OPTIONS,
    SURFACE,
    SURFACE_OPTIONS,
    TRAVEL_SPEED,
    at_options,
    read_job_or_options,
    read_setting,
)
from proofpatch.cli_show import as_dialled
from proofpatch.errors import InputError
from proofpatch.hazards import CAUTIONS
from proofpatch.lasers import Laser
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.belief import Belief
from proofpatch.learn.forecast import FASTEST_HAND, SLOWEST_HAND
from proofpatch.learn.kernels import straight
from proofpatch.materials import (
    COLOURS,
    CONDITIONS,
    SUBSTRATE_CONDITIONS,
    coating,
    coating_ids,
    substrate,
    substrate_ids,
)
from proofpatch.phrases import raised
from proofpatch.physics.setting import Setting
from proofpatch.shop.job import DEFAULT_LASER
from proofpatch.shop.lasers import lasers_of
from proofpatch.shop.store import Entry, Store
from proofpatch.survey.stop import SURE, HardStop
from proofpatch.units import parse, show
from proofpatch.web.bench_words import answer
from proofpatch.web.desk import Desk, shares
from proofpatch.web.jobs import job_choices
from proofpatch.web.shell import Form, Pages, text

LETTERS = "ab"
MOST_JOBS = 50  # offered
SIDES, BELIEFS = 16, 8  # kept, so that moving a knob of B computes B alone
SLIDER = 1000  # steps of a slider
LEAST_SHARE = 0.02  # of a laser's most, where the slider of power or sweep speed begins (our choice); typed may be less
MOST_PASSES = 40  # of the slider, as in the forecast's window
NOTHING: Mapping[str, Any] = {"h1": "", "lead": [], "pictures": [], "figures": [], "limits": [], "travel": ""}
FIELDS = {OPTIONS[name][0]: name for name in (*KNOBS, "pattern", *SURFACE)}


@dataclass(frozen=True)
class Knob:
    """A row of the page. name: of the option too; kind: of quantity; unit: in which a slider writes."""

    name: str
    words: str
    kind: str
    unit: str


ROWS = (
    Knob("power", "Power", "power", "W"), Knob("rate", "Rate", "frequency", "kHz"),
    Knob("width", "Pulse width", "time", "ns"), Knob("sweep_width", "Sweep width", "length", "mm"),
    Knob("sweep_speed", "Sweep speed", "speed", "m/s"), Knob("travel_speed", "Hand", "speed", "mm/s"),
    Knob("passes", "Passes", "count", ""),
)  # fmt: skip


@dataclass(frozen=True)
class Stand:
    """What the two settings are tried on.

    belief: None without a surface. stop: why nothing is laid out. job: whose belief it is; likeliest: setting of its
    forecast; open: what stops a beam there.
    """

    laser: Laser
    belief: Belief | None = None
    stop: str | None = None
    job: Entry | None = None
    likeliest: Setting | None = None
    open: str | None = None


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The page of the bench."""
    router = APIRouter()

    @router.get("/bench")
    def bench(request: Request) -> Response:
        asked = dict(request.query_params)
        stand, error = Stand(find_laser(DEFAULT_LASER)), None
        sides: tuple[Side, ...] = ()
        try:
            with at_fields():
                stand = _stand(desk, asked)
            if stand.stop is None:
                given = _filled(stand, asked)
                settings = [read_side(given, letter, stand.laser) for letter in LETTERS]
                sides = desk.run(lambda: laid(stand, *settings))
        except InputError as trouble:
            error = trouble
        given = _filled(stand, asked)
        return page(
            "bench.html", 422 if error else 200, stand=stand, form=given, error=error, rows=ROWS, letters=LETTERS,
            sliders=_sliders(stand.laser, given), begin=_anew(asked), cautions=CAUTIONS, choices=_choices(),
            lasers=_lasers(store, stand), jobs=_jobs(store, stand), surface=_surface_words(stand),
            **(answer(sides) if sides else NOTHING),
        )  # fmt: skip

    return router


def laid(stand: Stand, *settings: Setting) -> tuple[Side, ...]:
    """Both sides, computed at once where they are not known yet.

    Raises:
        InputError: one cannot be drawn; its field names the side.
    """

    def side(letter: str, setting: Setting) -> Side:
        with at_fields(letter):
            return _laid(setting, stand.laser, stand.belief)

    if stand.belief is not None:
        straight(len(stand.belief.surface.coats))  # written once, by one thread: Python 3.11 parses in one at a time
    if not shares():
        return tuple(map(side, LETTERS, settings))
    with ThreadPoolExecutor(len(LETTERS)) as pool:
        return tuple(pool.map(side, LETTERS, settings))


@lru_cache(maxsize=SIDES)
def _laid(setting: Setting, laser: Laser, belief: Belief | None) -> Side:
    return lay_out([setting], laser.top_hat_share, laser, belief, courses=False)[0]


def read_side(given: Form, letter: str, laser: Laser) -> Setting:
    """The setting of one side's fields, by the readers of the command line.

    Raises:
        InputError: a field cannot be read; `field` names it.
    """
    names = (*(row.name for row in ROWS), "pattern")
    with at_fields(letter):
        return read_setting({name: text(given, f"{letter}-{name}") or None for name in names}, laser)[0]


@contextmanager
def at_fields(letter: str = "") -> Iterator[None]:
    """Names the field of the page, of one side or of the surface, in an InputError of the command line's readers."""
    try:
        yield
    except InputError as error:
        flag = OPTIONS[error.field][0] if error.field in OPTIONS else error.field
        name = FIELDS.get(flag, error.field)
        said = error.problem.removeprefix(f"{flag}: ").removeprefix(f"In {flag}: ")
        # An option in a sentence is its words on screen.
        problem, remedy = (re.sub(r"--([a-z][a-z-]*)", _option_words, part) for part in (said, error.remedy))
        field = f"{letter}-{name}" if letter else name
        raise InputError(field, raised(problem), remedy) from None


def _option_words(found: re.Match[str]) -> str:
    return {row.name: row.words.lower() for row in ROWS}.get(found[1].replace("-", "_"), found[1].replace("-", " "))


def _stand(desk: Desk, asked: Form) -> Stand:
    """The job's belief, or that of the surface described, or none.

    Raises:
        InputError: no such laser or job, or a surface that is none.
    """
    if text(asked, "job"):
        try:
            found = desk.look(text(asked, "job"))
        except InputError as error:
            raise InputError("job", error.problem, error.remedy) from None
        if found.work is None or found.window is None:
            return Stand(find_laser(DEFAULT_LASER), stop=found.stop, job=found.entry)
        best = found.window.settings[found.window.best]
        return Stand(found.work.laser, found.window.belief, None, found.entry, best, found.closed)
    name = text(asked, "laser") or DEFAULT_LASER
    laser = lasers_of(desk.store).get(name) or find_laser(name)
    named = [name for name in ("coating", "substrate") if text(asked, name)]
    if not named:
        return Stand(laser)
    if len(named) == 1:
        missing = "substrate" if named[0] == "coating" else "coating"
        raise InputError(missing, f"A {named[0]} was chosen without a {missing}.", "Choose both, or neither.")
    try:
        return Stand(laser, _belief(laser, tuple(text(asked, name) or None for name in SURFACE[1:])))
    except HardStop as stop:
        return Stand(laser, stop=stop.because)


@lru_cache(maxsize=BELIEFS)
def _belief(laser: Laser, surface: tuple[str | None, ...]) -> Belief:
    """As `proofpatch bench` believes it of the same options."""
    with at_options(SURFACE_OPTIONS):
        work = read_job_or_options(None, dict(zip(SURFACE[1:], surface, strict=True)))
    return pp.prior(work.surface, laser, work.hand, seed=work.seed)


def _filled(stand: Stand, asked: Form) -> dict[str, str]:
    """The fields as they were sent, or as on a first visit: A the laser at full power, B as A with the fastest sweep.

    Of a job A is the likeliest setting of its forecast.
    """
    laser, head = stand.laser, stand.laser.handpiece
    width = min((width for width, _ in laser.energy_limits), key=lambda one: (laser.corner_rate(one), one))
    first = stand.likeliest or Setting(
        laser.max_power, laser.corner_rate(width), width, laser.spot_radius, head.sweep_width_default,
        head.sweep_speed_default, TRAVEL_SPEED,
    )  # fmt: skip
    known = {
        "sweep_width": show(head.sweep_width_default, "length"), "pattern": first.pattern, "passes": "1",
        "sweep_speed": show(head.sweep_speed_default, "speed"), "travel_speed": show(TRAVEL_SPEED, "speed"),
    }  # fmt: skip
    fields = known | as_dialled(first, laser)
    a = {f"a-{name}": text(asked, f"a-{name}") if f"a-{name}" in asked else said for name, said in fields.items()}
    b = {f"b-{name}": a[f"a-{name}"] for name in fields}
    return {**a, **b, "b-sweep_speed": show(head.sweep_speed_max, "speed"), **asked, "laser": laser.id}


def _anew(asked: Form) -> str:
    """The address of the same laser and surface, at the settings of a first visit."""
    kept = {name: text(asked, name) for name in ("job", *SURFACE) if text(asked, name)}
    return f"/bench?{urlencode(kept)}" if kept else "/bench"


def _spans(laser: Laser) -> dict[str, tuple[float, float]]:
    """Ends of each knob's slider [SI]: what the laser can do, and a hand."""
    head = laser.handpiece
    return {
        "power": (LEAST_SHARE * laser.max_power, laser.max_power), "rate": (laser.min_rate, laser.max_rate),
        "width": laser.pulse_widths, "sweep_width": (head.sweep_width_min, head.sweep_width_max),
        "sweep_speed": (LEAST_SHARE * head.sweep_speed_max, head.sweep_speed_max),
        "travel_speed": (SLOWEST_HAND, FASTEST_HAND), "passes": (1.0, float(MOST_PASSES)),
    }  # fmt: skip


def _sliders(laser: Laser, given: Form) -> dict[str, dict[str, Any]]:
    """Of each field: both ends in the slider's unit, and where on its log scale the field's value lies."""
    found = {}
    for row in ROWS:
        low, high = _spans(laser)[row.name]
        size = parse(f"1 {row.unit}", row.kind, row.name) if row.unit else 1.0
        for letter in LETTERS:
            try:
                value = parse(text(given, f"{letter}-{row.name}"), row.kind, row.name)
                at = round(SLIDER * math.log(value / low) / math.log(high / low))
            except (InputError, ZeroDivisionError):
                at = 0
            found[f"{letter}-{row.name}"] = {
                "low": f"{low / size:.6g}", "high": f"{high / size:.6g}", "at": min(max(at, 0), SLIDER), "most": SLIDER,
            }  # fmt: skip
    return found


def _lasers(store: Store, stand: Stand) -> list[tuple[str, str]]:
    """(id, title) of the lasers that may be chosen, the one on the bench among them though it is put away."""
    return list({stand.laser.id: stand.laser.title, **dict(job_choices(store)["lasers"])}.items())


def _jobs(store: Store, stand: Stand) -> list[tuple[str, str]]:
    """(id, title) of the jobs that may be chosen, the one on the bench among them."""
    found = {entry.id: entry.title for entry in store.all("job", most=MOST_JOBS)}
    chosen = {stand.job.id: stand.job.title} if stand.job else {}
    return [("", "no job: as described here"), *(found | chosen).items()]


@lru_cache(maxsize=1)
def _choices() -> dict[str, list[tuple[str, str]]]:
    """What may be chosen of the surface: (value, words)."""
    plain = {"coating_condition": CONDITIONS, "colour": COLOURS, "substrate_condition": SUBSTRATE_CONDITIONS}
    found = {name: [("", "not known"), *((one, one) for one in words)] for name, words in plain.items()}
    for name, titles in (
        ("coating", [(key, coating(key).title) for key in coating_ids()]),
        ("substrate", [(key, substrate(key).title) for key in substrate_ids()]),
    ):
        found[name] = [("", "none named"), *sorted(titles, key=lambda pair: pair[1])]
    return found


def _surface_words(stand: Stand) -> str:
    """What lies on the bench, in a few words."""
    if stand.belief is None:
        return f"{stand.laser.title}, no surface named"
    surface = stand.belief.surface
    likely = [max(coat.shares.items(), key=lambda pair: pair[1]) for coat in surface.coats]
    coats = ", ".join(("" if p >= SURE else "most likely ") + coating(key).title.lower() for key, p in likely)
    named = f"{raised(coats)} on {substrate(surface.substrate).title.lower()}"
    return f"{named}, as {stand.job.title} stands now" if stand.job else f"{named}, {stand.laser.title}"
