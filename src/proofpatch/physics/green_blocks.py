"""One block of pulses, told by its moments: what it gives at a place, and bounds on what that leaves out.

A block lies in time, place and spot size around its means. `block_density` is the Taylor series of the pulses about
them to second order; `remainder` bounds the rest of the series, `highest_squared` all that a block can give. The
tree of `green_tree.py` is made of them.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.physics.elementwise import choose, elementwise
from proofpatch.physics.green import FACE, FAR
from proofpatch.physics.heat import _volume_bracket

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
LONG = 1e4  # α² D s from which a skin is told by its distance from a face [1]
NONE = 1e100  # stands for a bound that is none [1]

# Rows of pulses: middle of their time, place, w²/4, heat, width, beginning. Columns of a block: means of the first four
# by heat, heat, central second moments (c = w²/4, v = c + 2 D (moment asked for − t)), reaches and sizes.
T, X, Y, C, Q, WIDE, BEGIN = range(7)
(TT, TV, VV, TX, TY, VX, VY, XX, XY, YY, CC, REACH_T, REACH_X, REACH_Y, REACH_C, REACH, SIZE_T, SIZE_C,
 SIZE_R) = range(5, 24)  # fmt: skip
COLUMNS = 24


@elementwise
def include(block: Any, part: Any, share: Any, reach: Any, own: Any, diffusivity: Any) -> None:
    """Add a part that lies off the block's means to its second moments and reach in t.

    `reach` and `own` are the part's own reach and variance of t, if its moments are not added apart.
    """
    dt, dx, dy, dc = part[T] - block[T], part[X] - block[X], part[Y] - block[Y], part[C] - block[C]
    fall = 2.0 * diffusivity
    dv = dc - fall * dt
    block[TT] += share * (dt * dt + own)
    block[TV] += share * (dt * dv - fall * own)
    block[VV] += share * (dv * dv + fall * fall * own)
    block[TX] += share * dt * dx
    block[TY] += share * dt * dy
    block[VX] += share * dv * dx
    block[VY] += share * dv * dy
    block[XX] += share * dx * dx
    block[XY] += share * dx * dy
    block[YY] += share * dy * dy
    block[CC] += share * dc * dc
    block[REACH_T] = max(block[REACH_T], abs(dt) + reach)


@elementwise
def measure(pulses: Floats, spans: Integers, diffusivity: float) -> Floats:
    """The columns of every block, from its pulses or from its two children.

    Plain loops, to be compiled; slow as they stand, and the same.
    """
    blocks = np.zeros((len(spans), COLUMNS))
    for i in range(len(spans) - 1, -1, -1):
        first, last, child = spans[i, 0], spans[i, 1], spans[i, 2]
        block = blocks[i]
        if child:
            left, right = blocks[child], blocks[child + 1]
            block[Q] = left[Q] + right[Q]
            for j in range(4):
                block[j] = (left[Q] * left[j] + right[Q] * right[j]) / block[Q]
            for part in (left, right):
                share = part[Q] / block[Q]
                for j in range(TT, CC + 1):
                    block[j] += share * part[j]
                include(block, part, share, part[REACH_T], 0.0, diffusivity)
                for j in range(1, 4):
                    reach = abs(part[j] - block[j]) + part[REACH_T + j]
                    block[REACH_T + j] = max(block[REACH_T + j], reach)
        else:
            for k in range(first, last):
                block[Q] += pulses[Q, k]
                for j in range(4):
                    block[j] += pulses[Q, k] * pulses[j, k]
            for j in range(4):
                block[j] /= block[Q]
            for k in range(first, last):
                half = 0.5 * pulses[WIDE, k]
                include(block, pulses[:, k], pulses[Q, k] / block[Q], half, half * half / 3.0, diffusivity)
                for j in range(1, 4):
                    block[REACH_T + j] = max(block[REACH_T + j], abs(pulses[j, k] - block[j]))
        block[REACH] = math.sqrt(block[REACH_X] ** 2 + block[REACH_Y] ** 2)
        block[SIZE_T] = (block[TT] * block[REACH_T]) ** (1.0 / 3.0)
        block[SIZE_C] = (block[CC] * block[REACH_C]) ** (1.0 / 3.0)
        block[SIZE_R] = ((block[XX] + block[YY]) * block[REACH]) ** (1.0 / 3.0)
    return blocks


@elementwise
def _skin_densities(depth: Any, age: Any, diffusivity: Any, absorption: Any) -> Any:
    """a(z, s) of `green` for a skin and its first two derivatives in s, any shape [1/m, 1/(m s), 1/(m s²)].

        a′ = D α² (a − f),   a″ = D α² (a′ − f′),   f that of the face            (1)

    Where the heat has long left the skin, α² D s > 10⁴, (1) would be the difference of equals; there

        a ≈ f + f′/(D α²) + f″/(D α²)²,   a′ ≈ f′ + f″/(D α²),   a″ ≈ f″           (2)

    Source: heat equation for a source α e^(−αz), mirrored at the face; (2) the same solved for a.
    """
    zeta = depth * depth / (4.0 * diffusivity * age)
    face, first, second = _face_densities(zeta, age, diffusivity)
    fade = np.exp(-zeta)
    face, first, second = fade * face, fade * first, fade * second
    rate = diffusivity * absorption * absorption
    thin = rate * age > LONG
    early = np.minimum(age, LONG / rate)
    skin = 0.5 * absorption * _volume_bracket(depth, np.sqrt(diffusivity * early), absorption)
    slope = rate * (skin - face)
    return (
        choose(thin, face + (first + second / rate) / rate, skin),
        choose(thin, first + second / rate, slope),
        choose(thin, second, rate * (slope - first)),
    )  # (1), (2)


@elementwise
def _face_densities(zeta: Any, age: Any, diffusivity: Any) -> Any:
    """a(z, s) of `green` for a face and its first two derivatives in s, all without e^(−ζ), ζ = z²/(4 D s).

    a = e^(−ζ)/√(π D s),   a′ = a (ζ − ½)/s,   a″ = a (ζ² − 3ζ + ¾)/s²
    """
    young = 1.0 / age
    face = np.sqrt(young / (math.pi * diffusivity))
    return face, face * (zeta - 0.5) * young, face * (zeta * (zeta - 3.0) + 0.75) * young * young


@elementwise
def block_density(
    block: Any, dx: Any, dy: Any, depth: Any, age: Any, fade: Any, diffusivity: Any, absorption: Any
) -> Any:
    """Share of a block's heat by volume: Taylor series about its means to second order, any shape [1/m³].

        Σ Q_i g_i/Q ≈ g + ½ Σ_jk M_jk ∂_j ∂_k g,   j, k over −t, v, −x, −y         (1)

    g as in `green._flash_density`, of age s in the depth and variance v in the plane; first moments are 0.

    Args:
        block: its columns. dx, dy: probe minus mean [m]. age: at the mean [s]. fade: of `fade_root`.
    """
    w = 1.0 / (block[C] + 2.0 * diffusivity * age)
    x, y = dx * w, dy * w
    rho = dx * x + dy * y
    if absorption == FACE:  # one number for all elements, so an `if` is safe here
        level, slope, bend = _face_densities(0.25 * depth * depth / (diffusivity * age), age, diffusivity)
    else:
        level, slope, bend = _skin_densities(depth, age, diffusivity, absorption)
    by_v, by_vv = (0.5 * rho - 1.0) * w, (rho * (0.25 * rho - 2.0) + 2.0) * w * w
    by_vr = (2.0 - 0.5 * rho) * w
    plane = (
        1.0
        + 0.5 * block[VV] * by_vv
        - (block[VX] * x + block[VY] * y) * by_vr
        + 0.5 * (block[XX] * (x * x - w) + block[YY] * (y * y - w))
        + block[XY] * x * y
    )
    mixed = -(block[TV] * by_v + block[TX] * x + block[TY] * y)
    return fade * fade * w / (2.0 * math.pi) * (level * plane + slope * mixed + 0.5 * bend * block[TT])  # (1)


@elementwise
def fade_root(block: Any, dx: Any, dy: Any, depth: Any, age: Any, diffusivity: Any, absorption: Any) -> Any:
    """Root of what distance leaves of a block's g: e^(−r²/4v), for a face with e^(−z²/8Ds), any shape [1]."""
    fall = (dx * dx + dy * dy) / (4.0 * (block[C] + 2.0 * diffusivity * age))
    if absorption == FACE:
        fall = fall + depth * depth / (8.0 * diffusivity * age)
    return np.exp(-fall)


