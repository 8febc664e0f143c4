"""Several photos of one strip: what they say of a step together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from proofpatch.errors import InputError
from proofpatch.learn.evidence import HARMS
from proofpatch.photos.grade import Seen
from proofpatch.photos.grades import residue_chances, residue_of

TOGETHER = 0.005  # share, error that photos of one strip have in common: the same samples, the same grader (ours)
APART = 3.0  # standard errors by which photos may differ before it is said


@dataclass(frozen=True)
class Together:
    """One step over all its photos; as in `Seen`. `used` counts the photos that told the share left."""

    fraction_left: float | None
    fraction_error: float | None
    residue: str | None
    residue_chances: dict[str, float] | None
    harm: str | None
    harm_chances: dict[str, float] | None
    used: int
    warnings: tuple[str, ...]


def combine(photos: Sequence[Seen]) -> Together:
    """One step from several photos: shares by inverse variance, harm as the photo that saw the worst.

    Photos that disagree by more than their errors widen the error by how much they do. Harm is not averaged: what one
    photo shows and another hides in glare is there.

    Raises:
        InputError: there is no photo.
    """
    if not photos:
        raise InputError("photos", "There is no photo.", "Take at least one.")
    warnings = list(dict.fromkeys(w for seen in photos for w in seen.warnings))
    told = [(s.fraction_left, s.fraction_error) for s in photos if s.fraction_left is not None and s.fraction_error]
    harmed = [s for s in photos if s.harm is not None and s.harm_chances is not None]
    worst = max(harmed, key=_harmful, default=None)
    left = error = None
    if told:
        left, error, apart = _mean(told)
        if apart > APART:
            warnings.append("The photos of this step disagree: take another, straight from above in even light.")
    return Together(
        left, error,
        None if left is None else residue_of(left),
        None if left is None or error is None else residue_chances(left, error),
        worst.harm if worst else None, worst.harm_chances if worst else None, len(told), tuple(warnings),
    )  # fmt: skip


def _harmful(seen: Seen) -> tuple[int, float]:
    chances = seen.harm_chances or {}
    return HARMS.index(seen.harm or HARMS[0]), sum(HARMS.index(h) * p for h, p in chances.items())


def _mean(told: list[tuple[float, float]]) -> tuple[float, float, float]:
    """(mean, its standard error, how far apart the farthest lies in standard errors); Birge's widening where apart."""
    shares, errors = np.array(told).T
    weight = 1 / errors**2
    mean = float((weight * shares).sum() / weight.sum())
    scatter = float((weight * (shares - mean) ** 2).sum() / max(len(shares) - 1, 1))
    error = float(np.hypot(np.sqrt(max(scatter, 1.0) / weight.sum()), TOGETHER if len(shares) > 1 else 0.0))
    return mean, error, float(np.max(np.abs(shares - mean) / errors)) if len(shares) > 1 else 0.0
