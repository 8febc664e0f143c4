"""The road of a job: its steps, what each found, and what to do next. The job's data are the tables of a job file."""

from __future__ import annotations

import contextlib
import functools
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, NamedTuple

import proofpatch as pp
from proofpatch import units
from proofpatch.cli_hazards import of_job
from proofpatch.cli_show import as_dialled, margin_words
from proofpatch.errors import InputError
from proofpatch.hazards.room import Zone
from proofpatch.learn.belief import Recalled
from proofpatch.learn.evidence import Graded
from proofpatch.learn.forecast import Window, quantiles
from proofpatch.learn.recipe import Recipe
from proofpatch.learn.stopping import ANY_AREA, another_strip
from proofpatch.measure.zones import likely, totals
from proofpatch.phrases import chance_words, in_100
from proofpatch.physics.rows import THICKNESS
from proofpatch.physics.setting import Setting
from proofpatch.pictures.field import field_of
from proofpatch.pictures.ruler import Dial, dials
from proofpatch.pictures.window import Drawn, drawn
from proofpatch.records import forecast_record, patches_record, recipe_record, without_top_layer
from proofpatch.records_hazards import plan_record
from proofpatch.records_survey import survey_record
from proofpatch.shop.completions import record_standing
from proofpatch.shop.confirmed import seen_of
from proofpatch.shop.decided import decided_of, passes_of
from proofpatch.shop.job import Job, job_from
from proofpatch.shop.lasers import entry_named, known, laser_on
from proofpatch.shop.log import graded_on_its_day, setting_from
from proofpatch.shop.memory import recalled_of
from proofpatch.shop.papers import standing
from proofpatch.shop.property_words import coat_words
from proofpatch.shop.run import entries_of, evidence_of, of_piece, state_of
from proofpatch.shop.starts import OTHERS, start_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.surveyed import beam_stop, finding_of, refused, still_there
from proofpatch.survey.evidence import TESTS, Reading
from proofpatch.survey.finishes import words_of
from proofpatch.survey.identify import identify
from proofpatch.survey.refit import NONE, Counts
from proofpatch.survey.stop import HardStop
from proofpatch.units import show
from proofpatch.web.shared import shared

TITLES = {"survey": "Survey", "forecast": "Forecast", "patches": "Test patches", "recipe": "Recipe",
          "measure": "Measure", "offer": "Offer", "hazards": "Hazards", "run": "Run", "record": "Record"}  # fmt: skip
DONE, BEGUN, TO_DO, STOPPED = "done", "begun", "to do", "stopped"
DAMAGED = "damaged"  # a record that is not what was written
STRIP = 3  # steps of one that is laid out (common practice, no source)
MOST_COATS = 2  # whose thickness is asked about
KEPT = 32  # jobs whose answers are held in memory
ANSWERS = {"take it": "Take it", "test it": "Test it first", "decline": "Decline it", "worth it": "Worth it",
           "test first": "Test it first"}  # fmt: skip


@dataclass(frozen=True)
class Step:
    """One step of a job: state in a word, finding in a few."""

    name: str
    state: str
    finding: str = ""

    @property
    def title(self) -> str:
        """As it is named on a page."""
        return TITLES[self.name]


