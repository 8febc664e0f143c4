"""One definition, two speeds: physics written element by element.

A function marked `@elementwise` is plain NumPy for people, tests and machines without Numba,
and the same body is compiled when a hot kernel calls it with scalars. The readable form is
therefore the kernel; nothing is written twice. Inside, use `choose` (np.where gives Numba an
array, not a number), `np.minimum`, `np.exp` and friends, never `if` on a value; check inputs in the
public wrapper (`checked`), not here.
"""

from __future__ import annotations

import functools
import inspect
import math
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
from scipy import special

from proofpatch.errors import InputError

F = TypeVar("F", bound=Callable[..., Any])

try:
    import numba as numba
    from numba.extending import overload, register_jitable
except ImportError:  # Machines without a Numba wheel run the NumPy form, slower and equal.
    numba = None  # type: ignore[assignment]  # a module or nothing


def elementwise(function: F) -> F:
    """Mark a NumPy function as callable from a compiled kernel too; it stays a plain function itself."""
    return register_jitable(function) if numba is not None else function  # type: ignore[no-any-return, unused-ignore]  # Numba has no types


def erfc(x: Any) -> Any:
    """Complementary error function, any shape."""
    return special.erfc(x)


def choose(condition: Any, yes: Any, no: Any) -> Any:
    """`np.where`, any shape: both sides are always worked out, so guard a division inside, not with this."""
    return np.where(condition, yes, no)


if numba is not None:

    @overload(erfc)
    def _erfc_scalar(x: Any) -> Any:
        def scalar(x: Any) -> Any:
            return math.erfc(x)

        return scalar

    @overload(choose)
    def _choose_scalar(condition: Any, yes: Any, no: Any) -> Any:
        def scalar(condition: Any, yes: Any, no: Any) -> Any:
            return yes if condition else no

        return scalar


@elementwise
def erfcx(x: Any) -> Any:
    """Scaled complementary error function exp(x²) erfc(x) for x ≥ 0, any shape.

    Below 8 the product itself, above it the asymptotic series to x⁻⁸ (relative error under 1e-7):
    the product would overflow at 26. SciPy has it, compiled kernels do not, and both must agree.
    Source: NIST Digital Library of Mathematical Functions, 7.12.1.
    """
    near = np.minimum(x, 8.0)
    far = np.maximum(x, 8.0)
    q = 0.5 / (far * far)
    series = (1.0 - q * (1.0 - 3.0 * q * (1.0 - 5.0 * q * (1.0 - 7.0 * q)))) / (far * math.sqrt(math.pi))
    return choose(x < 8.0, np.exp(near * near) * erfc(near), series)


@elementwise
def ierfc(x: Any) -> Any:
    """First integral of erfc, exp(−x²)/√π − x erfc(x), any shape."""
    return np.exp(-x * x) / math.sqrt(math.pi) - x * erfc(x)


@elementwise
def normal_cdf(x: Any) -> Any:
    """Standard normal distribution function, any shape."""
    return 0.5 * erfc(-x / math.sqrt(2.0))


@elementwise
def normal_quantile(p: Any) -> Any:
    """Standard normal quantile for 0 < p < 1, any shape; absolute error under 5e-4 sd.

        Φ⁻¹(p) ≈ sign(p − ½) (t − (c₀ + c₁t + c₂t²)/(1 + d₁t + d₂t² + d₃t³)),  t = √(−2 ln min(p, 1−p))

    Source: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 26.2.23 (coefficients from memory,
    checked against SciPy in the tests).
    """
    tail = np.minimum(p, 1.0 - p)
    t = np.sqrt(-2.0 * np.log(np.maximum(tail, 1e-300)))
    size = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308)))
    return choose(p < 0.5, -size, size)


# What a value must be, and the sentence when it is not.
POSITIVE = (lambda v: np.all(np.greater(v, 0)), "must be greater than zero")
NOT_NEGATIVE = (lambda v: np.all(np.greater_equal(v, 0)), "must not be negative")
AT_LEAST_ONE = (lambda v: np.all(np.greater_equal(v, 1)), "must be at least 1")
POSITIVE_SHARE = (lambda v: np.all(np.greater(v, 0) & np.less_equal(v, 1)), "must be above 0 and at most 1")
SHARE = (lambda v: np.all(np.greater_equal(v, 0) & np.less_equal(v, 1)), "must lie between 0 and 1")


def checked(equation: F, **rules: tuple[Callable[[Any], Any], str]) -> F:
    """The public form of an elementwise equation: every argument finite, each named one obeying its rule.

    Raises:
        InputError: an argument is not a finite number or breaks its rule; `field` is its name.
    """
    signature = inspect.signature(equation)

    @functools.wraps(equation)
    def public(*args: Any, **kwargs: Any) -> Any:
        bound = signature.bind(*args, **kwargs)
        bound.apply_defaults()
        for name, value in bound.arguments.items():
            try:
                finite: Any = np.all(np.isfinite(value))
            except TypeError:
                finite = False
            if not finite:
                raise InputError(name, f"{name} is not a finite number.", "Give a number in SI units.")
            if name in rules and not rules[name][0](value):
                raise InputError(name, f"{name} {rules[name][1]}.", "Check the value and its unit.")
        arrays = {k: np.asarray(v, dtype=float) if not np.isscalar(v) else v for k, v in bound.arguments.items()}
        found = equation(**arrays)
        return found[()] if isinstance(found, np.ndarray) and found.ndim == 0 else found

    if unknown := set(rules) - set(signature.parameters):
        raise TypeError(f"rules for arguments that do not exist: {unknown}")
    return public  # type: ignore[return-value]  # wraps keeps the signature
