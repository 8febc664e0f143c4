"""One definition, two speeds: physics written element by element.

A function marked `@elementwise` is plain NumPy for people, tests and machines without Numba,
and the same body is compiled when a hot kernel calls it with scalars. The readable form is
therefore the kernel; nothing is written twice. Inside, use `np.where`, `np.minimum`, `np.exp`
and friends, never `if` on a value; check inputs in the public wrapper (`checked`), not here.
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
    import numba
    from numba.extending import overload, register_jitable
except ImportError:  # Machines without a Numba wheel run the NumPy form, slower and equal.
    numba = None


def elementwise(function: F) -> F:
    """Mark a NumPy function as callable from a compiled kernel too; it stays a plain function itself."""
    return register_jitable(function) if numba is not None else function  # type: ignore[no-any-return, unused-ignore]


def erfc(x: Any) -> Any:
    """Complementary error function, any shape."""
    return special.erfc(x)


if numba is not None:

    @overload(erfc)
    def _erfc_scalar(x: Any) -> Any:
        def scalar(x: Any) -> Any:
            return math.erfc(x)

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
    return np.where(x < 8.0, np.exp(near * near) * erfc(near), series)


@elementwise
def ierfc(x: Any) -> Any:
    """First integral of erfc, exp(−x²)/√π − x erfc(x), any shape."""
    return np.exp(-x * x) / math.sqrt(math.pi) - x * erfc(x)


@elementwise
def normal_cdf(x: Any) -> Any:
    """Standard normal distribution function, any shape."""
    return 0.5 * erfc(-x / math.sqrt(2.0))


# What a value must be, and the sentence when it is not.
POSITIVE = (lambda v: np.all(np.greater(v, 0)), "must be greater than zero")
NOT_NEGATIVE = (lambda v: np.all(np.greater_equal(v, 0)), "must not be negative")
SHARE = (lambda v: np.all(np.greater_equal(v, 0) & np.less_equal(v, 1)), "must lie between 0 and 1")


def checked(equation: F, **rules: tuple[Callable[[Any], Any], str]) -> F:
    """The public form of an elementwise equation: every argument finite, each named one obeying its rule.

    Raises:
        InputError: an argument is not a finite number or breaks its rule; `field` is its name.
    """
    names = inspect.signature(equation).parameters

    @functools.wraps(equation)
    def public(*args: Any, **kwargs: Any) -> Any:
        bound = inspect.signature(equation).bind(*args, **kwargs)
        bound.apply_defaults()
        for name, value in bound.arguments.items():
            try:
                finite = np.all(np.isfinite(value))
            except TypeError:
                finite = False
            if not finite:
                raise InputError(name, f"{name} is not a finite number.", "Give a number in SI units.")
            if name in rules and not rules[name][0](value):
                raise InputError(name, f"{name} {rules[name][1]}.", "Check the value and its unit.")
        arrays = {k: np.asarray(v, dtype=float) if not np.isscalar(v) else v for k, v in bound.arguments.items()}
        return equation(**arrays)

    if unknown := set(rules) - set(names):
        raise TypeError(f"rules for arguments that do not exist: {unknown}")
    return public  # type: ignore[return-value]
