"""An area tapped in a photo: its outline, what is cut out of it, and how sure the taps leave it.

It is the flat face in the plane of the frame, the rectangle or the length; what stands before or behind that plane
looks larger or smaller, and edges and mouldings are not in it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from proofpatch.errors import InputError, expect
from proofpatch.measure.crossing import crosses, crossing, inside
from proofpatch.measure.figure import LEAST_AREA, MOST_AREA, Area
from proofpatch.measure.registry import read_number
from proofpatch.measure.tables import instruments
from proofpatch.measure.view import FrameView, LengthView, Points, RectangleView, View, mapped, read_points
from proofpatch.physics.setting import finite_number
from proofpatch.sources import Datum
from proofpatch.units import show

MOST_TAPS = 2000
MOST_OPENINGS = 50
# Least depth factor beside the largest: a face seen more askew is not measured (common practice, no source).
NEAREST_HORIZON = 0.05
UNSURE = 0.5  # spread from which an area says nothing (common practice, no source)


@dataclass(frozen=True, kw_only=True)
class Outline(Area):
    """A flat face by the taps of its outline.

    Args:
        taps: corners in order, in pixels. openings: outlines inside it that are not cleaned.
        view: what turns pixels into metres.
        tap_error: standard deviation of a tap [px]; None: as the table has it.
        photo: its name; areas of one photo share the error of its view.

    Raises:
        InputError: the outline crosses itself, an opening lies outside, or the face is seen too askew.
    """

    taps: tuple[tuple[float, float], ...]
    view: View
    openings: tuple[tuple[tuple[float, float], ...], ...] = ()
    tap_error: float | None = None
    photo: str = "photo"

    def __post_init__(self) -> None:
        set_ = object.__setattr__
        set_(self, "taps", read_points("points", "The outline", self.taps, 3, MOST_TAPS))
        expect("view", self.view, View, "Give a frame, a rectangle or a length.")
        if not isinstance(self.openings, (list, tuple)) or len(self.openings) > MOST_OPENINGS:
            raise InputError("openings", f"Openings: not a list of at most {MOST_OPENINGS}.", "Tap each in order.")
        set_(self, "openings", tuple(read_points("openings", "An opening", one, 3, MOST_TAPS) for one in self.openings))
        error = instruments()["photo", "reading"].value if self.tap_error is None else self.tap_error
        set_(self, "tap_error", finite_number("tap_error", "The error of a tap", error, 0.01, 1000, "px"))
        if not isinstance(self.photo, str) or not self.photo.isprintable() or len(self.photo) > 200:
            raise InputError("photo", "The name of the photo is not a short line.", "Shorten it.")
        self._check_crossings()
        _, depth = mapped(self.view.matrix(), np.vstack([np.asarray(one) for one in (self.taps, *self.openings)]))
        size = np.max(np.abs(depth))
        if not size or np.min(depth / size * np.sign(depth[0])) < NEAREST_HORIZON:
            raise InputError(
                "points",
                "Part of the outline lies at or beyond the horizon of that face.",
                "Tap nearer, or photograph it straighter.",
            )
        if not LEAST_AREA <= self.area <= MOST_AREA:
            said = f"The outline has an area of {self.area:.3g} m²."
            raise InputError(
                "points", said, f"It must lie between {LEAST_AREA:g} and {MOST_AREA:g} m²; check the scale."
            )
        if not self.spread < UNSURE:
            raise InputError(
                "points",
                "The taps are too coarse for this small or slanting face.",
                "Photograph it nearer and straighter.",
            )

    def _check_crossings(self) -> None:
        if crossing(self.taps):
            raise InputError("points", "The outline crosses itself.", "Tap the corners in order round it.")
        for i, one in enumerate(self.openings):
            if crossing(one):
                raise InputError("openings", f"Opening {i + 1} crosses itself.", "Tap its corners in order.")
            if crosses(one, self.taps) or not inside(one[0], self.taps):
                raise InputError("openings", f"Opening {i + 1} is not inside the outline.", "Tap it inside.")
            for other in self.openings[:i]:
                if crosses(one, other) or inside(one[0], other) or inside(other[0], one):
                    raise InputError("openings", f"Opening {i + 1} overlaps another.", "Tap each hole once.")

    @cached_property
    def points(self) -> Points:
        """The outline on the face (n, 2) [m]."""
        return mapped(self.view.matrix(), np.asarray(self.taps))[0]

    @cached_property
    def area(self) -> float:
        """Area inside the outline, its openings taken out [m²]."""
        return self._area_through(self.view.matrix())

    @property
    def perimeter(self) -> float:
        """Length of the outline, that of the openings not in it [m]."""
        return float(np.sum(np.hypot(*(np.roll(self.points, -1, axis=0) - self.points).T)))

    @cached_property
    def own(self) -> float:
        """From the taps of the outline, each off on its own: to first order, through the view's slope at each."""
        matrix = self.view.matrix()
        total = math.fsum(_tap_variance(matrix, np.asarray(one)) for one in (self.taps, *self.openings))
        assert self.tap_error is not None
        return self.tap_error * math.sqrt(total) / self.area

    @cached_property
    def shared(self) -> float:
        """From what the view was made of, and what it cannot know."""
        assert self.tap_error is not None
        off = [self._area_through(one) / self.area - 1 for one in self.view.shifted(self.tap_error)]
        return math.hypot(*off, self.view.extra)

    def _area_through(self, matrix: Points) -> float:
        outer, *holes = (abs(shoelace(mapped(matrix, np.asarray(one))[0])) for one in (self.taps, *self.openings))
        return outer - math.fsum(holes)

    @property
    def instrument(self) -> str:
        return f"photo:{self.photo}"

    @property
    def words(self) -> str:
        count = len(self.openings)
        less = f", {count} opening{'s' if count > 1 else ''} taken out" if count else ""
        return f"outline in a photo: {len(self.taps)} corners, {show(self.perimeter, 'length')} round{less}"

    @property
    def note(self) -> str:
        """What the view takes for granted."""
        return self.view.note

    @property
    def data(self) -> tuple[Datum, ...]:
        return self.view.data


