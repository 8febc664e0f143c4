"""How surely a sheet is found in a photo, and to which part of a millimetre, as one thing after another gets worse.

Each photo is of a random sheet, turned and aslant at random; all but one circumstance stay easy. Detection counts
photos in which the right sheet is found; the error is that of a window's corner, the worst of a photo, by the true
camera.

Run: python benchmarks/photos.py [--photos 6] [--long-side 2000] [--maker MODULE:NAME] [--write]

The maker takes (how, generator) and returns (content of a JPEG, its sheet, the truth): a homography from the sheet [m]
to the photo [px from the corner of the first pixel], or, where the lens bends, what takes such pixels (..., 2) to the
sheet. The one given stands in tests/made/made_strip.py; made_shot:made is a pinhole's.
"""

from __future__ import annotations

import argparse
import importlib
import math
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from photo_code import FOUND, digest
from timing import warm

from proofpatch.errors import InputError
from proofpatch.photos.find import find, mapped, read
from proofpatch.photos.flatten import flatten
from proofpatch.photos.frame import MM, Frame, corners

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "photos.md"
SEED, PHOTOS, LONG_SIDE = 2026, 6, 2000


@dataclass(frozen=True)
class How:
    """Circumstances of a photo.

    tilt [deg]; blur: standard deviation on the sheet [m]; noise [codes]; gradient: share of the light lost across the
    picture; quality: of the JPEG; cut: share of the sheet outside the picture.
    """

    tilt: float = 15.0
    blur: float = 0.12e-3
    noise: float = 2.0
    gradient: float = 0.2
    quality: int = 90
    cut: float = 0.0
    long_side: int = LONG_SIDE


Made = tuple[bytes, Frame, Any]
Maker = Callable[[How, np.random.Generator], Made]
ROWS: tuple[tuple[str, str, tuple[float, ...]], ...] = (
    ("tilt", "tilt, degrees", (0, 30, 45, 60)),
    ("blur", "blur, mm", (0.2e-3, 0.4e-3, 0.6e-3, 0.8e-3)),
    ("noise", "noise, codes of 255", (5, 15, 30, 50)),
    ("gradient", "light lost across the picture", (0.5, 0.8, 0.95)),
    ("quality", "JPEG quality", (70, 40, 15)),
    ("cut", "share of the sheet cut off", (0.1, 0.25, 0.4, 0.5)),
)


@dataclass(frozen=True)
class Result:
    """Of one photo: markers found (0: not found), worst corner's error and what was expected of it [m]."""

    markers: int
    error: float
    expected: float


def tried(maker: Maker, how: How, seed: int) -> Result:
    """One photo made and looked at; a sheet taken for another one counts as not found."""
    content, frame, truth = maker(how, np.random.default_rng(seed))
    try:
        found = find(read(content))
    except InputError:
        return Result(0, math.nan, math.nan)
    if found.frame is not frame:
        return Result(0, math.nan, math.nan)
    at = np.concatenate([corners(one.box) for one in frame.windows])
    seen = found.seen(at)
    off = (truth(seen) if callable(truth) else mapped(np.linalg.inv(truth), seen)) - at
    return Result(len(found.markers), float(np.linalg.norm(off, axis=1).max()), found.error)


def cell(maker: Maker, how: How, photos: int) -> str:
    """Found, markers, error and expected error of some photos, as a row of the table."""
    results = [tried(maker, how, SEED + n) for n in range(photos)]
    good = [one for one in results if one.markers]
    if not good:
        return f"0 of {photos} | - | - | - | -"
    error, expected = (np.array([getattr(one, name) for one in good]) / MM for name in ("error", "expected"))
    markers = np.median([one.markers for one in good])
    return (
        f"{len(good)} of {photos} | {markers:.0f} | {np.median(error):.2f} | {error.max():.2f} | "
        f"{np.median(expected):.2f}"
    )


def table(maker: Maker, photos: int, long_side: int) -> list[str]:
    """Every row of the table."""
    easy = How(long_side=long_side)
    lines = [
        "| | | found | markers | error, mm | worst, mm | expected, mm |", "|---|---|---|---|---|---|---|",
        f"| all easy | | {cell(maker, easy, photos)} |",
    ]  # fmt: skip
    for name, words, levels in ROWS:
        for level in levels:
            kind = type(getattr(easy, name))
            shown = f"{level / MM:g}" if name == "blur" else f"{level:g}"
            line = f"| {words} | {shown} | {cell(maker, replace(easy, **{name: kind(level)}), photos)} |"
            lines.append(line)
            print(line, flush=True)
    return lines


def times(maker: Maker) -> str:
    """Milliseconds of the processor for one 12 MP photo, the best of a few."""
    import cv2

    cv2.setNumThreads(1)
    content, _, _ = maker(How(long_side=4000), np.random.default_rng(SEED))
    image = read(content)
    found = find(image)
    calls: Sequence[Callable[[], Any]] = (
        lambda: read(content), lambda: find(image), lambda: flatten(image, found),
    )  # fmt: skip
    reading, finding, flattening = (1e3 * min(warm(call, 5, time.process_time)) for call in calls)
    return (
        f"{image.shape[0] * image.shape[1] / 1e6:.0f} MP, one thread, processor time, the best of five: read "
        f"{reading:.0f} ms, find {finding:.0f} ms, flatten {flattening:.0f} ms."
    )


def named(where: str) -> Maker:
    """A maker by module and name; modules of tests/made are found."""
    sys.path.insert(0, str(ROOT / "tests" / "made"))
    module, _, name = where.partition(":")
    found: Maker = getattr(importlib.import_module(module), name)
    return found


def keep(lines: list[str]) -> None:
    """The figures into the document, between its marks."""
    before, _, rest = PAGE.read_text(encoding="utf-8").partition("<!-- table -->\n")
    _, _, after = rest.partition("<!-- end of table -->")
    PAGE.write_text(
        f"{before}<!-- table -->\n" + "\n".join(lines) + f"\n<!-- end of table -->{after}", encoding="utf-8"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--photos", type=int, default=PHOTOS)
    parser.add_argument("--long-side", type=int, default=LONG_SIDE)
    parser.add_argument("--maker", default="made_strip:made")
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    maker = named(given.maker)
    lines = [
        *table(maker, given.photos, given.long_side), "", times(maker), "",
        f"{given.photos} photos a row, {given.long_side} pixels wide, by `{given.maker}`, seed {SEED}; "
        f"code {digest(FOUND)}.",
    ]  # fmt: skip
    if given.write:
        keep(lines)
    else:
        print("\n".join(lines))


if __name__ == "__main__":
    main()
