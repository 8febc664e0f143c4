"""Photos of a printed sheet by a pinhole camera: SciPy and Pillow only, none of the calls that find it.

The light is smooth and the paper flat; there is no lens distortion and no tone curve of a camera. It is a floor that
every finder must pass, no likeness of a phone.
"""

import io
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from made_sheet import DPI, printed
from PIL import Image
from scipy import ndimage
from skimage.color import rgb2xyz

# Light of an sRGB code, by another's code: a grey's Y of rgb2xyz is its light.
DECODE = rgb2xyz(np.repeat(np.linspace(0, 1, 4097)[:, None, None], 3, axis=2))[:, 0, 1].astype(np.float32)
INK = 0.04  # light thrown back by black print (from memory, unverified)
TABLE = (0.10, 0.07, 0.05)
PATCHES = ((0.45, 0.25, 0.12), (0.30, 0.28, 0.27), (0.55, 0.42, 0.30), (0.08, 0.07, 0.06))


@dataclass(frozen=True)
class Pose:
    """How a sheet is photographed. tilt, azimuth, turn [deg]; share: of the picture's width the sheet's height takes;
    shift: of the picture's sides; blur [px]; noise in codes; bend: power of each channel; the rest: 0 to 1."""

    tilt: float = 0.0
    azimuth: float = 0.0
    turn: float = 0.0
    share: float = 0.8
    shift: tuple[float, float] = (0.0, 0.0)
    size: tuple[int, int] = (1500, 2000)
    blur: float = 0.8
    noise: float = 1.0
    gradient: float = 0.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    level: float = 0.75
    glare: float = 0.0
    shadow: float = 0.0
    quality: int = 90
    pen: int = 0
    bend: tuple[float, float, float] = (1.0, 1.0, 1.0)
    seed: int = 0

    def with_(self, **more):
        return replace(self, **more)


@dataclass(frozen=True)
class Shot:
    """A photo (H, W, 3), its file, the true homography from the sheet [m] to its pixels, and the true albedo [0, 1]."""

    image: np.ndarray
    content: bytes
    homography: np.ndarray
    albedo: np.ndarray


def camera(frame, pose):
    """From the sheet [m] to the photo [px from the corner of the first pixel], by pinhole optics."""
    rows, columns = pose.size
    focal = 0.75 * columns
    tilt, azimuth, turn = np.radians([pose.tilt, pose.azimuth, pose.turn])

    def about_z(angle):
        c, s = np.cos(angle), np.sin(angle)
        return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])

    c, s = np.cos(tilt), np.sin(tilt)
    about_x = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    # The sheet lies along the picture's long side.
    turned = about_z(turn + np.pi / 2) @ about_z(azimuth) @ about_x @ about_z(-azimuth)
    distance = focal * frame.height / (pose.share * columns)
    middle = np.array([frame.width / 2, frame.height / 2, 0.0])
    x, y = pose.shift
    away = np.array([x * columns / focal * distance, y * rows / focal * distance, distance]) - turned @ middle
    inner = np.array([[focal, 0, columns / 2], [0, focal, rows / 2], [0, 0, 1]])
    found = inner @ np.column_stack([turned[:, 0], turned[:, 1], away])
    return found / found[2, 2]


