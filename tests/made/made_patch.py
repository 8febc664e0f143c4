"""A piece under a film, and a graded patch on it with its truth known to the pixel."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from made_coating import coated, film
from made_colour import lab, toned
from made_texture import MM, Ground, ground, noise, ramp, rough
from scipy import ndimage

LIES = ("islands", "edges", "lines", "grain")


class Box(NamedTuple):
    """An upright rectangle from its upper left corner [m]."""

    left: float
    top: float
    width: float
    height: float

    def pixels(self, scale):
        """Slices of the rows and columns it covers, to the nearest pixel."""
        ends = [round(v * scale) for v in (self.top, self.top + self.height, self.left, self.left + self.width)]
        return slice(ends[0], ends[1]), slice(ends[2], ends[3])


@dataclass(frozen=True)
class Step:
    """What a pass left of the film and did to the substrate.

    Args:
        left: share of the open surface within the patch that still carries film, 0 to 1.
        lie: how it lies, one of LIES: islands; a rim along the edges; lines between sweeps; along the grain.
        thinned: how much thinner the film is at the border of what is left, 0 to 1.
        period: of the sweeps [m].
        darkening: L* that the substrate lost all over the patch.
        yellowing: b* that it gained.
        hot: strength of the scorch where the sweep turns, 0 to 1; left and right.
        hot_width: of the scorch [m].
        burnt: number of burnt spots.
        filled: share of the pores that still hold film.
        margin: of untouched film between the patch and the window [m].
        turned: sweeps run down instead of across.
    """

    left: float = 0.0
    lie: str = "islands"
    thinned: float = 0.3
    period: float = 1.0 * MM
    darkening: float = 0.0
    yellowing: float = 0.0
    hot: float = 0.0
    hot_width: float = 1.5 * MM
    burnt: int = 0
    filled: float = 0.0
    margin: float = 3 * MM
    turned: bool = False


@dataclass(frozen=True)
class Surface:
    """A substrate with its whole film on."""

    ground: Ground
    coating: str
    thickness: np.ndarray
    body: np.ndarray
    upright: bool = False

    def part(self, rows, columns):
        one = self.ground
        cut = Ground(one.linear[rows, columns], one.pores[rows, columns], one.joints[rows, columns], one.scale)
        return Surface(cut, self.coating, self.thickness[rows, columns], self.body[rows, columns], self.upright)


@dataclass(frozen=True)
class Patch:
    """A patch, the untouched film around it, and the truth; masks are (H, W).

    Args:
        linear: reflectance (H, W, 3), linear sRGB primaries.
        scale: pixels of a metre.
        area: what the pass went over.
        left: film on the open surface within the area.
        pores: dark hollows of the substrate, within the area or not; never counted in `left`.
        joints: mortar.
        hot, burnt: scorch at the turns; burnt spots.
        thickness: of the film, 1 about whole.
        clean, tinted: mean reflectance (3,) of the open substrate before and after its tint, without scorch or film.
        whole: mean reflectance (3,) of the untouched film over the same ground.
    """

    linear: np.ndarray
    scale: float
    area: np.ndarray
    left: np.ndarray
    pores: np.ndarray
    joints: np.ndarray
    hot: np.ndarray
    burnt: np.ndarray
    thickness: np.ndarray
    clean: np.ndarray
    tinted: np.ndarray
    whole: np.ndarray

    @property
    def open(self):
        return self.area & ~self.pores

    @property
    def fraction(self):
        """Share of the open surface that still carries film; not a number where nothing was treated."""
        return self.fraction_in(slice(None), slice(None))

    def fraction_in(self, rows, columns):
        """The same of a part of the patch."""
        open_ = self.open[rows, columns]
        return float(self.left[rows, columns].sum() / open_.sum()) if open_.any() else float("nan")

    @property
    def darkening(self):
        return float(lab(self.clean)[0] - lab(self.tinted)[0])

    @property
    def yellowing(self):
        return float(lab(self.tinted)[2] - lab(self.clean)[2])


def surface(substrate, coating, shape, scale, rng, upright=False):
    """A piece of a substrate under a whole film."""
    below = ground(substrate, shape, scale, rng, upright)
    return Surface(below, coating, *film(coating, shape, scale, rng, upright), upright)


def inner(shape, scale, margin, rng):
    """A rectangle within the shape, its border a little ragged."""
    border = margin * scale + (0.12 * MM * scale * rough(shape, scale, 1.2 * MM, rng) if margin else 0)
    down = np.minimum(np.arange(shape[0]), np.arange(shape[0])[::-1])[:, None]
    across = np.minimum(np.arange(shape[1]), np.arange(shape[1])[::-1])[None]
    return np.minimum(down, across) >= border


def cling(step, area, scale, upright, rng):
    """A field that is high where film stays longest; about unit spread."""
    shape = area.shape
    if step.lie == "islands":
        return rough(shape, scale, 1.6 * MM, rng) + 0.4 * noise(shape, scale, 6 * MM, rng)
    if step.lie == "edges":
        inside = ndimage.distance_transform_edt(np.pad(area, 1))[1:-1, 1:-1] / scale
        return -inside / (1.5 * MM) + 0.5 * rough(shape, scale, 1.5 * MM, rng)
    if step.lie == "grain":
        length = np.array((0.35 * MM, 6 * MM))[:: -1 if upright else 1]
        return rough(shape, scale, length, rng, 3) + 0.4 * noise(shape, scale, 5 * MM, rng)
    if step.lie == "lines":
        along = np.arange(shape[1] if step.turned else shape[0]) / scale
        along = along[None] if step.turned else along[:, None]
        phase = along / step.period + 0.06 * noise(shape, scale, 8 * MM, rng) + rng.random()
        return 1.3 * np.cos(2 * np.pi * phase) + 0.5 * rough(shape, scale, 1.0 * MM, rng)
    raise ValueError(f"{step.lie} is none of {LIES}")


def highest(field, among, count):
    """Level above which exactly `count` pixels of a mask lie (ties are broken by the field's own grain)."""
    if count <= 0:
        return np.inf
    values = field[among]
    return float(np.partition(values, len(values) - count)[len(values) - count])


def scorch(step, area, scale, rng):
    """Strength of the heat at the two turns of the sweep, 0 to 1."""
    shape, axis = area.shape, 0 if step.turned else 1
    where = np.flatnonzero(area.any(axis=1 - axis))
    if not step.hot or not len(where):
        return np.zeros(shape, dtype=np.float32)
    at = np.arange(shape[axis])
    inside = np.minimum(at - where[0], where[-1] - at) / scale
    inside = inside[:, None] if axis == 0 else inside[None]
    ragged = inside + 0.2 * step.hot_width * rough(shape, scale, 0.8 * MM, rng)
    return (area * (1 - ramp(ragged, 0.6 * step.hot_width, 1.4 * step.hot_width))).astype(np.float32)


def spots(step, area, scale, rng):
    """Char, 0 to 1."""
    char = np.zeros(area.shape, dtype=np.float32)
    places = np.argwhere(area)
    for _ in range(step.burnt if len(places) else 0):
        row, column = places[rng.integers(len(places))]
        radius = rng.uniform(0.2 * MM, 0.7 * MM) * scale
        down, across = np.ogrid[: area.shape[0], : area.shape[1]]
        char = np.maximum(char, 1 - ramp(np.hypot(down - row, across - column), 0.7 * radius, 1.3 * radius))
    return char * area


def treated(whole, step, rng, area=None):
    """The piece after a pass.

    Args:
        whole: Surface.
        step: Step, or none where the film is untouched.
        area: mask (H, W) the pass went over; without it a rectangle within the step's margin.
    """
    below, scale = whole.ground, whole.ground.scale
    shape = below.pores.shape
    if area is None:
        area = np.zeros(shape, dtype=bool) if step is None else inner(shape, scale, step.margin, rng)
    step = step or Step()
    open_ = area & ~below.pores
    clean = below.linear[open_ if open_.any() else ~below.pores].mean(axis=0).astype(float)
    tint = toned(clean, step.darkening, step.yellowing)
    # The substrate: tinted, scorched, burnt.
    hot, burnt = scorch(step, area, scale, rng), spots(step, area, scale, rng)
    bare = np.where(area[..., None], below.linear * tint, below.linear)
    bare = bare * (1 - step.hot * hot[..., None] * np.array((0.50, 0.62, 0.74), dtype=np.float32))
    bare = bare * (1 - burnt[..., None] * np.array((0.80, 0.85, 0.88), dtype=np.float32))
    # The film that stays, thinner toward its border.
    field = cling(step, area, scale, whole.upright, rng)
    level = highest(field, open_, round(step.left * open_.sum()))
    stays = area & (field >= level)
    body = (1 - step.thinned) + step.thinned * ramp(field, level, level + 0.5)
    hold = noise(shape, scale, 1.5 * MM, rng)
    filled = below.pores & (hold >= highest(hold, below.pores, round(step.filled * below.pores.sum())))
    remains = np.where(stays, body, np.where(filled, 0.7, 0.0))
    thickness = whole.thickness * np.where(area, remains, 1.0).astype(np.float32)
    linear = coated(bare, whole.body, thickness, whole.coating)
    untouched = coated(below.linear, whole.body, whole.thickness, whole.coating)
    return Patch(
        linear.astype(np.float32), scale, area, stays & ~below.pores, below.pores, below.joints, hot > 0.5, burnt > 0.5,
        thickness, clean, clean * tint, untouched[~below.pores].mean(axis=0).astype(float),
    )  # fmt: skip
