"""What lies before the camera: a printed sheet on a piece, its windows cut out; or the piece alone. Invented."""

from dataclasses import dataclass, field

import numpy as np
from made_colour import colour
from made_patch import Box, Patch, Step, surface, treated
from made_texture import MM, noise, ramp
from PIL import Image

PAPER = (0.85, 0.855, 0.87)  # reflectance of office paper, a little blue from its brightener; from memory, unverified
INK = 0.04  # of a laser printer's black; from memory, unverified
BENCH = colour(96, 94, 92)
AROUND = 0.15  # of the piece seen on every side of the sheet [m]
COARSE = 2500.0  # pixels of a metre, of the piece out of the windows


class Layer:
    """A picture (H, W, 3 or 4) that is drawn smaller where the camera is far, so that nothing flickers."""

    STEPS = (1, 2, 3, 4, 6, 8, 12, 16)

    def __init__(self, linear, scale, origin=(0.0, 0.0)):
        self.scale, self.origin, self.shape = scale, origin, linear.shape[:2]
        self.drawn = {(1, 1): [Image.fromarray(np.ascontiguousarray(linear[..., n])) for n in range(linear.shape[2])]}

    def reduced(self, across, down):
        """The channels, and how many of their pixels go to one, when one pixel of the photo spans so many."""
        step = tuple(min(self.STEPS, key=lambda n: abs(np.log(n / max(1.0, one)))) for one in (across, down))
        if step not in self.drawn:
            self.drawn[step] = [one.reduce(step) for one in self.drawn[1, 1]]
        return self.drawn[step], step


@dataclass(frozen=True)
class Scene:
    """What lies before the camera, in metres of the sheet (or of the piece, where there is no sheet).

    Args:
        size: width and height of the sheet [m].
        sheet: its Layer, the windows pasted in, or the piece alone.
        behind: the Layer around it.
        patches: Patch of each window.
        bulge: height of the sheet's middle above its two ends, left and right [m]; negative, of its ends above
            its middle. What is in the windows bends along.
        boxes: each window to the pixel, as it was cut: `patches[name].linear` fills it exactly.
    """

    size: tuple[float, float]
    sheet: Layer
    behind: Layer
    patches: dict[str, Patch] = field(default_factory=dict)
    boxes: dict[str, Box] = field(default_factory=dict)
    bulge: float = 0.0


def sheet_layer(linear, scale):
    """The Layer of a sheet, with how much of each pixel it covers as a fourth channel, so that its edge is smooth."""
    whole = np.pad(linear, ((0, 0), (0, 0), (0, 1)), constant_values=1.0)
    return Layer(np.pad(whole, ((2, 2), (2, 2), (0, 0))), scale, (-2 / scale, -2 / scale))


def printed(raster, rng, scale):
    """Reflectance of a sheet printed from a raster of 0 to 255, (H, W) or (H, W, 3); ink and paper mix linearly."""
    value = np.asarray(raster, dtype=np.float32) / 255
    if value.ndim == 2:
        value = value[..., None]
    share = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    shape = share.shape[:2]
    paper = np.array(PAPER, dtype=np.float32) * (1 + 0.006 * noise(shape, scale, 0.3 * MM, rng))[..., None]
    shade = 1 + 0.012 * noise(shape, scale, 60 * MM, rng)  # a sheet is never quite flat
    return ((INK + (paper - INK) * share) * shade[..., None]).astype(np.float32)


def cut_shadow(shape, scale, lamp, depth=0.15 * MM):
    """Share of light on the piece near the cut edges of a window: paper of `depth` stands between it and the lamp.

    lamp: direction on the sheet toward the lamp [deg], 0 to the right, 90 down.
    """
    right, down = np.cos(np.radians(lamp)), np.sin(np.radians(lamp))
    at = [(np.arange(n) + 0.5) / scale for n in shape]
    span = [n / scale for n in shape]
    reach = 1.5 * depth
    near_across = (span[1] - at[1] if right > 0 else at[1])[None] / (reach * abs(right) + 0.3 * depth)
    near_down = (span[0] - at[0] if down > 0 else at[0])[:, None] / (reach * abs(down) + 0.3 * depth)
    return (0.45 + 0.55 * ramp(np.minimum(near_across, near_down), 0.3, 1.5)).astype(np.float32)


