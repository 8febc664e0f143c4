"""What finished jobs took at their zones beside what was predicted, and what that makes of the next job's hours.

With r the logarithm of true over predicted time of each of n finished jobs, and a shop that is taken to differ from
the rates by a factor whose logarithm has the spread of one job's,

    ln factor = Σ r / (n + 1)                                                                                      (1)

so that one job moves the hours half way to what it took, and many all of it. Their range is left as it is: the doubt
about the rates is in it already, and no finished job makes it wider.

Source: the mean of a normal with known variance under a normal prior, Gelman et al., Bayesian Data Analysis, 3rd ed.
(2013), §2.5 (from memory); that the two spreads are alike is common practice, no source.
"""

from __future__ import annotations

import math
from contextlib import suppress
from typing import Any

import numpy as np

from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief
from proofpatch.learn.recipe import Recipe
from proofpatch.offer.hours import Correction, zone_seconds
from proofpatch.shop.decided import decided_of
from proofpatch.shop.job import Job
from proofpatch.shop.log import setting_from
from proofpatch.shop.offered import asked_of
from proofpatch.shop.run import DONE, entries_of, state_of_batch
from proofpatch.shop.store import Entry, Overtaken, Store

KIND = "took"
# A log whose time lies farther off was not kept while the work was done; common practice, no source.
FARTHEST = 5.0


def correction_of(store: Store, but: str | None = None) -> Correction:
    """What the finished jobs of the shop say of hours (1). but: the id of a job that is left out."""
    live = {key for key, *_ in store.names("job")} - {but}
    found = [
        math.log(one.data["took_s"] / one.data["predicted_s"])
        for one in store.in_order(KIND)
        if one.job in live and believed(one.data["took_s"], one.data["predicted_s"])
    ]
    if not found:
        return Correction()
    return Correction(math.exp(sum(found) / (len(found) + 1)), 0.0, len(found))  # (1)


def believed(took: float, predicted: float) -> bool:
    """Whether a time was kept while the work was done."""
    return predicted > 0 and predicted / FARTHEST <= took <= predicted * FARTHEST


def keep_took(store: Store, entry: Entry, work: Job, belief: Belief) -> None:
    """What the zones of a job took, once all of them are done on every piece."""
    data = took_of(store, entry, work, belief)
    if data is None:
        return
    kept = next(iter(store.all(KIND, entry.id, most=1)), None)
    if kept is None:
        store.add(KIND, data, entry.id)
    elif kept.data["took_s"] != data["took_s"]:
        with suppress(Overtaken):  # the next look writes it anew
            store.change(KIND, kept.id, kept.version, data)


def took_of(store: Store, entry: Entry, work: Job, belief: Belief) -> dict[str, Any] | None:
    """{"took_s", "predicted_s", "zones"} of a job that is done; None: it is not, or worked by no decided recipe."""
    decided = decided_of(store, entry.id)
    if decided is None or not work.zones:
        return None
    record = decided.data["record"]
    setting, pieces = setting_from(record["setting"]), int(work.offer["offer"].get("pieces", 1))
    worked = [n for n, one in enumerate(work.measured) if not one.untouched]
    standing, _ = state_of_batch(entries_of(store, entry.id), len(work.measured), pieces, setting.passes)
    if any(standing[n].state != DONE for n in worked):
        return None
    recipe = Recipe(setting, "", record["p_clean"], record["p_harm"], record["area_rate_m2_s"], {}, None, "")
    with suppress(InputError):  # prices that cannot be read stop an offer, not this
        asked = asked_of(work)
        rows = zone_seconds(recipe, belief, asked.zones, asked.rates, around=asked.around, pieces=asked.pieces)
        took = sum(standing[n].minutes for n in worked) * 60.0
        predicted = float(np.median(rows.sum(axis=0)))
        return {"took_s": took, "predicted_s": predicted, "zones": len(worked)}
    return None
