"""What was said of every patch before it was graded, kept as it was said, and how that came out.

Each grade is foretold by the belief that had seen all earlier patches of the job and not this one, from the start the
job has; written down once when the grade is first worked out, never again. Outcomes are read off the grades as they
stand: one taken back counts no more.
"""

from __future__ import annotations

import itertools
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import proofpatch as pp
from proofpatch.learn.belief import Belief, prior
from proofpatch.learn.evidence import Graded
from proofpatch.learn.memory.skill import FEW, Foretold, Skill, foretell, skill
from proofpatch.shop.store import Entry, Overtaken, Store

KIND = "foretold"
# A forecast written down later than that after its grade was worked out afterwards; common practice, no source.
AT_ONCE = timedelta(hours=1)
PERIODS = 6  # most that are drawn
LATELY = 32  # beliefs kept in memory, so that the one before a grade need not be worked out twice
BINS = (0.0, 0.1, 0.3, 0.7, 0.9, 1.0)
_LAST: OrderedDict[str, Belief] = OrderedDict()


@dataclass(frozen=True)
class Told:
    """Forecasts against outcomes. all: every one. periods: their skill, the earliest jobs first; whole: of all, None
    without any. late: of `all`, those worked out after the grade."""

    all: tuple[Foretold, ...]
    periods: tuple[Skill, ...]
    whole: Skill | None
    late: int

    @property
    def jobs(self) -> int:
        """With a forecast."""
        return self.whole.jobs if self.whole else 0

    @property
    def wanted(self) -> int:
        """Jobs still to come before skill can be told from luck."""
        return max(FEW - self.jobs, 0)

    def bins(self, outcome: str) -> list[tuple[float, float, int, float, int]]:
        """(from, to, how many were said so, mean chance said, how many came) of the forecasts of an outcome."""
        rows = []
        for low, high in itertools.pairwise(BINS):
            mine = [f for f in self.all if f.outcome == outcome and low <= f.p and (f.p < high or high == 1.0)]
            if mine:
                said = sum(f.p for f in mine) / len(mine)
                rows.append((low, high, len(mine), said, sum(f.came for f in mine)))
        return rows


def keep_foretold(store: Store, entry: Entry, belief: Belief, laid: Sequence[tuple[Entry, Graded]]) -> None:
    """Writes down what was said of each of these patches before it was graded, where that is not yet written.

    Args:
        belief: of the job as it stands. laid: its patches in the order they were graded.
    """
    kept = next(iter(store.all(KIND, entry.id, most=1)), None)
    said: dict[str, Any] = dict(kept.data["said"]) if kept else {}
    now, found = store.clock(), {}
    for n, (patch, graded) in enumerate(laid):
        if patch.id not in said:
            before = _before(entry.id, belief, [one for _, one in laid[:n]])
            clean, harm = foretell(before, graded, entry.id, patch.created.timestamp())
            found[patch.id] = {
                "clean": clean.p, "harm": harm.p, "after": n, "late": now - patch.created > AT_ONCE,
                "start": before.recalled.name if before.recalled else None,
            }  # fmt: skip
    _LAST[entry.id] = belief
    while len(_LAST) > LATELY:
        _LAST.popitem(last=False)
    if not found:
        return
    data = {"said": said | found}
    if kept is None:
        store.add(KIND, data, entry.id)
        return
    with suppress(Overtaken):
        store.change(KIND, kept.id, kept.version, data)


def told_of(store: Store) -> Told:
    """All that was foretold in this shop against what came."""
    said = {one.job: one.data["said"] for one in store.all(KIND)}
    jobs = {key for key, *_ in store.names("job")}
    found: list[Foretold] = []
    late = 0
    for patch in store.in_order("patch"):
        one = said.get(patch.job, {}).get(patch.id) if patch.job in jobs else None
        if one is not None:
            found += _outcomes(patch, one)
            late += 2 * bool(one["late"])
    whole = next(iter(skill(found)), None)
    periods = skill(found, max(1, min(PERIODS, whole.jobs // FEW))) if whole else ()
    return Told(tuple(found), periods, whole, late)


def _outcomes(patch: Entry, said: Mapping[str, Any]) -> list[Foretold]:
    job, when = str(patch.job), patch.created.timestamp()
    return [
        Foretold(job, when, "clean", min(max(said["clean"], 0.0), 1.0), patch.data["residue"] == "clean"),
        Foretold(job, when, "harm", min(max(said["harm"], 0.0), 1.0), patch.data["harm"] != "none"),
    ]


def _before(key: str, now: Belief, earlier: Sequence[Graded]) -> Belief:
    """The belief of a job that has seen these grades alone, from the start it has now."""
    last, wanted = _LAST.get(key), tuple(sorted(earlier, key=Graded.key))
    if last is not None and last.key() == (*now.key()[:5], wanted, now.recalled):
        return last
    start = prior(now.surface, now.laser, now.hand, now.recalled, now.seed, now.draws)
    return pp.update(start, list(earlier)) if earlier else start
