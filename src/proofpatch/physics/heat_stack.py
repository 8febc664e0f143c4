"""A stack of layers and the train of pulses on it, as heat sees them; checked when built."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from proofpatch.errors import InputError

Floats = NDArray[np.float64]
MOST_PULSES = 1_000_000  # six minutes of computing
NO_TIME = 1e-9  # of the pulse width; a shorter gap is none


@dataclass(frozen=True)
class HeatLayer:
    """One layer of a stack, as heat and light see it.

    Args:
        thickness: [m]; None or inf, for the last layer only, means thick.
        conductivity: k [W/(m K)].
        density: ρ [kg/m³].
        specific_heat: c [J/(kg K)].
        absorption: α [1/m]; None means that light is stopped at the layer's front face. Or several places where light
            goes, as (share, α) pairs: of the light that reaches the layer each takes its share, along its own depth
            1/α. Shares add up to at most 1; the rest is thrown back and gone.

    Raises:
        InputError: a value is not a positive number; `field` is its name.
    """

    thickness: float | None
    conductivity: float
    density: float
    specific_heat: float
    absorption: float | tuple[tuple[float, float | None], ...] | None = None

    def __post_init__(self) -> None:
        for name in ("conductivity", "density", "specific_heat"):
            _positive(name, getattr(self, name))
        if isinstance(self.absorption, (list, tuple)):
            object.__setattr__(self, "absorption", _places(self.absorption))
        elif self.absorption is not None:
            _positive("absorption", self.absorption, "Give None where light stops at the face, little where it passes.")
        if not self.is_thick:
            _positive("thickness", self.thickness, "Give None for a thick last layer.")

    @property
    def is_thick(self) -> bool:
        """Whether heat and light never find its back."""
        return self.thickness is None or self.thickness == math.inf

    @property
    def places(self) -> tuple[tuple[float, float | None], ...]:
        """(share, α) of each place where light goes."""
        return self.absorption if isinstance(self.absorption, tuple) else ((1.0, self.absorption),)

    @property
    def heat_capacity(self) -> float:
        """ρc, by volume [J/(m³ K)]."""
        return self.density * self.specific_heat

    @property
    def diffusivity(self) -> float:
        """D = k/(ρc) [m²/s]."""
        return self.conductivity / self.heat_capacity


@dataclass(frozen=True)
class _Train:
    """Rectangular pulses: flux [W/m²], width and period [s], how many."""

    flux: float
    width: float
    period: float
    pulses: int


def _positive(field: str, value: Any, remedy: str = "Check the value and its unit.") -> None:
    """Refuse what is not a finite number above zero."""
    try:
        usable = math.isfinite(value) and value > 0
    except TypeError:
        usable = False
    if not usable:
        raise InputError(field, f"{field} must be a number greater than zero, not {value!r}.", remedy)


def _places(pairs: Sequence[Any]) -> tuple[tuple[float, float | None], ...]:
    """(share, α) pairs, refusing what cannot be one."""
    if not pairs or not all(isinstance(pair, (list, tuple)) and len(pair) == 2 for pair in pairs):
        raise InputError(
            "absorption", "The places of absorption are not (share, absorption) pairs.", "Give two of each."
        )
    for share, depth in pairs:
        _positive("absorption", share, "Give each place a share above zero.")
        if depth is not None:
            _positive("absorption", depth, "Give None where light stops at the face.")
    if sum(share for share, _ in pairs) > 1 + 1e-9:
        raise InputError(
            "absorption", "The shares of absorption add up to more than 1.", "What is left over is lost light."
        )
    return tuple((float(share), None if depth is None else float(depth)) for share, depth in pairs)


def _numbers(field: str, values: ArrayLike) -> Floats:
    """Values as an array, refusing what is not a finite number, or below zero."""
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        array = np.array(math.nan)
    if not np.all(np.isfinite(array)):
        raise InputError(field, f"{field} holds what is not a finite number.", "Give numbers in SI units.")
    if np.any(array < 0):
        raise InputError(
            field, f"{field} must not be negative.", "Count depth from the front face, time from the first pulse."
        )
    return array


def _stack(layers: Sequence[Any]) -> list[HeatLayer]:
    """Layers as `HeatLayer`s, front first."""
    if isinstance(layers, (Mapping, str)) or not isinstance(layers, Sequence) or not layers:
        raise InputError("layers", "There is no layer.", "Give at least one, front first, in a list.")
    names = [item.name for item in fields(HeatLayer)]
    stack = []
    for place, layer in enumerate(layers, 1):
        found = {name: _value(layer, name) for name in names}
        if missing := [name for name in names[1:4] if found[name] is None]:
            raise InputError(missing[0], f"Layer {place} has no {missing[0]}.", "Give it in SI units.")
        stack.append(layer if isinstance(layer, HeatLayer) else HeatLayer(**found))
        if stack[-1].is_thick and place < len(layers):
            raise InputError("thickness", f"Layer {place} has no thickness.", "Only the last layer may be thick.")
    return stack


def _value(layer: Any, name: str) -> Any:
    """A named value of a mapping or an object, None where it has none."""
    return layer.get(name) if isinstance(layer, Mapping) else getattr(layer, name, None)


def _train(flux: float, pulse_width: float, repetition_rate: float, pulses: int) -> _Train:
    """The pulses, checked."""
    if _numbers("flux", flux).ndim:
        raise InputError("flux", "flux must be one number.", "Give watts per square metre.")
    _positive("pulse_width", pulse_width)
    _positive("repetition_rate", repetition_rate)
    _positive("pulses", pulses)
    if pulses != int(pulses) or pulses > MOST_PULSES:
        raise InputError(
            "pulses", f"{pulses} is not a number of pulses.", f"Give a whole number from 1 to {MOST_PULSES}."
        )
    if pulses > 1 and pulse_width * repetition_rate > 1 + NO_TIME:
        raise InputError("pulse_width", "A pulse is longer than the time to the next.", "Shorten it or lower the rate.")
    return _Train(float(flux), float(pulse_width), 1.0 / float(repetition_rate), int(pulses))


# ---- Cells ----
