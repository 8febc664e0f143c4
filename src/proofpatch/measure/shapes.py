"""The shapes a shop measures. Each is one class; its fields are the figures that form, command line and API ask for.

Sources of the formulas: mensuration as in Bronshtein et al., Handbook of Mathematics, ch. 3; factors of the trade from
factors.csv. A length is what a tape shows: diameters, not radii.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from scipy.special import ellipe

from proofpatch.errors import InputError
from proofpatch.measure.crossing import crossing
from proofpatch.measure.figure import LEAST, Shape, figure, measured_with
from proofpatch.measure.tables import factors, half_width, items
from proofpatch.sources import Datum

# Girth over the width seen from the front; depth and width alike. Closed forms of circular arcs and straight lines.
PROFILES = {
    "flat": 1.0, "chamfer": math.sqrt(2), "quarter-round": math.pi / 2, "half-round": math.pi / 2,
    "ogee": math.pi / 2, "step": 2.0,
}  # fmt: skip


def _sides(default: int = 1, help: str = "1: the face only; 2: the back too.") -> int:
    chosen: int = figure("Sides", help, "count", default, high=2)
    return chosen


def _ends(default: int = 0) -> int:
    chosen: int = figure("Ends", "How many of its flat ends are cleaned.", "count", default, low=0, high=2)
    return chosen


@dataclass(frozen=True, kw_only=True)
class Panel(Shape):
    """sides L W + edges: 2 (L + W) t."""

    name, title = "panel", "flat panel"
    length: float = figure("Length", "The longer way.")
    width: float = figure("Width", "The other way.")
    thickness: float = figure("Thickness", "Of the edges, if they are cleaned; 0 leaves them out.", default=0.0)
    sides: int = _sides()

    def developed(self) -> float:
        return self.sides * self.length * self.width + 2 * (self.length + self.width) * self.thickness


@dataclass(frozen=True, kw_only=True)
class Frame(Shape):
    """Stiles and rails, the holes between them open, or filled with panels that lie back.

    Each hole of w by h adds its four inner edges (open: as deep as the frame is thick, and no face; filled: as deep as
    the panel lies back, on each side).
    """

    name, title = "frame", "frame and rails"
    height: float = figure("Height", "Overall, along the stiles.")
    width: float = figure("Width", "Overall, along the rails.")
    member: float = figure("Member", "Width of one stile or rail, seen from the front.")
    thickness: float = figure("Thickness", "Of the frame; its outer and inner edges are as deep.", default=0.0)
    stiles: int = figure("Stiles", "Upright members, the outer two with them.", "count", 2, low=2, high=100)
    rails: int = figure("Rails", "Level members, top and bottom with them.", "count", 2, low=2, high=100)
    panels: str = figure("Panels", "What is between the members.", "choice", "open", choices=("open", "filled"))
    recess: float = figure("Recess", "How far the panels lie behind the frame's face.", default=0.0)
    sides: int = _sides()

    def fits(self) -> None:
        if min(self._hole()) <= 0:
            raise InputError("member", "The members fill the whole frame.", "Give the width of one member.")
        if self.panels == "open" and self.recess:
            raise InputError("recess", "An open frame has no panels to lie back.", "Choose filled, or leave it out.")

    def _hole(self) -> tuple[float, float]:
        """Width and height of one hole [m]."""
        across = (self.width - self.stiles * self.member) / (self.stiles - 1)
        return across, (self.height - self.rails * self.member) / (self.rails - 1)

    def developed(self) -> float:
        across, up = self._hole()
        count = (self.stiles - 1) * (self.rails - 1)
        face = self.sides * self.height * self.width + 2 * (self.height + self.width) * self.thickness
        around = 2 * (across + up)
        if self.panels == "open":
            return face - self.sides * count * across * up + count * around * self.thickness
        return face + self.sides * count * around * self.recess


class ByFactor(Shape):
    """A shape with a row (name, kind) of its own in the factors."""

    kind: str

    @property
    def factor(self) -> Datum:
        """What its plain area is multiplied by."""
        return factors()[self.name, self.kind]

    @property
    def data(self) -> tuple[Datum, ...]:
        return (*super().data, self.factor)


@dataclass(frozen=True, kw_only=True)
class Joinery(ByFactor):
    """Flat area of a side times the trade's factor, and edges: 2 (H + W) t."""

    name, title, of_factor = "joinery", "joinery by factor", True
    height: float = figure("Height", "Overall.")
    width: float = figure("Width", "Overall.")
    kind: str = figure("Kind", "What it is, for the factor on its flat area.", "choice", choices=items("joinery"))
    thickness: float = figure("Thickness", "Of the edges, if they are cleaned; 0 leaves them out.", default=0.0)
    sides: int = _sides()

    def developed(self) -> float:
        face = self.sides * self.height * self.width * self.factor.value
        return face + 2 * (self.height + self.width) * self.thickness


