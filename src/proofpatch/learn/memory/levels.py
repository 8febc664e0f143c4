"""Whose each unknown is: the coating's, the substrate's, the pair's, the laser's, the grader's, or this piece's own.

Every unknown of a surface is a standard normal y as far as published data go (`learn.belief`). Here it is a sum,

    y_k = Σ_l √share_kl e_l + b_k,    e_l ~ N(0, 1),    b_k ~ N(0, s_g piece_k),    piece_k = 1 − Σ_l share_kl      (1)

of effects e_l, each one for all jobs that share it, and of what the piece has for itself. The spread s_g of a group of
unknowns has mean 1; so without jobs y stays N(0, 1). The shares stand in shares.csv: common practice, no source.

Not everything that is shared is learned from one job to the next: see `heard`.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn.surface import Surface
from proofpatch.learn.unknowns import MODEL_LATENTS, TILTS, latents
from proofpatch.sources import Datum, read_table

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Key = tuple[Hashable, ...]
Stack = tuple[tuple[str, str, str], ...]  # (coating, colour, condition) of each layer
LEAN = "depth_discrepancy"  # where a grader's lean, and none of the truth, may lie
# One job says little of these, and how much it says hangs on which way they lie: a noisy grader is plain to see, a
# steady one is not. Added up, 100 jobs of three simulated shops read the noise 1.2 and `need_by_dose` 1.2 spreads too
# high, sure of it, with the truth on the other side.
UNHEARD = ("noise", "tilt")


@lru_cache(maxsize=1)
def shares() -> dict[tuple[str, str], Datum]:
    """Every row of shares.csv by kind and level."""
    rows = read_table(Path(__file__).with_name("shares.csv"))
    return {(row.keys["subject"], row.keys["property"]): row.datum for row in rows}


def kind(place: str, name: str) -> str:
    """Which rows of shares.csv an unknown goes by."""
    if place == "model":
        if name == "grader_noise":
            return "noise"
        return "tilt" if name in TILTS or name == "kinetics_discrepancy" else "factor"
    if place == "substrate":
        return "part" if name == "thickness_default" else "substrate"
    return "thickness" if name in ("thickness", "thickness_spread") else "film"


@dataclass(frozen=True)
class Concrete:
    """One component of a surface's mixture, with who laid the light and who judged; None where several did.

    leans: the grader's lean counts as an effect, as in what was graded; or not, as in what is true.
    """

    surface: Surface
    stack: Stack
    state: str
    laser: str | None = None
    grader: str | None = None
    leans: bool = True


@dataclass(frozen=True, eq=False)
class Layout:
    """Equation (1) of one concrete surface.

    effects: what the columns of `loading` (unknowns, effects) are of. scales: the groups of `piece`
    (groups, unknowns), variance of b at a spread of 1. rest: (unknowns,) variance that is nobody's: effects nobody
    can name here, and what the owner measured on this piece.
    """

    effects: tuple[Key, ...]
    loading: Floats
    scales: tuple[Key, ...]
    piece: Floats
    rest: Floats


def concretes(
    surface: Surface, laser: str | None = None, grader: str | None = None, leans: bool = True
) -> list[Concrete]:
    """Every component of the surface's mixture, in the order of its belief."""
    return [Concrete(surface, stack, state, laser, grader, leans) for _, stack, state in surface.components()]


@lru_cache(maxsize=1024)
def layout(concrete: Concrete) -> Layout:
    """Whose each unknown of this concrete surface is."""
    names = latents(concrete.surface).names
    effects: dict[Key, int] = {}
    scales: dict[Key, int] = {}
    entries: list[tuple[int, int, float]] = []
    pieces: list[tuple[int, int, float]] = []
    rest = np.zeros(len(names))
    for k, (place, name) in enumerate(names):
        if _is_measured(concrete.surface, place, name):
            rest[k] = 1.0
            continue
        whose, own = _whose(concrete, place, name), 1.0
        for (group, level), datum in shares().items():
            if group != kind(place, name):
                continue
            own -= datum.value
            key = whose.get(level)
            if key is None or (level == "grader" and group == "factor" and not (concrete.leans and name == LEAN)):
                rest[k] += datum.value
            else:
                entries.append((k, effects.setdefault((level, *key, name), len(effects)), datum.value))
        pieces.append((k, scales.setdefault(_scale(concrete, place, name), len(scales)), own))
    loading, piece = np.zeros((len(names), len(effects))), np.zeros((len(scales), len(names)))
    for k, e, share in entries:
        loading[k, e] = np.sqrt(share)
    for k, g, own in pieces:
        piece[g, k] = own
    return Layout(tuple(effects), loading, tuple(scales), piece, rest)


@lru_cache(maxsize=1024)
def heard(concrete: Concrete) -> Layout:
    """The layout as sites are read: UNHEARD kinds are nobody's, so that a job keeps its doubt about them to itself."""
    found, names = layout(concrete), latents(concrete.surface).names
    deaf = np.array([kind(*name) in UNHEARD for name in names])
    loading, piece = (np.where(deaf[:, None], 0.0, found.loading), np.where(deaf, 0.0, found.piece))
    told = np.flatnonzero(loading.any(axis=0))
    return Layout(
        tuple(found.effects[e] for e in told), loading[:, told], found.scales, piece, np.where(deaf, 1.0, found.rest)
    )


def _is_measured(surface: Surface, place: str, name: str) -> bool:
    """True if the owner measured it: the doubt left is of the gauge, not of the coating."""
    if place == "substrate":
        return name == "thickness_default" and surface.substrate_thickness is not None
    if place == "model" or name not in ("thickness", "thickness_spread"):
        return False
    return getattr(surface.coats[int(place.split()[1])], name) is not None


def _whose(concrete: Concrete, place: str, name: str) -> dict[str, Key | None]:
    """The key of each level for this unknown."""
    surface = concrete.surface
    found: dict[str, Key | None] = {
        "everywhere": (),
        "pair": pair(concrete.stack, surface.substrate),
        "substrate": (surface.substrate,),
        "state": (surface.substrate, concrete.state),
        "laser": None if concrete.laser is None or name not in MODEL_LATENTS else (concrete.laser,),
        "grader": None if concrete.grader is None else (concrete.grader,),
    }
    if place.startswith("layer"):
        coat = concrete.stack[int(place.split()[1])]
        found |= {"coating": (coat[0],), "finish": coat}
    return found


def _scale(concrete: Concrete, place: str, name: str) -> Key:
    if place == "model":
        return ("model",)
    if place == "substrate":
        return ("substrate", concrete.surface.substrate)
    return kind(place, name), concrete.stack[int(place.split()[1])][0]


def pair(stack: Stack, substrate: str) -> Key:
    """The coatings, top first, then what they stand on."""
    return (*(coating for coating, _, _ in stack), substrate)


def scale_shape() -> float:
    """Shape α of the inverse gamma, scale α − 1, that each spread is drawn from: mean 1."""
    return float(shares()["spread", "shape"].value)


def titles(found: Any) -> str:
    """A level's key in words: the coatings, on the substrate."""
    return f"{' over '.join(found[:-1])} on {found[-1]}"