@dataclass(frozen=True)
class Road:
    """A job as its folder shows it. stop: why nothing more is answered, or None.

    closed: why no patch and no recipe is given: what the survey says stops a beam stops it, described or tested.
    laser: the version of its laser in the shop, 0 of a built-in one. seen: entries of its run that taught something.
    laid: its patches as the belief reads them.
    """

    entry: Entry
    work: Job | None
    stop: str | None
    survey: Mapping[str, Any] | None
    forecast: Mapping[str, Any] | None
    closed: str | None
    hazards: Mapping[str, Any] | None
    zone: Zone | None
    window: Window | None
    patches: tuple[Entry, ...]
    steps: tuple[Step, ...]
    next: str
    laser: int
    best: Recipe | None = None
    seen: tuple[Entry, ...] = ()
    laid: tuple[tuple[Entry, Graded], ...] = ()
    parts: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def declined(self) -> bool:
        """Whether the forecast sees no use in the beam."""
        return self.forecast is not None and self.forecast["answer"] == "decline"

    @property
    def unguarded(self) -> str | None:
        """Why nobody may start as room, air and beam are described."""
        return self.hazards["unguarded"] if self.hazards else None

    @shared
    def strip(self) -> tuple[Mapping[str, Any], list[dict[str, str]]]:
        """(record, knobs as dialled of each step) of the next strip; only of a job that nothing stops."""
        assert self.work is not None
        assert self.window is not None
        area = sum(area for area, _ in self.work.zones) or ANY_AREA
        worth = another_strip(self.window.belief, self.work.limits, area, "hidden", count=STRIP)
        return patches_record(worth, self.window), [as_dialled(one.setting, self.work.laser) for one in worth.strip]

    @shared
    def recipe(self) -> tuple[Mapping[str, Any], list[str]]:
        """(record, margins in words) of the recipe; only of a job that nothing stops."""
        assert self.work is not None
        assert self.window is not None
        belief = self.window.belief
        best = self.best or pp.recipe(belief, self.work.limits)
        hours = pp.hours(best, belief, self.work.zones, self.work.rates) if best.setting and self.work.zones else None
        record = recipe_record(best, hours)
        return record, margin_words(record, self.work.laser) if best.setting else []

    @shared
    def likeliest(self) -> Drawn | None:
        """The window about the forecast's best setting, drawn; None of a job that is refused."""
        if self.window is None:
            return None
        window, best = self.window, self.window.best
        chances = float(window.p_clean[best]), float(window.p_harm[best])
        field = field_of(
            window.belief, window.limits, window.settings[best], chances, held=False, shown=window.belief.evidence
        )
        name = "inside your limits" if window.admissible[best] else "likeliest so far"
        return drawn(field, name, window.belief.evidence)

    @shared
    def settles(self) -> list[tuple[str, str]]:
        """(evidence, what the chance then is) of what would change the forecast: the next strip, thickness readings."""
        rows: list[tuple[str, str]] = []
        if self.window is None:
            return rows
        if self.closed is None and self.strip[0]["patches"]:
            strip = self.strip[0]
            minutes, chance = max(round(strip["seconds_spent_s"] / 60), 1), strip["chance_of_recipe"]
            what = f"A strip of {len(strip['patches'])} test patches, about {minutes} min"
            # It is counted over a hundred ends of the strip: nothing finer is known.
            found = chance_words(chance) if chance > 0 else "under 1 in 100"
            rows.append((what, f"{found} that some setting then holds both limits"))
        return rows + ([] if self.patches else _thickness(self.window))

    @shared
    def outlook(self) -> tuple[Drawn | None, list[tuple[str, str]]]:
        """All the forecast's page adds to its record."""
        return self.likeliest, self.settles

    @shared
    def proof(self) -> tuple[list[Dial], Drawn | None]:
        """(dials, window about it) of the recipe; without one the window of the forecast."""
        assert self.work is not None
        assert self.window is not None
        record = self.recipe[0]
        if record["setting"] is None:
            return [], self.likeliest
        setting, chances = setting_from(record["setting"]), (record["p_clean"], record["p_harm"])
        belief = self.window.belief
        field = field_of(belief, self.work.limits, setting, chances, shown=belief.evidence)
        return dials(record, self.work.laser), drawn(field, "recipe", belief.evidence)


def _thickness(window: Window) -> list[tuple[str, str]]:
    """What the chance would be with a thin and with a thick coat measured, of each coat that was not."""
    belief, rows = window.belief, []
    for i, coat in enumerate(belief.surface.coats[:MOST_COATS]):
        if coat.thickness is not None:
            continue
        said = []
        for thickness in quantiles(belief.layer[:, i, THICKNESS], belief.weight)[1:]:
            with contextlib.suppress(InputError):  # thinner or thicker than any coat
                coats = [replace(one, thickness=thickness) if n == i else one
                         for n, one in enumerate(belief.surface.coats)]  # fmt: skip
                surface = replace(belief.surface, layers=coats)
                then = pp.forecast(pp.prior(surface, belief.laser, belief.hand, seed=belief.seed), window.limits)
                said.append(f"{chance_words(then.chance)} if it is {show(float(f'{thickness:.2g}'), 'length')}")
        rows += [(f"Thickness of the {coat_words(coat)}, measured", "; ".join(said))] if said else []
    return rows


def road(store: Store, entry: Entry) -> Road:
    """The steps of a job with what each found; computed once a version of the job and of its laser."""
    return road_of(settled(store, inputs(store, entry)))


class Inputs(NamedTuple):
    """All that the road of a job depends on: itself, patches, laser, units, how its quote stands, its run, its record.

    decided: the recipe that is worked by. recorded: how its completion record stands. memory: what other
    jobs say of its surface, where the shop uses it. seen: what other jobs' confirmed pieces say of the survey's tests.
    others: the state of these jobs while `memory` is still to be worked out from them (`settled`), else None.
    """

    entry: Entry
    patches: tuple[Entry, ...]
    laser: Entry | None
    system: str
    quoted: str = ""
    ran: tuple[Entry, ...] = ()
    decided: Entry | None = None
    recorded: str = ""
    memory: Recalled | None = None
    seen: Counts = NONE
    others: tuple[int, int, str] | None = None