@elementwise
def envelope(block: Any, age: Any, fade: Any, diffusivity: Any, absorption: Any) -> Any:
    """What `remainder` is a share of: a bound on g with twice the variance in its exponents, any shape [1/m³]."""
    depth = np.sqrt(1.0 / (math.pi * diffusivity * age))
    if absorption != FACE:
        depth = np.minimum(depth, math.sqrt(2.0) * absorption)
    return fade * depth / (2.0 * math.pi * (block[C] + 2.0 * diffusivity * age))


@elementwise
def remainder(block: Any, age: Any, diffusivity: Any) -> Any:
    """Bound on what `block_density` leaves out, as a share of `envelope`; NONE where there is no bound, any shape [1].

    Cramér's inequality bounds every derivative of a Gaussian by the Gaussian of twice the variance,

        |He_n(u)| e^(−u²/2) ≤ c √n! e^(−u²/4),   c = 1.0865                       (1)

    and by ∂_s = D ∇² a derivative in age is one in place. The terms of order n of the Taylor series are then at most
    c³ H_n times the envelope, H_n a polynomial in the deviations of the pulses

        a = |δt|/s,   p = |δv|/v ≤ (2 D |δt| + |δw²/4|)/v,   b = |δr|/√v

    with H_3 ≤ (0.824 a + 1.257 p + 0.742 b)³ and H_(n+1) ≤ (a + 1.2 p + 0.5 b) H_n from there on; or, all of p in a,
    H_3 ≤ (1.667 a + 0.742 b)³ and H_(n+1) ≤ (1.3 a + 0.5 b) H_n. So the remainder is at most

        c³ H_3(sizes)/(1 − a − 1.2 p − 0.5 b at the reaches)                       (2)

    where size³ ≥ mean of |δ|³ (variance times reach) and no pulse lies beyond the reach; the lower of the two counts.
    A skin is faces at all depths, each under (1); together they give at most √2 α.
    Source: (1) Abramowitz & Stegun 22.14.17 (from memory, checked numerically); the rest derived here.
    """
    young, w = 1.0 / age, 1.0 / (block[C] + 2.0 * diffusivity * age)
    root = np.sqrt(w)
    place, edge = 0.742 * block[SIZE_R] * root, 0.5 * block[REACH] * root
    a, p = block[SIZE_T] * young, block[SIZE_C] * w
    far_a, far_p = block[REACH_T] * young, block[REACH_C] * w
    slow = 2.0 * diffusivity * age * w
    apart = _geometric(0.824 * a + 1.257 * (slow * a + p) + place, 1.0 - far_a - 1.2 * (slow * far_a + far_p) - edge)
    together = _geometric(1.667 * (a + p) + place, 1.0 - 1.3 * (far_a + far_p) - edge)
    return 1.2826 * np.minimum(apart, together)  # (2)


