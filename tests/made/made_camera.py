"""A phone's camera: pose, perspective, light, blur, noise, tone curve, JPEG. Numbers are invented unless sourced."""

import dataclasses
import io
from dataclasses import dataclass

import numpy as np
from made_colour import colour, encode
from made_scene import BENCH
from made_texture import MM, ramp
from made_view import View, homography, view
from PIL import Image
from scipy import ndimage

BIG, SMALL = (4032, 3024), (1440, 1080)  # 12 and 1.6 megapixels
ROOM = colour(70, 74, 80)
LEAST = 0.02  # px that the picture may bend away from straight within a tile
WARM, COOL = (1.0, 0.80, 0.52), (0.80, 0.92, 1.0)  # what is left of a lamp's or the sky's cast
ORIENTATION = 0x0112
# The picture as stored, from the upright one, for each EXIF orientation (Exif 2.3, tag 0x0112).
STORED = {
    1: lambda a: a, 2: lambda a: a[:, ::-1], 3: lambda a: a[::-1, ::-1], 4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1), 6: lambda a: a.swapaxes(0, 1)[::-1],
    7: lambda a: a.swapaxes(0, 1)[::-1, ::-1], 8: lambda a: a.swapaxes(0, 1)[:, ::-1],
}  # fmt: skip


@dataclass(frozen=True)
class Light:
    """How the sheet is lit.

    Args:
        gradient: share of the light lost from one end of the sheet to the other, 0 to 0.7 and above.
        toward: side that is dark [deg], as in Pose.
        cast: red, green, blue of the lamp after the camera's own balance.
        shadow: share lost within a shadow, its edge through `shadow_at` [m], dark on the side `shadow_toward` [deg].
        penumbra: width of that edge [m].
        glare: light of a mirrored lamp in its middle, white paper being 1; at `glare_at` [m], `glare_radius` [m].
        vignette: share lost in the corners of the picture.
    """

    gradient: float = 0.0
    toward: float = 0.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    shadow: float = 0.0
    shadow_at: tuple[float, float] = (0.1, 0.07)
    shadow_toward: float = 20.0
    penumbra: float = 6 * MM
    glare: float = 0.0
    glare_at: tuple[float, float] = (0.12, 0.05)
    glare_radius: float = 12 * MM
    vignette: float = 0.12

    def on(self, x, y, size):
        """Light that falls on points of the sheet (...), before its cast, 1 at its best, and glare beside it (...)."""
        right, down = np.cos(np.radians(self.toward)), np.sin(np.radians(self.toward))
        span = abs(right) * size[0] + abs(down) * size[1]
        along = ((x - size[0] / 2) * right + (y - size[1] / 2) * down) / span + 0.5
        level = np.exp(np.log(max(1 - self.gradient, 1e-3)) * np.clip(along, -0.5, 2.0))
        if self.shadow:
            right, down = np.cos(np.radians(self.shadow_toward)), np.sin(np.radians(self.shadow_toward))
            into = (x - self.shadow_at[0]) * right + (y - self.shadow_at[1]) * down
            level = level * (1 - self.shadow * ramp(into / self.penumbra, -0.5, 0.5))
        far = np.hypot(x - self.glare_at[0], y - self.glare_at[1]) / self.glare_radius
        return level, self.glare * np.exp(-(far**2))


@dataclass(frozen=True)
class Camera:
    """Lens, sensor and what the phone makes of it.

    Args:
        size: of the upright picture, width and height [px].
        focal: in long sides of the picture; 0.75 is a phone's main lens (26 mm on 36 by 24; from memory, unverified).
        barrel: k of r_true = r (1 + k r²), r in focal lengths from the middle; positive draws the corners in.
        defocus: spread of the blur [px of this picture].
        motion: length of the smear [px], `motion_toward` [deg].
        white: linear value of the best lit paper in the picture, 1 clips.
        full_well: electrons at 1; read: noise in the dark [electrons].
        curve: strength of an S on the sRGB value, 0 to 0.9.
        sharpen: share of the detail that the phone adds.
        quality: of the JPEG; subsampling: 2 halves the colours both ways, 0 keeps them.
        orientation: EXIF, 1 to 8.
    """

    size: tuple[int, int] = BIG
    focal: float = 0.75
    barrel: float = 0.01
    defocus: float = 0.6
    motion: float = 0.0
    motion_toward: float = 0.0
    white: float = 0.72
    full_well: float = 4000.0
    read: float = 4.0
    curve: float = 0.0
    sharpen: float = 0.0
    quality: int = 90
    subsampling: int = 2
    orientation: int = 1


