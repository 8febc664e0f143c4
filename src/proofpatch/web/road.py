"""The road of a job: its steps, what each found, and what to do next. The job's data are the tables of a job file."""

from __future__ import annotations

import contextlib
import functools
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import proofpatch as pp
from proofpatch.cli_hazards import of_job
from proofpatch.cli_show import as_dialled, margin_words
from proofpatch.hazards.room import Zone
from proofpatch.learn.forecast import Window
from proofpatch.learn.stopping import ANY_AREA, another_strip
from proofpatch.records import forecast_record, patches_record, recipe_record, without_top_layer
from proofpatch.records_hazards import plan_record
from proofpatch.records_survey import survey_record
from proofpatch.shop.job import Job, job_from
from proofpatch.shop.lasers import entry_named, known, laser_on
from proofpatch.shop.log import graded_on_its_day
from proofpatch.shop.store import Entry, Overtaken, Store
from proofpatch.shop.surveyed import beam_stop, finding_of, open_hazard, refused, still_there
from proofpatch.survey.evidence import TESTS, Reading
from proofpatch.survey.identify import identify, in_100, words_of
from proofpatch.survey.stop import HardStop

TITLES = {"survey": "Survey", "forecast": "Forecast", "patches": "Test patches", "recipe": "Recipe",
          "hazards": "Hazards"}  # fmt: skip
DONE, BEGUN, TO_DO, STOPPED = "done", "begun", "to do", "stopped"
STRIP = 3  # steps of one, a stair of passes
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
    """A job as its folder shows it. stop: why nothing more is answered, or None. open: the first open hazard.

    laser: the version of its laser in the shop, 0 of a built-in one.
    """

    entry: Entry
    work: Job | None
    stop: str | None
    survey: Mapping[str, Any] | None
    forecast: Mapping[str, Any] | None
    open: str | None
    hazards: Mapping[str, Any] | None
    zone: Zone | None
    window: Window | None
    patches: tuple[Entry, ...]
    steps: tuple[Step, ...]
    next: str
    laser: int

    @cached_property
    def strip(self) -> tuple[Mapping[str, Any], list[dict[str, str]]]:
        """(record, knobs as dialled of each step) of the next strip; only of a job that nothing stops."""
        assert self.work is not None
        assert self.window is not None
        area = sum(area for area, _ in self.work.zones) or ANY_AREA
        worth = another_strip(self.window.belief, self.work.limits, area, "hidden", count=STRIP)
        return patches_record(worth, self.window), [as_dialled(one.setting, self.work.laser) for one in worth.strip]

    @cached_property
    def recipe(self) -> tuple[Mapping[str, Any], list[str]]:
        """(record, margins in words) of the recipe; only of a job that nothing stops."""
        assert self.work is not None
        assert self.window is not None
        belief = self.window.belief
        best = pp.recipe(belief, self.work.limits)
        hours = pp.hours(best, belief, self.work.zones, self.work.rates) if best.setting and self.work.zones else None
        record = recipe_record(best, hours)
        return record, margin_words(record, self.work.laser) if best.setting else []


def road(store: Store, entry: Entry) -> Road:
    """The steps of a job with what each found; computed once a version of the job and of its laser."""
    patches = tuple(sorted(store.all("patch", entry.id), key=lambda one: (one.created, one.id)))
    laser = entry_named(store, entry.data)
    found = _road(entry, patches, laser)
    if laser is not None and _said_with(store, entry) not in (None, found.laser):
        keep(store, found)
    return found


def _said_with(store: Store, entry: Entry) -> int | None:
    """The version of the laser with which the list's line of a job was written; None where it has none yet."""
    note = store.titles("survey", [entry.id]).get(entry.id)
    return json.loads(note).get("laser", 0) if note else None


