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

PER_LN2, LN2_HIGH, LN2_LOW = 1.4426950408889634, 6.93145751953125e-1, 1.42860682030941723212e-6
LEAST = 2.2250738585072014e-308  # smallest normal double
NEAR_ZERO = 0.35  # below it expm1 is a series of its own

if numba is not None:
    from llvmlite import ir  # type: ignore[import-untyped]  # ships none
    from numba.core import types
    from numba.extending import intrinsic

    def _bits_of(context: Any, x: Any) -> Any:
        """The 64 bits of a double."""
        return types.int64(types.float64), lambda _, build, __, args: build.bitcast(args[0], ir.IntType(64))

    def _double_of(context: Any, bits: Any) -> Any:
        """The double of 64 bits."""
        return types.float64(types.int64), lambda _, build, __, args: build.bitcast(args[0], ir.DoubleType())

    bits_of: Any = intrinsic(_bits_of)
    double_of: Any = intrinsic(_double_of)


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


def exp(x: Any) -> Any:
    """e^x as 2^k times a series in the rest, −708 to 709."""
    x = min(max(x, -708.0), 709.0)
    k = math.floor(x * PER_LN2 + 0.5)
    r = (x - k * LN2_HIGH) - k * LN2_LOW
    series = 1.0 / 40320.0
    series = 1.0 / 5040.0 + r * series
    series = 1.0 / 720.0 + r * series
    series = 1.0 / 120.0 + r * series
    series = 1.0 / 24.0 + r * series
    series = 1.0 / 6.0 + r * series
    series = 1.0 + r * (1.0 + r * (0.5 + r * series))
    return series * double_of((int(k) + 1023) << 52)


def log(x: Any) -> Any:
    """ln x from exponent and mantissa, artanh series in between; ln LEAST for all that is smaller."""
    bits = bits_of(max(x, LEAST))
    power = float((bits >> 52) - 1023)
    m = double_of((bits & 0xFFFFFFFFFFFFF) | 0x3FF0000000000000)
    big = m > 1.4142135623730951
    m = 0.5 * m if big else m
    power = power + 1.0 if big else power
    t = (m - 1.0) / (m + 1.0)
    s = t * t
    series = 1.0 / 11.0
    series = 1.0 / 9.0 + s * series
    series = 1.0 / 7.0 + s * series
    series = 1.0 / 5.0 + s * series
    series = 1.0 / 3.0 + s * series
    return power * 0.6931471805599453 + 2.0 * t * (1.0 + s * series)


def expm1(x: Any) -> Any:
    """e^x − 1."""
    r = x if abs(x) < NEAR_ZERO else 0.0
    series = 1.0 / 40320.0
    series = 1.0 / 5040.0 + r * series
    series = 1.0 / 720.0 + r * series
    series = 1.0 / 120.0 + r * series
    series = 1.0 / 24.0 + r * series
    series = 1.0 / 6.0 + r * series
    near = r * (1.0 + r * (0.5 + r * series))
    return near if abs(x) < NEAR_ZERO else exp(x) - 1.0


def log1p(x: Any) -> Any:
    """ln(1 + x): what rounding 1 + x lost is added back."""
    whole = 1.0 + x
    return log(whole) - ((whole - 1.0) - x) / whole


def tanh(x: Any) -> Any:
    """tanh x from expm1."""
    twice = expm1(2.0 * min(max(x, -20.0), 20.0))
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
    return tail if x >= 0.0 else 2.0 - tail
