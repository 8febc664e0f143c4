"""One block of pulses, told by its moments: what it gives at a place, and bounds on what that leaves out.

A block lies in time, place and spot size around its means. `block_density` is the Taylor series of the pulses about
them to second order; `remainder` bounds the rest of the series, `highest_squared` all that a block can give. The
tree of `green_tree.py` is made of them. What is marked `lanes` is straight arithmetic, without a branch or a call, so
that a processor takes eight blocks at once.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.physics.elementwise import choose, elementwise, numba
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
prange = range if numba is None else numba.prange


def decay(fall: Any) -> Any:
    """e^(−fall) for fall ≥ 0, any shape; relative error under 3e-9 where compiled, and e^(−500) for all beyond."""
    return np.exp(-np.minimum(fall, FAR))


def bracket(depth: Any, reach: Any, absorption: Any) -> Any:
    """B of `heat.instant_volume_rise`, any shape; relative error under 2e-8 where compiled."""
    return _volume_bracket(depth, reach, absorption)


if numba is not None:
    from numba.extending import overload, register_jitable

    # Built into the loop that calls it: the compiler lays no call in lanes.
    lanes = register_jitable(forceinline=True)

    @overload(decay, jit_options={"forceinline": True})
    def _decay(fall: Any) -> Any:
        def scalar(fall: Any) -> Any:
            # (e^(−f/4096))^4096, its series to the eighth power: no branch and no call.
            f = min(fall, FAR) / 4096.0
            g = 1.0
            for n in range(8, 0, -1):
                g = 1.0 - g * f / n
            for _ in range(12):
                g = g * g
            return g

        return scalar

    @overload(bracket, jit_options={"forceinline": True})
    def _bracket(depth: Any, reach: Any, absorption: Any) -> Any:
        def scalar(depth: Any, reach: Any, absorption: Any) -> Any:
            a = absorption * reach
            b = depth / (2.0 * reach)
            fade = decay(b * b)
            near = fade * scaled_erfc(abs(a - b))
            below = 2.0 * decay(max(absorption * depth - a * a, 0.0)) - near
            return fade * scaled_erfc(a + b) + (near if a >= b else below)

        return scalar

else:
    lanes = elementwise


@lanes
def scaled_erfc(x: Any) -> Any:
    """e^(x²) erfc(x) for x ≥ 0, any shape, relative error under 3e-9: a fit over all x without a branch.

    Polynomial in (x − 3)/(x + 3), over 1 + 2 x. Source: our own fit to SciPy's erfcx, against which it is tested.
    """
    u = (x - 3.0) / (x + 3.0)
    fit = 7.70900461678e-05 + u * 3.88894562156e-06
    fit = -0.000725858065513 + u * (-0.000104148543755 + u * fit)
    fit = 0.00249853377672 + u * (0.00188804631337 + u * fit)
    fit = 0.0683168157543 + u * (-0.023770244616 + u * fit)
    fit = 0.129644071778 + u * (-0.119273728909 + u * fit)
    fit = -0.135621067394 + u * (-0.047562287637 + u * fit)
    return (1.25300805815 + u * fit) / (1.0 + 2.0 * x)


@elementwise
def include(block: Any, part: Any, share: float, diffusivity: float) -> None:
    """Add a part that lies off the block's means to its second moments and reaches."""
    dt, dx, dy, dc = part[T] - block[T], part[X] - block[X], part[Y] - block[Y], part[C] - block[C]
    dv = dc - 2.0 * diffusivity * dt
    for j in range(TT, CC + 1):
        block[j] += share * part[j]
    block[TT] += share * dt * dt
    block[TV] += share * dt * dv
    block[VV] += share * dv * dv
    block[TX] += share * dt * dx
    block[TY] += share * dt * dy
    block[VX] += share * dv * dx
    block[VY] += share * dv * dy
    block[XX] += share * dx * dx
    block[XY] += share * dx * dy
    block[YY] += share * dy * dy
    block[CC] += share * dc * dc
    for j in range(4):
        block[REACH_T + j] = max(block[REACH_T + j], abs(part[j] - block[j]) + part[REACH_T + j])


