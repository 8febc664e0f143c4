"""Seeded data sets for the posterior studies: a truth drawn from the prior, graded by the model itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

import proofpatch as pp
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.belief import Belief
from proofpatch.learn.forecast import envelope
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.kernels import outcomes, patch_logs, window
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.learn.unknowns import Latents, concrete, latents
from proofpatch.learn.update import patch_arguments
from proofpatch.physics.elementwise import normal_cdf

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
LASER = "pulsed-500"
# Wood, metal, stone and paper; two layers; and one in doubt, three components.
SURFACES = (
    pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged"),
    pp.Surface([pp.Layer("loose-rust", colour="red-brown", condition="aged")], "tool-steel"),
    pp.Surface([pp.Layer("masonry-paint", colour="white", condition="aged")], "fired-brick"),
    pp.Surface(
        [pp.Layer("wax", condition="aged"), pp.Layer("oil-varnish", condition="aged")], "walnut", condition="aged"
    ),
    pp.Surface([pp.Layer("latex-paint", colour="black")], "paper"),
)
FEWEST, MOST_PATCHES = 3, 12
LATE = 8 * 86400.0  # s; steel has rusted by then, harm has come out on anything
CANDIDATES = 400  # settings of the envelope from which those in doubt are picked
DOUBT = (0.1, 0.9)  # P(clean) of a setting worth grading; half as low for P(harm), as no one lays more harm than that


@dataclass(frozen=True)
class Case:
    """One data set. z, component: the truth. asked: the setting whose P(clean) and P(harm) are compared."""

    seed: int
    surface: pp.Surface
    z: Floats
    component: int
    evidence: tuple[pp.Graded, ...]
    asked: pp.Setting


def names_of(surface: pp.Surface) -> list[str]:
    """Every unknown in words."""
    return [f"{place}: {name}" for place, name in latents(surface).names]


def doubtful(belief: Belief) -> list[pp.Setting]:
    """Settings of the envelope of which the prior does not know whether they clean or whether they harm."""
    every = envelope(belief.laser)
    some = [every[i] for i in np.random.default_rng(belief.seed).choice(len(every), CANDIDATES, replace=False)]
    rows, noise = setting_rows(some, belief.laser), assumption("setting_noise").value
    clean, harm, *_ = window(belief.layer, belief.substrate, belief.weight, rows, hand_row(belief.hand), noise)
    low, high = DOUBT
    keep = ((clean > low) & (clean < high) & (harm < high)) | ((harm > low / 2) & (harm < high))
    return [setting for setting, kept in zip(some, keep, strict=True) if kept] or some


def draw_case(surface: pp.Surface, seed: int, patches: int | None = None, coarse: bool = False) -> Case:
    """Draws a truth from the prior and grades `patches` patches (None: 3 to 12) by the likelihood itself.

    coarse: any harm is reported as "tint". The likelihood reads each grade of harm as "this or worse", so that only
    "none" against "tint" are chances of what is seen that add up to 1; calibration needs such.
    """
    rng = np.random.default_rng([seed, 20_26])
    belief = pp.prior(surface, LASER, seed=9_000 + seed, draws=64)
    table = latents(surface)
    z = rng.standard_normal((1, len(table.names)))
    component = rng.choice(len(table.weights), size=1, p=table.weights)
    settings = doubtful(belief)
    count = int(rng.integers(FEWEST, MOST_PATCHES + 1)) if patches is None else patches
    laid = []
    for _ in range(count):
        setting = settings[int(rng.integers(len(settings)))]
        timed = bool(rng.random() < 0.5)
        laid.append(
            pp.Graded(
                setting, "clean", "none",
                layer=int(rng.integers(len(surface.coats))),
                seconds=0.1 / setting.travel_speed if timed else None,
                length=0.1 if timed else None,
                wiped=bool(rng.random() < 0.8),
                waited=LATE if rng.random() < 0.3 else None,
            )
        )  # fmt: skip
    asked = settings[int(rng.integers(len(settings)))]
    chances = grade_chances(belief, laid, z, component)
    residue = [rng.choice(pp.RESIDUES, p=p.sum(axis=1)) for p in chances]
    harm = [rng.choice(pp.HARMS, p=p.sum(axis=0)) for p in chances]
    seen = ["tint" if coarse and h != "none" else str(h) for h in harm]
    evidence = tuple(replace(g, residue=str(r), harm=h) for g, r, h in zip(laid, residue, seen, strict=True))
    return Case(seed, surface, z[0], int(component[0]), evidence, asked)


def grade_chances(belief: Belief, laid: list[pp.Graded], z: Floats, component: Whole) -> Floats:
    """(patches, residues, harms) chances of the grades on one concrete surface, from the likelihood updates use.

    Raises:
        ValueError: they do not add up to 1, so no posterior of them can be calibrated.
    """
    every = [replace(g, residue=r, harm=h) for g in laid for r in pp.RESIDUES for h in pp.HARMS]
    layer, sub = concrete(latents(belief.surface), component, z, len(belief.surface.coats))
    logs = patch_logs(layer, sub, *patch_arguments(belief, every))[0]
    read = np.exp(logs).reshape(len(laid), len(pp.RESIDUES), len(pp.HARMS))
    # "This or worse" of each grade of harm, made the chance of just this.
    chances = np.concatenate(
        [read[:, :, :1], read[:, :, 1:] - np.pad(read[:, :, 2:], ((0, 0), (0, 0), (0, 1)))], axis=2
    )
    total = chances.sum(axis=(1, 2))
    if np.abs(total - 1).max() > 1e-6:
        raise ValueError(f"the chances of all grades add up to {total}")
    return np.asarray(np.maximum(chances, 0.0) / np.maximum(chances, 0.0).sum(axis=(1, 2), keepdims=True))


def likelihood(case: Case) -> Any:
    """ln likelihood (draws,) of z (draws, unknowns) and component (draws,)."""
    belief = pp.prior(case.surface, LASER, draws=16)
    arguments = patch_arguments(belief, sorted(case.evidence, key=pp.Graded.key))
    table: Latents = latents(case.surface)
    layers = len(case.surface.coats)

    def logs(z: Floats, component: Whole) -> Floats:
        return np.asarray(patch_logs(*concrete(table, component, z, layers), *arguments).sum(axis=1))

    return logs


def promises(case: Case, z: Floats, component: Whole) -> tuple[Floats, Floats]:
    """(draws,) P(clean) and P(harm) of the finished surface at the setting asked about."""
    laser, noise = pp.laser(LASER), assumption("setting_noise").value
    layer, sub = concrete(latents(case.surface), component, z, len(case.surface.coats))
    last = len(case.surface.coats) - 1
    need, spread, margin, *_ = outcomes(layer, sub, setting_rows([case.asked], laser), hand_row(pp.Hand()), last)
    clean = normal_cdf((CLEAN_EDGE * spread[:, 0] - need[:, 0]) / noise)
    return np.asarray(clean), np.asarray(normal_cdf(-margin[:, 0] / noise))
