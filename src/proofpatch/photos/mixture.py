"""How much of a window is which ground: the shares of a mix whose parts are known, but for a change of tone.

Counting pixels one by one is wrong where grounds look alike; the shares that make the whole window likely are not
(expectation–maximisation for unknown class shares: Saerens, Latinne & Decaestecker, Neural Computation 14 (2002)
21–41; title from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from proofpatch.photos.grounds import Ground, log_density, log_gauss, thin_out

Floats = NDArray[np.floating]

# All numbers are ours, tried on toy fields; none is from a source.
VEIL, THIN = 0.35, (0.6, 0.85)  # how far a thin film's colour lies from bare towards full coating
PICKED = 1600  # pixels of a window that decide its shares
LOOSE = (8.0, 6.0, 4.0, 3.0, 2.0, 1.5)  # times the bare ground's spread in the first rounds, so that a shift is found
ROUNDS = 16
TONE_PRIOR = 7.0  # Lab units, how far cleaning may shift the tone of bare substrate
SLIGHT = 0.3  # Lab units, the same where a thin film is thought of instead: what light and sample leave
COAT_PRIOR = 1.5  # Lab units, how far heat shifts the tone of coating that stays
HELD = 0.02  # of the pixels count against a shift
BURN = (0.35, 0.4, 0.35)  # L*, a*, b* of char over those of bare
BURN_SPREAD = (9.0, 4.0, 6.0)  # Lab units
BURN_GAP = 12.0  # Lab units of L* char lies below bare, or it is not told apart
ELSE = -np.log(100.0 * 60.0 * 60.0)  # ln density of a colour that is none of these
START = {"bare": 0.44, "coated": 0.44, "veil": 0.03, "thin": 0.05, "burnt": 0.02, "else": 0.02}


@dataclass(frozen=True)
class Mix:
    """What a window is made of.

    Args:
        shares: of bare, coated, veil and thin (film nearer to bare and nearer to coating), burnt and else; sum 1.
        tone, coat_tone: shift of the bare ground and of the coating, feature units (D,).
        likely: ln likelihood a pixel, prior of the shifts included.
        film: whether a thin film was thought of; else any tone between is a tint of the substrate.
    """

    shares: dict[str, float]
    tone: Floats
    coat_tone: Floats
    likely: float
    film: bool


@dataclass(frozen=True)
class Grounds:
    """All that is known of the piece's looks; `harmed` was shown by the user."""

    bare: Ground
    coated: Ground
    harmed: Ground | None = None


def fit_mix(x: Floats, grounds: Grounds, film: bool) -> Mix:
    """The mix that makes these pixels (N, D) most likely."""
    x = np.asarray(thin_out(x, PICKED), dtype=np.float64)
    shares = {k: v for k, v in START.items() if film or k not in ("veil", "thin")}
    if not _burn_tells(grounds):
        shares.pop("burnt")
    shares = {k: v / sum(shares.values()) for k, v in shares.items()}
    tone: Floats = np.zeros(x.shape[1])
    coat_tone: Floats = np.zeros(x.shape[1])
    width = SLIGHT if film else TONE_PRIOR
    for step in range(ROUNDS):
        loose = LOOSE[step] if step < len(LOOSE) else 1.0
        wide = replace(grounds, bare=replace(grounds.bare, spreads=grounds.bare.spreads * loose))
        names, member, _ = _members(x, wide, shares, tone, coat_tone)
        total = member.sum(axis=0) + 0.5
        shares = dict(zip(names, (total / total.sum()).tolist(), strict=True))
        tone = _shift(x, grounds.bare, member[:, names.index("bare")], width)
        coat_tone = _shift(x, grounds.coated, member[:, names.index("coated")], COAT_PRIOR)
    _, _, log_sum = _members(x, grounds, shares, tone, coat_tone)
    penalty = 0.5 * HELD * ((tone / width) ** 2).sum() + 0.5 * HELD * ((coat_tone / COAT_PRIOR) ** 2).sum()
    return Mix(shares, tone, coat_tone, float(log_sum.mean() - penalty), film)


def densities(x: Floats, grounds: Grounds, mix: Mix) -> dict[str, Floats]:
    """ln of share times density (N,) of every part of a mix at pixels (N, D)."""
    return _parts(x, grounds, mix.shares, mix.tone, mix.coat_tone)


def _burn_tells(grounds: Grounds) -> bool:
    bare, coated = grounds.bare, grounds.coated
    char = BURN[0] * bare.mean[0]
    return grounds.harmed is not None or bool(bare.mean[0] - char > BURN_GAP and coated.mean[0] - char > BURN_GAP)


def _parts(x: Floats, grounds: Grounds, shares: dict[str, float], tone: Floats, coat_tone: Floats) -> dict[str, Floats]:
    bare, coated = grounds.bare, grounds.coated
    parts = {
        "bare": np.log(shares["bare"]) + log_density(x - tone, bare),
        "coated": np.log(shares["coated"]) + log_density(x - coat_tone, coated),
        "else": np.full(len(x), np.log(shares["else"]) + ELSE - (np.log(20.0) if x.shape[1] > 3 else 0.0)),
    }

    def between(t: float) -> Floats:
        mean = (1 - t) * (bare.mean + tone) + t * (coated.mean + coat_tone)
        return log_gauss(x, mean, (1 - t) * bare.spread + t * coated.spread)

    if "thin" in shares:
        parts["veil"] = np.log(shares["veil"]) + between(VEIL)
        each = [between(t) for t in THIN]
        parts["thin"] = np.log(shares["thin"] / len(THIN)) + np.asarray(np.logaddexp.reduce(each, axis=0))
    if "burnt" in shares:
        burnt = log_gauss(x, *_char(bare)) if grounds.harmed is None else log_density(x, grounds.harmed)
        parts["burnt"] = np.log(shares["burnt"]) + burnt
    return parts


def _char(bare: Ground) -> tuple[Floats, Floats]:
    """Mean and covariance of charred ground."""
    mean = bare.mean.copy()
    mean[:3] *= BURN
    return mean, np.diag(np.square([*BURN_SPREAD, 6.0][: len(mean)]))


def _members(
    x: Floats, grounds: Grounds, shares: dict[str, float], tone: Floats, coat_tone: Floats
) -> tuple[list[str], Floats, Floats]:
    """(names, how much each pixel belongs to each (N, K), ln density of all (N,))."""
    parts = _parts(x, grounds, shares, tone, coat_tone)
    stacked = np.stack(list(parts.values()), axis=1)
    log_sum = np.logaddexp.reduce(stacked, axis=1)
    return list(parts), np.exp(stacked - log_sum[:, None]), log_sum


def _shift(x: Floats, ground: Ground, member: Floats, width: float) -> Floats:
    """Shift of a ground's mean by the pixels that belong to it, held near none; texture does not shift."""
    total = float(member.sum())
    precision = np.linalg.inv(ground.spread)
    held = HELD * len(x) / width**2 * np.eye(x.shape[1])
    pull = precision @ (member @ x - total * ground.mean)
    shift = np.linalg.solve(total * precision + held, pull)
    shift[3:] = 0.0
    return np.asarray(shift)
