"""What the user's taps teach the grader about one surface: labelled colours, kept as plain data.

A tap says "this is coating", "this is bare" or "this is harm". The colours under it join that ground, for this photo
and for every later one of the same surface, as light is matched before anything is judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.photos.grounds import Ground, features
from proofpatch.photos.mixture import Grounds

Floats = NDArray[np.floating]

LABELS = ("coating", "bare", "harm")
KEPT = 40  # colours of one tap
REACH = 0.5e-3  # m, radius around a tap
WEIGHT = 0.25  # share of a ground that taps make up (ours)
SPREAD = 1.5  # Lab units, a tap speaks for colours about so near to its own (ours)


@dataclass(frozen=True)
class Correction:
    """One tap: what it is, and colours under it: rows of L*, a*, b* and texture."""

    label: str
    colours: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        if self.label not in LABELS:
            raise InputError("label", f"The label {self.label!r} is not known.", f"Use one of: {', '.join(LABELS)}.")
        if not self.colours or any(len(row) != 4 or not np.all(np.isfinite(row)) for row in self.colours):
            raise InputError("colours", "The colours of a tap are not rows of four numbers.", "Tap the place again.")


@dataclass(frozen=True)
class Grader:
    """All taps on one surface."""

    corrections: tuple[Correction, ...] = ()

    def plain(self) -> list[dict[str, Any]]:
        """As lists and numbers, for a file."""
        return [{"label": c.label, "colours": [list(row) for row in c.colours]} for c in self.corrections]

    @classmethod
    def of_plain(cls, rows: Iterable[Mapping[str, Any]]) -> Grader:
        """Read back.

        Raises:
            InputError: a row is not a label with its colours.
        """
        try:
            return cls(tuple(
                Correction(str(row["label"]), tuple(tuple(float(v) for v in c) for c in row["colours"]))
                for row in rows
            ))  # fmt: skip
        except (KeyError, TypeError) as slip:
            raise InputError("corrections", "The kept corrections cannot be read.", "Tap the places again.") from slip


def tapped(window: Floats, scale: float, label: str, x: float, y: float, reach: float = REACH) -> Correction:
    """What a tap says.

    Args:
        window: picture (H, W, 3), linear sRGB.
        scale: pixels of a metre [1/m].
        label: one of LABELS.
        x, y: place from the window's upper left corner [m].
        reach: radius of what is meant [m]; a large one means the whole window.

    Raises:
        InputError: an unknown label, a place outside the window.
    """
    tall, wide = window.shape[:2]
    if not (0 <= x * scale < wide and 0 <= y * scale < tall):
        raise InputError("x", "The tap lies outside the window.", "Tap inside one.")
    rows, columns = np.mgrid[:tall, :wide]
    near = np.hypot(columns + 0.5 - x * scale, rows + 0.5 - y * scale) <= max(reach * scale, 1.0)
    colours = features(window, scale, texture=True)[near]
    picked = colours[:: max(1, -(-len(colours) // KEPT))]
    return Correction(label, tuple(tuple(round(float(v), 2) for v in row) for row in picked))


def learned(grader: Grader, corrections: Iterable[Correction]) -> Grader:
    """The grader after these taps too; the old one is as it was."""
    return Grader((*grader.corrections, *corrections))


def taught(grader: Grader, grounds: Grounds) -> Grounds:
    """The grounds with what the taps showed."""
    size = grounds.bare.means.shape[1]
    of = {
        label: [np.asarray(c.colours)[:, :size] for c in grader.corrections if c.label == label] for label in LABELS
    }  # fmt: skip
    harmed = _of_taps(of["harm"]) if of["harm"] else grounds.harmed
    return Grounds(_joined(grounds.bare, of["bare"]), _joined(grounds.coated, of["coating"]), harmed)


def _of_taps(taps: list[Floats]) -> Ground:
    """A ground of taps alone, one Gaussian a tap."""
    means = np.stack([tap.mean(axis=0) for tap in taps])
    spreads = np.stack([
        (tap - tap.mean(axis=0)).T @ (tap - tap.mean(axis=0)) / len(tap) + SPREAD**2 * np.eye(tap.shape[1])
        for tap in taps
    ])  # fmt: skip
    return Ground(np.full(len(taps), 1 / len(taps)), means, spreads)


def _joined(ground: Ground, taps: list[Floats]) -> Ground:
    if not taps:
        return ground
    more = _of_taps(taps)
    return Ground(
        np.concatenate([(1 - WEIGHT) * ground.shares, WEIGHT * more.shares]),
        np.concatenate([ground.means, more.means]),
        np.concatenate([ground.spreads, more.spreads]),
    )