@lru_cache(maxsize=KEPT)
def _road(entry: Entry, patches: tuple[Entry, ...], laser: Entry | None) -> Road:
    number = laser.version if laser else 0
    try:
        work = job_from(entry.data, lasers=known(laser))
    except HardStop as stop:
        return _stopped(entry, None, stop.because, number)
    why = refused(work)
    if why:
        return _stopped(entry, work, why, number)
    belief = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
    on = functools.partial(laser_on, laser) if laser else None
    graded = [graded_on_its_day(one.data, len(work.surface.coats), on) for one in patches]
    window = pp.forecast(pp.update(belief, graded) if graded else belief, work.limits)
    survey = survey_record(finding_of(work, float(window.chance)))
    forecast = forecast_record(window, without_top_layer(window))
    plan, assumed = of_job(work, {}, window)
    hazards = plan_record(plan, work.title, still_there(work))
    hazards["assumptions"] = [*assumed, *hazards["assumptions"]]
    likely = next(iter(survey["finishes"]))
    found = f"{survey['finish_words'][likely]}, {in_100(survey['finishes'][likely])}"
    if survey["answer"] == "decline":
        state, then = STOPPED, "Declined"
    elif survey["next"] is not None:
        state, then = BEGUN, f"Try: {survey['next']['ask']}"
    elif survey["stops"]:
        state, then = BEGUN, "Settle what is open"
    else:
        state, then = DONE, "Look at the forecast"
    said = f"{ANSWERS[forecast['answer']].lower()}, {chance_words(forecast['chance'])}"
    closed = beam_stop(work) is not None
    harmed = sum(one.harm != "none" for one in graded)
    laid = f"{len(graded)} graded" + (f", {harmed} harmed" if harmed else "")
    steps = (
        Step("survey", state, found),
        Step("forecast", STOPPED if forecast["answer"] == "decline" else DONE, said),
        Step("patches", STOPPED if closed else BEGUN if graded else TO_DO, laid if graded else ""),
        Step("recipe", STOPPED if closed else TO_DO),
        Step("hazards", BEGUN if hazards["covered"] else STOPPED, "to sign" if hazards["covered"] else "not covered"),
    )
    return Road(
        entry, work, None, survey, forecast, open_hazard(work), hazards, plan.zone, window, patches, steps, then, number
    )


def _stopped(entry: Entry, work: Job | None, why: str, laser: int) -> Road:
    steps = (Step("survey", STOPPED, "refused"), *(Step(name, TO_DO) for name in TITLES if name != "survey"))
    return Road(entry, work, why, None, None, None, None, None, None, (), steps, "Refused", laser)


def choices(work: Job, test: str) -> list[dict[str, str]]:
    """What may come of a test, and what each would make of the belief."""
    assert work.survey is not None
    found = []
    for value in TESTS[test].values:
        after = identify(work.survey.with_reading(Reading(test, value)))
        likely = after.favourite
        found.append({"value": value, "then": f"then {words_of(likely)}, {in_100(after.finishes[likely])}"})
    return found


def keep(store: Store, found: Road) -> None:
    """What a version of a job came to, as it was then; and what the list says of it."""
    entry = found.entry
    about = {
        "version": entry.version, "laser": found.laser, "next": found.next[:80],
        "states": [one.state for one in found.steps], "found": found.steps[0].finding[:60],
    }  # fmt: skip
    answers: dict[str, dict[str, Any]] = {
        "survey": {"record": found.survey, "stop": found.stop}, "forecast": {"record": found.forecast},
        "hazards": {"record": found.hazards},
    }  # fmt: skip
    for kind, answer in answers.items():
        data = {**answer, "job_version": entry.version, "laser_version": found.laser}
        earlier = store.all(kind, entry.id)
        if earlier:
            # Computed from the job itself: whoever writes last or first, the next change writes it anew.
            with contextlib.suppress(Overtaken):
                store.change(kind, earlier[0].id, earlier[0].version, data, json.dumps(about))
        else:
            store.add(kind, data, entry.id, json.dumps(about))


def chance_words(p: float) -> str:
    """A chance as a count, small ones in 1000; never one that knows no doubt."""
    if p > 0.995:
        return "over 99 in 100"
    return in_100(p) if p >= 0.0095 else f"{round(1000 * p)} in 1000" if p >= 0.0005 else "under 1 in 1000"