@dataclass(frozen=True)
class Photo:
    """A made photo.

    Args:
        jpeg: the file.
        view: View; `photo.view.pixels(points)` is the truth for errors in millimetres.
        size: width and height of the upright picture [px].
        clipped: where a channel hit the top; every eighth pixel each way.
    """

    jpeg: bytes
    view: View
    size: tuple[int, int]
    clipped: np.ndarray


def draw(layer, corners, where, shape):
    """A layer (shape, channels) as a tile sees it.

    corners: of the tile, in its own pixels from the outer edge of the first; where: the points of the sheet there [m].
    """
    at = (where - layer.origin) * layer.scale
    channels, step = layer.reduced(*np.maximum(np.abs(at[1] - at[0]) / shape[1], np.abs(at[3] - at[0]) / shape[0]))
    numbers = homography(corners, at / step)
    kind = (Image.Transform.PERSPECTIVE, tuple(numbers), Image.Resampling.BILINEAR)
    return np.stack([np.asarray(one.transform(shape[::-1], *kind)) for one in channels], axis=-1)


def rendered(scene, seen, size, step):
    """Reflectance (H/step, W/step, 3) of the whole picture, before any light falls on it."""
    width, height = (int(np.ceil(n / step)) for n in size)
    picture = np.empty((height, width, 3), dtype=np.float32)
    # Over t pixels r (1 + k r²) leaves its chord by 6 k r t² / (8 f), r at most about 0.6; a bulge b over a width W by
    # (8 b / W²) t² / (8 n) at n pixels of a metre, seen under 45°.
    pixels_of_metre = seen.focal / abs(seen.centre[2])
    bend = 6 * abs(seen.barrel) * 0.6 / (8 * seen.focal) + abs(seen.bulge) / seen.width**2 / pixels_of_metre
    tile = int(np.clip(np.sqrt(LEAST / max(bend, 1e-9)) / step, 8, 128))
    xs, ys = (np.append(np.arange(0, n, tile), n) for n in (width, height))
    grid = np.stack(np.meshgrid(xs, ys), axis=-1) * step - 0.5  # tile corners, in pixels of the whole picture
    ground, floor = seen.sheet(grid), dataclasses.replace(seen, bulge=0.0).sheet(grid)
    limit = np.array(scene.size)
    for i in range(len(ys) - 1):
        for j in range(len(xs) - 1):
            where = np.array([ground[i, j], ground[i, j + 1], ground[i + 1, j + 1], ground[i + 1, j]])
            tile = picture[ys[i] : ys[i + 1], xs[j] : xs[j + 1]]
            if not np.isfinite(where).all() or np.abs(where).max() > 20:
                tile[:] = ROOM
                continue
            shape = tile.shape[:2]
            corners = [(0, 0), (shape[1], 0), (shape[1], shape[0]), (0, shape[0])]
            low, high = where.min(axis=0), where.max(axis=0)
            inside = (low > 2 * MM).all() and (high < limit - 2 * MM).all()
            if not inside:
                below = np.array([floor[i, j], floor[i, j + 1], floor[i + 1, j + 1], floor[i + 1, j]])
                tile[:] = draw(scene.behind, corners, below, shape) + BENCH
            if inside or ((high > 0).all() and (low < limit).all()):
                sheet = draw(scene.sheet, corners, where, shape)
                cover = sheet[..., 3:]
                tile[:] = sheet[..., :3] + (1 - cover) * tile if not inside else sheet[..., :3]
    return picture


def spread(coarse, size):
    """A coarse field (h, w) of one value every eight pixels, drawn up to `size` (width, height)."""
    box = (0, 0, size[0] / 8, size[1] / 8)
    return np.asarray(Image.fromarray(coarse.astype(np.float32)).resize(size, Image.Resampling.BILINEAR, box=box))


def smeared(picture, length, toward):
    """Averaged along a line of `length` pixels."""
    count = max(2, round(length) + 1)
    offsets = np.linspace(-length / 2, length / 2, count)
    total = np.zeros_like(picture)
    for one in offsets:
        shift = (round(one * np.sin(np.radians(toward))), round(one * np.cos(np.radians(toward))))
        total += np.roll(picture, shift, axis=(0, 1))
    return total / count


