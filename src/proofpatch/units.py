"""Quantities at the edge: "500 W", "20 kHz", "2 ft²" into SI floats, and back."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from numbers import Real
from types import MappingProxyType

from proofpatch.errors import InputError

# Conversions are exact by definition: international inch (1959), degree Fahrenheit, hour.
INCH = 0.0254
FOOT = 12 * INCH
ZERO_CELSIUS = 273.15
_FAHRENHEIT = 5 / 9

_POWER = {"W watt watts": 1.0, "kW kilowatt kilowatts": 1e3, "mW milliwatt milliwatts": 1e-3, "MW": 1e6}
_FREQUENCY = {"Hz hertz /s 1/s": 1.0, "kHz kilohertz": 1e3, "MHz megahertz": 1e6}
_TIME = {
    "s sec secs second seconds": 1.0,
    "ms millisecond milliseconds": 1e-3,
    "us microsecond microseconds": 1e-6,
    "ns nanosecond nanoseconds": 1e-9,
    "ps picosecond picoseconds": 1e-12,
    "min mins minute minutes": 60.0,
    "h hr hrs hour hours": 3600.0,
    "d day days": 86400.0,
}
_LENGTH = {
    "mm millimetre millimetres millimeter millimeters": 1e-3,
    "um micron microns micrometre micrometres micrometer micrometers": 1e-6,
    "nm nanometre nanometres nanometer nanometers": 1e-9,
    "cm centimetre centimetres centimeter centimeters": 1e-2,
    "m metre metres meter meters": 1.0,
    "km": 1e3,
    "mil mils thou": 1e-3 * INCH,
    'in inch inches "': INCH,
    "ft foot feet '": FOOT,
    "yd yard yards": 3 * FOOT,
}
_ENERGY = {"J joule joules": 1.0, "mJ millijoule millijoules": 1e-3, "uJ microjoule microjoules": 1e-6, "kJ": 1e3}


def _spelled(table: Mapping[str, float]) -> dict[str, float]:
    return {name: factor for names, factor in table.items() for name in names.split()}


def _powers(table: Mapping[str, float], power: int) -> dict[str, float]:
    return {f"{name}{power}": factor**power for name, factor in _spelled(table).items()}


def _quotients(above: Mapping[str, float], below: Mapping[str, float]) -> dict[str, float]:
    return {f"{a}/{b}": over / under for a, over in above.items() for b, under in below.items()}


_AREA = _powers(_LENGTH, 2) | {"sqm": 1.0, "sqft": FOOT**2, "sqin": INCH**2}
_AIR_FLOW = _quotients(_powers(_LENGTH, 3) | {"l": 1e-3}, _spelled(_TIME)) | {"cfm": FOOT**3 / 60}
_SPEED = _quotients(_spelled(_LENGTH), _spelled(_TIME)) | {"ipm": INCH / 60, "ips": INCH, "fpm": FOOT / 60}
_PER_LENGTH = {
    f"{form}": 1 / factor for n, factor in _spelled(_LENGTH).items() for form in (f"1/{n}", f"/{n}", f"{n}-1")
}


@dataclass(frozen=True)
class Kind:
    """What a quantity is: its SI unit, the bounds anything real lies in [SI], the units people write, an example."""

    name: str
    si: str
    low: float
    high: float
    units: Mapping[str, float]
    example: str

    def factor(self, unit: str) -> float | None:
        """SI units in one `unit`, spelling exact first, else without regard to capitals; None if not known."""
        if unit in self.units:
            return self.units[unit]
        return {name.lower(): factor for name, factor in reversed(list(self.units.items()))}.get(unit.lower())


# Bounds are what a handheld laser, a workshop or a building can hold, with room to spare; a caller narrows them.
KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            Kind("power", "W", 1e-3, 1e5, _spelled(_POWER), "500 W"),
            Kind("frequency", "Hz", 0.1, 1e8, _spelled(_FREQUENCY), "20 kHz"),
            Kind("time", "s", 1e-12, 3.6e6, _spelled(_TIME), "100 ns"),
            Kind("duration", "s", 0.0, 3.6e7, _spelled(_TIME), "2 h"),
            Kind("length", "m", 1e-9, 1e4, _spelled(_LENGTH), "0.9 mm"),
            Kind("spot", "m", 1e-9, 10.0, _spelled(_LENGTH), "0.9 mm"),
            Kind("area", "m²", 1e-12, 1e6, _AREA, "2 ft²"),
            Kind("speed", "m/s", 1e-6, 1e3, _SPEED, "50 mm/s"),
            Kind("area rate", "m²/s", 1e-9, 10.0, _quotients(_AREA, _spelled(_TIME)), "7.2 m²/h"),
            Kind("fluence", "J/m²", 1.0, 1e8, _quotients(_spelled(_ENERGY), _AREA), "3 J/cm²"),
            Kind("irradiance", "W/m²", 1e-3, 1e17, _quotients(_spelled(_POWER), _AREA), "10 W/m²"),
            Kind("energy", "J", 1e-9, 1e5, _spelled(_ENERGY) | {"MJ": 1e6}, "25 mJ"),
            Kind(
                "temperature",
                "K",
                73.15,
                6273.15,
                _spelled({"C celsius": 1, "F fahrenheit": _FAHRENHEIT, "K kelvin": 1}),
                "20 °C",
            ),
            Kind(
                "angle",
                "rad",
                0.0,
                2 * math.pi,
                _spelled({"deg degree degrees": math.pi / 180, "rad": 1, "mrad": 1e-3}),
                "30°",
            ),
            Kind("air flow", "m³/s", 1e-5, 1e3, _AIR_FLOW, "300 m³/h"),
            Kind("coefficient", "1/m", 1e-2, 1e9, _PER_LENGTH, "100 /cm"),
            Kind("share", "1", 0.0, 1.0, _spelled({"% percent pct": 0.01}), "95 %"),
            Kind("count", "1", 1.0, 1e6, _spelled({"x times pass passes": 1}), "3"),
        )
    }
)
_PLAIN = ("share", "count")
_OFFSET = {"c": ZERO_CELSIUS, "celsius": ZERO_CELSIUS, "f": ZERO_CELSIUS - 32 * _FAHRENHEIT}
_OFFSET["fahrenheit"] = _OFFSET["f"]

_FRACTION = re.compile(r"(?P<sign>[+-]?)(?:(?P<whole>[0-9]+)[ -]+)?(?P<over>[0-9]+) ?/ ?(?P<under>[0-9]+)(?![0-9.,])")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?: [0-9]{3})+(?![0-9]| [0-9])(?:[.,][0-9]+)?")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]+)*[.,]?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_SAME = str.maketrans(
    {
        "−": "-",
        "–": "-",
        "⁄": "/",
        "º": "°",
        "˚": "°",
        "″": '"',
        "”": '"',
        "“": '"',
        "′": "'",
        "’": "'",
        "×": "x",
        "⁻": "-",
    }
)


def kind_named(name: str) -> Kind:
    """The kind of that name; an unknown one is a programming slip, so a KeyError."""
    return KINDS[name.replace("_", " ")]


def parse(text: object, kind: str, field: str, low: float | None = None, high: float | None = None) -> float:
    """The SI value of a quantity as people write it.

    Args:
        text: what was written: "500 W", "1,5 mm", "1/2 in", "95 %". A plain number only for a share or a count.
        kind: a name of `KINDS`.
        field: the argument or form field; its words appear in the message.
        low, high: narrower bounds [SI].

    Raises:
        InputError: it cannot be understood, or lies outside what is physically sensible.
    """
    expected = kind_named(kind)
    label = field.replace("_", " ").strip() or expected.name
    remedy = f"Write it like {expected.example}."
    if isinstance(text, Real) and not isinstance(text, bool):
        if expected.name not in _PLAIN:
            raise InputError(field, f"The {label} is a bare number, {quoted(text)}, without a unit.", remedy)
        return _bounded(_float(text), expected, field, label, low, high, plain=True)
    if not isinstance(text, str):
        said = "is missing" if text is None else "is not something that can be read as a quantity"
        raise InputError(field, f"The {label} {said}.", remedy)
    written = _plain_characters(text)
    if not written:
        raise InputError(field, f"The {label} is empty.", remedy)
    number, rest = _leading_number(written, field, label, remedy)
    unit = _plain_unit(rest)
    if not unit and expected.name not in _PLAIN:
        raise InputError(field, f"The {label} {quoted(text)} has no unit.", remedy)
    factor = expected.factor(unit) if unit else 1.0
    if factor is None:
        raise InputError(field, _about_unit(unit, rest, expected, label), remedy)
    # Dividing by 100 or 1 000 000 gives the float people mean; multiplying by 0.01 gives 0.9500000000000001.
    inverse = round(1 / factor) if 0 < factor < 1 else 0
    value = number / inverse if inverse and math.isclose(1 / factor, inverse, rel_tol=1e-12) else number * factor
    if expected.name == "temperature":
        value += _OFFSET.get(unit.lower(), 0.0)
    return _bounded(value, expected, field, label, low, high, plain=not unit)


def spelt(unit: str, kind: str) -> tuple[float, float]:
    """(SI units in one of that unit, what is added) of a unit of a kind; an unknown one is a KeyError."""
    offset = _OFFSET.get(unit.lower(), 0.0) if kind == "temperature" else 0.0
    return kind_named(kind).units[unit], offset


def quoted(text: object) -> str:
    """What was written, short and on one line."""
    line = "".join(c if c.isprintable() else " " for c in str(text))
    return repr(line if len(line) <= 40 else line[:37] + "...")


def _float(number: Real) -> float:
    try:
        return float(number)
    except OverflowError:
        return math.inf


def _plain_characters(text: str) -> str:
    """One spelling of each sign: ½ as 1/2, ² as 2, µ as u, curly quotes straight."""
    halves = "".join(
        f" {c}" if unicodedata.decomposition(c).startswith("<fraction>") else c for c in text.translate(_SAME)
    )
    same = unicodedata.normalize("NFKC", halves).translate(_SAME)
    return " ".join(same.replace("μ", "u").split())


def _plain_unit(rest: str) -> str:
    """ "sq. ft. per hour" and "ft^2 / hour" both as "ft2/hour"."""
    unit = rest.replace("^", "").replace("**", "").replace(".", "").replace("°", "deg ").strip()
    unit = re.sub(r"^(?:deg|degrees?) ?(?=[CFKcfk](?:\b|elsius|ahrenheit))", "", unit)
    unit = re.sub(r" ?(?:/|\bper\b) ?", "/", unit)
    unit = re.sub(r"\b(?:sq|square) ([A-Za-z]+)", r"\g<1>2", unit, flags=re.IGNORECASE)
    return unit.replace(" ", "")


def _leading_number(written: str, field: str, label: str, remedy: str) -> tuple[float, str]:
    """The number at the start, and what follows it."""
    echo = quoted(written)
    if found := _FRACTION.match(written):
        if not int(found["under"]):
            raise InputError(field, f"The {label} {echo} divides by zero.", remedy)
        try:
            size = int(found["whole"] or 0) + int(found["over"]) / int(found["under"])
        except (OverflowError, ValueError):
            size = math.inf
        return (-size if found["sign"] == "-" else size), written[found.end() :]
    found = _GROUPED.match(written) or _NUMBER.match(written)
    if not found:
        raise InputError(field, f"The {label} {echo} does not start with a number.", remedy)
    digits = found[0].replace(" ", "")
    mantissa = digits.lower().split("e")[0]
    if re.fullmatch(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}", mantissa):
        whole, part = mantissa.split(",")
        choice = f"Write {whole}{part} or {whole}.{part.rstrip('0') or '0'}, whichever is meant."
        raise InputError(field, f"The {label} {echo} can be read in two ways.", choice)
    if len(re.findall("[.,]", mantissa)) > 1:
        raise InputError(
            field, f"The {label} {echo} has more than one comma or point.", "Write it without thousands separators."
        )
    return float(digits.replace(",", ".")), written[found.end() :].lstrip()


def _about_unit(unit: str, rest: str, expected: Kind, label: str) -> str:
    if re.match(r"(?:-|to\b|\.\.|,|x|±|\+)* ?[0-9]", rest):
        return f"The {label} holds more than one number; give a single one."
    if expected.name in _PLAIN:
        return f"The {label} is a plain {expected.name}, without the unit {quoted(rest)}."
    others = [kind.name for kind in KINDS.values() if kind.name not in _PLAIN and kind.factor(unit) is not None]
    if others:
        article = "an" if others[0][0] in "aei" else "a"
        return f"The {label} is in {quoted(rest)}, which is the unit of {article} {others[0]}, not of {expected.name}."
    return f"The unit {quoted(rest)} of the {label} is not known."


def _bounded(
    value: float, kind: Kind, field: str, label: str, low: float | None, high: float | None, *, plain: bool
) -> float:
    least = kind.low if low is None else max(low, kind.low)
    most = kind.high if high is None else min(high, kind.high)
    if math.isnan(value):
        raise InputError(field, f"The {label} is not a number.", f"Write it like {kind.example}.")
    if kind.name == "share" and plain and 1 < value <= 100:
        raise InputError(
            field, f"The {label} of {value:g} is more than the whole.", f"Write {value:g} % or {value / 100:g}."
        )
    if kind.name == "count" and math.isfinite(value) and value != math.floor(value):
        raise InputError(field, f"The {label} of {value:g} is not a whole number.", "Write a whole number such as 3.")
    # Unit conversion rounds: a bound typed in another unit must still be accepted.
    if least * (1 - 1e-9) <= value <= most * (1 + 1e-9):
        return value
    span = f"It must lie between {show(least, kind.name)} and {show(most, kind.name)}."
    if value < 0 and kind.name != "temperature":
        raise InputError(field, f"The {label} is negative.", span)
    if value == 0 and kind.name != "temperature":
        raise InputError(field, f"The {label} is zero.", span)
    said = "too small" if value < least else "too large"
    raise InputError(field, f"The {label} is {said}.", span)


# Per kind and system: (from this size up, unit, its size), smallest first; a size below the first uses the first.
_SCALES: Mapping[str, tuple[tuple[float, str, float], ...]] = {
    "power": ((0, "mW", 1e-3), (1, "W", 1), (1e3, "kW", 1e3)),
    "frequency": ((0, "Hz", 1), (1e3, "kHz", 1e3), (1e6, "MHz", 1e6)),
    "time": (
        (0, "ps", 1e-12),
        (1e-9, "ns", 1e-9),
        (1e-6, "µs", 1e-6),
        (1e-3, "ms", 1e-3),
        (1, "s", 1),
        (120, "min", 60),
        (7200, "h", 3600),
    ),
    "duration": ((0, "s", 1), (120, "min", 60), (7200, "h", 3600)),
    "length": ((0, "nm", 1e-9), (1e-6, "µm", 1e-6), (2e-4, "mm", 1e-3), (1, "m", 1)),
    "spot": ((0, "µm", 1e-6), (2e-4, "mm", 1e-3), (10, "m", 1)),  # as data sheets have it, in every system
    "area": ((0, "mm²", 1e-6), (1e-4, "cm²", 1e-4), (0.1, "m²", 1)),
    "speed": ((0, "mm/s", 1e-3), (1, "m/s", 1)),
    "area rate": ((0, "m²/h", 1 / 3600),),
    "fluence": ((0, "J/cm²", 1e4),),
    "irradiance": ((0, "W/m²", 1), (1e6, "W/cm²", 1e4)),
    "energy": ((0, "µJ", 1e-6), (1e-3, "mJ", 1e-3), (1, "J", 1), (1e3, "kJ", 1e3)),
    "temperature": ((0, "°C", 1),),
    "angle": ((0, "mrad", 1e-3), (math.pi / 180, "°", math.pi / 180)),
    "air flow": ((0, "m³/h", 1 / 3600),),
    "coefficient": ((0, "/cm", 100),),
    "share": ((0, "%", 0.01),),
    "count": ((0, "", 1),),
}
_US_SCALES: Mapping[str, tuple[tuple[float, str, float], ...]] = {
    "length": ((0, "mil", 1e-3 * INCH), (0.1 * INCH, "in", INCH), (3 * FOOT, "ft", FOOT)),
    "area": ((0, "in²", INCH**2), (FOOT**2, "ft²", FOOT**2)),
    "speed": ((0, "in/min", INCH / 60), (INCH, "in/s", INCH), (3 * FOOT, "ft/s", FOOT)),
    "area rate": ((0, "ft²/h", FOOT**2 / 3600),),
    "air flow": ((0, "cfm", FOOT**3 / 60),),
    "temperature": ((0, "°F", _FAHRENHEIT),),
}


SYSTEMS = ("metric", "us")
# In which system a face shows its sentences; set at the edge for one answer, never by the core.
_SYSTEM: ContextVar[str] = ContextVar("system", default="metric")


def system() -> str:
    """The system everything is shown in just now."""
    return _SYSTEM.get()


@contextmanager
def shown_in(system: str) -> Iterator[None]:
    """Everything shown inside is in this system, "metric" or "us", unless it names one.

    Raises:
        InputError: another system.
    """
    if system not in SYSTEMS:
        raise InputError("system", f"The system of units {quoted(system)} is not known.", "Choose metric or us.")
    before = _SYSTEM.set(system)
    try:
        yield
    finally:
        _SYSTEM.reset(before)


def show(value: float, kind: str, system: str | None = None, like: float | None = None) -> str:
    """An SI value as people write it, to three digits: "0.9 mm", "20 kHz", "1.57 J/cm²"; system "metric" or "us".

    Without a system in that of `shown_in`, metric outside of it. like: in the unit this other value is shown in, so
    that the ends of a range can be compared.
    """
    name = kind_named(kind).name
    system = _SYSTEM.get() if system is None else system
    if system not in SYSTEMS:
        raise InputError("system", f"The system of units {quoted(system)} is not known.", "Choose metric or us.")
    if not math.isfinite(value):
        return "not known" if math.isnan(value) else "without limit"
    scales = (_US_SCALES if system == "us" else {}).get(name) or _SCALES[name]
    # A value that rounds up to the next unit is shown in it: 1000 W as 1 kW, not 1000 W.
    size = abs(float(f"{value if like is None else like:.3g}"))
    _, unit, factor = [scale for scale in scales if size >= float(f"{scale[0]:.3g}")][-1]
    if name == "temperature":
        return f"{_digits((value - _OFFSET[unit[1].lower()]) / factor, whole=True)} {unit}"
    digits = _digits(value / factor, whole=name == "count")
    return f"{digits}{'' if unit in ('', '°') else ' '}{unit}"


def _digits(number: float, *, whole: bool = False) -> str:
    rounded = round(number) if whole else float(f"{number:.3g}")
    if rounded == 0:
        return "0"
    return f"{rounded:.15g}"


# Units of the data files: (size in SI, SI unit). Degrees Celsius become absolute kelvin.
_DATA_UNITS: Mapping[str, tuple[float, str]] = {
    "1": (1, "1"),
    "%": (0.01, "1"),
    "um": (1e-6, "m"),
    "mm": (1e-3, "m"),
    "m": (1, "m"),
    "m/s": (1, "m/s"),
    "W/m2/K": (1, "W/(m² K)"),
    "ns": (1e-9, "s"),
    "s": (1, "s"),
    "s/m": (1, "s/m"),
    "s/m2": (1, "s/m²"),
    "kg": (1, "kg"),
    "1/cm": (100, "1/m"),
    "J/cm2": (1e4, "J/m²"),
    "J/m2": (1, "J/m²"),
    "MJ/m3": (1e6, "J/m³"),
    "MJ/kg": (1e6, "J/kg"),
    "kJ/mol": (1e3, "J/mol"),
    "C": (1, "K"),
    "K": (1, "K"),
    "1/K": (1, "1/K"),
    "kg/m3": (1, "kg/m³"),
    "J/kg/K": (1, "J/(kg K)"),
    "W/m/K": (1, "W/(m K)"),
}


def chance(p: float) -> str:
    """A chance in percent that never rounds to certainty."""
    if p <= 0.001:
        return "under 0.1 %"
    return "over 99.9 %" if p >= 0.999 else f"{100 * p:.2g} %" if p < 0.1 else f"{100 * p:.3g} %"


def percent(share: float) -> str:
    """A share or a limit in percent, three digits at most."""
    return f"{100 * share:.3g} %"


def to_si(value: float, unit: str) -> float:
    """A number of a data file in SI; degrees Celsius as absolute temperature.

    Raises:
        ValueError: the unit is not one of the data files'.
    """
    if unit not in _DATA_UNITS:
        raise ValueError(f"The unit {unit!r} is none of: {', '.join(_DATA_UNITS)}.")
    return value * _DATA_UNITS[unit][0] + (ZERO_CELSIUS if unit == "C" else 0.0)


def si_unit(unit: str) -> str:
    """The SI unit that `to_si` gives for a data file's unit."""
    return _DATA_UNITS[unit][1]
