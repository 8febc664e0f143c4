"""A job with another laser in the hand: its recipe carried, and what the shop's past jobs would have taken with it.

Nothing here is proven: no patch was laid with the other laser. A setting is where its first patch begins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.lasers import Laser, laser_ids
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.belief import Belief
from proofpatch.learn.limits import Limits
from proofpatch.learn.memory.carried import Carried, carried
from proofpatch.learn.recipe import Recipe
from proofpatch.offer.hours import Hours
from proofpatch.offer.options import choose
from proofpatch.shop.charges import priced_job
from proofpatch.shop.job import Job
from proofpatch.shop.lasers import entries_of, lasers_of
from proofpatch.shop.log import setting_to
from proofpatch.shop.offered import asked_of
from proofpatch.shop.store import Entry, Store

PAST = 6  # past jobs that are asked, the newest; each takes some seconds
START = "A start for a test patch, never a recipe to work by: no patch of this job was laid with this laser."
OWN_HAZARDS = "Another laser has hazards of its own: its eyewear and distances come first."
LEVEL = 0.2  # e-folds of odds within which two recipes are called as far inside; common practice, no source


@dataclass(frozen=True)
class Taken:
    """What a job takes at a recipe. hours: of the whole job. cost: to the shop, sampled, None: nothing has a price."""

    hours: Hours
    cost: Any
    currency: str

    @property
    def seconds(self) -> float:
        """Median [s]."""
        return self.hours.quantile(0.5)

    @property
    def money(self) -> float | None:
        """Median cost, in the shop's currency."""
        return None if self.cost is None else float(np.median(self.cost))


@dataclass(frozen=True)
class Elsewhere:
    """A job with another laser. owned: by the shop; else it is only thought of. here, there: what the job takes with
    its own laser and the other; None where there is no recipe or nothing was measured."""

    found: Carried
    owned: bool
    here: Taken | None
    there: Taken | None

    @property
    def tried(self) -> bool:
        """Whether a patch of the job was laid with it."""
        return self.found.patches > 0

    @property
    def room(self) -> str:
        """How far inside the limits its recipe lies, beside the first laser's."""
        room = self.found.room
        if room is None:
            return ""
        if abs(room) <= LEVEL:
            return "as far inside both limits as with its own laser"
        times = float(np.exp(abs(room)))
        if room > 0:
            return f"farther inside the limits than with its own laser: {times:.1f} times the odds to keep them"
        return f"nearer to a limit than with its own laser: {times:.1f} times the odds to break it"


def others(store: Store, than: Laser | None = None) -> list[tuple[Laser, bool]]:
    """(laser, whether the shop owns it) of every laser but this one: its own first, then the built-in ones."""
    away = entries_of(store, away=True)
    own = [one for key, one in lasers_of(store).items() if key not in away]
    both = [(one, True) for one in own] + [(find_laser(key), False) for key in laser_ids()]
    return [(one, owned) for one, owned in both if than is None or one.id != than.id]


def laser_of(store: Store, key: str) -> tuple[Laser, bool]:
    """(laser of the shop or built-in one, whether the shop owns it).

    Raises:
        InputError: there is none.
    """
    own = lasers_of(store)
    if key in own:
        return own[key], True
    if key not in laser_ids():
        raise InputError("laser", f"There is no laser {key[:40]!r}.", "Look it up in the list.")
    return find_laser(key), False


def elsewhere(
    belief: Belief, limits: Limits, here: Recipe, laser: Laser, owned: bool = False, work: Job | None = None
) -> Elsewhere:
    """A job with another laser.

    Args:
        belief: with its evidence, on the job's own laser. here: its recipe there.
        work: with its zones and prices (`charges.priced_job`); None: neither hours nor money are told.
    """
    found = carried(belief, laser, limits, here)
    return Elsewhere(found, owned, taken(belief, here, work), taken(found.belief, found.there, work))


def taken(belief: Belief, recipe: Recipe, work: Job | None) -> Taken | None:
    """What a job takes at this recipe, with the shop's own prices and rates."""
    if work is None or recipe.setting is None or not work.zones:
        return None
    asked = asked_of(work)
    try:
        choice = choose("", "", recipe, belief, asked)
    except InputError:  # nothing has a price: the hours are told all the same
        hours = pp.hours(recipe, belief, asked.zones, asked.rates, around=asked.around, pieces=asked.pieces,
                         correction=asked.correction)  # fmt: skip
        return Taken(hours, None, asked.prices.currency)
    return Taken(choice.hours, sum(choice.cost.values()), asked.prices.currency)


def priced(store: Store, entry: Entry) -> Job | None:
    """The job with zones and prices; None where it has none that can be read."""
    try:
        return priced_job(store, entry)
    except InputError:
        return None


def elsewhere_record(one: Elsewhere) -> dict[str, Any]:
    """A job with another laser, for all faces."""
    found, there = one.found, one.found.there
    return {
        "laser": found.laser.id, "title": found.laser.title, "owned": one.owned, "tried": one.tried,
        "setting": setting_to(there.setting) if there.setting else None, "p_clean": there.p_clean,
        "p_harm": there.p_harm, "area_rate_m2_s": there.area_rate, "time_ratio": found.time,
        "room": found.room, "room_words": one.room, "because": found.because,
        "start": "" if one.tried else START, "here": _taken(one.here), "there": _taken(one.there),
    }  # fmt: skip


def _taken(one: Taken | None) -> dict[str, Any] | None:
    if one is None:
        return None
    quantiles = {f"p{p}": one.hours.quantile(p / 100) for p in (10, 50, 90)}
    return {"seconds": quantiles, "cost": one.money, "currency": one.currency}


def past_record(laser: Laser, owned: bool, rows: Sequence[tuple[Entry, Elsewhere]], asked: int) -> dict[str, Any]:
    """What the shop's past jobs would have taken with this laser. asked: jobs that were looked at."""
    both = [(one.here, one.there) for _, one in rows if one.here is not None and one.there is not None]
    jobs = [{"id": entry.id, "job": entry.title, **elsewhere_record(one)} for entry, one in rows]
    hours = [sum(pair[n].seconds for pair in both) for n in (0, 1)]
    priced_ = [
        pair for pair in both
        if pair[0].money is not None and pair[1].money is not None and pair[0].currency == both[0][0].currency
    ]  # fmt: skip
    money = [sum(pair[n].money or 0.0 for pair in priced_) for n in (0, 1)]
    return {
        "laser": laser.id, "title": laser.title, "owned": owned, "asked": asked, "compared": len(both),
        "without_recipe": sum(one.found.there.setting is None for _, one in rows),
        "seconds_here": hours[0] if both else None, "seconds_there": hours[1] if both else None,
        "cost_here": money[0] if priced_ else None, "cost_there": money[1] if priced_ else None,
        "priced": len(priced_), "currency": both[0][0].currency if both else None, "jobs": jobs, "start": START,
    }  # fmt: skip


def past_words(record: dict[str, Any]) -> str:
    """Would that laser do, in a sentence."""
    if not record["asked"]:
        return (
            "No past job has a recipe and measured zones, so there is nothing to compare. Grade patches and measure a "
            "piece first."
        )
    if not record["compared"]:
        return f"None of {record['asked']} past jobs has a recipe to try with it; its first patches would tell."
    return f"It has a recipe to try on {record['compared']} of {record['asked']} past jobs."
