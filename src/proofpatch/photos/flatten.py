"""The sheet seen straight from above in even light, and what is wrong with the photo.

Only paper tells of the light: what lies in the windows has no say in it. Every threshold is common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from proofpatch.photos.find import Found
from proofpatch.photos.flat import Box, Flat
from proofpatch.photos.frame import MARKER, MM, RULER_HEIGHT, Frame
from proofpatch.photos.light import CODES, luminance

Floats = NDArray[np.float64]
SCALE = 8e3  # px of a metre
FULL = 65535  # 16-bit light of full white
CLIPPED_CODE = 252  # from here on a pixel may have been brighter than it says
MOST_FLAT = 20e6  # px of what is made; a larger rectangle is made coarser
CELL = 2 * MM  # paper is read in cells of this side
CUT_EDGE = 2.5 * MM  # round a window the paper may be cut, torn or in its own shadow
INK_EDGE = 1.0 * MM  # round print of ours
SHEET_EDGE = 3.0 * MM
FEWEST_CELLS = 60
DARKEST_PAPER = 0.02  # light of a cell that can be paper
TUKEY = 4.685  # Beaton & Tukey 1974: 95 % efficiency (from memory)
SMALLEST_SPREAD = 0.01  # of ln light; paper itself is no more even
TURNS = 12
FEWEST_GREYS = 3
# Powers of a channel: smaller ones are the noise of a JPEG, larger ones no camera's.
LEAST_BEND, MOST_BEND = 0.02, 0.2
COARSE = 16  # px between places where the light is worked out; between them it is straight

MOST_BLUR = 0.30 * MM  # standard deviation
MOST_TILT = 45.0  # deg
FEWEST_PIXELS = 4.0e3  # of a metre in any direction
WHOLE = 0.98  # of a window; less and it counts as cut off
MOST_CLIPPED = 0.01  # of a window
MOST_CLIPPED_PAPER = 0.05
STEP_OF_LIGHT = 0.12  # of ln light beside the smooth fit
PATCH_OF_LIGHT = 80 * MM**2  # the smallest shadow or glare that is named
MOST_ERROR = 0.5 * MM
MOST_MISFIT = 0.4 * MM
MOST_FALL = 4.0  # lightest paper beside darkest
DARKEST_WHITE = 0.15  # of full; less and the noise counts
FOCAL = 0.75  # of the picture's long side, a phone's main camera (from memory, unverified)


@dataclass(frozen=True)
class Caution:
    """Something about the photo that makes the grades less sure. kind: one word; said, remedy: for the person."""

    kind: str
    said: str
    remedy: str


@dataclass(frozen=True)
class Flattened:
    """A rectified photo with what speaks against it.

    Args:
        flat: the sheet in even light. cautions: the place's first, then the light's.
        seen: where the photo shows the sheet (H, W); clipped: pixels that may have been brighter (H, W).
        greys: light of each printed grey beside the paper's (N, 3), nan where it is not in the photo.
        evened: False without enough paper: then 1 is the brightest light of the photo, and colours are the light's too.
    """

    flat: Flat
    cautions: tuple[Caution, ...]
    seen: NDArray[np.bool_]
    clipped: NDArray[np.bool_]
    greys: Floats
    evened: bool


def flatten(image: NDArray[np.uint8], found: Found, scale: float = SCALE) -> Flattened:
    """The sheet from above, its paper 1 everywhere.

    Args:
        image: the photo (H, W, 3), sRGB, 0 to 255. found: of `find` or `by_hand` in this photo.
        scale: px of a metre; coarser where MOST_FLAT would not do.
    """
    scale = min(scale, math.sqrt(MOST_FLAT / (found.frame.width * found.frame.height)))
    linear, inside = _rectified(image, found, scale)
    clipped = linear.max(axis=2) >= round(CODES[CLIPPED_CODE] * FULL)
    flat = linear.astype(np.float32) / np.float32(FULL)
    cells, mean, burnt = _paper(found.frame, flat, clipped & inside, inside, scale)
    shown = [box for box in found.frame.cut if _share(inside, box, scale) > WHOLE]
    cautions = [*_of_the_place(found, image.shape[:2], len(shown))]
    evened = len(cells) >= FEWEST_CELLS
    if evened:
        terms, off = _light(cells, mean, found.frame)
        _divide(flat, terms, found.frame, scale)
        _neutral(flat, _greys(flat, inside, found.frame, scale), found.frame)
        cautions += _of_the_light(cells, mean, off)
    if burnt > MOST_CLIPPED_PAPER:
        said = "The paper is burnt out to white."
        cautions.append(Caution("bright", said, "Tap the sheet on the screen and draw the brightness down."))
    elif not evened:
        said = "Too little bare paper is seen: the light is not evened and tones are a guess."
        cautions.append(Caution("paper", said, "Lay the printed sheet round the patches."))
    cautions += [one for box in shown for one in _of_glare(clipped & inside, box, scale)][:1]
    greys = _greys(flat, inside, found.frame, scale)
    return Flattened(Flat(flat, scale), tuple(cautions), inside, clipped & inside, greys, evened)


def tilt(found: Found, size: tuple[int, int]) -> float:
    """Angle between the sheet's normal and the line of sight to its middle [deg], if the camera was a phone's.

    Args:
        size: rows and columns of the photo.
    """
    rows, columns = size
    focal = FOCAL * max(size)
    inner = np.array([[focal, 0, columns / 2], [0, focal, rows / 2], [0, 0, 1.0]])
    across, down, origin = (np.linalg.inv(inner) @ found.homography).T
    normal = np.cross(across, down)
    sight = found.frame.width / 2 * across + found.frame.height / 2 * down + origin
    cosine = abs(normal @ sight) / (np.linalg.norm(normal) * np.linalg.norm(sight))
    return math.degrees(math.acos(min(1.0, float(cosine))))


def _rectified(image: NDArray[np.uint8], found: Found, scale: float) -> tuple[NDArray[np.uint16], NDArray[np.bool_]]:
    """The sheet's light (H, W, 3), 0 to FULL, and where the photo shows it."""
    table = np.round(CODES * FULL).astype(np.uint16)
    left, top, right, bottom = _bounds(found, image.shape[:2])
    linear = cv2.LUT(np.ascontiguousarray(image[top:bottom, left:right]), table)
    homography = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1.0]]) @ found.homography
    # A photo with many times the pixels wanted is averaged first.
    times = int(found.scale() // scale)
    if times >= 2:
        rows, columns = linear.shape[0] // times, linear.shape[1] // times
        linear = cv2.resize(linear[: rows * times, : columns * times], (columns, rows), interpolation=cv2.INTER_AREA)
        homography = np.diag([1 / times, 1 / times, 1.0]) @ homography
    size = round(found.frame.width * scale), round(found.frame.height * scale)
    # OpenCV counts from the middle of the first pixel, on the sheet as in the photo.
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    turn = np.linalg.inv(half) @ homography @ np.diag([1 / scale, 1 / scale, 1.0]) @ half
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    seen = cv2.warpPerspective(linear, turn, size, flags=flags, borderMode=cv2.BORDER_CONSTANT)
    whole = np.full(linear.shape[:2], 255, dtype=np.uint8)
    inside = cv2.warpPerspective(whole, turn, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
    return np.asarray(seen, dtype=np.uint16), np.asarray(inside == 255)


def _bounds(found: Found, size: tuple[int, ...]) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of the part of the photo that holds the sheet [px]."""
    rows, columns = size
    outline = found.frame.outline
    depth = np.column_stack([outline, np.ones(4)]) @ found.homography[2]
    if np.any(depth * depth[0] <= 0):  # an end of the sheet is behind the camera
        return 0, 0, columns, rows
    ends = np.clip(np.floor(found.seen(outline)), -10, 10 + max(size)).astype(int)
    (left, top), (right, bottom) = ends.min(axis=0) - 2, ends.max(axis=0) + 3
    left, top = min(max(left, 0), columns - 1), min(max(top, 0), rows - 1)
    return left, top, max(min(right, columns), left + 1), max(min(bottom, rows), top + 1)


def _paper(
    frame: Frame, flat: NDArray[np.float32], clipped: NDArray[np.bool_], inside: NDArray[np.bool_], scale: float
) -> tuple[Floats, Floats, float]:
    """Middles of cells of bare paper (N, 2) [m], their median light (N, 3), and the share burnt out to white."""
    side = max(1, round(CELL * scale))
    rows, columns = (size // side for size in inside.shape)
    y, x = ((np.arange(count) + 0.5) * side / scale for count in (rows, columns))
    bare = np.ones((rows, columns), dtype=bool)
    edges = [(box, CUT_EDGE) for box in frame.cut] + [(one.box, INK_EDGE) for one in frame.greys]
    reach = CELL / 2
    for box, edge in [*edges, *((box, INK_EDGE) for box in frame.printed), *_words(frame)]:
        across = (x > box.left - edge - reach) & (x < box.left + box.width + edge + reach)
        down = (y > box.top - edge - reach) & (y < box.top + box.height + edge + reach)
        bare &= ~(down[:, None] & across)
    away = SHEET_EDGE + reach
    bare &= ((y > away) & (y < frame.height - away))[:, None] & (x > away) & (x < frame.width - away)
    if not frame.printed:
        bare[:] = False
    i, j = np.nonzero(bare)

    def cut(of: NDArray[Any]) -> NDArray[Any]:
        blocks = of[: rows * side, : columns * side].reshape(rows, side, columns, side, *of.shape[2:])
        return blocks.swapaxes(1, 2)[i, j].reshape(len(i), side * side, *of.shape[2:])

    seen = cut(inside).all(axis=1)
    burnt = cut(clipped).mean(axis=1) > 0.1
    light = np.median(cut(flat)[seen], axis=1).astype(float)
    good = ~burnt[seen] & (light.min(axis=1) > DARKEST_PAPER) if len(light) else np.zeros(0, dtype=bool)
    share = float(burnt[seen].mean()) if seen.any() else 0.0
    return np.stack([x[j], y[i]], axis=1)[seen][good], light[good], share


def _words(frame: Frame) -> Iterator[tuple[Box, float]]:
    """Bands of print at the head and the foot of the sheet."""
    if frame.ruler is None:
        return
    edge, across = frame.markers[0].box.top, frame.width
    yield Box(0.0, edge, across, MARKER), 0.0
    yield Box(0.0, frame.height - edge - MARKER, across, MARKER), 0.0
    yield Box(frame.ruler.left, frame.ruler.top, across - 2 * frame.ruler.left, RULER_HEIGHT), 0.0


def _terms(at: Floats, frame: Frame) -> Floats:
    """1, x, y, x², x y, y² with the sheet from -1 to 1 (N, 6)."""
    x, y = 2 * at[:, 0] / frame.width - 1, 2 * at[:, 1] / frame.height - 1
    return np.stack([np.ones_like(x), x, y, x**2, x * y, y**2], axis=1)


def _light(cells: Floats, light: Floats, frame: Frame) -> tuple[Floats, Floats]:
    """(terms, off): ln of the paper's light as a quadratic for each channel (6, 3), and each cell's ln beside it (N,).

    Cells that stand out, by glare, a pen or a shadow, lose their say: iterated least squares with Tukey's weight.
    """
    base, wanted = _terms(cells, frame), np.log(light)
    weight = np.ones(len(cells))
    for turn in range(TURNS):
        root = np.sqrt(weight)[:, None]
        found = np.linalg.lstsq(base * root, wanted * root, rcond=None)[0]
        off = (wanted - base @ found).mean(axis=1)
        spread = max(SMALLEST_SPREAD, 1.4826 * float(np.median(np.abs(off))))
        # First far ones count less, then not at all: no start so bad that the good ones are thrown out.
        ratio = np.abs(off) / spread
        weight = 1 / np.maximum(1.0, ratio) if turn < TURNS // 2 else np.maximum(0.0, 1 - (ratio / TUKEY) ** 2) ** 2
    return found, off


def _divide(flat: NDArray[np.float32], terms: Floats, frame: Frame, scale: float) -> None:
    """The light taken out, in place."""
    rows, columns = flat.shape[:2]
    low = math.ceil(rows / COARSE), math.ceil(columns / COARSE)
    y = (np.arange(low[0]) + 0.5) * rows / low[0] / scale
    x = (np.arange(low[1]) + 0.5) * columns / low[1] / scale
    at = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    even = np.exp(-_terms(at, frame) @ terms).astype(np.float32).reshape(*low, 3)
    cv2.multiply(flat, cv2.resize(even, (columns, rows), interpolation=cv2.INTER_LINEAR), dst=flat)


def _greys(flat: NDArray[np.float32], inside: NDArray[np.bool_], frame: Frame, scale: float) -> Floats:
    """Light of each printed grey (N, 3), nan where it is not seen."""
    return np.array([_middle(flat, inside, one.box, scale) for one in frame.greys]).reshape(-1, 3)


def _neutral(flat: NDArray[np.float32], greys: Floats, frame: Frame) -> None:
    """A colour that only the darker greys have, taken out in place.

    A camera bends each channel by its own curve after it has weighed them. Black print is neutral, so whatever power of
    a channel makes the greys neutral straightens it to first order. How dark the greys are has no say: printers differ.
    """
    known = np.array([one.reflectance for one in frame.greys])
    seen = np.isfinite(greys).all(axis=1) & (known > 0) if len(known) else np.zeros(0, dtype=bool)
    seen &= (greys > DARKEST_PAPER).all(axis=1) & (greys < 1).all(axis=1)
    if np.count_nonzero(seen) < FEWEST_GREYS:
        return
    log = np.log(greys[seen])
    neutral = log.mean(axis=1)
    for channel, power in enumerate((log * neutral[:, None]).sum(axis=0) / (log**2).sum(axis=0)):
        if MOST_BEND >= abs(power - 1) >= LEAST_BEND:
            flat[..., channel] = cv2.pow(np.maximum(flat[..., channel], 0), float(power))


def _of_the_place(found: Found, size: tuple[int, ...], shown: int) -> Iterator[Caution]:
    """What the place of the camera makes hard, the worst first."""
    if shown < len(found.frame.cut):
        lost = len(found.frame.cut) - shown
        said = f"{lost} window{'s lie' if lost > 1 else ' lies'} outside the picture."
        yield Caution("cut off", said, "Take the photo again with the whole sheet in it.")
    if found.misfit > MOST_MISFIT:
        yield Caution("bent", "The sheet does not lie flat.", "Tape it down at its edges, then take the photo again.")
    if found.error > MOST_ERROR:
        off = found.error / MM
        why = f"Only {len(found.markers)} markers are seen" if found.markers else "The corners were tapped by hand"
        said = f"{why}: a window's edge may be off by about {off:.1f} mm."
        yield Caution("place", said, "Bring the whole sheet into the picture.")
    if found.blur > MOST_BLUR:
        said = f"The photo is blurred: an edge is about {2 * found.blur / MM:.1f} mm wide."
        yield Caution(
            "blur", said, "Wipe the lens, tap the sheet on the screen to focus, hold the phone with both hands."
        )
    if found.scale() < FEWEST_PIXELS and found.frame.paper:
        said = f"The sheet is small in the photo: {found.scale() * MM:.1f} pixels a millimetre."
        yield Caution("small", said, "Go nearer until the sheet fills the picture.")
    if tilt(found, (int(size[0]), int(size[1]))) > MOST_TILT:
        yield Caution("tilt", "The photo is taken from far aslant.", "Hold the phone level above the sheet.")


def _of_the_light(cells: Floats, light: Floats, off: Floats) -> Iterator[Caution]:
    """What the paper says of the light."""
    bright = luminance(light)
    if _largest(cells, off < -STEP_OF_LIGHT) > PATCH_OF_LIGHT:
        yield Caution(
            "shadow",
            "A shadow with an edge lies across the sheet.",
            "Step out of the light, or turn so that none falls.",
        )
    elif _largest(cells, off > STEP_OF_LIGHT) > PATCH_OF_LIGHT:
        yield Caution("glare", "A bright spot lies on the sheet.", "Turn a little, so that no lamp mirrors in it.")
    if np.percentile(bright, 98) > MOST_FALL * np.percentile(bright, 2):
        yield Caution("uneven", "One side has much more light than the other.", "Move the lamp away, or use daylight.")
    if np.median(bright) < DARKEST_WHITE:
        yield Caution("dark", "The photo is dark.", "Give more light, or draw the brightness up.")


def _of_glare(clipped: NDArray[np.bool_], box: Box, scale: float) -> Iterator[Caution]:
    """A window whose brightest places are lost."""
    if _share(clipped, box, scale) > MOST_CLIPPED:
        said = "Light mirrors in a window and burns it out."
        yield Caution("glare", said, "Turn a little, so that no lamp mirrors in the piece.")


def _largest(cells: Floats, marked: NDArray[np.bool_]) -> float:
    """The largest connected patch of marked cells [m²]."""
    if not marked.any():
        return 0.0
    at = np.floor(cells / CELL).astype(int)
    picture = np.zeros(at.max(axis=0)[::-1] + 1, dtype=np.uint8)
    picture[at[marked, 1], at[marked, 0]] = 1
    _, _, stats, _ = cv2.connectedComponentsWithStats(picture, connectivity=8)
    return float(stats[1:, cv2.CC_STAT_AREA].max()) * CELL**2


def _part(of: NDArray[Any], box: Box, scale: float, inset: float = 0.0) -> NDArray[Any]:
    top, bottom = (round((box.top + end) * scale) for end in (inset, box.height - inset))
    left, right = (round((box.left + end) * scale) for end in (inset, box.width - inset))
    return of[top:bottom, left:right]


def _share(marked: NDArray[np.bool_], box: Box, scale: float) -> float:
    part = _part(marked, box, scale)
    return float(part.mean()) if part.size else 0.0


def _middle(flat: NDArray[np.float32], inside: NDArray[np.bool_], box: Box, scale: float) -> Floats:
    """Median light of a printed grey, clear of its edges; nan if not all of it is seen."""
    if not _part(inside, box, scale).all():
        return np.full(3, math.nan)
    return np.asarray(np.median(_part(flat, box, scale, 2 * MM).reshape(-1, 3), axis=0), dtype=float)