def inputs(store: Store, entry: Entry) -> Inputs:
    """What the store says of a job now, without calling the kernels."""
    patches, ran = tuple(store.in_order("patch", entry.id)), tuple(entries_of(store, entry.id))
    decided = decided_of(store, entry.id)
    laser = entry_named(store, entry.data)
    quoted, recorded = standing(store, entry.id), _recorded(store, entry.id)
    start, seen = start_of(store, entry, asks=False), seen_of(store, entry.id)
    others = store.state(*OTHERS) if start.moves else None
    return Inputs(entry, patches, laser, units.system(), quoted, ran, decided, recorded, start.recalled, seen, others)


def settled(store: Store, given: Inputs) -> Inputs:
    """The same with what other jobs teach, where the start of the job still follows that; it may call the kernels."""
    return given if given.others is None else given._replace(memory=recalled_of(store, given.entry), others=None)


def _recorded(store: Store, key: str) -> str:
    """How the completion record stands; a damaged one stops its own pages, not the whole job."""
    try:
        return record_standing(store, key)
    except InputError:
        return DAMAGED


@lru_cache(maxsize=KEPT)
def road_of(given: Inputs) -> Road:
    """The road of these inputs; its sentences are in the system of units that holds here."""
    assert given.system == units.system()
    assert given.others is None
    # Lines of the log as text: what is begun and ended later than its grade does not change them.
    taught = tuple(json.dumps(line) for line in evidence_of(given.ran))
    found = _worked(given.entry, given.patches, given.laser, given.system, taught, given.memory, given.seen)
    if found.work is None or found.window is None:
        return found
    # What changes all day is set in, nothing is worked out anew for it.
    now = {
        "offer": Step("offer", STOPPED if found.closed else _offer_state(found.best, found.work, given.quoted),
                      given.quoted),
        "run": _run_step(found, given.ran, passes_of(given.decided)), "record": _record_step(given.recorded),
    }  # fmt: skip
    if given.decided and not found.closed:
        now["recipe"] = Step("recipe", DONE, _dialled(setting_from(given.decided.data["record"]["setting"])))
    seen = tuple(one for one in given.ran if evidence_of([one]))
    return replace(found, seen=seen, steps=tuple(now.get(one.name, one) for one in found.steps))


def _run_step(found: Road, ran: tuple[Entry, ...], passes: int) -> Step:
    """How far the run is; what was done stays said though something stops the rest."""
    assert found.work is not None
    measured, pieces = found.work.measured, int(found.work.offer["offer"].get("pieces", 1))
    beamed = [n for n, one in enumerate(measured) if one.beam_share]
    standing = [state_of(of_piece(ran, piece), len(measured), passes) for piece in range(1, pieces + 1)]
    states = [[one[n].state for n in beamed] for one in standing]
    done = [sum(state == DONE for state in one) for one in states]
    stopped = found.closed or any(STOPPED in one for one in states)
    state = STOPPED if stopped else DONE if beamed and sum(done) == pieces * len(beamed) else BEGUN if ran else TO_DO
    if not ran or not beamed:
        return Step("run", state)
    if pieces == 1:
        return Step("run", state, f"{done[0]} of {len(beamed)} zones done")
    return Step("run", state, f"{done.count(len(beamed))} of {pieces} pieces done")


def _record_step(recorded: str) -> Step:
    """How far the proof is: written, then signed."""
    state = STOPPED if recorded == DAMAGED else DONE if recorded.startswith("signed") else BEGUN
    return Step("record", state if recorded else TO_DO, recorded)


