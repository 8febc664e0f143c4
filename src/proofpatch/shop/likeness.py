"""Jobs like one: whose coating, substrate and answers to the beam are nearest, what was done and what came of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from proofpatch.errors import InputError
from proofpatch.learn.memory import Part, Site
from proofpatch.learn.memory.alike import alike
from proofpatch.learn.surface import Surface
from proofpatch.learn.unknowns import latents
from proofpatch.shop.completions import record_standing
from proofpatch.shop.decided import decided_of
from proofpatch.shop.job import job_from
from proofpatch.shop.lasers import entry_named, known
from proofpatch.shop.log import setting_to
from proofpatch.shop.lots import Borrowed, borrowed
from proofpatch.shop.property_words import kind_of
from proofpatch.shop.run import CHECK, entries_of
from proofpatch.shop.sites import sites_of, work_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.surveyed import beam_stop, refused
from proofpatch.survey.stop import HardStop

MOST = 6
# Up to which distance (`learn.memory.alike`) two jobs are called so; common practice, no source.
NEAR = ((0.6, "much the same"), (1.1, "alike"), (1.6, "only a little alike"), (float("inf"), "far off"))


@dataclass(frozen=True)
class Likeness:
    """An earlier job. entry: None where another shop gave it; origin: of whom then. kind: of work, in words.

    title, customer, source: as far as another shop gave them; source: of published data. photo: of the piece, or None;
    of another shop's, of a patch. patches, harmed: graded ones. recipe: setting it was worked by, or None.
    confirmed: whether that recipe was decided here. left, harm: of the last look at the finished surface, or None.
    standing: of its completion record, empty without one.
    """

    entry: Entry | None
    origin: str
    kind: str
    distance: float
    photo: Entry | None
    patches: int
    harmed: int | None
    recipe: Mapping[str, Any] | None
    left: str | None = None
    harm: str | None = None
    standing: str = ""
    title: str = ""
    customer: str = ""
    source: str = ""

    @property
    def near(self) -> str:
        """How near, in words."""
        return next(words for most, words in NEAR if self.distance < most)

    @property
    def like(self) -> bool:
        """Whether it is near enough to be called like it."""
        return self.distance < NEAR[1][0]

    @property
    def outcome(self) -> str:
        """What came of it, in words."""
        laid = f"{self.patches} graded patch{'' if self.patches == 1 else 'es'}"
        if self.harmed is not None:
            laid += f", {self.harmed} harmed" if self.harmed else ", none harmed"
        looked = f"; finished surface {self.left or 'not looked at'}, harm {self.harm}" if self.harm else ""
        record = f"; record {self.standing}" if self.standing else ""
        return f"{laid}{looked}{record}."


def untested(surface: Surface) -> Site:
    """A piece of which nothing was graded: published data alone."""
    unknowns = len(latents(surface).names)
    parts = tuple(
        Part(stack, state, share, np.zeros((0, unknowns)), np.zeros(0)) for share, stack, state in surface.components()
    )
    return Site(surface, parts, 0)


def alike_of(store: Store, entry: Entry) -> tuple[list[Likeness], bool | None]:
    """(jobs like this one, the nearest first; whether a patch of this one was graded, None: it is refused)."""
    work = work_of(store, entry)
    if work is None:
        return [], None
    own = sites_of(store)
    mine = next((one for job, one in own if job.id == entry.id), None)
    others = [(job, one) for job, one in own if job.id != entry.id]
    lent = borrowed(store)
    found = alike(mine or untested(work.surface), [*(one for _, one in others), *(one.site for one in lent)], MOST)
    rows = []
    for near in found:
        if near.index < len(others):
            rows.append(_own(store, *others[near.index], near.distance))
        else:
            rows.append(_lent(lent[near.index - len(others)], near.distance))
    return rows, mine is not None


def stop_of(store: Store, entry: Entry) -> str | None:
    """Why no patch and no recipe of a job is given, as its pages say it; None: nothing stops it."""
    try:
        work = job_from(entry.data, lasers=known(entry_named(store, entry.data)))
    except HardStop as stop:
        return stop.because
    except InputError as error:  # not described to its end
        return f"{error.problem} {error.remedy}"
    return refused(work) or beam_stop(work)


def _lent(one: Borrowed, distance: float) -> Likeness:
    return Likeness(
        None, one.lot.data["shop"], kind_of(one.site.surface), distance, one.photo, one.site.patches, None,
        setting_to(one.recipe) if one.recipe else None, title=one.title, customer=one.customer, source=one.source,
    )  # fmt: skip


def _own(store: Store, entry: Entry, site: Site, distance: float) -> Likeness:
    decided = decided_of(store, entry.id)
    photos = store.in_order("photo", entry.id)
    of_piece = [one for one in photos if not one.data.get("about")]
    patches = store.all("patch", entry.id)
    last = _last_look([one.data for one in entries_of(store, entry.id)])
    return Likeness(
        entry, "", kind_of(site.surface), distance, next(iter([*of_piece, *photos]), None), site.patches,
        sum(one.data["harm"] != "none" for one in patches), decided.data["record"]["setting"] if decided else None,
        last.get("residue"), last.get("harm"), _standing(store, entry.id),
    )  # fmt: skip


def _last_look(entries: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
    looked = [one for one in entries if one["what"] == CHECK and (one["residue"] or one["harm"])]
    return looked[-1] if looked else {}


def _standing(store: Store, key: str) -> str:
    try:
        return record_standing(store, key)
    except InputError:
        return "damaged"
