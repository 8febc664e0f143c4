"""What every shape is made of: figures that know their kind, bounds and help, and an area that knows how sure it is.

A figure is declared once, in the field of its shape; form, command line and API read it from there.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import MISSING, Field, dataclass, field, fields
from typing import Any, ClassVar, Self

from proofpatch.errors import InputError
from proofpatch.measure.tables import INSTRUMENTS, factors, instruments
from proofpatch.physics.setting import finite_number
from proofpatch.sources import Datum
from proofpatch.units import show

LEAST, MOST = 1e-4, 1e3  # m, of a length
LEAST_AREA, MOST_AREA = 1e-6, 1e5  # m², of one shape; also what an hour is reckoned for
MOST_ENTRIES = 200  # in a list that somebody types
MOST_PARTS = 10_000  # equal things in one shape
STEP, LEAST_STEP = 1e-6, 1e-150  # of a length, by which the area is differentiated; and in m: never nought
KINDS = {
    "length": "a length", "area": "an area", "count": "a whole number", "choice": "one of a few words",
    "stations": "pairs of place and diameter", "openings": "pairs of width and height, with how many if several",
    "points": "pairs of lengths",
}  # fmt: skip
WIDTHS = {"stations": (2,), "openings": (2, 3), "points": (2,)}  # numbers of one entry of a list
LISTS = tuple(WIDTHS)


@dataclass(frozen=True)
class Figure:
    """One figure of a shape, as form, command line and API show it.

    Args:
        kind: one of `KINDS`. words, help: its label, and one sentence.
        low, high: bounds [SI]; an optional length starts at 0.
        choices: of a choice.
    """

    kind: str
    words: str
    help: str
    low: float = LEAST
    high: float = MOST
    choices: tuple[str, ...] = ()

    def checked(self, name: str, value: Any) -> Any:
        """The value as the shape keeps it.

        Raises:
            InputError: it is none; `name` is its field.
        """
        if self.kind == "choice":
            if not isinstance(value, str) or value not in self.choices:
                said = repr(value)[:40] if isinstance(value, str) else "what is given"
                raise InputError(name, f"{self.words}: {said} is not known.", f"Use: {', '.join(self.choices)}.")
            return value
        if self.kind == "count":
            number = finite_number(name, self.words, value, self.low, self.high, "")
            if number != int(number):
                raise InputError(name, f"{self.words} of {number:g} is not a whole number.", "Count whole things.")
            return int(number)
        if self.kind in LISTS:
            return self._list(name, value)
        return finite_number(name, self.words, value, self.low, self.high, "m²" if self.kind == "area" else "m")

    def _list(self, name: str, value: Any) -> tuple[tuple[float, ...], ...]:
        widths = WIDTHS[self.kind]
        if not isinstance(value, (list, tuple)) or len(value) > MOST_ENTRIES:
            raise InputError(name, f"{self.words}: not a list of at most {MOST_ENTRIES}.", f"Give {KINDS[self.kind]}.")
        found = []
        for i, entry in enumerate(value):
            if not isinstance(entry, (list, tuple)) or len(entry) not in widths:
                raise InputError(name, f"{self.words}: entry {i + 1} is not {KINDS[self.kind]}.", "Check the list.")
            words = f"{self.words}, entry {i + 1}:"
            low = -self.high if self.kind == "points" else 0.0
            numbers = [finite_number(name, words, part, low, self.high, "m") for part in entry[:2]]
            for part in entry[2:]:
                count = finite_number(name, words, part, 1, MOST_PARTS, "")
                if count != int(count):
                    raise InputError(name, f"{words} {count:g} is not a whole number.", "Count whole openings.")
                numbers.append(int(count))
            found.append(tuple(numbers))
        return tuple(found)


def figure(words: str, help: str, kind: str = "length", default: Any = MISSING, **bounds: Any) -> Any:
    """A field of a shape. An optional length may be nought."""
    if kind == "count":
        bounds = {"low": 1, "high": MOST_PARTS, **bounds}
    elif kind == "area":
        bounds = {"low": LEAST_AREA, "high": MOST_AREA, **bounds}
    elif kind == "length" and default is not MISSING:
        bounds = {"low": 0.0, **bounds}
    return field(default=default, metadata={"figure": Figure(kind, words, help, **bounds)})


def measured_with(default: str) -> str:
    """The figure that says what the others were read from."""
    words = "What the figures were read from; it decides how sure the area is."
    chosen: str = figure("Measured with", words, "choice", default, choices=tuple(INSTRUMENTS))
    return chosen


@dataclass(frozen=True, kw_only=True)
class Area(ABC):
    """Something with an area: a shape, an outline, a region of a mesh.

    area: developed, what a sheet laid over every face would measure [m²].
    own: standard deviation over area of what is this one's own: readings, form [1].
    shared: the same of what its instrument does to everything measured with it [1]; `instrument` names it.
    """

    @property
    @abstractmethod
    def area(self) -> float: ...
    @property
    @abstractmethod
    def own(self) -> float: ...
    @property
    @abstractmethod
    def shared(self) -> float: ...
    @property
    @abstractmethod
    def instrument(self) -> str: ...
    @property
    @abstractmethod
    def words(self) -> str: ...
    @property
    @abstractmethod
    def data(self) -> tuple[Datum, ...]:
        """The table's numbers it rests on."""

    @property
    def spread(self) -> float:
        """Standard deviation over area [1]: own and shared are independent, so in quadrature."""
        return math.hypot(self.own, self.shared)


