"""The day of a job: its recipe in hand, what was looked at this morning, the control patch, and what keeps it shut."""

from __future__ import annotations

import datetime
import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from proofpatch.lasers.readings import Reading
from proofpatch.learn.belief import Belief
from proofpatch.learn.evidence import HARMS, RESIDUES, Graded
from proofpatch.learn.forecast import grades_at
from proofpatch.phrases import chance_words
from proofpatch.physics.setting import Setting
from proofpatch.run.control import AS_EXPECTED, Control, before, control
from proofpatch.run.day import Morning, morning
from proofpatch.run.limits import Limit, limit_of, unsettled
from proofpatch.run.piece import Piece, piece_of
from proofpatch.shop.days import day_of
from proofpatch.shop.decided import decided_of
from proofpatch.shop.job import Job
from proofpatch.shop.lasers import entry_named, laser_on, own_of
from proofpatch.shop.log import graded_on_its_day, setting_from
from proofpatch.shop.run import entries_of
from proofpatch.shop.steady import steadied
from proofpatch.shop.store import Entry, Store
from proofpatch.web.desk import Desk
from proofpatch.web.road import Road

TITLE = "Control patch"  # of a graded patch that is one
# Grades a control patch may get whose meaning a phone out of reach knows; with harm, whatever is left counts as clean.
# Signs after which the piece itself is looked at: it was harmed, or may be.
SCORCHED = ("flame", "white-smoke", "tint", "scorch-smell", "bronze", "melt", "white-bloom", "stone-colour", "glow",
            "blister", "spall")  # fmt: skip
OUTCOMES = (*((residue, "none") for residue in RESIDUES), *((RESIDUES[-1], harm) for harm in HARMS if harm != "none"))


@dataclass(frozen=True)
class Gate:
    """Why nobody begins. opens: what a phone out of reach may still settle, "day" or "control"; else empty.

    at, go: the way out, an address within the shop and what it is called.
    """

    said: str
    at: str
    go: str
    opens: str = ""


@dataclass(frozen=True)
class Today:
    """A day of a job that nothing refuses.

    decided: the recipe the shop works by; setting, p_clean, p_harm: its own, as the belief has them now.
    answers: of the day's checks. controls: kept control patches of the day; judged: the last of them, or None.
    laid, harmed, settled: when the last control patch was laid, harm or a sign of it last seen in the run, the recipe
    decided; on one scale that a clock which was put back does not turn round. readings: of the laser.
    """

    road: Road
    date: datetime.date
    work: Job
    piece: Piece
    decided: Entry | None
    setting: Setting | None
    p_clean: float
    p_harm: float
    entry: Entry | None
    answers: Mapping[str, Mapping[str, Any]]
    morning: Morning
    controls: tuple[Entry, ...]
    judged: Control | None
    laid: datetime.datetime | None
    harmed: datetime.datetime | None
    settled: datetime.datetime | None
    readings: tuple[Reading, ...] = ()

    @property
    def gate(self) -> Gate | None:
        """The first thing that keeps the beam off."""
        return _gate(self)

    @property
    def control(self) -> str:
        """The verdict of the control patch as it stands; "none" where there is none, or it does not count any more."""
        return "none" if self.judged is None or _outdated(self) else self.judged.verdict

    @property
    def limits(self) -> dict[str, Limit | None]:
        """What the figure of each check may be."""
        return {one.name: limit_of(one, self.piece, self.readings, self.date) for one in self.morning.checks}

    @property
    def wrong(self) -> tuple[str, ...]:
        """Names of the checks that stop this day."""
        return unsettled(self.morning, self.piece, self.limits)


def piece_on(road: Road, power: float | None = None) -> Piece:
    """What the day needs to know of the piece; without a room that is described it counts as outdoors."""
    assert road.work is not None
    gates = tuple(one for one in (road.closed, road.unguarded) if one)
    cue = road.work.laser.handpiece.focus_cue
    return piece_of(road.work.surface, road.work.room is None, cue, power, gates)


def today_of(store: Store, desk: Desk, road: Road, date: datetime.date) -> Today | None:
    """The day of a job; None of one that is refused before any beam."""
    if road.work is None or road.window is None:
        return None
    key, work, belief = road.entry.id, road.work, road.window.belief
    decided = decided_of(store, key)
    setting = setting_from(decided.data["record"]["setting"]) if decided else None
    piece = piece_on(road, setting.average_power if setting else None)
    entry = day_of(store, key, date)
    answers: Mapping[str, Mapping[str, Any]] = entry.data["checks"] if entry else {}
    laser = entry_named(store, road.entry.data)
    readings = own_of(laser).readings if laser else ()
    looked = morning(piece, answers, readings, date)
    named = entry.data["controls"] if entry else ()
    controls = tuple(sorted(
        (one for one in store.in_order("patch", key) if one.id in named), key=lambda one: named.index(one.id)
    ))  # fmt: skip
    on = functools.partial(laser_on, laser) if laser else None
    graded = tuple(graded_on_its_day(one.data, len(work.surface.coats), on) for one in controls)
    right = frozenset(name for name, one in answers.items() if one.get("ok"))

    def ask() -> tuple[float, float, Control | None]:
        p_clean, p_harm, _ = grades_at(belief, setting) if setting else (0.0, 1.0, {})
        return float(p_clean), float(p_harm), _judged(belief, graded, right) if graded else None

    p_clean, p_harm, judged = desk.run(ask)
    laid, harmed, settled = _moments(controls[-1:], entries_of(store, key), decided)
    return Today(road, date, work, piece, decided, setting, p_clean, p_harm, entry, answers, looked, controls, judged,
                 laid, harmed, settled, tuple(readings))  # fmt: skip