@dataclass(frozen=True, kw_only=True)
class OpenWork(ByFactor):
    """Trellis, folding gate or railing: height × width × the trade's factor for all of it, all round."""

    name, title, of_factor = "trellis", "open work", True
    height: float = figure("Height", "Overall.")
    width: float = figure("Width", "Overall.")
    kind: str = figure("Kind", "What it is, for the factor on its overall area.", "choice", choices=items("trellis"))

    def developed(self) -> float:
        return self.height * self.width * self.factor.value


@dataclass(frozen=True, kw_only=True)
class Moulding(Shape):
    """Girth × length."""

    name, title, of_factor = "moulding", "moulding by girth", True
    length: float = figure("Length", "Along the moulding.")
    girth: float = figure("Girth", "Across it, a flexible strip pressed into every hollow.")

    def developed(self) -> float:
        return self.length * self.girth


@dataclass(frozen=True, kw_only=True)
class Profiled(Shape):
    """Length × width × the profile's girth over its width."""

    name, title, of_factor = "profile", "moulding by profile", True
    length: float = figure("Length", "Along the moulding.")
    width: float = figure("Width", "Across it, straight, seen from the front.")
    profile: str = figure("Profile", "The nearest of these; its depth is its width, half of it for a half-round.",
                          "choice", choices=tuple(PROFILES))  # fmt: skip

    def developed(self) -> float:
        return self.length * self.width * PROFILES[self.profile]


@dataclass(frozen=True, kw_only=True)
class Turned(Shape):
    """A profile of stations, straight between them: the sum of frusta π (r₁ + r₂) √((r₁ − r₂)² + h²)."""

    name, title, of_factor = "turned", "turned part", True
    stations: tuple[tuple[float, float], ...] = figure(
        "Stations", "Along the axis: how far from one end, and the diameter there.", "stations"
    )
    ends: int = _ends()

    def fits(self) -> None:
        places = [place for place, _ in self.stations]
        if len(places) < 2:
            raise InputError("stations", "A turned part needs two stations or more.", "Add the other end.")
        if any(after < before for before, after in pairwise(places)):
            raise InputError("stations", "The stations go back along the axis.", "Sort them from one end.")
        if places[-1] - places[0] < LEAST:
            raise InputError("stations", "The turned part has no length.", "Count places along the axis.")

    def developed(self) -> float:
        round_ = math.fsum(_frustum(d1, d2, z2 - z1) for (z1, d1), (z2, d2) in pairwise(self.stations))
        discs = sorted((math.pi / 4 * d**2 for d in (self.stations[0][1], self.stations[-1][1])), reverse=True)
        return round_ + math.fsum(discs[: self.ends])


@dataclass(frozen=True, kw_only=True)
class Spindle(ByFactor):
    """π d L of its largest diameter × the trade's factor."""

    name, title, kind = "spindle", "turned part by factor", "turned"
    length: float = figure("Length", "From end to end.")
    diameter: float = figure("Diameter", "The largest.")

    def developed(self) -> float:
        return math.pi * self.diameter * self.length * self.factor.value

    @property
    def form(self) -> float:
        return half_width(self.factor)


