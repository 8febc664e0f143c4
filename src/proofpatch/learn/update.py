"""What graded patches teach: tempered sequential Monte Carlo from the prior.

The belief is always rebuilt from the prior with all its evidence, sorted, so the order in which patches
were graded cannot matter. The likelihood is raised to powers from 0 to 1, each step keeping half of the
effective draws; between steps draws are resampled and moved, further where less is known (`_Moves`).

Sources: Del Moral, Doucet & Jasra, J. R. Stat. Soc. B 68 (2006) 411; Cotter, Roberts, Stuart & White,
Stat. Sci. 28 (2013) 424 (both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.evidence import ADVISED_WAIT, HARMS, RESIDUES, RUST_SETS_IN, Graded
from proofpatch.learn.grading import photo_error
from proofpatch.learn.kernels import patch_logs
from proofpatch.learn.rows import hand_row, setting_row
from proofpatch.materials import substrate as substrate_record

Floats = NDArray[np.float64]
KEEP = 0.5  # share of effective draws each tempering step keeps
MOVES = 8  # of every draw at each tempering step: with 4, means of some unknowns stay over 0.1 sd off
MOST_STEPS = 60
SWAPS = 0.3  # share of moves that also ask whether it is another component of the mixture


def _laser_of(graded: Graded, belief: Belief) -> Laser:
    if graded.laser is None:
        return belief.laser
    return find_laser(graded.laser) if isinstance(graded.laser, str) else graded.laser


def patch_arguments(belief: Belief, evidence: Sequence[Graded]) -> tuple[Any, ...]:
    """The patches as the arrays `patch_logs` takes after layer and substrate."""
    wiped, unwiped = assumption("wrong_grade").value, assumption("wrong_grade_unwiped").value
    timed = hand_row(belief.hand, patch=True)
    untimed = timed.copy()
    untimed[0] *= 2.0  # the speed was not measured: the hand's own spread stays in it
    settings = np.array([setting_row(g.moved(), _laser_of(g, belief)) for g in evidence])
    hands = [timed if g.seconds is not None else untimed for g in evidence]
    return (
        settings,
        np.array(hands),
        np.array([g.layer for g in evidence], dtype=np.int64),
        np.array([len(RESIDUES) - 1 - RESIDUES.index(g.residue) for g in evidence], dtype=np.int64),
        np.array([HARMS.index(g.harm) for g in evidence], dtype=np.int64),
        np.array([-1.0 if g.fraction_left is None else g.fraction_left for g in evidence]),
        np.array([_share_error(g) for g in evidence]),
        np.array([wiped if g.wiped else unwiped for g in evidence]),
        *_waits(belief, evidence),
        np.concatenate([belief.typical_spread(settings[i : i + 1], hands[i], g.layer) for i, g in enumerate(evidence)]),
        assumption("setting_noise").value,
    )


def _share_error(graded: Graded) -> float:
    """Standard error of a measured share; 1, which nobody reads, where none was measured."""
    if graded.fraction_left is None:
        return 1.0
    return graded.fraction_error if graded.fraction_error is not None else photo_error(graded.fraction_left)


def _waits(belief: Belief, evidence: Sequence[Graded]) -> tuple[Floats, Floats]:
    """(patches,) chance that fresh rust passed for residue, and that harm had not come out yet."""
    under = substrate_record(belief.surface.substrate)
    advised = max((ADVISED_WAIT.get(family, 0.0) for family in under.families), default=0.0)
    rust, early = assumption("flash_rust").value, assumption("late_tint").value
    waited = [g.waited for g in evidence]
    return (
        np.array([rust if under.ferrous and w is not None and w > RUST_SETS_IN else 0.0 for w in waited]),
        np.array([early if w is not None and w < advised else 0.0 for w in waited]),
    )


def _next_power(power: float, logs: Floats) -> float:
    """Largest power in (power, 1] that keeps KEEP of the draws effective."""

    def effective(step: float) -> float:
        w = np.exp(step * (logs - logs.max()))
        return float(w.sum() ** 2 / (w**2).sum()) / len(logs)

    if effective(1.0 - power) >= KEEP:
        return 1.0
    low, high = 0.0, 1.0 - power
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if effective(middle) >= KEEP else (low, middle)
    return power + max(low, 1e-4)


def _resample(weight: Floats, rng: np.random.Generator) -> NDArray[np.int64]:
    """Systematic resampling: indices of the draws kept."""
    places = (np.arange(len(weight)) + rng.random()) / len(weight)
    return np.minimum(np.searchsorted(np.cumsum(weight), places), len(weight) - 1)


def _product(a: Floats, b: Floats) -> Floats:
    """a bᵀ of (n, k) and (m, k), on one thread: a matrix library's threads and the kernels' would stall each other."""
    return np.asarray(np.einsum("nk,mk->nm", a, b))


def _components(start: Belief, rng: np.random.Generator) -> NDArray[np.int64]:
    """(draws,) components of the mixture, as the prior draws them: so the grades alone weigh what is proposed."""
    return rng.choice(start.component, start.draws)


class _Moves:
    """Where the draws (draws, unknowns) might go: preconditioned Crank–Nicolson about a learned reference.

        z' = m + √(1 − s²) (z − m) + s L ξ,   L Lᵀ = C                           (1)

    with m and C the mean and covariance of the draws before their moves, C drawn towards the prior's by as much as so
    few draws leave open. What has been learned by then sets how far a move goes in each direction. (1) leaves N(m, C)
    as it is; the answer weighs N(0, 1), the prior, against it.

    Source: Cotter et al., Stat. Sci. 28 (2013) 424, with a learned reference (from memory); held against another
    sampler in benchmarks/posterior.py.
    """

    def __init__(self, z: Floats, rng: np.random.Generator) -> None:
        draws, unknowns = z.shape
        self.rng, self.mean = rng, z.mean(axis=0)
        off = np.ascontiguousarray((z - self.mean).T)
        shrink = min(1.0, 2.0 * unknowns / draws)
        covariance = (1.0 - shrink) * _product(off, off) / (draws - 1) + shrink * np.eye(unknowns)
        self.root = np.linalg.cholesky(covariance)
        self.white = _product(off.T, np.linalg.inv(self.root))  # L⁻¹ (z − m)
        self._there = self.white

    def propose(self, z: Floats, step: float) -> tuple[Floats, Floats]:
        """(z' (draws, unknowns), what each has to gain or lose there beyond the likelihood [nats])."""
        here, there = self.white, np.sqrt(1.0 - step**2) * self.white + step * self.rng.standard_normal(z.shape)
        self._there, moved = there, self.mean + _product(there, self.root)
        return moved, 0.5 * (z**2 - moved**2 + there**2 - here**2).sum(axis=1)

    def accept(self, which: NDArray[np.bool_]) -> None:
        """The draws that go there."""
        self.white = np.where(which[:, None], self._there, self.white)


def update(belief: Belief, graded: Graded | Sequence[Graded]) -> Belief:
    """The belief with these patches added to its evidence.

    Raises:
        InputError: a patch that judges a layer the surface has not.
    """
    expect_belief(belief)
    new = (graded,) if isinstance(graded, Graded) else tuple(graded)
    for g in new:
        if not isinstance(g, Graded):
            raise InputError(
                "graded", "A graded patch is not described.", "Build it with Graded(setting, residue, harm)."
            )
        if g.layer >= len(belief.surface.coats):
            raise InputError(
                "layer",
                f"Layer {g.layer} was judged, but the surface has {len(belief.surface.coats)}.",
                "Count layers from the top, 0 first.",
            )
    evidence = tuple(sorted((*belief.evidence, *new), key=Graded.key))
    if not evidence:
        return belief
    from proofpatch.learn.belief import prior

    start = prior(belief.surface, belief.laser, belief.hand, belief.recalled, belief.seed, belief.draws)
    arguments = patch_arguments(belief, evidence)
    rng = np.random.default_rng([belief.seed, 1])
    z, component = start.z.copy(), start.component.copy()
    logs = patch_logs(start.layer, start.substrate, *arguments).sum(axis=1)
    power, step, trace, evidence_log = 0.0, 0.5, [], 0.0
    for _ in range(MOST_STEPS):
        if power >= 1.0:
            break
        following = _next_power(power, logs)
        w = (following - power) * logs
        evidence_log += float(np.log(np.mean(np.exp(w - w.max()))) + w.max())
        w = np.exp(w - w.max())
        w /= w.sum()
        trace.append(float(1.0 / (w**2).sum()))
        kept = _resample(w, rng)
        z, component, logs, power = z[kept], component[kept], logs[kept], following
        moves = _Moves(z, rng)
        for _ in range(MOVES):
            proposal, gain = moves.propose(z, step)
            other = np.where(rng.random(len(logs)) < SWAPS, _components(start, rng), component)
            there = patch_logs(*start.concrete(other, proposal), *arguments).sum(axis=1)
            accept = np.log(rng.random(len(logs))) < power * (there - logs) + gain
            moves.accept(accept)
            z, component = np.where(accept[:, None], proposal, z), np.where(accept, other, component)
            logs = np.where(accept, there, logs)
            step = float(np.clip(step * np.exp(accept.mean() - 0.3), 0.05, 0.95))
    return replace(
        start,
        z=z,
        component=component,
        weight=np.full(len(z), 1.0 / len(z)),
        evidence=evidence,
        trace=tuple(trace),
        log_evidence=evidence_log,
    )
