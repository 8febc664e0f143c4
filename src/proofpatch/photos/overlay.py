"""What the grader saw, drawn on the photo: ruled lines are coating still on, dots closing to solid ink are harm.

The same language as every sheet of ours (bare ground bare, pores ringed); ink with a rim of paper shows on any ground.
"""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from proofpatch.photos.grade import BURNT, COATING, MARKED, PORE, TINT, UNKNOWN, Seen
from proofpatch.photos.light import to_srgb
from proofpatch.pictures.look import INK, PAPER

Bytes = NDArray[np.uint8]
Truths = NDArray[np.bool_]

WIDTH = 328  # px, as every picture on a phone
QUALITY = 80
RULED, LINE = 9, 1.5  # px between ruled lines, and half a line's width
DOTS = {TINT: (18, 1.6), MARKED: (13, 2.2), BURNT: (8, 3.0)}  # px between dots, and their radius
SMALLEST = 1  # px of the mask, a speck below this is not drawn
CROSS = 12  # px between crosses on what looks like neither sample


def overlay(linear: NDArray[np.floating], seen: Seen, width: int = WIDTH) -> Bytes:
    """The window's picture (H, W, 3) with what was seen on it, sRGB bytes (rows, width, 3)."""
    tall, wide = seen.mask.shape
    size = (width, max(1, round(tall * width / wide)))
    photo = Image.fromarray((255 * to_srgb(linear) + 0.5).astype(np.uint8)).resize(size, Image.Resampling.BICUBIC)
    canvas = np.asarray(photo, dtype=np.float64)
    mask = np.asarray(Image.fromarray(seen.mask).resize(size, Image.Resampling.NEAREST))
    y, x = np.mgrid[: size[1], : size[0]].astype(np.float64)
    ink = np.zeros(mask.shape, bool)
    coating = _cleaned(mask == COATING)
    ink |= coating & (np.abs((x + y) % RULED - RULED / 2) < LINE * 0.75)
    for code, (pitch, radius) in DOTS.items():
        ink |= (mask == code) & _dots(x, y, pitch, radius)
    ink |= (mask == UNKNOWN) & _crosses(x, y)
    rings = ndimage.binary_dilation(mask == PORE, iterations=2) & ~ndimage.binary_dilation(mask == PORE, iterations=1)
    outline = coating & ~ndimage.binary_erosion(coating, iterations=2, border_value=1)
    ink |= outline
    rim = ndimage.binary_dilation(ink, iterations=1) & ~ink
    canvas[rim] = 0.35 * canvas[rim] + 0.65 * _rgb(PAPER)
    canvas[ink] = _rgb(INK)
    canvas[rings & ~ink] = 0.5 * canvas[rings & ~ink] + 0.5 * _rgb(PAPER)
    return (canvas + 0.5).astype(np.uint8)


def jpeg(picture: Bytes) -> bytes:
    """The bytes of a JPEG file of a picture (H, W, 3): a tenth of a PNG's, as a photo shows through the ink."""
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=QUALITY)
    return file.getvalue()


def said(seen: Seen) -> str:
    """The same in words, for who cannot see the picture."""
    if seen.fraction_left is None:
        return "Nothing could be told from the photo. Grade by eye."
    whole = "patch inside the untouched rim" if seen.ring else "window"
    words = [f"{_percent(seen.fraction_left)} of the {whole} is still covered (ruled)."]
    if seen.tone is None:
        words.append("No bare ground was judged.")
    elif seen.tinted:
        words.append(f"{_percent(seen.tinted)} of the bare ground changed its tone (dotted).")
    else:
        words.append("The bare ground kept its tone.")
    if seen.pores:
        words.append(f"Pores and pits, {_percent(seen.pores)} of the window, are not counted (ringed).")
    if seen.strange:
        words.append(f"{_percent(seen.strange)} looks like neither sample (crossed).")
    return " ".join(words)


def _percent(share: float) -> str:
    if share < 0.001:
        return "Under 0.1 %"
    return f"{100 * share:.1f} %" if share < 0.1 else f"{100 * share:.0f} %"


def _cleaned(area: Truths) -> Truths:
    return np.asarray(ndimage.binary_opening(area, iterations=SMALLEST))


def _dots(x: NDArray[np.float64], y: NDArray[np.float64], pitch: float, radius: float) -> Truths:
    """Staggered dots."""
    row = np.floor(y / (pitch / 2))
    off = (x + (row % 2) * pitch / 2) % pitch - pitch / 2
    return np.asarray(np.hypot(off, y - (row + 0.5) * pitch / 2) < radius)


def _crosses(x: NDArray[np.float64], y: NDArray[np.float64]) -> Truths:
    u, v = x % CROSS - CROSS / 2, y % CROSS - CROSS / 2
    return np.asarray((np.abs(np.abs(u) - np.abs(v)) < 0.8) & (np.abs(u) < 3))


def _rgb(colour: str) -> NDArray[np.float64]:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], dtype=np.float64)
