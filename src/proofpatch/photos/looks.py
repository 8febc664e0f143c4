"""What the two grounds of a piece look like, learned from its samples before any step is judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from proofpatch.photos.colour import lab_of
from proofpatch.photos.corrections import Grader, taught
from proofpatch.photos.grounds import Ground, features, learn_ground, log_density, mistaken, thin_out
from proofpatch.photos.mixture import Grounds
from proofpatch.photos.pores import Pores, dents, learn_pores
from proofpatch.photos.tone import BareTone, learn_bare

Floats = NDArray[np.floating]
Truths = NDArray[np.bool_]

# All ours, tried on toy fields; none is from a source.
TOO_ALIKE = 0.12  # mean share mistaken between the samples beyond which nobody should trust a count
TEXTURE_FROM = 0.03  # share mistaken by colour alone from which texture is asked too
ASSUMED = {"bare": 0.10, "coated": 0.10}  # share, added error when that sample is taken from the strip
LEAST = 3.0e-3  # m, side of the smallest sample worth learning from


@dataclass(frozen=True)
class Samples:
    """Pictures (H, W, 3), linear sRGB, of the same piece in the same light; an empty tuple: none."""

    coated: tuple[Floats, ...] = ()
    bare: tuple[Floats, ...] = ()


@dataclass(frozen=True)
class Looks:
    """All that was learned of the piece before its steps are judged."""

    grounds: Grounds
    texture: bool
    scale: float
    missed: float  # share of coating taken for bare
    false: float  # share of bare taken for coating
    bare_tone: BareTone | None
    pores: Pores | None
    assumed: tuple[str, ...] = ()
    added_error: float = 0.0
    warnings: tuple[str, ...] = field(default=())

    @property
    def too_alike(self) -> bool:
        """Whether coating and bare ground cannot be told apart."""
        return (self.missed + self.false) / 2 > TOO_ALIKE


def learn_looks(windows: Sequence[Floats], samples: Samples, scale: float, grader: Grader) -> Looks | None:
    """The two grounds from their samples, from the strip itself where one is missing; None: both are."""
    least = (LEAST * scale) ** 2
    coated, bare = (
        [p for p in pictures if min(p.shape[:2]) > 3 and p.shape[0] * p.shape[1] >= least]
        for pictures in (samples.coated, samples.bare)
    )
    if not coated and not bare:
        return None
    if not coated or not bare:
        return _with_one(windows, coated, bare, scale, grader)
    looks = None
    for texture in (False, True):
        seen_coated, seen_bare = ([features(p, scale, texture) for p in pictures] for pictures in (coated, bare))
        missed, false = mistaken(seen_coated, seen_bare, scale)
        if looks is None or missed + false < 0.7 * (looks.missed + looks.false):
            grounds = taught(grader, Grounds(_ground(seen_bare), _ground(seen_coated)))
            looks = Looks(grounds, texture, scale, missed, false, None, None)
        if looks.missed + looks.false < 2 * TEXTURE_FROM:
            break
    assert looks is not None
    bare_tone, pores = _bare(bare, scale)
    return replace(looks, bare_tone=bare_tone, pores=pores)


def _with_one(
    windows: Sequence[Floats], coated: list[Floats], bare: list[Floats], scale: float, grader: Grader
) -> Looks:
    """The grounds when one sample is missing: what in the strip looks least like the other stands in."""
    known = _ground([features(p, scale) for p in coated or bare])
    own = np.concatenate([features(p, scale).reshape(-1, 3) for p in coated or bare])
    pool = np.concatenate([thin_out(features(w, scale).reshape(-1, 3), 1500) for w in windows])
    usual = float(np.quantile(log_density(thin_out(own), known), 0.002))
    rank = log_density(pool, known)
    strange = pool[rank < usual]
    missing = "coated" if bare else "bare"
    if len(strange) > 0.01 * len(pool) and len(strange) > 80:
        strange = strange[log_density(strange, known) <= np.median(log_density(strange, known))]
        other = learn_ground(strange, parts=1)
        overlap = float((log_density(thin_out(own), other) > log_density(thin_out(own), known)).mean())
    else:  # nothing differs: the stand-in lies anywhere else
        other = Ground(np.ones(1), known.mean[None] + 30.0, np.eye(3)[None] * 1e4)
        overlap = 0.0
    grounds = Grounds(other, known) if coated else Grounds(known, other)
    words = (
        "No bare ground was shown: what differs most from the coating stands for it, and no change of tone is told."
        if coated
        else "No untouched coating was shown: what differs most from bare ground stands for it; harm may pass for it."
    )
    bare_tone, pores = _bare(bare, scale) if bare else (None, None)
    return Looks(
        taught(grader, grounds), False, scale, overlap, overlap,
        bare_tone, pores, (words,), ASSUMED[missing],
    )  # fmt: skip


def _bare(pictures: Sequence[Floats], scale: float) -> tuple[BareTone, Pores]:
    """Tone and pores of the bare samples."""
    labs = [np.asarray(lab_of(p), dtype=np.float32) for p in pictures]
    pores = learn_pores([lab[..., 0] for lab in labs], scale)
    return learn_bare([(lab, ~rimmed(dents(lab[..., 0], scale) > pores.depth)) for lab in labs], scale), pores


def rimmed(pores: Truths) -> Truths:
    """Pores with their blurred rims."""
    return np.asarray(ndimage.binary_dilation(pores, iterations=1))


def _ground(pictures: Sequence[Floats]) -> Ground:
    return learn_ground(np.concatenate([p.reshape(-1, p.shape[-1]) for p in pictures]))
