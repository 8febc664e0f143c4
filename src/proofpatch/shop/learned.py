"""What a shop learned of each kind of work, and where its next patch would teach most."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn.assumptions import assumption
from proofpatch.learn.memory import Population, Site
from proofpatch.learn.memory.levels import concretes
from proofpatch.learn.memory.population import counted, named
from proofpatch.learn.surface import Surface
from proofpatch.learn.unknowns import latents
from proofpatch.shop.invented import learned_from
from proofpatch.shop.lots import lent_sites
from proofpatch.shop.memory import fitted
from proofpatch.shop.property_words import kind_of, property_words, shift_words
from proofpatch.shop.sites import sites_of, work_of
from proofpatch.shop.store import Entry, Store

Floats = NDArray[np.float64]
# From how many nats on the belief is said to have moved so; common practice, no source.
MOVED = ((0.05, "hardly moved"), (1.0, "moved a little"), (4.0, "moved clearly"), (float("inf"), "moved far"))
NAMED = 2  # properties named
LEAST = 0.05  # spreads of published data under which a shift is not told; common practice, no source


@dataclass(frozen=True)
class Property:
    """One unknown of a kind of work: its name, in words, and a number that is said of it."""

    name: str
    words: str
    value: float

    @property
    def shift(self) -> str:
        """The number as a shift from published data [their spreads]."""
        return shift_words(self.words, self.value)


@dataclass(frozen=True)
class Pair:
    """What the shop knows of one kind of work.

    name: in words. jobs, patches: graded here. waiting: jobs without a grade yet. lent: (jobs, patches) of other shops
    that count; published: of these jobs, those that are published data. first: the day of the first job graded.
    nats: from published data to what a new piece now starts from. most: what moved most, in spreads of published data.
    teaches, taught: nats that one more job like those here would add now, and added at the first; None: no job here.
    opens: what such a job would settle most, in shares of the doubt about it.
    because: what a start rests on.
    """

    name: str
    jobs: int
    patches: int
    waiting: int
    lent: tuple[int, int]
    published: int
    first: str | None
    nats: float
    most: tuple[Property, ...]
    teaches: float | None
    taught: float | None
    opens: tuple[Property, ...]
    because: str

    @property
    def moved(self) -> str:
        """How far, in words."""
        return next(words for most, words in MOVED if self.nats < most)

    @property
    def next(self) -> str:
        """What the next patch would teach, in words."""
        if self.teaches is None or self.taught is None:
            return "Nothing was graded of it here: its first patches teach most."
        share = self.teaches / self.taught if self.taught > 0 else 0.0
        of = " and ".join(one.words for one in self.opens)
        size = f"A job like those so far would teach {100 * share:.0f} % of what the first one taught"
        return f"{size}, most of all {of}." if of else f"{size}."


def learned(store: Store) -> list[Pair]:
    """What the shop knows of each kind of work it has a job of, or others gave, the best known first."""
    own, lent = sites_of(store), lent_sites(store)
    found = fitted([one for _, one in own] + [one for _, one in lent])
    mine, theirs = _by_name(own), _by_name(lent)
    surfaces = {kind_of(one.surface): one.surface for _, one in [*own, *lent]}
    waiting: dict[str, int] = {}
    done = {entry.id for entry, _ in own}
    for entry in learned_from(store):
        work = None if entry.id in done else work_of(store, entry)
        if work is not None:
            name = kind_of(work.surface)
            surfaces.setdefault(name, work.surface)
            waiting[name] = waiting.get(name, 0) + 1
    rows = [
        _pair(found, surface, mine.get(name, []), theirs.get(name, []), waiting.get(name, 0))
        for name, surface in surfaces.items()
    ]
    return sorted(rows, key=lambda row: (-row.jobs, -row.patches, -row.lent[0], row.name))


def next_to_teach(rows: Sequence[Pair]) -> Pair | None:
    """The kind of work whose next patch would teach most: one that is here and was never tried, else by nats."""
    new = [row for row in rows if not row.jobs and row.waiting]
    if new:
        return min(new, key=lambda row: (sum(row.lent), row.nats, row.name))
    known = [row for row in rows if row.teaches is not None]
    return max(known, key=lambda row: (row.teaches or 0.0, row.name)) if known else None


def headline(rows: Sequence[Pair]) -> str:
    """How much is remembered, in a sentence."""
    jobs, patches = sum(row.jobs for row in rows), sum(row.patches for row in rows)
    if not jobs:
        return "Nothing was graded yet, so nothing was learned."
    lent = sum(row.lent[0] for row in rows)
    more = f", and {counted(lent, 'job')} of others" if lent else ""
    return f"{counted(jobs, 'job')} with {counted(patches, 'graded patch', 'es')} are remembered{more}."


def _by_name(rows: Iterable[tuple[Entry, Site]]) -> dict[str, list[tuple[Entry, Site]]]:
    found: dict[str, list[tuple[Entry, Site]]] = {}
    for entry, one in rows:
        found.setdefault(kind_of(one.surface), []).append((entry, one))
    return found


def _pair(
    found: Population, surface: Surface, mine: Sequence[tuple[Entry, Site]], theirs: Sequence[tuple[Entry, Site]],
    waiting: int,
) -> Pair:  # fmt: skip
    nats, shifts = found.moved(surface)
    table = _true_shifts(shifts)
    most = [key for key in sorted(table, key=lambda key: -abs(table[key]))[:NAMED] if abs(table[key]) >= LEAST]
    teaches = taught = None
    opens: tuple[Property, ...] = ()
    if mine:
        teaches, taught, settled = teaching(found, [one for _, one in mine])
        names = sorted(settled, key=lambda key: -settled[key])[:NAMED]
        opens = tuple(_property(surface, key, settled[key]) for key in names)
    because = found.because(surface).replace(named(surface), kind_of(surface))
    return Pair(
        kind_of(surface), len(mine), sum(one.patches for _, one in mine), waiting,
        (len(theirs), sum(one.patches for _, one in theirs)),
        sum(lot.data["origin"] == "published data" for lot, _ in theirs),
        mine[0][0].created.date().isoformat() if mine else None, nats,
        tuple(_property(surface, key, table[key]) for key in most), teaches, taught, opens, because,
    )  # fmt: skip


def _property(surface: Surface, key: tuple[str, str], value: float) -> Property:
    place, name = key
    return Property(f"{name.replace('_', ' ')} ({place})", property_words(surface, place, name), value)


def _true_shifts(shifts: Mapping[tuple[str, str], float]) -> dict[tuple[str, str], float]:
    """The shift of each property itself: a threshold is drawn jointly with the film's absorption."""
    link, found = assumption("threshold_absorption_link").value, dict(shifts)
    for place, name in shifts:
        if name == "threshold_fluence":
            own, of = shifts[place, name], shifts.get((place, "absorption"), 0.0)
            found[place, name] = link * of + float(np.sqrt(1.0 - link**2)) * own
    return found