@dataclass(frozen=True, kw_only=True)
class Cylinder(Shape):
    """sides π d L + ends π d²/4."""

    name, title = "cylinder", "cylinder"
    diameter: float = figure("Diameter", "Across; a girth over π.")
    length: float = figure("Length", "Along the axis.")
    sides: int = _sides(help="1: the outside only; 2: the inside of a thin tube too.")
    ends: int = _ends()

    def developed(self) -> float:
        return math.pi * self.diameter * (self.sides * self.length + self.ends * self.diameter / 4)


@dataclass(frozen=True, kw_only=True)
class Cone(Shape):
    """A cone, or with a top a frustum: π (R + r) √((R − r)² + h²) + its ends."""

    name, title = "cone", "cone or frustum"
    diameter: float = figure("Diameter", "At the foot.")
    height: float = figure("Height", "Along the axis.")
    top: float = figure("Top", "Diameter at the other end; 0 for a point.", default=0.0)
    sides: int = _sides(help="1: the outside only; 2: the inside too.")
    ends: int = _ends()

    def developed(self) -> float:
        discs = sorted((math.pi / 4 * d**2 for d in (self.diameter, self.top)), reverse=True)
        return self.sides * _frustum(self.diameter, self.top, self.height) + math.fsum(discs[: self.ends])


@dataclass(frozen=True, kw_only=True)
class Sphere(Shape):
    """π d² whole, or a cap of it: π d h."""

    name, title = "sphere", "sphere or cap"
    diameter: float = figure("Diameter", "Of the whole sphere.")
    height: float = figure("Height", "Of a cap; 0 for the whole sphere.", default=0.0)
    sides: int = _sides(help="1: the outside only; 2: the inside of a thin shell too.")

    def fits(self) -> None:
        if self.height > self.diameter:
            raise InputError("height", "The cap is higher than its sphere.", "Give the diameter of the whole sphere.")

    def developed(self) -> float:
        return self.sides * math.pi * self.diameter * (self.height or self.diameter)


@dataclass(frozen=True, kw_only=True)
class Box(Shape):
    """2 (L W + L H + W H), less the faces that are left out."""

    name, title = "box", "box"
    length: float = figure("Length", "The longer level edge.")
    width: float = figure("Width", "The other level edge.")
    height: float = figure("Height", "Upright.")
    faces: str = figure("Faces", "Which of its faces are cleaned.", "choice", "all",
                        choices=("all", "without the bottom", "uprights", "without the back"))  # fmt: skip
    sides: int = _sides(help="1: the outside only; 2: the inside of a thin box too.")

    def developed(self) -> float:
        level, front, side = self.length * self.width, self.length * self.height, self.width * self.height
        whole = 2 * (level + front + side)
        less = {"all": 0.0, "without the bottom": level, "uprights": 2 * level, "without the back": front}
        return self.sides * (whole - less[self.faces])


@dataclass(frozen=True, kw_only=True)
class Louvre(Shape):
    """n slats all round: n W 2 (b + t). The frame about them is measured as a frame."""

    name, title = "louvre", "louvre"
    width: float = figure("Width", "Of one slat, between the stiles.")
    slat: float = figure("Slat", "Its other way, along the slope.")
    thickness: float = figure("Thickness", "Of a slat; 0 leaves the edges out.", default=0.0)
    slats: int = figure("Slats", "How many.", "count")
    sides: int = _sides(2)

    def developed(self) -> float:
        return self.slats * self.width * (self.sides * self.slat + 2 * self.thickness)