@elementwise
def _geometric(root: Any, left: Any) -> Any:
    """root³/left, NONE where nothing is left, any shape."""
    return choose(left > 0.0, root * root * root / np.maximum(left, 1e-9), NONE)


@elementwise
def highest_squared(
    block: Any, dx: Any, dy: Any, depth: Any, age: Any, diffusivity: Any, absorption: Any, shortest: Any, far: Any
) -> Any:
    """Square of what no pulse of the block exceeds at the probe, by its heat; 0 if it falls off by e^(−far) [1/m⁶].

    The highest of each factor over the ages and places of the block, with e^(−f) ≤ (1 + f/64)^(−64) in place of the
    exponential: no root and no exponential, for a bound that most blocks are asked for.
    """
    youngest = np.maximum(age - block[REACH_T], 0.25 * shortest)  # mean of 1/√s over a pulse that is on: 2/√τ
    oldest = np.maximum(age + block[REACH_T], youngest)
    aside_x = np.maximum(np.abs(dx) - block[REACH_X], 0.0)
    aside_y = np.maximum(np.abs(dy) - block[REACH_Y], 0.0)
    narrow = block[C] - block[REACH_C] + 2.0 * diffusivity * np.maximum(age - block[REACH_T], 0.0)
    wide = block[C] + block[REACH_C] + 2.0 * diffusivity * oldest
    fall = (aside_x * aside_x + aside_y * aside_y) / (2.0 * wide)
    shallow = math.pi * diffusivity * youngest
    if absorption == FACE:
        fall = fall + depth * depth / (4.0 * diffusivity * oldest)
    else:
        shallow = np.maximum(shallow, 1.0 / (absorption * absorption))
    narrow = 2.0 * math.pi * narrow
    g = 1.0 + np.minimum(fall, FAR) / 64.0
    g = g * g
    g = g * g
    g = g * g
    g = g * g
    g = g * g
    g = g * g
    return choose(fall < far, 1.0 / (g * g * narrow * narrow * shallow), 0.0)
