"""How much of a window is which ground: the shares of a mix whose parts are known, but for a change of tone.

Counting pixels one by one is wrong where grounds look alike; the shares that make the whole window likely are not
(expectation–maximisation for unknown class shares: Saerens, Latinne & Decaestecker, Neural Computation 14 (2002)
21–41; title from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from proofpatch.photos.colour import lab_of, linear_of
from proofpatch.photos.grounds import Ground, log_density, log_gauss, thin_out

Floats = NDArray[np.floating]

# All numbers are ours, tried on toy fields; none is from a source.
BETWEEN = (0.2, 0.4, 0.6, 0.8)  # share of coating in a pixel on a rim, or how far a thin film's colour lies
PICKED = 1200  # pixels of a window that decide its shares
LOOSE = (8.0, 6.0, 4.0, 3.0, 2.0, 1.5)  # times the bare ground's spread in the first rounds, so that a shift is found
ROUNDS = 13
TONE_PRIOR = 5.0  # Lab units, how far cleaning may shift the tone of bare substrate
SLIGHT = 0.3  # Lab units, the same where a thin film is thought of instead: what light and sample leave
COAT_PRIOR = 1.5  # Lab units, how far heat shifts the tone of coating that stays
MUCH, MOST_TINT, SAME = 0.2, 20.0, 0.1  # of the window; Lab units; nats a pixel: where coating may be tinted ground
HELD = 0.05  # of the pixels count against a shift
BURN, BURN_STEPS = (0.35, 0.4, 0.35), (0.55, 1.0)  # L*, a*, b* of char over those of bare; steps of scorch towards it
BURN_SPREAD = (7.0, 3.0, 5.0)  # Lab units
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
    even: Floats = np.full(len(BETWEEN), 1 / len(BETWEEN))
    nowhere: Floats = np.zeros(x.shape[1])
    mix = Mix({k: v / sum(shares.values()) for k, v in shares.items()}, even, nowhere, nowhere, 0.0, film)
    width = SLIGHT if film else TONE_PRIOR
    for step in range(ROUNDS):
        loose = LOOSE[step] if step < len(LOOSE) else 1.0
        wide = replace(grounds, bare=replace(grounds.bare, spreads=grounds.bare.spreads * loose))
        parts, log_sum = _members(x, wide, mix)
        total = {name: float(part.sum()) + 0.5 for name, part in parts.items()}
        steps = parts["between"].sum(axis=0) + 0.5
        mix = replace(
            mix,
            shares={name: value / sum(total.values()) for name, value in total.items()},
            steps=steps / steps.sum() if film else even,
            tone=_shift(x, grounds.bare, parts["bare"].sum(axis=1), width),
            coat_tone=_shift(x, grounds.coated, parts["coated"].sum(axis=1), COAT_PRIOR),
        )
    _, log_sum = _members(x, grounds, mix)
    penalty = 0.5 * HELD * (((mix.tone / width) ** 2).sum() + ((mix.coat_tone / COAT_PRIOR) ** 2).sum())
    return replace(mix, likely=float(log_sum.mean() - penalty))


def could_be_tint(x: Floats, grounds: Grounds, mix: Mix) -> bool:
    """Whether what reads as coating would be as likely as bare ground grown darker, all of it by one tint."""
    if mix.shares["coated"] < MUCH:
        return False
    x = np.asarray(thin_out(x, PICKED), dtype=np.float64)
    own = _members(x, grounds, mix)[0]["coated"][:, 0] > 0.5
    if own.sum() < MUCH * len(x):
        return False
    tint = x[own].mean(axis=0) - grounds.bare.mean
    tint[3:] = 0.0
    if tint[0] > 0 or float(np.linalg.norm(tint[:3])) > MOST_TINT:
        return False
    gain = log_density(x[own] - mix.coat_tone, grounds.coated) - log_density(x[own] - tint, grounds.bare)
    return float(gain.mean()) < SAME


def memberships(x: Floats, grounds: Grounds, mix: Mix) -> dict[str, Floats]:
    """How much each pixel (N, D) belongs to every part: (N, 1) each, (N, len(BETWEEN)) for between."""
    return _members(np.asarray(x, dtype=np.float32), grounds, mix)[0]


def _burn_tells(grounds: Grounds) -> bool:
    char = np.array(BURN) * grounds.bare.mean[:3]
    gaps = [float(np.linalg.norm(ground.mean[:3] - char)) for ground in (grounds.bare, grounds.coated)]
    return grounds.harmed is not None or min(gaps) > BURN_GAP


def _parts(x: Floats, grounds: Grounds, mix: Mix) -> dict[str, Floats]:
    """ln of share times density of every part (N, steps)."""
    bare, coated, shares = grounds.bare, grounds.coated, mix.shares
    none = ELSE - (np.log(ROUGH_SPAN) if x.shape[1] > 3 else 0.0)
    parts = {
        "bare": np.log(shares["bare"]) + log_density(x - mix.tone, bare)[:, None],
        "coated": np.log(shares["coated"]) + log_density(x - mix.coat_tone, coated)[:, None],
        "else": np.full((len(x), 1), np.log(shares["else"]) + none),
        "between": np.log(shares["between"] * mix.steps) + np.stack([
            log_gauss(x, _blend(bare.mean + mix.tone, coated.mean + mix.coat_tone, t), _spread(bare, coated, t))
            for t in BETWEEN
        ], axis=1),
    }  # fmt: skip
    if "burnt" in shares:
        each = (
            [log_gauss(x, *_char(bare, s)) - np.log(len(BURN_STEPS)) for s in BURN_STEPS]
            if grounds.harmed is None
            else [log_density(x, grounds.harmed)]
        )
        parts["burnt"] = np.log(shares["burnt"]) + np.stack(each, axis=1)
    return parts


def _spread(bare: Ground, coated: Ground, t: float) -> Floats:
    return np.asarray((1 - t) * bare.spread + t * coated.spread)


def _blend(one: Floats, other: Floats, t: float) -> Floats:
    """Colour of a pixel that is `t` the other: light adds, Lab does not."""
    blend = (1 - t) * one + t * other
    blend[:3] = lab_of((1 - t) * linear_of(one[:3]) + t * linear_of(other[:3]))
    return np.asarray(blend)


def _char(bare: Ground, step: float) -> tuple[Floats, Floats]:
    """Mean and covariance of scorched ground."""
    mean = bare.mean.copy()
    mean[:3] *= 1 - step * (1 - np.array(BURN))
    return mean, np.diag(np.square([*BURN_SPREAD, ROUGH_SPREAD][: len(mean)]))


def _members(x: Floats, grounds: Grounds, mix: Mix) -> tuple[dict[str, Floats], Floats]:
    """(how much each pixel belongs to each part, ln density of all (N,))."""
    parts = _parts(x, grounds, mix)
    stacked = np.concatenate(list(parts.values()), axis=1)
    top = stacked.max(axis=1)
    log_sum = top + np.log(np.exp(stacked - top[:, None]).sum(axis=1))
    return {name: np.exp(part - log_sum[:, None]) for name, part in parts.items()}, log_sum


def _shift(x: Floats, ground: Ground, member: Floats, width: float) -> Floats:
    """Shift of a ground's mean by the pixels that belong to it, held near none; texture does not shift."""
    total = float(member.sum())
    precision = np.linalg.inv(ground.spread)
    held = HELD * len(x) / width**2 * np.eye(x.shape[1])
    pull = precision @ (member @ x - total * ground.mean)
    shift = np.linalg.solve(total * precision + held, pull)
    shift[3:] = 0.0
    return np.asarray(shift)