def gather(block: Any, pulses: Floats, first: int, last: int, diffusivity: float) -> None:
    """The columns of a block from its pulses; sums of one loop each, which a processor takes eight at once."""
    q = t = x = y = c = 0.0
    for at in range(first, last):
        k = np.uint64(at)  # an index that may count from the end is slower
        heat = pulses[Q, k]
        q += heat
        t += heat * pulses[T, k]
        x += heat * pulses[X, k]
        y += heat * pulses[Y, k]
        c += heat * pulses[C, k]
    t, x, y, c = t / q, x / q, y / q, c / q
    tt = tx = ty = tc = xx = xy = yy = xc = yc = cc = own = 0.0
    for at in range(first, last):
        k = np.uint64(at)
        heat, half = pulses[Q, k], 0.5 * pulses[WIDE, k]
        dt, dx, dy, dc = pulses[T, k] - t, pulses[X, k] - x, pulses[Y, k] - y, pulses[C, k] - c
        of_t, of_x, of_c = heat * dt, heat * dx, heat * dc
        tt += of_t * dt
        tx += of_t * dx
        ty += of_t * dy
        tc += of_t * dc
        xx += of_x * dx
        xy += of_x * dy
        yy += heat * dy * dy
        xc += of_c * dx
        yc += of_c * dy
        cc += of_c * dc
        own += heat * half * half
    far_t = far_x = far_y = far_c = 0.0
    for at in range(first, last):
        k = np.uint64(at)
        far_t = max(far_t, abs(pulses[T, k] - t) + 0.5 * pulses[WIDE, k])
        far_x, far_y = max(far_x, abs(pulses[X, k] - x)), max(far_y, abs(pulses[Y, k] - y))
        far_c = max(far_c, abs(pulses[C, k] - c))
    fall = 2.0 * diffusivity
    tt += own / 3.0
    block[T], block[X], block[Y], block[C], block[Q] = t, x, y, c, q
    block[TT], block[TX], block[TY] = tt / q, tx / q, ty / q
    block[TV], block[VV] = (tc - fall * tt) / q, (cc - fall * (2.0 * tc - fall * tt)) / q
    block[VX], block[VY] = (xc - fall * tx) / q, (yc - fall * ty) / q
    block[XX], block[XY], block[YY], block[CC] = xx / q, xy / q, yy / q, cc / q
    block[REACH_T], block[REACH_X], block[REACH_Y], block[REACH_C] = far_t, far_x, far_y, far_c


if numba is not None:
    # The order of a sum may change, and no pulse is not a number.
    gather = register_jitable(fastmath={"contract", "reassoc", "arcp", "nsz", "nnan"})(gather)


def measure(pulses: Floats, spans: Integers, diffusivity: float) -> Floats:
    """The columns of every block, from its pulses or from its two children.

    Plain loops, to be compiled; slow as they stand, and the same.
    """
    blocks = np.zeros((len(spans), COLUMNS))
    for i in prange(len(spans)):
        if not spans[i, 2]:
            gather(blocks[i], pulses, spans[i, 0], spans[i, 1], diffusivity)
    for i in range(len(spans) - 1, -1, -1):
        child = spans[i, 2]
        block = blocks[i]
        if child:
            left, right = blocks[child], blocks[child + 1]
            block[Q] = left[Q] + right[Q]
            share = left[Q] / block[Q]
            for j in range(4):
                block[j] = share * left[j] + (1.0 - share) * right[j]
            include(block, left, share, diffusivity)
            include(block, right, 1.0 - share, diffusivity)
    for i in prange(len(spans)):
        block = blocks[i]
        block[REACH] = math.sqrt(block[REACH_X] ** 2 + block[REACH_Y] ** 2)
        block[SIZE_T] = np.cbrt(block[TT] * block[REACH_T])
        block[SIZE_C] = np.cbrt(block[CC] * block[REACH_C])
        block[SIZE_R] = np.cbrt((block[XX] + block[YY]) * block[REACH])
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


@lanes
def _face_densities(zeta: Any, age: Any, diffusivity: Any) -> Any:
    """a(z, s) of `green` for a face and its first two derivatives in s, all without e^(−ζ), ζ = z²/(4 D s).

    a = e^(−ζ)/√(π D s),   a′ = a (ζ − ½)/s,   a″ = a (ζ² − 3ζ + ¾)/s²
    """
    young = 1.0 / age
    face = np.sqrt(young / (math.pi * diffusivity))
    return face, face * (zeta - 0.5) * young, face * (zeta * (zeta - 3.0) + 0.75) * young * young


@lanes
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


@lanes
def fade_root(block: Any, dx: Any, dy: Any, depth: Any, age: Any, diffusivity: Any, absorption: Any) -> Any:
    """Root of what distance leaves of a block's g: e^(−r²/4v), for a face with e^(−z²/8Ds), any shape [1]."""
    fall = (dx * dx + dy * dy) / (4.0 * (block[C] + 2.0 * diffusivity * age))
    if absorption == FACE:
        fall = fall + depth * depth / (8.0 * diffusivity * age)
    return decay(fall)


@lanes
def envelope(block: Any, age: Any, fade: Any, diffusivity: Any, absorption: Any) -> Any:
    """What `remainder` is a share of: a bound on g with twice the variance in its exponents, any shape [1/m³]."""
    depth = np.sqrt(1.0 / (math.pi * diffusivity * age))
    if absorption != FACE:
        depth = np.minimum(depth, math.sqrt(2.0) * absorption)
    return fade * depth / (2.0 * math.pi * (block[C] + 2.0 * diffusivity * age))


@lanes
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


@lanes
def _geometric(root: Any, left: Any) -> Any:
    """root³/left, NONE where nothing is left, any shape."""
    return choose(left > 0.0, root * root * root / np.maximum(left, 1e-9), NONE)


@lanes
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