@lru_cache(maxsize=KEPT)
def _worked(
    entry: Entry, patches: tuple[Entry, ...], laser: Entry | None, system: str, taught: tuple[str, ...],
    memory: Recalled | None = None, seen: Counts = NONE,
) -> Road:  # fmt: skip
    """The road but for what changes all day: offer, run and record are still to do. taught: lines of the log."""
    assert system == units.system()
    number = laser.version if laser else 0
    try:
        work = job_from(entry.data, lasers=known(laser))
    except HardStop as stop:
        return _stopped(entry, None, stop.because, number)
    why = refused(work)
    if why:
        return _stopped(entry, work, why, number)
    belief = pp.prior(work.surface, work.laser, work.hand, memory, work.seed)
    on = functools.partial(laser_on, laser) if laser else None
    layers = len(work.surface.coats)
    graded = [graded_on_its_day(one.data, layers, on) for one in patches]
    # A finished zone was judged down to the ground.
    ran = [graded_on_its_day(json.loads(line) | {"layer": layers - 1}, layers, on) for line in taught]
    evidence = graded + ran
    window = pp.forecast(pp.update(belief, evidence) if evidence else belief, work.limits)
    survey = survey_record(finding_of(work, float(window.chance), seen))
    forecast = forecast_record(window, without_top_layer(window))
    plan, assumed = of_job(work, {}, window)
    hazards = plan_record(plan, work.title, still_there(work))
    hazards["assumptions"] = [*assumed, *hazards["assumptions"]]
    closed = beam_stop(work)
    best = pp.recipe(window.belief, work.limits) if evidence and not closed else None
    likely = next(iter(survey["finishes"]))
    found = f"{survey['finish_words'][likely]}, {in_100(survey['finishes'][likely])}"
    if not work.surveyed:
        found = f"{' over '.join(coat.title.lower() for coat in work.surface.coats)}, as described"
    if survey["answer"] == "decline":
        state, then = STOPPED, "Declined"
    elif survey["next"] is not None and work.surveyed:
        state, then = BEGUN, f"Try: {survey['next']['ask']}"
    elif survey["stops"]:
        state, then = BEGUN, "Settle what is open"
    else:
        state, then = DONE, "Lay test patches"
    if best is not None and forecast["answer"] != "decline":
        then = "Work by the recipe" if best.confirmed else "Confirm the recipe" if best.setting else "Lay a strip"
    said = f"{ANSWERS[forecast['answer']].lower()}, {chance_words(forecast['chance'])}"
    harmed = sum(one.harm != "none" for one in graded)
    laid = f"{len(graded)} graded" + (f", {harmed} harmed" if harmed else "")
    steps = (
        Step("survey", state, found),
        Step("forecast", STOPPED if forecast["answer"] == "decline" else DONE, said),
        Step(
            "patches",
            STOPPED if closed else DONE if best and best.confirmed else BEGUN if graded else TO_DO,
            laid if graded else "",
        ),
        Step("recipe", STOPPED if closed else _recipe_state(best), _recipe_words(best)),
        Step("measure", DONE if work.measured else TO_DO, _measured_words(work)),
        Step("offer", TO_DO),
        Step(
            "hazards", STOPPED if hazards["unguarded"] else BEGUN, "not covered" if hazards["unguarded"] else "to sign"
        ),
        Step("run", TO_DO),
        Step("record", TO_DO),
    )
    return Road(
        entry,
        work,
        None,
        survey,
        forecast,
        closed,
        hazards,
        plan.zone,
        window,
        patches,
        steps,
        then,
        number,
        best,
        laid=tuple(zip(patches, graded, strict=True)),
    )


def _recipe_state(best: Recipe | None) -> str:
    return TO_DO if best is None or best.setting is None else DONE if best.confirmed else BEGUN


def _recipe_words(best: Recipe | None) -> str:
    """A recipe in a few words."""
    if best is None or best.setting is None:
        return ""
    said = _dialled(best.setting)
    return said if best.confirmed else f"{said}, to confirm"


def _dialled(s: Setting) -> str:
    shown = ((s.average_power, "power"), (s.repetition_rate, "frequency"), (s.travel_speed, "speed"))
    return ", ".join(units.show(value, kind) for value, kind in shown)


def _measured_words(work: Job) -> str:
    """The area of a job with its range; a zone without an area is not kept, so all of them have one."""
    if not work.measured:
        return ""
    sums = totals(work.measured)
    if not sums.area:
        return "nothing for the beam"
    low, high = (show(end, "area", like=sums.area) for end in likely(sums.area, sums.spread))
    return f"{show(sums.area, 'area')}, {low} to {high}"


def _offer_state(best: Recipe | None, work: Job, quoted: str) -> str:
    if quoted:
        return DONE if quoted.startswith("accepted") else BEGUN
    return BEGUN if best is not None and best.setting is not None and work.zones else TO_DO


def _stopped(entry: Entry, work: Job | None, why: str, laser: int) -> Road:
    steps = (Step("survey", STOPPED, "refused"), *(Step(name, STOPPED) for name in TITLES if name != "survey"))
    return Road(entry, work, why, None, None, why, None, None, None, (), steps, "Refused", laser)


def choices(work: Job, test: str, seen: Counts = NONE) -> list[dict[str, str]]:
    """What may come of a test, and what each would make of the belief."""
    assert work.survey is not None
    found = []
    for value in TESTS[test].values:
        after = identify(work.survey.with_reading(Reading(test, value)), seen)
        likely = after.favourite
        found.append({"value": value, "then": f"then {words_of(likely)}, {in_100(after.finishes[likely])}"})
    return found