def _moments(
    control: Sequence[Entry], ran: Sequence[Entry], decided: Entry | None
) -> tuple[datetime.datetime | None, datetime.datetime | None, datetime.datetime | None]:
    """When the control patch was laid, harm last seen, the recipe decided."""
    rows = [(one, _time(one.data["when"])) for one in control] + [(one, _time(one.data["at"])) for one in ran]
    # A log counts whole seconds.
    rows += [(decided, decided.created.replace(microsecond=0))] if decided else []
    rows.sort(key=lambda row: row[0].made)
    when = steadied([(one.created, said) for one, said in rows])
    at = {one.id: moment for (one, _), moment in zip(rows, when, strict=True)}
    harmed = [at[one.id] for one in ran if scorches(one.data)]
    return (at[control[-1].id] if control else None, max(harmed, default=None), at[decided.id] if decided else None)


def _time(said: object) -> datetime.datetime:
    return datetime.datetime.fromisoformat(str(said))


def scorches(data: Mapping[str, Any]) -> bool:
    """Whether an entry of the run says that the piece itself was harmed, or may be."""
    return data["harm"] not in (None, "none") or data["sign"] in SCORCHED


@lru_cache(maxsize=16)
def _judged(belief: Belief, graded: tuple[Graded, ...], right: frozenset[str]) -> Control:
    return control(before(belief, graded), graded, right)


@lru_cache(maxsize=16)
def outcomes(belief: Belief, setting: Setting, graded: tuple[Graded, ...], right: frozenset[str]) -> dict[str, Control]:
    """What each grade of the next control patch would say, by "residue, harm": a phone out of reach looks it up."""
    base = before(belief, graded) if graded else belief
    return {
        f"{residue}, {harm}": control(base, [*graded, Graded(setting, residue, harm)], right)
        for residue, harm in OUTCOMES
    }


def _gate(day: Today) -> Gate | None:
    road, base = day.road, f"/jobs/{day.road.entry.id}"
    limits = day.work.limits
    if road.closed:
        return Gate(_stop(road.closed), f"{base}/survey", "Settle it in the survey")
    if not day.work.zones:
        return Gate("Stop: nobody has measured what is to be cleaned.", f"{base}/measure", "Measure the piece")
    if day.decided is None or day.setting is None:
        return Gate("Stop: no recipe is decided.", f"{base}/recipe", "Confirm one and work by it")
    if day.p_harm > limits.p_harm:
        said = (f"Stop: what was seen since makes harm {chance_words(day.p_harm)} at this recipe, and "
                f"{chance_words(limits.p_harm)} is your limit.")  # fmt: skip
        return Gate(said, f"{base}/recipe", "Decide on another recipe")
    if road.unguarded:
        return Gate(_stop(road.unguarded), f"{base}/hazards", "Cover the hazards")
    if day.morning.stops:
        one = day.morning.stops[0]
        return Gate(_stop(f"{one.what} {one.then}"), f"{base}/run/day", "Start of day", "day")
    if day.morning.missing:
        return Gate(f"Stop: the day is not opened. {day.morning.words}", f"{base}/run/day", "Start of day", "day")
    if day.judged is None:
        return Gate("Stop: no control patch was laid today.", f"{base}/run/day#control", "Lay the control patch",
                    "control")  # fmt: skip
    if day.judged.verdict != AS_EXPECTED:
        return Gate(
            _stop(f"{day.judged.words} {day.judged.next}"),
            f"{base}/run/day#control",
            "Look at the control patch",
            "control",
        )
    said = _outdated(day)
    if said:
        return Gate(said, f"{base}/run/day#control", "Lay the control patch", "control")
    return None


def _outdated(day: Today) -> str:
    """Why the last control patch says nothing of what comes next; empty where it does, or there is none."""
    if day.laid is None:
        return ""
    if day.harmed is not None and day.harmed >= day.laid:
        return "Stop: harm was seen since the control patch. Find the reason, then lay it anew where it shows least."
    if day.settled is not None and day.settled > day.laid:
        return "Stop: the recipe was decided anew since the control patch. Lay it anew where it shows least."
    return ""


def _stop(said: str) -> str:
    return said if said.startswith("Stop") else f"Stop. {said}"
