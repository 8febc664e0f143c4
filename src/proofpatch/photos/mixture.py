"""How much of a window is which ground: the shares of a mix whose parts are known, but for a change of tone.

Counting pixels one by one is wrong where grounds look alike; the shares that make the whole window likely are not
(expectation–maximisation for unknown class shares: Saerens, Latinne & Decaestecker, Neural Computation 14 (2002)
21–41; title from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from proofpatch.photos.colour import lab_of, linear_of
from proofpatch.photos.grounds import Ground, gauss_terms, log_density, log_sum, second_order, thin_out

Floats = NDArray[np.floating]

# All numbers are ours, tried on toy fields; none is from a source.
# Share of coating in a pixel on a rim, or how far a thin film's colour lies: ends of bins, narrow near the grounds, as
# a little light changes Lab much in the dark.
BINS = (0.04, 0.16, 0.38, 0.62, 0.80, 0.90, 0.96, 0.99)
BETWEEN = tuple((a + b) / 2 for a, b in pairwise(BINS))
WIDTHS = np.diff(BINS) / (BINS[-1] - BINS[0])  # a straight rim shows every share alike
PICKED = 1200  # pixels of a window that decide its shares
LOOSE = (8.0, 6.0, 4.0, 3.0, 2.0, 1.5)  # times the bare ground's spread in the first rounds, so that a shift is found
ROUNDS = 13
TONE_PRIOR = 5.0  # Lab units, how far cleaning may shift the tone of bare substrate
SLIGHT = 0.3  # Lab units, the same where a thin film is thought of instead: what light and sample leave
FARTHEST = 12.0  # Lab units, no tint or bleaching is stronger: farther off lies another ground, or a film (seed 3)
COAT_PRIOR = 1.5  # Lab units, how far heat shifts the tone of coating that stays
MUCH, MOST_TINT, SAME = 0.2, 20.0, 0.1  # of the window; Lab units; nats a pixel: where coating may be tinted ground
HELD = 0.05  # of the pixels count against a shift
BURN, BURN_STEPS = (0.35, 0.4, 0.35), (0.55, 1.0)  # L*, a*, b* of char over those of bare; steps of scorch towards it
BURN_SPREAD = (7.0, 3.0, 5.0)  # Lab units
PALE = 0.6  # of the bare ground's L*; a darker coating is too near to char (seed 3)
BURN_GAP = 8.0  # Lab units char lies off both grounds, or it is not told apart
ELSE = -np.log(100.0 * 60.0 * 60.0)  # ln density of a colour that is none of these
ROUGH_SPREAD = 6.0  # of the texture of char, and
ROUGH_SPAN = 20.0  # of a texture that is none of these
START = {"bare": 0.44, "coated": 0.44, "between": 0.08, "burnt": 0.02, "else": 0.02}


@dataclass(frozen=True)
class Grounds:
    """All that is known of the piece's looks; `harmed` was shown by the user."""

    bare: Ground
    coated: Ground
    harmed: Ground | None = None


@dataclass(frozen=True)
class Mix:
    """What a window is made of.

    Args:
        shares: of bare, coated, between (rims and thin film), burnt and else; they sum to 1.
        steps: shares within `between` of each of BETWEEN; they sum to 1.
        tone, coat_tone: shift of the bare ground and of the coating, feature units (D,).
        likely: ln likelihood a pixel, prior of the shifts included.
        film: whether a thin film was thought of; else what lies between is rims, and any other tone a tint.
    """

    shares: dict[str, float]
    steps: Floats
    tone: Floats
    coat_tone: Floats
    likely: float
    film: bool


def fit_mix(x: Floats, grounds: Grounds, film: bool) -> Mix:
    """The mix that makes these pixels (N, D) most likely."""
    x = np.asarray(thin_out(x, PICKED), dtype=np.float64)
    shares = {k: v for k, v in START.items() if k != "burnt" or _burn_tells(grounds)}
    even: Floats = WIDTHS
    nowhere: Floats = np.zeros(x.shape[1])
    mix = Mix({k: v / sum(shares.values()) for k, v in shares.items()}, even, nowhere, nowhere, 0.0, film)
    width = SLIGHT if film else TONE_PRIOR
    for step in range(ROUNDS):
        loose = LOOSE[step] if step < len(LOOSE) else 1.0
        wide = replace(grounds, bare=replace(grounds.bare, spreads=grounds.bare.spreads * loose))
        parts, _ = _members(x, wide, mix)
        total = {name: float(part.sum()) + 0.5 for name, part in parts.items()}
        steps = parts["between"].sum(axis=0) + 0.5
        mix = replace(
            mix,
            shares={name: value / sum(total.values()) for name, value in total.items()},
            steps=steps / steps.sum() if film else even,
            tone=_shift(x, grounds.bare, parts["bare"].sum(axis=1), width),
            coat_tone=_shift(x, grounds.coated, parts["coated"].sum(axis=1), COAT_PRIOR),
        )
    _, likely = _members(x, grounds, mix)
    penalty = 0.5 * HELD * (((mix.tone / width) ** 2).sum() + ((mix.coat_tone / COAT_PRIOR) ** 2).sum())
    return replace(mix, likely=float(likely.mean() - penalty))