def curve(strength, entries=1 << 15):
    """The tone curve as a table over linear light 0 to 1, to values 0 to 255: sRGB, then an S.

    s(v) = v - c sin(2π v) / (2π), rising while c < 1
    """
    value = encode(np.linspace(0, 1, entries))
    return (np.round(255 * (value - strength * np.sin(2 * np.pi * value) / (2 * np.pi)))).astype(np.uint8)


def developed(picture, light, glare, cast, camera, gain, rng):
    """8-bit picture of reflectance (H, W, 3) under light (H, W) of a cast, and glare (H, W), with noise."""
    table, out = curve(camera.curve), np.empty(picture.shape, dtype=np.uint8)
    # Drawing 36 million normal numbers takes longer than all else: they come from a pool, from a new place each band.
    pool = rng.standard_normal(min(1 << 21, 2 * picture.size), dtype=np.float32)
    rows = max(1, len(pool) // (2 * picture.shape[1] * 3))
    for top in range(0, len(picture), rows):
        band = slice(top, top + rows)
        # Band by band, to keep in the processor's cache.
        signal = picture[band] * light[band][..., None]
        signal += glare[band][..., None]
        signal *= (gain * np.array(cast)).astype(np.float32)
        start = rng.integers(len(pool) - signal.size + 1)
        sway = np.sqrt(signal / np.float32(camera.full_well) + np.float32((camera.read / camera.full_well) ** 2))
        sway *= pool[start : start + signal.size].reshape(signal.shape)
        signal += sway
        np.clip(signal, 0, 1, out=signal)
        signal *= len(table) - 1
        out[band] = table[signal.astype(np.uint16)]
    return out


def photograph(scene, pose, light, camera, rng):
    """A Photo of a Scene."""
    seen = view(pose, camera, scene.size, scene.bulge)
    width, height = camera.size
    # A blurred picture holds no detail: it is rendered smaller and drawn up.
    step = int(np.clip(camera.defocus / 1.6, 1, 6))
    picture = rendered(scene, seen, camera.size, step)
    if camera.motion:
        picture = smeared(picture, camera.motion / step, camera.motion_toward)
    if camera.defocus:
        picture = ndimage.gaussian_filter(picture, (camera.defocus / step, camera.defocus / step, 0), truncate=3)
    if step > 1:
        box = (0, 0, width / step, height / step)
        up = [Image.fromarray(picture[..., n]).resize(camera.size, Image.Resampling.BICUBIC, box=box) for n in range(3)]
        picture = np.stack([np.asarray(one) for one in up], axis=-1)
    # Light, at every eighth pixel.
    across, down = (np.arange(int(np.ceil(n / 8))) * 8 + 3.5 for n in camera.size)
    grid = np.stack(np.meshgrid(across, down), axis=-1)
    where = np.nan_to_num(seen.sheet(grid), nan=5.0)
    level, glare = light.on(where[..., 0], where[..., 1], scene.size)
    corner = ((grid - seen.middle) ** 2).sum(axis=-1) / ((width**2 + height**2) / 4)
    level = level * (1 - light.vignette * corner)
    on_sheet = ((where >= 0) & (where <= scene.size)).all(axis=-1)
    gain = camera.white / (0.86 * max(light.cast) * np.max(level[on_sheet] if on_sheet.any() else level))
    out = developed(picture, spread(level, camera.size), spread(glare, camera.size), light.cast, camera, gain, rng)
    image = Image.fromarray(out)
    if camera.sharpen:
        soft = np.asarray(image.reduce(1)).astype(np.float32)
        soft = ndimage.gaussian_filter(soft, (1.2, 1.2, 0), truncate=2)
        out = np.clip(out + camera.sharpen * (out - soft), 0, 255).astype(np.uint8)
    exif = Image.Exif()
    exif[ORIENTATION] = camera.orientation
    file = io.BytesIO()
    stored = np.ascontiguousarray(STORED[camera.orientation](out))
    Image.fromarray(stored).save(file, "JPEG", quality=camera.quality, subsampling=camera.subsampling, exif=exif)
    return Photo(file.getvalue(), seen, camera.size, (out[::8, ::8] == 255).any(axis=-1))