def teaching(found: Population, sites: Sequence[Site]) -> tuple[float, float, dict[tuple[str, str], float]]:
    """What one more job that reads as these did would add.

    With C the spread of what the next such piece starts from, and F what a job read (`learn.memory.sites`), it adds

        I = ½ ln det(1 + F C Fᵀ)                                                                                   (1)

    and takes C Fᵀ (1 + F C Fᵀ)⁻¹ F C off C.

    Returns:
        Mean I [nats]; the same with C = 1, as of a first job; {(place, property): share of its variance taken off}.
    """
    now = first = weight = 0.0
    settled: dict[tuple[str, str], float] = {}
    for each in sites:
        own = [(stack, state) for _, stack, state in each.surface.components()]
        covariances = [found.predicted(one)[1] for one in concretes(each.surface, leans=False)]
        for part in each.parts:
            c, f = covariances[own.index((part.stack, part.state))], part.reading
            inner = np.eye(len(f)) + f @ c @ f.T
            now += part.share * 0.5 * float(np.linalg.slogdet(inner)[1])  # (1)
            first += part.share * 0.5 * float(np.linalg.slogdet(np.eye(len(f)) + f @ f.T)[1])
            off = np.einsum("ka,ka->k", c @ f.T, np.linalg.solve(inner, f @ c).T) / np.diag(c)
            for name, share in zip(latents(each.surface).names, off, strict=True):
                settled[name] = settled.get(name, 0.0) + part.share * float(share)
            weight += part.share
    if not weight:
        return 0.0, 0.0, {}
    return now / weight, first / weight, {name: share / weight for name, share in settled.items()}