def could_be_tint(x: Floats, grounds: Grounds, mix: Mix) -> bool:
    """Whether what reads as coating would be as likely as bare ground grown darker, all of it by one tint."""
    if mix.shares["coated"] < MUCH:
        return False
    x = np.asarray(thin_out(x, PICKED), dtype=np.float64)
    own = _members(x, grounds, mix)[0]["coated"].sum(axis=1) > 0.5
    if own.sum() < MUCH * len(x):
        return False
    tint = x[own].mean(axis=0) - grounds.bare.mean
    tint[3:] = 0.0
    if tint[0] > 0 or float(np.linalg.norm(tint[:3])) > MOST_TINT:
        return False
    gain = log_density(x[own] - mix.coat_tone, grounds.coated) - log_density(x[own] - tint, grounds.bare)
    return float(gain.mean()) < SAME


def memberships(x: Floats, grounds: Grounds, mix: Mix) -> dict[str, Floats]:
    """How much each pixel (N, D) belongs to every part: (N, its Gaussians), which sum to it."""
    return _members(np.asarray(x, dtype=np.float32), grounds, mix)[0]


def _burn_tells(grounds: Grounds) -> bool:
    char = np.array(BURN) * grounds.bare.mean[:3]
    # The rims of a dark film pass through the colours of char, and it varies: then it would be taken for burnt.
    looks = _blends(grounds.bare.mean, grounds.coated.mean, np.linspace(0, 1, 30).tolist())[:, :3]
    pale = grounds.coated.mean[0] > PALE * grounds.bare.mean[0]
    return grounds.harmed is not None or bool(pale and np.linalg.norm(looks - char, axis=1).min() > BURN_GAP)


def _parts(x: Floats, grounds: Grounds, mix: Mix) -> tuple[Floats, dict[str, slice]]:
    """(ln of share times density of every part (N, K), which of the K belong to what)."""
    bare, coated, shares = grounds.bare, grounds.coated, mix.shares
    at = bare.mean + mix.tone, coated.mean + mix.coat_tone
    groups = {
        "bare": (shares["bare"] * bare.shares, bare.means + mix.tone, bare.spreads),
        "coated": (shares["coated"] * coated.shares, coated.means + mix.coat_tone, coated.spreads),
        "between": (shares["between"] * mix.steps, *_rims(*at, bare, coated)),
    }
    if "burnt" in shares:
        burnt = grounds.harmed or _char(bare)
        groups["burnt"] = shares["burnt"] * burnt.shares, burnt.means, burnt.spreads
    middle = (at[0] + at[1]) / 2
    terms = np.concatenate([gauss_terms(share, mean - middle, spread) for share, mean, spread in groups.values()], 1)
    none = np.log(shares["else"]) + ELSE - (np.log(ROUGH_SPAN) if x.shape[1] > 3 else 0.0)
    terms = np.concatenate([terms, np.zeros((len(terms), 1))], axis=1)
    terms[0, -1] = none
    ends = np.cumsum([0, *(len(group[0]) for group in groups.values()), 1]).tolist()
    where = {name: slice(*pair) for name, pair in zip([*groups, "else"], pairwise(ends), strict=True)}
    return second_order(x - middle.astype(x.dtype)) @ terms.astype(x.dtype), where


def _rims(one: Floats, other: Floats, bare: Ground, coated: Ground) -> tuple[Floats, Floats]:
    """Means (len(BETWEEN), D) and covariances of pixels on a rim: both grounds' spreads, and the bin's own width."""
    t = np.array(BETWEEN)[:, None, None]
    wide = np.diff(_blends(one, other, BINS), axis=0)
    spreads = (1 - t) * bare.spread + t * coated.spread + wide[:, :, None] * wide[:, None] / 12
    return _blends(one, other, BETWEEN), spreads


def _blends(one: Floats, other: Floats, shares: Sequence[float]) -> Floats:
    """Colours (N, D) of pixels that are so much the other: light adds, Lab does not."""
    t = np.array(shares)[:, None]
    blends = (1 - t) * one + t * other
    light = linear_of(np.stack([one[:3], other[:3]]))
    blends[:, :3] = lab_of((1 - t) * light[0] + t * light[1])
    return np.asarray(blends)


def _char(bare: Ground) -> Ground:
    """Scorched ground."""
    steps = len(BURN_STEPS)
    means = np.repeat(bare.mean[None], steps, axis=0)
    means[:, :3] *= 1 - np.array(BURN_STEPS)[:, None] * (1 - np.array(BURN))
    spread = np.diag(np.square([*BURN_SPREAD, ROUGH_SPREAD][: means.shape[1]]))
    return Ground(np.full(steps, 1 / steps), means, np.repeat(spread[None], steps, axis=0))


def _members(x: Floats, grounds: Grounds, mix: Mix) -> tuple[dict[str, Floats], Floats]:
    """(how much each pixel belongs to each part, ln density of all (N,))."""
    each, where = _parts(x, grounds, mix)
    total = log_sum(each)
    member = np.exp(each - total[:, None])
    return {name: member[:, part] for name, part in where.items()}, total


def _shift(x: Floats, ground: Ground, member: Floats, width: float) -> Floats:
    """Shift of a ground's mean by the pixels that belong to it, held near none; texture does not shift."""
    total = float(member.sum())
    precision = np.linalg.inv(ground.spread)
    held = HELD * len(x) / width**2 * np.eye(x.shape[1])
    pull = precision @ (member @ x - total * ground.mean)
    shift = np.linalg.solve(total * precision + held, pull)
    shift[3:] = 0.0
    return np.asarray(shift * min(1.0, FARTHEST / max(float(np.linalg.norm(shift)), 1e-9)))