@dataclass(frozen=True, kw_only=True)
class Corrugated(Shape):
    """A sheet in waves: length × width × arc over pitch of a sine, (2/π) √(1 + k²) E(k²/(1 + k²)), k = π depth/pitch.

    E is the complete elliptic integral of the second kind.
    """

    name, title = "corrugated", "corrugated sheet"
    length: float = figure("Length", "Along the waves.")
    width: float = figure("Width", "Across them, straight.")
    pitch: float = figure("Pitch", "From crest to crest.")
    depth: float = figure("Depth", "From hollow to crest.")
    sides: int = _sides()

    def developed(self) -> float:
        k2 = (math.pi * self.depth / self.pitch) ** 2
        arc = 2 / math.pi * math.sqrt(1 + k2) * float(ellipe(k2 / (1 + k2)))
        return self.sides * self.length * self.width * arc


@dataclass(frozen=True, kw_only=True)
class Wall(Shape):
    """L H less its openings, and their edges 2 (w + h) × reveal.

    Rule of surveyors: an opening below 0.5 m² is neither deducted nor are its edges added (IS 1200). That is a rule of
    payment; "as it is" measures what is there.
    """

    name, title = "wall", "wall"
    length: float = figure("Length", "Along the foot.")
    height: float = figure("Height", "Upright.")
    openings: tuple[tuple[float, ...], ...] = figure(
        "Openings", "Width and height of each, and how many of them.", "openings", ()
    )
    reveal: float = figure("Reveal", "Depth of their edges, if these are cleaned.", default=0.0)
    rule: str = figure("Rule", "Which openings count.", "choice", "as it is", choices=("as it is", "surveyors"))

    def fits(self) -> None:
        for wide, high, *_ in self.openings:
            if not 0 < wide <= self.length or not 0 < high <= self.height:
                raise InputError("openings", "An opening is nought, or larger than its wall.", "Check its figures.")
        if math.fsum(wide * high * (count[0] if count else 1) for wide, high, *count in self.openings) >= (
            self.length * self.height
        ):
            raise InputError("openings", "The openings leave no wall.", "Check how many there are.")

    def developed(self) -> float:
        least = factors()[self.name, "rule"].value if self.rule == "surveyors" else 0.0
        area = self.length * self.height
        for wide, high, *count in self.openings:
            if wide * high >= least:
                area += (count[0] if count else 1) * (2 * (wide + high) * self.reveal - wide * high)
        return area

    @property
    def data(self) -> tuple[Datum, ...]:
        return (*super().data, *((factors()[self.name, "rule"],) if self.rule == "surveyors" else ()))


@dataclass(frozen=True, kw_only=True)
class Polygon(Shape):
    """Corners in order, by the shoelace: ½ |Σ (xᵢ yᵢ₊₁ − xᵢ₊₁ yᵢ)|."""

    name, title = "polygon", "flat face by its corners"
    points: tuple[tuple[float, float], ...] = figure(
        "Corners", "In order, each from the left and from below.", "points"
    )
    sides: int = _sides()

    def fits(self) -> None:
        if len(self.points) < 3:
            raise InputError("points", "A face needs three corners or more.", "Add the others.")
        if crossing(self.points):
            raise InputError("points", "The outline crosses itself.", "Give the corners in order.")

    def developed(self) -> float:
        pairs = zip(self.points, (*self.points[1:], self.points[0]), strict=True)
        return self.sides * abs(math.fsum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2


@dataclass(frozen=True, kw_only=True)
class Given(Shape):
    """An area that somebody knows already; without a word on how, as sure as what a customer says."""

    name, title = "area", "area as given"
    area_given: float = figure("Area", "All faces that are cleaned.", "area")
    how: str = measured_with("told")

    def developed(self) -> float:
        return self.area_given


def _frustum(d1: float, d2: float, h: float) -> float:
    """Mantle of a frustum; a ring where h is nought."""
    return math.pi / 2 * (d1 + d2) * math.hypot((d1 - d2) / 2, h)


SHAPES: dict[str, type[Shape]] = {
    kind.name: kind
    for kind in (
        Panel, Frame, Joinery, OpenWork, Moulding, Profiled, Turned, Spindle, Cylinder, Cone, Sphere, Box, Louvre,
        Corrugated, Wall, Polygon, Given,
    )
}  # fmt: skip
