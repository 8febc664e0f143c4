"""The control patch: is the day as the patches were? If not, what is it likely to be, and what is looked at first.

The belief, without the control patch, gives each pair of grades its chance. A grade that it and all worse ones together
were given less than `SURPRISE` is a surprise. Then the belief is asked again with each cause in place:

    P(cause | seen) ∝ odds(cause) · Σ_s v_s Σ w p(seen | θ, cause of size s)              (1)

odds from causes.toml (ours), lowered where its check of the day was right; three sizes s with the weights 0.185, 0.63,
0.185 of a 90 % range. What is looked at first is the cause with the most chance a minute of looking (2), by which it is
found soonest on average. What is never the answer: more power. Light that is missing is looked for where it got lost.

    first = argmax P(cause | seen)/minutes                                              (2)

Source: Bayes; (2) as in the search for one fault among several, Black, IEEE Trans. Inf. Theory 11 (1965); weights:
Keefer & Bodily, Manage. Sci. 29 (1983) 595 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError, expect
from proofpatch.lasers import Laser
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.belief import Belief, expect_belief, prior
from proofpatch.learn.evidence import HARMS, RESIDUES, Graded
from proofpatch.learn.kernels import patch_logs
from proofpatch.learn.limits import Hand
from proofpatch.learn.surface import Layer, Surface
from proofpatch.learn.surprise import SURPRISE
from proofpatch.learn.update import patch_arguments, update
from proofpatch.materials import coating, coating_ids
from proofpatch.phrases import chance_words as said
from proofpatch.physics import rows as at
from proofpatch.run.day import figures
from proofpatch.run.piece import holds, piece_of, table

Floats = NDArray[np.float64]
SIZES = (("low", 0.185), ("value", 0.63), ("high", 0.185))
AS_EXPECTED, SURPRISED, HARMED = "as expected", "surprise", "harm"
NOTHING = "chance"
# Causes in the beam and in the surface; another coating is neither.
LIT = ("window", "focus", "drift", "faster", "slower", NOTHING)
CHANGED = ("thicker", "thinner", "wet", "darker")
OTHER_DRAWS = 256
BLACKEST = 0.98  # most any face absorbs; from memory, unverified
# After harm nobody is told that nothing is wrong.
RECIPE: dict[str, Any] = {
    "title": "the recipe itself", "text": "The recipe itself is nearer to harm than it was believed.",
    "next": "Then let the belief learn of this patch, and ask for the recipe anew.",
}  # fmt: skip
STOPPED = "Beam off. No more beam on the piece, and no stronger setting anywhere."


@dataclass(frozen=True)
class Cause:
    """One reason. share: its chance among all, after what was seen [1]. likely: chance of what was seen with it.

    next: how it is looked for, without a beam on the piece. minutes: how long that takes (ours).
    """

    name: str
    title: str
    text: str
    next: str
    share: float
    likely: float
    minutes: float


@dataclass(frozen=True)
class Control:
    """What a control patch says.

    verdict: as expected, surprise or harm. chance: the belief gave to what was seen or worse. expected: {"residue":
    {grade: chance}, "harm": {grade: chance}}, of harm each "this or worse" but "none". causes: the likeliest first, of
    a surprise or of harm. words: the answer; next: what is done first.
    """

    verdict: str
    chance: float
    expected: Mapping[str, Mapping[str, float]]
    causes: tuple[Cause, ...]
    words: str
    next: str


def control(
    belief: Belief, graded: Graded | Sequence[Graded], answered: Collection[str] = (),
    others: Mapping[str, float] | None = None,
) -> Control:  # fmt: skip
    """Judges control patches of one day at the recipe; the last one is the one asked about.

    Args:
        belief: without these patches (`before`). graded: one, or all of the day, as they were laid.
        answered: names of the day's checks that were right.
        others: {coating id: chance} it may be instead; None: any of its kind.

    Raises:
        InputError: no patch.
    """
    expect_belief(belief)
    patches = [graded] if isinstance(graded, Graded) else list(graded)
    if not patches:
        raise InputError("graded", "There is no control patch.", "Lay one at the recipe, and grade it.")
    for one in patches:
        expect("graded", one, Graded, "Build it with Graded(...).")
    by_eye = [replace(one, fraction_left=None, fraction_error=None) for one in patches]
    last = by_eye[-1]
    residue, harm = _expected(belief, last)
    dirtier = sum(residue[g] for g in RESIDUES[: RESIDUES.index(last.residue) + 1])
    chance = dirtier if last.harm == "none" else min(harm[last.harm], dirtier)
    told = {"residue": residue, "harm": harm}
    if last.harm == "none" and chance >= SURPRISE:
        words = f"As expected: {last.residue}, no harm. The belief gave that or worse {said(chance)}."
        return Control(AS_EXPECTED, chance, told, (), words, "Begin with the first zone.")
    causes = _causes(belief, by_eye, frozenset(answered), others)
    real = [one for one in causes if one.name != NOTHING]
    first = max(real, key=lambda one: one.share / one.minutes)  # (2)
    if last.harm != "none":
        causes = tuple(replace(one, **RECIPE) if one.name == NOTHING else one for one in causes)
        words = f"Harm: {last.harm}. The belief gave that or worse {said(chance)}. {_likeliest(causes[0])}"
        return Control(HARMED, chance, told, causes, words, " ".join((STOPPED, first.next, RECIPE["next"])))
    likely = _likeliest(real[0])
    if causes[0].name == NOTHING:
        likely += f" It may be nothing, too: a patch comes out so now and then, {said(causes[0].share)}."
    words = f"A surprise: {last.residue}. The belief gave that or worse {said(chance)}. {likely}"
    # The quickest look is not always that of the likeliest cause: then the page says why it comes first.
    steps = (first.next, "Then lay the control patch anew.")
    quick = () if first.name == real[0].name else ("Begin with what is looked at soonest.",)
    return Control(SURPRISED, chance, told, causes, words, " ".join((*quick, *steps)))


def _likeliest(cause: Cause) -> str:
    return f"Likeliest cause: {cause.title}, {said(cause.share)}."


def before(belief: Belief, patches: Collection[Graded]) -> Belief:
    """The belief without these patches, from the prior anew."""
    expect_belief(belief)
    kept = list(belief.evidence)
    for one in patches:
        if one in kept:
            kept.remove(one)  # of two alike one stays
    start = prior(belief.surface, belief.laser, belief.hand, belief.recalled, belief.seed, belief.draws)
    return update(start, kept) if kept else start


def _expected(belief: Belief, graded: Graded) -> tuple[dict[str, float], dict[str, float]]:
    """({residue: chance}, {harm: chance of this or worse; "none" of none}) of this patch, before it is looked at."""
    asked = [replace(graded, residue=r, harm=h) for h in HARMS for r in RESIDUES]
    like = np.exp(patch_logs(belief.layer, belief.substrate, *patch_arguments(belief, asked)))
    table_ = (belief.weight @ like).reshape(len(HARMS), len(RESIDUES))
    residue = table_[0] + table_[1]  # none, and tint or worse
    return (
        {g: float(p) for g, p in zip(RESIDUES, residue, strict=True)},
        {g: float(p) for g, p in zip(HARMS, table_.sum(axis=1), strict=True)},
    )


def _causes(
    belief: Belief, patches: list[Graded], answered: frozenset[str], others: Mapping[str, float] | None
) -> tuple[Cause, ...]:
    """Every cause that can be here, by (1), the likeliest first."""
    here = piece_of(belief.surface)
    rows = {
        name: row
        for name, row in table("causes.toml").items()
        # A timed stroke went as fast as it went.
        if holds(row, here) and not (name in ("faster", "slower") and patches[-1].seconds is not None)
    }
    likely = _likely(belief, patches, rows) | {"other": _likely_other(belief, patches, others)}
    weights = {}
    for name, row in rows.items():
        right = any(check == row.get("check") or check.endswith(f"-{row.get('check')}") for check in answered)
        weights[name] = row["prior"] * (row["checked"] if right else 1.0) * likely[name]
    total = math.fsum(weights.values())
    causes = [
        Cause(name, row["title"], row["text"], row["next"], weights[name] / total, likely[name], row["minutes"])
        for name, row in rows.items()
    ]
    return tuple(sorted(causes, key=lambda one: -one.share))


def _likely(belief: Belief, patches: list[Graded], rows: Mapping[str, Mapping[str, Any]]) -> dict[str, float]:
    """{cause: chance of all these grades with it in place}, each over its sizes; another coating apart."""
    lit = [(name, size) for name in rows if name in LIT for size, _ in SIZES]
    changed = [(name, size) for name in rows if name in CHANGED for size, _ in SIZES]
    # One call for all beams on the surface as it is, one for all surfaces under the beam as it is.
    asked = [one for name, size in lit for one in _lit(belief, patches, name, rows[name][size])]
    logs = patch_logs(belief.layer, belief.substrate, *patch_arguments(belief, asked))
    by_beam = belief.weight @ np.exp(logs.reshape(belief.draws, len(lit), len(patches)).sum(axis=2))
    surfaces = [_changed(belief, name, rows[name][size]) for name, size in changed]
    layer, sub = (np.concatenate(parts) for parts in zip(*surfaces, strict=True))
    logs = patch_logs(layer, sub, *patch_arguments(belief, patches)).sum(axis=1)
    by_surface = np.exp(logs.reshape(len(changed), belief.draws)) @ belief.weight
    found = dict.fromkeys((name for name, _ in (*lit, *changed)), 0.0)
    shares = dict(SIZES)
    for (name, size), chance in zip((*lit, *changed), (*by_beam, *by_surface), strict=True):
        found[name] += shares[size] * float(chance)
    return found


def _lit(belief: Belief, patches: list[Graded], name: str, size: float) -> list[Graded]:
    """The patches as they were really lit."""
    if name in ("window", "drift"):
        return [replace(one, laser=_weaker(_laser(one, belief), size)) for one in patches]
    if name == "focus":
        return [_defocused(one, _laser(one, belief), size * 1e-3) for one in patches]
    if name in ("faster", "slower"):
        return [replace(one, setting=_moved(one, size)) for one in patches]
    return patches


def _changed(belief: Belief, name: str, size: float) -> tuple[Floats, Floats]:
    """(layer, substrate) of the draws as the surface really is."""
    layer, sub = belief.layer, belief.substrate
    if name in ("thicker", "thinner"):
        return _scaled(layer, at.THICKNESS, size), sub
    if name == "wet":
        return layer, _scaled(sub, at.HEAT_CAPACITY, 1.0 + size * figures()["water_heat"].value)
    darker = _scaled(sub, at.ABSORPTANCE, size, BLACKEST)
    return layer, _scaled(darker, at.SKIN_SHARE, size, 1.0)


def _likely_other(belief: Belief, patches: list[Graded], others: Mapping[str, float] | None) -> float:
    """The same with another top coat in place, of which nothing is known but its data."""
    top, *below = belief.surface.coats
    if others is None:
        kinds = {coating(key).kind for key in top.shares}
        others = {key: 1.0 for key in coating_ids() if coating(key).kind in kinds and key not in top.shares}
    total = math.fsum(others.values())
    if total <= 0:
        return 0.0
    coats = [Layer({key: p / total for key, p in others.items()}), *below]
    found = belief.surface
    surface = Surface(coats, found.substrate, found.condition, found.substrate_thickness, found.moisture)
    drawn = _drawn(surface, belief.laser, belief.hand, belief.seed)
    logs = patch_logs(drawn.layer, drawn.substrate, *patch_arguments(belief, patches))
    return float(drawn.weight @ np.exp(logs.sum(axis=1)))


@lru_cache(maxsize=8)
def _drawn(surface: Surface, laser: Laser, hand: Hand, seed: int) -> Belief:
    """Asked for anew with every grade of one day."""
    return prior(surface, laser, hand, seed=seed, draws=OTHER_DRAWS)


def _laser(graded: Graded, belief: Belief) -> Laser:
    if graded.laser is None:
        return belief.laser
    found: Laser = find_laser(graded.laser) if isinstance(graded.laser, str) else graded.laser
    return found


def _weaker(laser: Laser, share: float) -> Laser:
    return replace(laser, power_factor=laser.power_factor * share)


def _defocused(graded: Graded, laser: Laser, off: float) -> Graded:
    """The patch with the spot as it is `off` [m] out of focus: w √(1 + (z/z_R)²); M² keeps the opening of the beam."""
    s = graded.setting
    rayleigh = math.pi * s.spot_radius**2 / (laser.m2 * laser.wavelength)
    growth = 1.0 + (off / rayleigh) ** 2
    wider = s.with_(spot_radius=s.spot_radius * math.sqrt(growth))
    return replace(graded, setting=wider, laser=replace(laser, m2=laser.m2 * growth))


def _moved(graded: Graded, factor: float) -> Any:
    return graded.setting.with_(travel_speed=graded.setting.travel_speed * factor)


def _scaled(draws: Floats, column: int, factor: float, most: float = math.inf) -> Floats:
    found = draws.copy()
    found[..., column] = np.minimum(found[..., column] * factor, np.maximum(most, found[..., column]))
    return found
