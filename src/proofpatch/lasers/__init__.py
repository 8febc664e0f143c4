"""A laser as its owner knows it: limits, spot, handpiece."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from numbers import Real
from pathlib import Path
from types import MappingProxyType
from typing import Any, Protocol

from proofpatch.errors import InputError
from proofpatch.units import parse, show

__all__ = ["Dialled", "Handpiece", "Laser", "laser", "laser_from_table", "laser_from_toml", "laser_ids"]

PATTERNS = ("line", "sine")
# Rounding of a setting that was computed from the limits must not push it outside them.
_SLACK = 1e-9
_BUILTIN = Path(__file__).with_name("builtin.toml")
_COPY = "Copy a built-in one and change its numbers."


class Dialled(Protocol):
    """Anything with the knobs of a setting, in SI."""

    @property
    def average_power(self) -> float: ...
    @property
    def repetition_rate(self) -> float: ...
    @property
    def pulse_width(self) -> float: ...
    @property
    def spot_radius(self) -> float: ...
    @property
    def sweep_width(self) -> float: ...
    @property
    def sweep_speed(self) -> float: ...
    @property
    def travel_speed(self) -> float: ...
    @property
    def passes(self) -> int: ...
    @property
    def pattern(self) -> str: ...


@dataclass(frozen=True)
class Handpiece:
    """What the hand holds: the sweep it can make [m, m/s], its stand-off [m] and how it shows that it is in focus."""

    sweep_width_min: float
    sweep_width_max: float
    sweep_width_default: float
    sweep_speed_max: float
    sweep_speed_default: float
    patterns: tuple[str, ...]
    stand_off: float
    focus_cue: str

    def __post_init__(self) -> None:
        if not 0 < self.sweep_width_min <= self.sweep_width_default <= self.sweep_width_max:
            raise InputError("sweep_width_default", "The sweep widths are out of order.", "Give min ≤ default ≤ max.")
        if not 0 < self.sweep_speed_default <= self.sweep_speed_max:
            raise InputError("sweep_speed_default", "The sweep speeds are out of order.", "Give default ≤ max.")
        if not self.patterns or set(self.patterns) - set(PATTERNS):
            raise InputError("patterns", "The sweep patterns are not known.", f"Choose from {', '.join(PATTERNS)}.")


@dataclass(frozen=True)
class Laser:
    """The limits of one pulsed laser, in SI.

    Args:
        id, title, source: what it is called, and where the numbers come from.
        wavelength: [m].
        max_power: rated average power [W].
        min_rate, max_rate: repetition rates it can be set to [Hz].
        energy_limits: (pulse width [s], most energy in a pulse [J]), widths rising.
        spot_radius: 1/e² radius at focus [m].
        m2: beam quality M², ≥ 1.
        top_hat_share: share of the profile that is top-hat, 0 to 1.
        handpiece: the scanning head.
        electrical_power: drawn from the wall at full power [W].
        supply_voltage: [V].
        power_factor: power measured at the work over the power dialled [1]; settings stay what the panel says.
        measured: which of these numbers are the owner's own measurements, each in a sentence; see `history`.

    Raises:
        InputError: the numbers do not make a laser.
    """

    id: str
    title: str
    source: str
    wavelength: float
    max_power: float
    min_rate: float
    max_rate: float
    energy_limits: tuple[tuple[float, float], ...]
    spot_radius: float
    m2: float
    top_hat_share: float
    handpiece: Handpiece
    electrical_power: float
    supply_voltage: float
    power_factor: float = 1.0
    measured: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        positive = (
            "wavelength", "max_power", "min_rate", "spot_radius", "electrical_power", "supply_voltage", "power_factor",
        )  # fmt: skip
        for name in positive:
            if not 0 < getattr(self, name) < math.inf:
                raise InputError(name, f"The {name.replace('_', ' ')} is not above zero.", "Give what the label says.")
        if not self.min_rate <= self.max_rate < math.inf:
            raise InputError("max_rate", "The highest rate is below the lowest.", "Swap them.")
        if not 1 <= self.m2 < math.inf:
            raise InputError("m2", f"M² is {self.m2:g}, but no beam is better than 1.", "Give the maker's M².")
        if not 0 <= self.top_hat_share <= 1:
            raise InputError("top_hat_share", "The top-hat share is not between 0 and 1.", "0 is Gaussian, 1 top-hat.")
        widths = [width for width, _ in self.energy_limits]
        if not widths or any(later <= earlier for earlier, later in pairwise(widths)):
            raise InputError("energy_limits", "The pulse widths do not rise.", "List them from shortest to longest.")
        if not all(0 < width < math.inf and 0 < energy < math.inf for width, energy in self.energy_limits):
            raise InputError("energy_limits", "A width or an energy is not above zero.", "Check the list.")

    @property
    def rayleigh_range(self) -> float:
        """Distance from focus at which the spot has grown by √2: zR = π w0² / (M² λ) (ISO 11146 terms) [m]."""
        return math.pi * self.spot_radius**2 / (self.m2 * self.wavelength)

    @property
    def divergence(self) -> float:
        """Half angle behind the focus: θ = M² λ / (π w0) (ISO 11146 terms) [rad]."""
        return self.m2 * self.wavelength / (math.pi * self.spot_radius)

    @property
    def pulse_widths(self) -> tuple[float, float]:
        """Shortest and longest pulse [s]."""
        return self.energy_limits[0][0], self.energy_limits[-1][0]

    def max_energy(self, pulse_width: float) -> float:
        """Most energy a pulse of this width [s] can carry [J], on a straight log-log line between the known widths.

        Raises:
            InputError: the width lies outside the known ones; nothing is extrapolated.
        """
        self._within("pulse_width", pulse_width, *self.pulse_widths, "time")
        points = self.energy_limits
        for (shorter, less), (longer, more) in pairwise(points):
            if pulse_width <= longer:
                along = max(0.0, math.log(pulse_width / shorter) / math.log(longer / shorter))
                return less * math.pow(more / less, min(along, 1.0))
        return points[-1][1]

    def corner_rate(self, pulse_width: float) -> float:
        """Lowest repetition rate that still gives the rated power at this pulse width [Hz]."""
        return min(max(self.max_power / self.max_energy(pulse_width), self.min_rate), self.max_rate)

    def check(self, setting: Dialled) -> None:
        """Pass a setting this laser and its handpiece can make.

        A spot larger than the focus is a matter of stand-off, a smaller one of another lens; neither is refused here.

        Raises:
            InputError: it cannot; the message names the nearest value that it can.
        """
        head = self.handpiece
        power, rate = setting.average_power, setting.repetition_rate
        self._within("pulse_width", setting.pulse_width, *self.pulse_widths, "time")
        self._within("repetition_rate", rate, self.min_rate, self.max_rate, "frequency")
        self._within("average_power", power, None, self.max_power, "power")
        self._check_energy(power, rate, setting.pulse_width)
        self._within("sweep_width", setting.sweep_width, head.sweep_width_min, head.sweep_width_max, "length")
        self._within("sweep_speed", setting.sweep_speed, None, head.sweep_speed_max, "speed")
        if setting.pattern not in head.patterns:
            raise InputError(
                "pattern",
                f"The handpiece of {self.title} cannot sweep the pattern {str(setting.pattern)[:40]!r}.",
                f"Choose {' or '.join(head.patterns)}.",
            )

    def _within(self, field: str, value: float, low: float | None, high: float, kind: str) -> None:
        label = field.replace("_", " ")
        if not isinstance(value, Real) or isinstance(value, bool) or not math.isfinite(value):
            raise InputError(field, f"The {label} is not a number.", f"Give one up to {show(high, kind)}.")
        if low is None and value <= 0:
            raise InputError(field, f"The {label} is not above zero.", f"Give one up to {show(high, kind)}.")
        if low is not None and value < low * (1 - _SLACK):
            nearest, side = low, "lowest" if kind != "time" else "shortest"
        elif value > high * (1 + _SLACK):
            nearest, side = high, "highest" if kind != "time" else "longest"
        else:
            return
        raise InputError(
            field,
            f"A {label} of {show(value, kind)} is outside what {self.title} can do.",
            f"The {side} is {show(nearest, kind)}.",
        )

    def _check_energy(self, power: float, rate: float, pulse_width: float) -> None:
        most = self.max_energy(pulse_width)
        if power / rate <= most * (1 + _SLACK):
            return
        lowest_rate = power / most
        remedy = f"Lower the power to {show(_rounded_down(most * rate), 'power')}"
        if lowest_rate <= self.max_rate:
            remedy = (
                f"Raise the rate to {show(_rounded_up(lowest_rate), 'frequency')}, or {remedy[0].lower()}{remedy[1:]}"
            )
        raise InputError(
            "repetition_rate",
            f"{show(power, 'power')} at {show(rate, 'frequency')} needs {show(power / rate, 'energy')} a pulse, "
            f"but {self.title} gives at most {show(most, 'energy')} at {show(pulse_width, 'time')}.",
            f"{remedy}.",
        )


def _rounded_up(value: float) -> float:
    """To three digits, never below the value, so that the printed figure is allowed."""
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return math.ceil(value / step - 1e-9) * step


def _rounded_down(value: float) -> float:
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return math.floor(value / step + 1e-9) * step


def laser_ids() -> tuple[str, ...]:
    """The ids of the built-in lasers, smallest first."""
    return tuple(_builtin())


def laser(id: str) -> Laser:
    """The built-in laser of that id.

    Raises:
        InputError: there is none; the message names them.
    """
    if isinstance(id, str) and id in _builtin():
        return _builtin()[id]
    raise InputError("laser", f"No laser is called {str(id)[:40]!r}.", f"Known are {', '.join(_builtin())}.")


@lru_cache(maxsize=1)
def _builtin() -> Mapping[str, Laser]:
    with _BUILTIN.open("rb") as file:
        table = tomllib.load(file)
    return MappingProxyType({id: _laser(id, entry) for id, entry in table.items()})


def laser_from_toml(path: str | Path) -> Laser:
    """An owner's own laser: a file with one table, named by its id, with the keys of `builtin.toml`.

    Raises:
        InputError: the file cannot be read, or a key is missing, unknown or has a value that cannot be used.
    """
    path = Path(path)
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as trouble:
        raise InputError("laser", f"The laser file {path.name!r} cannot be read.", "Check its name.") from trouble
    except tomllib.TOMLDecodeError as trouble:
        raise InputError("laser", f"The laser file {path.name!r} is not valid TOML: {trouble}.", _COPY) from trouble
    return laser_from_table(table, f"The laser file {path.name!r}")


def laser_from_table(table: Any, what: str = "This") -> Laser:
    """An owner's own laser as a file of one has it: one table, named by its id, with the keys of `builtin.toml`.

    what: it stands in, for the message.

    Raises:
        InputError: as `laser_from_toml`.
    """
    if not isinstance(table, Mapping) or len(table) != 1 or not isinstance(next(iter(table.values())), Mapping):
        raise InputError("laser", f"{what} does not hold exactly one laser.", _COPY)
    ((id, entry),) = table.items()
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,40}", id):
        raise InputError(
            "laser", f"The laser id {id[:40]!r} is not a plain name.", "Use small letters, digits, hyphens."
        )
    return _laser(id, entry)


_Reader = Callable[[Any, str], Any]


def _quantity(kind: str) -> _Reader:
    return lambda value, field: parse(value, kind, field)


def _text(value: Any, field: str) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > 300:
        raise InputError(field, f"The {field.replace('_', ' ')} is not a line of text.", "Write it in quotes.")
    return value.strip()


def _number(value: Any, field: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(field, f"The {field.replace('_', ' ')} is not a number.", "Write it without quotes or unit.")
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _words(value: Any, field: str) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise InputError(field, f"The {field} are not a list.", f'Write them like ["{PATTERNS[0]}"].')
    return tuple(_text(word, field) for word in value)


def _energy_limits(value: Any, field: str) -> tuple[tuple[float, float], ...]:
    if not isinstance(value, list) or not all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        raise InputError(field, "The energy limits are not a list of pairs.", 'Write them like [["100 ns", "12 mJ"]].')
    return tuple((parse(width, "time", field), parse(energy, "energy", field)) for width, energy in value)


_HANDPIECE: Mapping[str, _Reader] = {
    "sweep_width_min": _quantity("length"),
    "sweep_width_max": _quantity("length"),
    "sweep_width_default": _quantity("length"),
    "sweep_speed_max": _quantity("speed"),
    "sweep_speed_default": _quantity("speed"),
    "patterns": _words,
    "stand_off": _quantity("length"),
    "focus_cue": _text,
}
_LASER: Mapping[str, _Reader] = {
    "title": _text,
    "source": _text,
    "wavelength": _quantity("length"),
    "max_power": _quantity("power"),
    "min_rate": _quantity("frequency"),
    "max_rate": _quantity("frequency"),
    "energy_limits": _energy_limits,
    "spot_diameter": _quantity("length"),
    "m2": _number,
    "top_hat_share": _quantity("share"),
    "electrical_power": _quantity("power"),
    "supply_voltage": _number,
    "handpiece": lambda value, field: Handpiece(**_read(value, _HANDPIECE, field)),
}


def _laser(id: str, entry: Mapping[str, Any]) -> Laser:
    fields = _read(entry, _LASER, "laser")
    return Laser(id=id, spot_radius=fields.pop("spot_diameter") / 2, **fields)


def _read(entry: Any, readers: Mapping[str, _Reader], what: str) -> dict[str, Any]:
    if not isinstance(entry, Mapping):
        raise InputError(what, f"The {what} is not a table of keys.", "Copy a built-in laser and change its numbers.")
    for key in entry:
        if key not in readers:
            near = difflib.get_close_matches(key, readers, n=1, cutoff=0.0)
            raise InputError(key, f"The {what} has no key {key[:40]!r}.", f"The nearest known is {near[0]!r}.")
    for key in readers:
        if key not in entry:
            raise InputError(key, f"The {what} does not say its {key.replace('_', ' ')}.", f"Add the key {key!r}.")
    return {key: reader(entry[key], key) for key, reader in readers.items()}