@dataclass(frozen=True, kw_only=True)
class Shape(Area):
    """A shape that checks itself; its area is differentiated by its figures, so its spread follows from how it was
    measured: each reading errs on its own (quadrature), the instrument's scale errs alike in all (added up)."""

    name: ClassVar[str]
    title: ClassVar[str]
    of_factor: ClassVar[bool] = False  # has a row (name, "form") in the factors

    how: str = measured_with("tape")

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if value is None and one.default is None:
                continue
            object.__setattr__(self, one.name, figure_of(one).checked(one.name, value))
        self.fits()
        area = self.area
        if not LEAST_AREA <= area <= MOST_AREA:
            raise InputError(
                "shape", f"The {self.title} has an area of {area:.3g} m².",
                f"It must lie between {LEAST_AREA:g} and {MOST_AREA:g} m²; check the units.",
            )  # fmt: skip

    def fits(self) -> None:
        """What no single figure shows.

        Raises:
            InputError: the figures contradict each other.
        """

    @abstractmethod
    def developed(self) -> float:
        """The developed area [m²]."""

    @property
    def area(self) -> float:
        """Developed area [m²]."""
        return self.developed()

    @property
    def form(self) -> float:
        """How far the shape itself may be off, over the area [1]."""
        return factors()[self.name, "form"].value if self.of_factor else 0.0

    @property
    def data(self) -> tuple[Datum, ...]:
        form = (factors()[self.name, "form"],) if self.of_factor else ()
        return (instruments()[self.how, "reading"], instruments()[self.how, "scale"], *form)

    @property
    def instrument(self) -> str:
        return self.how

    @property
    def own(self) -> float:
        reading = instruments()[self.how, "reading"].value
        readings = math.sqrt(math.fsum((slope * reading) ** 2 for _, slope in self.slopes()))
        return math.hypot(readings / self.area, self.form)

    @property
    def shared(self) -> float:
        scale = instruments()[self.how, "scale"].value
        if any(figure_of(one).kind == "area" for one in fields(self)):
            return 2 * scale  # an area is two lengths
        return scale * abs(math.fsum(value * slope for value, slope in self.slopes())) / self.area

    def slopes(self) -> Iterator[tuple[float, float]]:
        """(value [m], ∂area/∂value [m]) of every length it was made from, by central difference."""
        for one in fields(self):
            value = getattr(self, one.name)
            kind = figure_of(one).kind
            if kind == "length" and value:
                yield value, self._slope(one.name, value, lambda new: new)
            elif kind in LISTS:
                for i, entry in enumerate(value):
                    for j, part in enumerate(entry[:2]):
                        if part:
                            yield part, self._slope(one.name, part, _Replaced(value, i, j))

    def _slope(self, name: str, value: float, made: Any) -> float:
        step = max(STEP * abs(value), LEAST_STEP)
        high, low = (self._with(name, made(value + sign * step)).developed() for sign in (1, -1))
        return (high - low) / (2 * step)

    def _with(self, name: str, value: Any) -> Self:
        """This shape a hair larger, unchecked: a bound must not stop a derivative."""
        other = object.__new__(type(self))
        other.__dict__.update(self.__dict__)
        other.__dict__[name] = value
        return other

    @property
    def words(self) -> str:
        """The shape with its lengths, as people say it."""
        said = []
        for one in fields(self):
            value, known = getattr(self, one.name), figure_of(one)
            if one.name == "how" or value is None or (one.default is not MISSING and value == one.default):
                continue
            label = known.words[0].lower() + known.words[1:]
            if known.kind in ("length", "area"):
                said.append(f"{label} {show(value, known.kind)}")
            elif known.kind in LISTS:
                said.append(f"{label} {len(value)}")
            else:
                said.append(f"{label} {value}")
        return f"{self.title}: {', '.join(said)}"


@dataclass(frozen=True)
class _Replaced:
    """A list with one number of one entry changed."""

    entries: tuple[tuple[float, ...], ...]
    row: int
    column: int

    def __call__(self, new: float) -> tuple[tuple[float, ...], ...]:
        entry = list(self.entries[self.row])
        entry[self.column] = new
        return (*self.entries[: self.row], tuple(entry), *self.entries[self.row + 1 :])


def figure_of(one: Field[Any]) -> Figure:
    """The figure a field was declared with."""
    found: Figure = one.metadata["figure"]
    return found