def shoelace(points: Points) -> float:
    """Signed area of a closed outline (n, 2), ½ Σ (xᵢ yᵢ₊₁ − xᵢ₊₁ yᵢ); counted from its first corner."""
    x, y = (points - points[0]).T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)


def _tap_variance(matrix: Points, taps: Points) -> float:
    """Σ |∂A/∂tap|² of an outline, [m⁴/px²]."""
    points, depth = mapped(matrix, taps)
    before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
    gradient = np.stack([after[:, 1] - before[:, 1], before[:, 0] - after[:, 0]], axis=1) / 2
    # ∂(u, v)/∂(x, y) of u = (h₁·p)/(h₃·p), v = (h₂·p)/(h₃·p)
    slope = (matrix[None, :2, :2] - points[:, :, None] * matrix[None, 2:, :2]) / depth[:, None, None]
    return float(np.sum(np.einsum("ni,nij->nj", gradient, slope) ** 2))


KEYS = (
    "points",
    "openings",
    "corners",
    "width",
    "height",
    "start",
    "end",
    "length",
    "homography",
    "tap_error",
    "photo",
)


def outline_from(record: Any) -> Outline:
    """The outline of a plain record: points and openings in pixels, and a homography, or corners with width and height,
    or start, end and length; a length is SI or a text with its unit.

    Raises:
        InputError: a key that is not known, none or two of the three views, or as `Outline`.
    """
    if not isinstance(record, Mapping):
        raise InputError("outline", "An outline is not a table.", "Give points and what is known in the photo.")
    for key in record:
        if key not in KEYS:
            raise InputError("outline", f"An outline has no {str(key)[:40]!r}.", f"Use: {', '.join(KEYS)}.")
    if "points" not in record:
        raise InputError("points", "The outline has no points.", "Tap its corners in order.")
    more = {key: record[key] for key in ("openings", "tap_error", "photo") if key in record}
    return Outline(taps=record["points"], view=_view(record), **more)


def _view(record: Mapping[str, Any]) -> View:
    ways: dict[str, Sequence[str]] = {
        "homography": ("homography",), "corners": ("corners", "width", "height"), "length": ("start", "end", "length"),
    }  # fmt: skip
    begun = [way for way, keys in ways.items() if any(key in record for key in keys)]
    if len(begun) != 1:
        said = "Nothing in the photo is known." if not begun else "Two things known in the photo contradict each other."
        raise InputError("outline", said, "Give the frame, four corners with width and height, or one length.")
    values = {}
    for key in ways[begun[0]]:
        if key not in record:
            raise InputError(key, f"The outline lacks {key}.", f"Give {', '.join(ways[begun[0]])}.")
        plain = key in ("width", "height", "length")
        values[key] = read_number(key, record[key], "length", key) if plain else record[key]
    kinds: dict[str, type[View]] = {"homography": FrameView, "corners": RectangleView, "length": LengthView}
    return kinds[begun[0]](**values)


def outline_record(outline: Outline) -> dict[str, Any]:
    """The record `outline_from` reads back."""
    view, found = outline.view, {"points": [list(p) for p in outline.taps]}
    record: dict[str, Any] = {**found, "openings": [[list(p) for p in one] for one in outline.openings]}
    for key in KEYS[2:9]:
        value = getattr(view, key, None)
        if value is not None:
            record[key] = [list(v) if isinstance(v, tuple) else v for v in value] if isinstance(value, tuple) else value
    return {**record, "tap_error": outline.tap_error, "photo": outline.photo}