def photograph(frame, face, pose, colours=PATCHES):
    """A photo of the sheet's print (H, W) at DPI, codes or light, with the patches' colours in its windows, in turn."""
    random = np.random.default_rng(pose.seed)
    rows, columns = pose.size
    homography = camera(frame, pose)
    per_metre = DPI / 0.0254
    if face.dtype == np.uint8:
        face = DECODE[(face.astype(np.float32) / 255 * 4096).round().astype(int)]
    print_ = INK + (1 - INK) * face.astype(np.float32)
    if pose.pen:
        print_ = _written(print_, pose.pen, random)
    number = np.zeros(face.shape, dtype=np.uint8)
    for n, box in enumerate(frame.cut, 1):
        ends = np.round(np.array([box.top, box.top + box.height, box.left, box.left + box.width]) * per_metre).astype(
            int
        )
        number[ends[0] : ends[1], ends[2] : ends[3]] = n
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32) + 0.5
    back = np.linalg.inv(homography)
    w = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    u = (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / w * per_metre
    v = (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / w * per_metre
    coarse = per_metre * frame.height / (pose.share * columns)
    if coarse > 1.2:
        print_ = ndimage.gaussian_filter(print_, 0.4 * coarse)
    at = np.stack([v - 0.5, u - 0.5])
    grey = ndimage.map_coordinates(print_, at, order=1, mode="nearest")
    which = ndimage.map_coordinates(number, at, order=0, mode="nearest")
    inside = (u >= 0) & (v >= 0) & (u < face.shape[1]) & (v < face.shape[0]) & (w * back[2, 2] > 0)
    palette = np.array([(1.0, 1.0, 1.0), *(colours[n % len(colours)] for n in range(len(frame.cut)))], np.float32)
    albedo = np.where((which == 0)[..., None], grey[..., None], palette[which])
    albedo = np.where(inside[..., None], albedo, np.float32(TABLE)).astype(np.float32)
    # Texture of the piece and the table.
    grain = ndimage.gaussian_filter(random.standard_normal((rows, columns)).astype(np.float32), 2) * 0.25
    albedo = np.where((inside & (which == 0))[..., None], albedo, albedo * (1 + grain[..., None]))
    light = albedo * pose.level * _light(pose, x / columns, y / rows)[..., None] * np.float32(pose.cast)
    if pose.glare:
        near = np.exp(-(((x / columns - 0.55) / 0.07) ** 2 + ((y / rows - 0.45) / 0.09) ** 2))
        light = light + pose.glare * near[..., None]
    albedo.setflags(write=False)
    light = np.stack([ndimage.gaussian_filter(light[..., n], pose.blur) for n in range(3)], axis=-1)
    codes = np.interp(np.clip(light, 0, 1) ** np.float32(pose.bend), DECODE, np.linspace(0, 255, len(DECODE)))
    codes = np.clip(codes + pose.noise * random.standard_normal(codes.shape), 0, 255).round().astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(codes).save(out, "JPEG", quality=pose.quality)
    return Shot(np.asarray(Image.open(out)), out.getvalue(), homography, albedo)


PLAIN = Pose()


@lru_cache(maxsize=32)
def shoot(count=6, paper="us-letter", pose=PLAIN, sweep=0.08, colours=PATCHES):
    """(frame, shot) of a sheet as `sheet_pdf` prints it."""
    frame, face = printed(count, paper, sweep)
    return frame, photograph(frame, face, pose, colours)


def miss(found, truth, frame):
    """How far each corner of each window is off on the sheet [m] (N,), by the true camera."""
    boxes = [one.box for one in frame.windows]
    at = np.array([(b.left + i * b.width, b.top + j * b.height) for b in boxes for i in (0, 1) for j in (0, 1)])
    ones = np.column_stack([at, np.ones(len(at))])
    seen = ones @ found.homography.T
    on_sheet = seen @ np.linalg.inv(truth).T
    return np.linalg.norm(on_sheet[:, :2] / on_sheet[:, 2:] - at, axis=1)


def _light(pose, x, y):
    """Uneven light: falls by `gradient` across the picture; and a shadow with an edge."""
    fall = 1 - pose.gradient * np.clip(0.7 * x + 0.3 * y, 0, 1) ** 1.2
    return fall * np.where(x + 0.3 * y > 0.62, 1 - pose.shadow, 1).astype(np.float32)


def _written(face, strokes, random):
    """Hand notes: dark strokes across the paper."""
    out = face.copy()
    for _ in range(strokes):
        row, column = random.integers(200, face.shape[0] - 300), random.integers(100, face.shape[1] - 500)
        for step in range(400):
            i, j = row + int(40 * np.sin(step / 30)), column + step
            out[i : i + 5, j : j + 5] = 0.08
    return out


SHEETS = ((6, "us-letter", 0.08), (12, "a4", 0.1), (4, "a4", 0.04))


def made(how, random):
    """A photo for benchmarks/photos.py: (content, frame, homography)."""
    frame, face = printed(*SHEETS[random.integers(len(SHEETS))])
    size = round(how.long_side * 0.75), how.long_side
    pose = Pose(
        tilt=how.tilt, azimuth=random.uniform(0, 360), turn=random.uniform(-8, 8) + 180 * random.integers(2),
        share=random.uniform(0.78, 0.86), size=size, noise=how.noise, gradient=how.gradient, quality=how.quality,
        seed=int(random.integers(2**31)), level=0.8,
    )  # fmt: skip
    pose = pose.with_(shift=_shift_for(frame, pose, how.cut, random.uniform(0, 2 * np.pi)))
    blur = how.blur * pose.share * size[1] / frame.height
    shot = photograph(frame, face, pose.with_(blur=max(0.5, blur)))
    return shot.content, frame, shot.homography


def _shift_for(frame, pose, cut, direction):
    """The shift in a direction that leaves this share of the sheet outside the picture."""
    if cut == 0:
        return (0.0, 0.0)
    x, y = np.meshgrid(np.linspace(0, frame.width, 40), np.linspace(0, frame.height, 40))
    at = np.column_stack([x.ravel(), y.ravel(), np.ones(x.size)])
    way, low, high = np.array([np.cos(direction), np.sin(direction)]), 0.0, 1.2
    for _ in range(30):
        middle = (low + high) / 2
        seen = at @ camera(frame, pose.with_(shift=tuple(middle * way))).T
        u, v = (seen[:, :2] / seen[:, 2:]).T
        outside = np.mean((u < 0) | (v < 0) | (u > pose.size[1]) | (v > pose.size[0]))
        low, high = (middle, high) if outside < cut else (low, middle)
    return tuple(middle * way)
