"""Functions of NumPy in a form a compiler can lay side by side in vector registers: no branch, no call.

For compiled kernels only (`learn.lanes` puts them in the place of NumPy's). Each takes and gives a number; relative
error below 1e-8 where nothing else is said. Arguments beyond the range of a double are cut to it: exp never
overflows, and ln of zero or less is ln of the smallest double, not −inf.

Source: the plain series of each, after reduction by powers of two (from memory; checked against NumPy and SciPy in
the tests).
"""

from __future__ import annotations

import math
from typing import Any

from proofpatch.physics.elementwise import numba

PER_LN2, LN2 = 1.4426950408889634, 0.6931471805599453
ROUNDER = 6755399441055744.0  # 1.5 · 2⁵²: added to a number, leaves it whole in the last bits
HALF_ROOT = 0x3FE6A09E667F3BCD  # the bits of √½
LEAST = 2.2250738585072014e-308  # smallest normal double

if numba is not None:
    from llvmlite import ir  # type: ignore[import-untyped]  # ships none
    from numba.core import types
    from numba.extending import intrinsic, register_jitable

    def _bits_of(context: Any, x: Any) -> Any:
        """The 64 bits of a double."""
        return types.int64(types.float64), lambda _, build, __, args: build.bitcast(args[0], ir.IntType(64))

    def _double_of(context: Any, bits: Any) -> Any:
        """The double of 64 bits."""
        return types.float64(types.int64), lambda _, build, __, args: build.bitcast(args[0], ir.DoubleType())

    def _select(context: Any, condition: Any, yes: Any, no: Any) -> Any:
        """One of two, without a branch."""
        return types.float64(types.boolean, types.float64, types.float64), lambda _, build, __, args: build.select(
            *args
        )

    def _larger(context: Any, a: Any, b: Any) -> Any:
        """The larger, without a branch; b where a is not a number."""

        def written(_: Any, build: Any, __: Any, args: Any) -> Any:
            return build.select(build.fcmp_ordered(">", *args), *args)

        return types.float64(types.float64, types.float64), written

    def _smaller(context: Any, a: Any, b: Any) -> Any:
        """The smaller, without a branch; b where a is not a number."""

        def written(_: Any, build: Any, __: Any, args: Any) -> Any:
            return build.select(build.fcmp_ordered("<", *args), *args)

        return types.float64(types.float64, types.float64), written

    bits_of: Any = intrinsic(_bits_of)
    double_of: Any = intrinsic(_double_of)
    select: Any = intrinsic(_select)
    larger: Any = intrinsic(_larger)
    smaller: Any = intrinsic(_smaller)


def maximum(a: Any, b: Any) -> Any:
    """The larger; b where a is not a number."""
    return a if a > b else b


def minimum(a: Any, b: Any) -> Any:
    """The smaller; b where a is not a number."""
    return a if a < b else b


def absolute(x: Any) -> Any:
    """Without its sign."""
    return abs(x)


def sqrt(x: Any) -> Any:
    """Square root."""
    return math.sqrt(x)


def choose(condition: Any, yes: Any, no: Any) -> Any:
    """One of two."""
    return yes if condition else no


def _rest(x: Any) -> Any:
    """(r, e^r − 1, bits whose last ones are k) of x = k ln 2 + r."""
    shifted = x * PER_LN2 + ROUNDER
    r = x - (shifted - ROUNDER) * LN2
    square = r * r
    high = 0.0013888854031186828 + r * 0.000198992855684436 + square * 2.4859592278436436e-05
    low = 0.49999999999999994 + r * 0.1666666671902897 + square * (0.04166666671903145 + r * 0.008333298469806042)
    return r, r + square * (low + square * square * high), bits_of(shifted)


if numba is not None:
    _rest = register_jitable(forceinline=True, fastmath={"contract", "nsz"})(_rest)


def exp(x: Any) -> Any:
    """e^x as 2^k times a series in the rest, −708 to 709."""
    _, less, k = _rest(smaller(larger(x, -708.0), 709.0))
    return double_of(bits_of(1.0 + less) + (k << 52))


def expm1(x: Any) -> Any:
    """e^x − 1 = 2^k (e^r − 1) + (2^k − 1)."""
    _, less, k = _rest(smaller(larger(x, -708.0), 709.0))
    power = double_of((k + 1023) << 52)
    return power * less + (power - 1.0)


def log(x: Any) -> Any:
    """ln x from exponent and mantissa, a series in the mantissa − 1; ln LEAST for all that is smaller."""
    bits = bits_of(larger(x, LEAST)) - HALF_ROOT
    power = float(bits >> 52)
    r = double_of((bits & 0xFFFFFFFFFFFFF) + HALF_ROOT) - 1.0
    square = r * r
    fourth = square * square
    low = -0.49999999998830486 + r * 0.3333333336686998 + square * (-0.25000000854641075 + r * 0.19999993219786763)
    middle = -0.1666656227704345 + r * 0.14286047722843884 + square * (-0.1250475685874332 + r * 0.11106873802327426)
    high = -0.09901968987143397 + r * 0.0904010495199993 + square * (-0.09224971805142793 + r * 0.09068119061101491)
    series = low + fourth * (middle + fourth * (high + fourth * -0.04859647109662519))
    return power * LN2 + (r + square * series)


def log1p(x: Any) -> Any:
    """ln(1 + x): what rounding 1 + x lost is added back."""
    whole = 1.0 + x
    return log(whole) - ((whole - 1.0) - x) / whole


def tanh(x: Any) -> Any:
    """tanh x from expm1."""
    twice = expm1(2.0 * smaller(larger(x, -20.0), 20.0))
    return twice / (twice + 2.0)


def erfc(x: Any) -> Any:
    """Complementary error function: t exp(−z² + P(2t − 1)), z = |x|, t = 2/(2 + z); relative error below 4e-10.

    Source: form of Press et al., Numerical Recipes (from memory); P is a Chebyshev interpolation of degree 14 to
    SciPy's erfcx, made here.
    """
    z = abs(x)
    t = 2.0 / (2.0 + z)
    u = 2.0 * t - 1.0
    fit = 2.071326359403732e-05 - u * 8.911517291683897e-06
    fit = 4.4575918389000413e-05 + u * fit
    fit = -0.0001546028334454756 + u * fit
    fit = -7.504292247683487e-05 + u * fit
    fit = 0.0006579165546542737 + u * fit
    fit = -0.00015349322318236605 + u * fit
    fit = -0.0023392564043544324 + u * fit
    fit = 0.001760406765276305 + u * fit
    fit = 0.008823552357338501 + u * fit
    fit = -0.009872823288236255 + u * fit
    fit = -0.046895481500255895 + u * fit
    fit = 0.047343310402105786 + u * fit
    fit = 0.6726432205257895 + u * fit
    fit = -0.671794084056692 + u * fit
    tail = t * exp(-z * z + fit)
    return select(x >= 0.0, tail, 2.0 - tail)
