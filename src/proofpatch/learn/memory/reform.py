"""Sites formed anew where the population lies.

A site stands for what grades say as a normal factor would; which one, hangs on where one looks. Formed about published
data it is wrong where all jobs together lie elsewhere: a patch that came clean, as everything here does, then still
pulls. So each job is looked at again from what all *other* jobs say (its cavity), and its site is what turns the cavity
into the belief that its patches give from there: one sweep of expectation propagation over jobs.

With effects N(μ, C) given all jobs, and A = F Z, S, g of one job as in (1) of `jobs`, the others alone say

    C' = C + C Aᵀ (S − A C Aᵀ)⁻¹ A C,    μ' = μ − C Aᵀ (S − A C Aᵀ)⁻¹ (g − A μ)                                    (1)

Source: Minka, expectation propagation (2001); Vehtari et al., J. Mach. Learn. Res. 21 (2020) 17, of parts of data as
sites (both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief, Recalled, prior
from proofpatch.learn.memory.fit import Fit, effects_given
from proofpatch.learn.memory.jobs import Readings, lay_out
from proofpatch.learn.memory.levels import Concrete, layout
from proofpatch.learn.memory.population import Population, recalling
from proofpatch.learn.memory.sites import Site, site
from proofpatch.learn.unknowns import latents
from proofpatch.learn.update import update

Floats = NDArray[np.float64]
# Effective draws, in times the unknowns, under which weighted draws of the old belief do not make a new site; ours.
LEAST_EFFECTIVE = 10.0


def cavities(found: Population) -> list[Recalled]:
    """What all other jobs say of each job's surface, in the order of the sites; with the grader's lean, as graded."""
    readings = lay_out(found.sites)
    mean, root = effects_given(readings, found.fit.spreads)
    covariance = linalg.cho_solve((root, True), np.eye(len(mean)))
    spread = readings.spread(found.fit.spreads)
    mine = _rows(readings, len(found.sites))
    return [
        _cavity(found, readings, each, mean, covariance, spread, rows)
        for each, rows in zip(found.sites, mine, strict=True)
    ]


def _rows(readings: Readings, jobs: int) -> list[list[tuple[int, int]]]:
    """(cell, row within it) of every job's readings."""
    found: list[list[tuple[int, int]]] = [[] for _ in range(jobs)]
    for c, cell in enumerate(readings.cells):
        for n, row in enumerate(cell.which):
            found[readings.of[row]].append((c, n))
    return found


def _cavity(
    found: Population, readings: Readings, each: Site, mean: Floats, covariance: Floats, spread: Floats,
    rows: Sequence[tuple[int, int]],
) -> Recalled:  # fmt: skip
    """(1), on the effects this surface has a share in."""
    concretes = [
        Concrete(each.surface, stack, state, each.laser, each.grader) for _, stack, state in each.surface.components()
    ]
    keys = {key for concrete in concretes for key in layout(concrete).effects if key in found.effects}
    keys |= {readings.effects[e] for c, _ in rows for e in readings.cells[c].effects}
    places = np.array(sorted(found.effects[key] for key in keys), dtype=np.int64)
    mu, c = mean[places], covariance[np.ix_(places, places)]
    if rows:
        through, size = [], [readings.read.shape[1]] * len(rows)
        whole = np.zeros((sum(size), sum(size)))
        for i, (cell, n) in enumerate(rows):
            wide = np.zeros((size[0], len(places)))
            wide[:, np.searchsorted(places, readings.cells[cell].effects)] = readings.cells[cell].reads[n]
            through.append(wide)
            at = slice(i * size[0], (i + 1) * size[0])
            whole[at, at] = spread[readings.cells[cell].which[n]]
        a = np.concatenate(through)
        g = np.concatenate([readings.read[readings.cells[cell].which[n]] for cell, n in rows])
        half = a @ c
        inner = whole - half @ a.T
        mu = mu - half.T @ np.linalg.solve(inner, g - a @ mu)
        c = c + half.T @ np.linalg.solve(inner, half)
    others = Population(
        (), Fit(mu, c, found.fit.spreads, np.zeros((0, 0)), np.zeros((0, 0))),
        {readings.effects[p]: i for i, p in enumerate(places)}, found.scales,
    )  # fmt: skip
    return recalling([others.predicted(concrete) for concrete in concretes], "all other jobs")


def weighted(belief: Belief, start: Recalled) -> Belief:
    """The draws of a belief, weighed as though it had started from there."""
    components, unknowns = len(latents(belief.surface).weights), belief.z.shape[1]
    former = belief.recalled or Recalled(
        np.zeros((components, unknowns)), np.tile(np.eye(unknowns), (components, 1, 1)), ""
    )
    y = former.normals(belief.component, belief.z)
    z, logs = np.empty_like(y), np.log(belief.weight)
    for c in np.unique(belief.component):
        drawn = belief.component == c
        z[drawn] = np.linalg.solve(start.root[c], (y[drawn] - start.mean[c]).T).T
        logs[drawn] += 0.5 * (belief.z[drawn] ** 2 - z[drawn] ** 2).sum(axis=1)
        logs[drawn] += np.linalg.slogdet(former.root[c])[1] - np.linalg.slogdet(start.root[c])[1]
    weight = np.exp(logs - logs.max())
    return replace(belief, z=z, weight=weight / weight.sum(), recalled=start)


def again(belief: Belief, start: Recalled) -> Belief:
    """The belief its patches give from this start: its draws weighed anew where enough of them count, else new ones."""
    if not belief.evidence:
        return belief
    found = weighted(belief, start)
    if found.effective_draws >= LEAST_EFFECTIVE * belief.z.shape[1]:
        return found
    return update(prior(belief.surface, belief.laser, belief.hand, start, belief.seed, belief.draws), belief.evidence)


def reformed(found: Population, beliefs: Sequence[Belief]) -> list[Site]:
    """The sites of these jobs, each formed from what all others say.

    Args:
        found: what their present sites say together.
        beliefs: of the same jobs in the same order.

    Raises:
        InputError: beliefs of other jobs.
    """
    if len(beliefs) != len(found.sites) or any(
        b.surface != s.surface for b, s in zip(beliefs, found.sites, strict=True)
    ):
        raise InputError("beliefs", "These are not the jobs the sites are of.", "Give them in the same order.")
    return [
        site(again(belief, start)).weighed(old.weight)
        for belief, start, old in zip(beliefs, cavities(found), found.sites, strict=True)
    ]
