"""From what was measured to the grades, and the chance of each."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.photos.colour import difference

Floats = NDArray[np.floating]

# Share still covered at the edges clean | nearly | partial | trace (design §5). That a film is thinned by under 5 %
# cannot be seen; from 0.99 on it reads as no effect (ours).
LEFT_EDGES = (0.01, 0.10, 0.90, 0.99)
# CIEDE2000 at the edges none | tint | marked | burnt: noticed, discussed, rejected (common practice, no source).
TONE_EDGES = (1.0, 2.0, 5.0)
DRAWS = 600


def residue_chances(left: float, error: float) -> dict[str, float]:
    """Chance of each residue grade of a share left with a standard error: normal, cut to 0 to 1."""
    at = [_below(edge, left, error) for edge in (0.0, *LEFT_EDGES, 1.0)]
    whole = max(at[-1] - at[0], 1e-12)
    shares = [max((b - a) / whole, 0.0) for a, b in itertools.pairwise(at)]
    return dict(zip(reversed(RESIDUES), shares, strict=True))


def residue_of(left: float) -> str:
    """The residue grade of a share left."""
    return tuple(reversed(RESIDUES))[sum(left > edge for edge in LEFT_EDGES)]


def tone_chances(reference: Floats, change: Floats, covariance: Floats) -> dict[str, float]:
    """Chance of each harm grade of a change of tone (3,) with its covariance, by drawing; half is held for no change.

    Noise alone makes a difference that is never negative, so an even prior would see a tint everywhere: half the
    belief is that nothing changed, half that it did by about `TONE_EDGES[2]` (ours).
    """
    wide = TONE_EDGES[2] ** 2 * np.eye(3)
    still = _gauss(change, covariance)
    moved = _gauss(change, covariance + wide)
    weight = moved / (moved + still)
    gain = wide @ np.linalg.inv(wide + covariance)
    rng = np.random.default_rng(0)
    root = np.linalg.cholesky(wide - gain @ wide + 1e-9 * np.eye(3))
    drawn = gain @ change + rng.standard_normal((DRAWS, 3)) @ root.T
    grade = np.searchsorted(TONE_EDGES, difference(reference, reference + drawn), side="right")
    shares = weight * np.bincount(grade, minlength=4) / DRAWS
    shares[0] += 1 - weight
    return dict(zip(HARMS, shares.tolist(), strict=True))


def worse_of(one: Mapping[str, float], other: Mapping[str, float]) -> dict[str, float]:
    """Chances of the worse of two independent grades."""
    a, b = (np.cumsum([chances[h] for h in HARMS]) for chances in (one, other))
    return dict(zip(HARMS, np.diff(a * b, prepend=0.0).tolist(), strict=True))


def likeliest(chances: Mapping[str, float]) -> str:
    """The grade with the highest chance."""
    return max(chances, key=lambda grade: chances[grade])


def _below(edge: float, middle: float, error: float) -> float:
    return 0.5 * math.erfc((middle - edge) / (math.sqrt(2) * max(error, 1e-6)))


def _gauss(off: Floats, covariance: Floats) -> float:
    power = -0.5 * float(off @ np.linalg.solve(covariance, off))
    return math.exp(power) / math.sqrt(float(np.linalg.det(covariance))) + 1e-300
