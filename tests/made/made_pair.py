"""The same place before and after, the whole piece in the picture or seen through a frame's window."""

from dataclasses import dataclass

import numpy as np
from made_camera import Camera, Light, Photo, photograph
from made_patch import Box, Patch, Step, Surface, surface, treated
from made_scene import Layer, Scene, around, cut_shadow, printed, sheet_layer
from made_texture import MM, Ground, ramp, rough
from made_view import Pose
from PIL import Image

POSES = (Pose(0.3), Pose(0.33, 15, 40, 6))
LIGHTS = (Light(0.2), Light(0.3, 120))
CAMERAS = (Camera(), Camera())


@dataclass(frozen=True)
class Placed:
    """Where a sheet lies on the piece: turned clockwise about its window's middle, which is over a point [m]."""

    middle: tuple[float, float]
    over: tuple[float, float]
    turn: float = 0.0

    def sheet(self, points):
        """Points of the sheet (..., 2) over points of the piece (..., 2) [m]."""
        c, s = np.cos(np.radians(self.turn)), np.sin(np.radians(self.turn))
        away = np.asarray(points, dtype=float) - self.over
        return np.stack([c * away[..., 0] + s * away[..., 1], c * away[..., 1] - s * away[..., 0]], -1) + self.middle

    def piece(self, points):
        """Points of the piece under points of the sheet."""
        c, s = np.cos(np.radians(self.turn)), np.sin(np.radians(self.turn))
        away = np.asarray(points, dtype=float) - self.middle
        return np.stack([c * away[..., 0] - s * away[..., 1], s * away[..., 0] + c * away[..., 1]], -1) + self.over


@dataclass(frozen=True)
class Pair:
    """Two photos of a place and what was done between them.

    Args:
        before, after: Photo.
        patch: Patch of the whole piece after; `patch.area` is what was cleaned, (H, W) at `patch.scale`.
        places: Placed of the frame in each photo, or none.
    """

    before: Photo
    after: Photo
    patch: Patch
    places: tuple[Placed | None, Placed | None]

    @property
    def cleaned(self):
        """Area gone over [m²]."""
        return float(self.patch.area.sum() / self.patch.scale**2)

    @property
    def bared(self):
        """Area gone over that carries no film; pores count as bare, joints too [m²]."""
        return float((self.patch.area & ~self.patch.left).sum() / self.patch.scale**2)

    def pixels(self, which, points):
        """Pixels of points of the piece [m], `which` 0 before, 1 after."""
        place = self.places[which]
        return (self.before, self.after)[which].view.pixels(place.sheet(points) if place else points)


def marked(whole, count, rng):
    """The piece with nail heads and dents that show through any film, as something to find it again by."""
    below, scale = whole.ground, whole.ground.scale
    shape, dark = below.pores.shape, np.zeros(below.pores.shape, dtype=np.float32)
    for _ in range(count):
        row, column, radius = rng.uniform(0, shape[0]), rng.uniform(0, shape[1]), rng.uniform(0.4, 1.6) * MM * scale
        lean, stretch = rng.uniform(0, np.pi), rng.uniform(1, 4)
        reach = round(1.3 * stretch * radius)
        top, left = max(0, round(row) - reach), max(0, round(column) - reach)
        near = dark[top : round(row) + reach, left : round(column) + reach]
        down, across = np.ogrid[top : top + near.shape[0], left : left + near.shape[1]]
        along = (down - row) * np.sin(lean) + (across - column) * np.cos(lean)
        aside = (down - row) * np.cos(lean) - (across - column) * np.sin(lean)
        near[:] = np.maximum(near, 1 - ramp(np.hypot(along / stretch, aside) / radius, 0.7, 1.2))
    shade = (1 - 0.75 * dark)[..., None]
    ground = Ground(below.linear * shade, below.pores | (dark > 0.5), below.joints, scale)
    return Surface(ground, whole.coating, whole.thickness, whole.body * shade, whole.upright)


def blob(size, scale, share, rng):
    """A cleaned area such as a hand leaves: rounded, somewhat ragged, `share` of the piece, exact to the pixel."""
    shape = [round(one * scale) for one in size[::-1]]
    down, across = ((np.arange(n) + 0.5) / n * 2 - 1 for n in shape)
    field = np.hypot(down[:, None], across[None] * 0.9) + 0.08 * rough(shape, scale, min(size) / 4, rng)
    return field <= np.quantile(field, share)


def framed(linear, scale, place, raster, size, window, rng):
    """Reflectance of a frame with the piece in its one window."""
    dots = raster.shape[1] / size[0]
    sheet = printed(raster, rng, dots)
    rows, columns = Box(window.left, window.top, window.width, window.height).pixels(dots)
    shape = (rows.stop - rows.start, columns.stop - columns.start)
    corner = np.array((columns.start, rows.start)) / dots
    origin = place.piece(corner) * scale
    right, below = ((place.piece(corner + step) * scale - origin) / dots for step in ((1.0, 0.0), (0.0, 1.0)))
    numbers = (right[0], below[0], origin[0], right[1], below[1], origin[1])
    seen = [
        Image.fromarray(np.ascontiguousarray(linear[..., n])).transform(
            shape[::-1], Image.Transform.AFFINE, numbers, Image.Resampling.BILINEAR
        )
        for n in range(3)
    ]
    sheet[rows, columns] = (
        np.stack([np.asarray(one) for one in seen], axis=-1) * cut_shadow(shape, dots, 225.0)[..., None]
    )
    return sheet_layer(sheet, dots)


def pair(
    size, rng, substrate="oak", coating="varnish", step=None, area=0.4, scale=8000.0, marks=25,
    poses=POSES, lights=LIGHTS, cameras=CAMERAS, frame=None, shift=(0.0, 0.0, 0.0),
):  # fmt: skip
    """A Pair of photos of one piece of `size`, width and height [m].

    Args:
        step: Step done between the photos; none is a clean pass. Its margin is not used.
        area: mask (H, W) at `scale` of what it went over, or the share of the piece that a rounded area takes.
        marks: nail heads and dents on the piece.
        frame: (raster, size of the sheet, box of its one window); none shows the whole piece on a bench.
        shift: how the frame lies the second time: right and down [m] and clockwise [deg] of the first.
    """
    shape = [round(one * scale) for one in size[::-1]]
    whole = marked(surface(substrate, coating, shape, scale, rng), marks, rng)
    mask = blob(size, scale, area, rng) if np.isscalar(area) else area
    before, after = treated(whole, None, rng), treated(whole, step or Step(), rng, mask)
    photos, places = [], []
    if frame is None:
        bench = Layer(np.zeros((2, 2, 3), dtype=np.float32), 1.0)
        scenes = [Scene(tuple(size), sheet_layer(one.linear, scale), bench) for one in (before, after)]
        places = [None, None]
    else:
        raster, sheet, window = frame
        middle = (window.left + window.width / 2, window.top + window.height / 2)
        behind = around(substrate, coating, sheet, rng)
        places = [Placed(middle, (size[0] / 2 + d[0], size[1] / 2 + d[1]), d[2]) for d in ((0.0, 0.0, 0.0), shift)]
        scenes = [
            Scene(tuple(sheet), framed(one.linear, scale, place, np.asarray(raster), sheet, window, rng), behind)
            for one, place in zip((before, after), places, strict=True)
        ]
    for one, pose, light, camera in zip(scenes, poses, lights, cameras, strict=True):
        photos.append(photograph(one, pose, light, camera, rng))
    return Pair(photos[0], photos[1], after, (places[0], places[1]))