def around(substrate, coating, size, rng, upright=False, margin=AROUND):
    """The piece out to `margin` around, coarse; stored less the bench's colour, which shows beyond it."""
    shape = [round((one + 2 * margin) * COARSE) for one in size[::-1]]
    whole = treated(surface(substrate, coating, shape, COARSE, rng, upright), None, rng)
    return Layer(whole.linear - BENCH, COARSE, (-margin, -margin))


def scene(
    sheet_raster,
    size,
    windows,
    patches,
    rng,
    substrate="oak",
    coating="varnish",
    upright=False,
    lamp=225.0,
    beyond=AROUND,
    bulge=0.0,
):
    """A printed sheet on a piece, one patch in each window.

    Args:
        sheet_raster: uint8 (H, W) or (H, W, 3), such as a page at 300 dpi; its resolution is the scene's.
        size: width and height of the sheet [m].
        windows: box of each window by name, [m] from the sheet's upper left: anything with left, top, width, height.
        patches: Step by window name; none, or a name left out, is untouched film. `BARE` is the known clean spot.
        rng: numpy Generator; the same one gives the same scene.
        upright: grain runs down. lamp: side the light comes from [deg]. beyond: piece around the sheet [m].
        bulge: as in Scene.
    """
    raster = np.asarray(sheet_raster)
    scale = raster.shape[1] / size[0]
    sheet = printed(raster, rng, scale)
    made, boxes = {}, {}
    for name, box in windows.items():
        rows, columns = Box(box.left, box.top, box.width, box.height).pixels(scale)
        shape = (rows.stop - rows.start, columns.stop - columns.start)
        made[name] = treated(surface(substrate, coating, shape, scale, rng, upright), patches.get(name), rng)
        sheet[rows, columns] = made[name].linear * cut_shadow(shape, scale, lamp)[..., None]
        boxes[name] = Box(columns.start / scale, rows.start / scale, shape[1] / scale, shape[0] / scale)
    behind = around(substrate, coating, size, rng, upright, beyond)
    return Scene(tuple(size), sheet_layer(sheet, scale), behind, made, boxes, bulge)


BARE = Step(0.0, margin=0.0)


def stand_in(size=(0.19, 0.14), windows=None, dpi=300, corner=18 * MM):
    """A raster that looks somewhat like a frame, black squares at the corners, for looks and speed only."""
    scale = dpi / 0.0254
    raster = np.full([round(one * scale) for one in size[::-1]], 255, dtype=np.uint8)
    width, height = size
    for left in (5 * MM, width - 5 * MM - corner):
        for top in (5 * MM, height - 5 * MM - corner):
            raster[Box(left, top, corner, corner).pixels(scale)] = 0
            third = corner / 3
            raster[Box(left + third, top + third, third, third / 2).pixels(scale)] = 255
    for n in range(8):
        raster[Box(30 * MM + n * 10 * MM, 8 * MM, 10 * MM, 10 * MM).pixels(scale)] = round(255 * n / 7)
    for box in (windows or {}).values():
        rows, columns = Box(box.left, box.top, box.width, box.height).pixels(scale)
        rim = round(0.4 * MM * scale)
        raster[rows.start - rim : rows.stop + rim, columns.start - rim : columns.stop + rim] = 0
    return raster


def row(count, size=(0.19, 0.14), side=25 * MM):
    """Windows w1, w2 … in rows of five in the middle of a sheet."""
    boxes = {}
    for n in range(count):
        across, down = n % 5, n // 5
        boxes[f"w{n + 1}"] = Box(0.0275 + across * (side + 3 * MM), 0.035 + down * (side + 6 * MM), side, side)
    return boxes
