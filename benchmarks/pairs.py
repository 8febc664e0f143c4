"""Before over after against made pairs of photos whose truth is known. Writes docs/photos-pairs.md.

    python benchmarks/pairs.py            # about six minutes on one core
    python benchmarks/pairs.py --write    # and the page
    python benchmarks/pairs.py --part hard --kept /tmp/pairs   # in parts

The photos are made by tests/made (procedural; it shares no code and no constants with what lays them over).
"""

from __future__ import annotations

import argparse
import itertools
import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from photo_code import PAIRED, digest

sys.path.append(str(Path(__file__).parents[1] / "tests" / "made"))

from made_photo import SMALL, USUAL, WARM, Camera, Light, Pair, Pose, Step, pair  # by the line above

from proofpatch.photos.light import to_linear
from proofpatch.photos.pairs import lay_over
from proofpatch.photos.reading import read
from proofpatch.photos.register import register

Floats = NDArray[Any]

PAGE = Path(__file__).parents[1] / "docs" / "photos-pairs.md"
SCALE = 5000.0  # pixels of a metre of the made piece
STEP = Step(0.02)  # share of the film left where it was cleaned
WRONG = 5.0  # px: a registration accepted and further off than this anywhere both show is a false one
TAP = 1.5 / 328  # of the picture's width, standard deviation of a tap on the page's narrow picture
STRANGERS = (("oak", "latex white"), ("oak", "varnish"), ("brick", "latex white"), ("limestone", "soot"),
             ("steel", "rust"), ("real wall", "soot"))  # fmt: skip
SEEDS, NARROW = 5, (900, 675)  # pieces of each, and the size of their photos [px]


@dataclass(frozen=True)
class Way:
    """How a pair is photographed."""

    says: str
    size: tuple[float, float]
    poses: tuple[Pose, Pose]
    lights: tuple[Light, Light]
    cameras: tuple[Camera, Camera]
    share: float = 0.4  # of the piece gone over
    marks: int = 25  # nail heads and dents on the piece


WAYS = {
    "easy": Way(
        "whole piece; tilt 0° then 15°, rolled 6°; light falls off by 20 and 30 %",
        (0.2, 0.15), (Pose(0.3), Pose(0.33, 15, 40, 6)), (Light(0.2), Light(0.3, 120)),
        (Camera(SMALL), Camera(SMALL)),
    ),
    "close": Way(
        "a part of a larger piece, no outline; tilt 5° then 20°, rolled 8°, moved by 15 mm",
        (0.36, 0.28), (Pose(0.22, 5, 10), Pose(0.24, 20, 200, 8, (0.19, 0.15))), (Light(0.2), Light(0.3, 120)),
        (Camera(SMALL), Camera(SMALL)), 0.22,
    ),
    "hard": Way(
        "whole piece; tilt 15° then 38°, rolled -5° then 25°; light falls off by 30 and 55 %, a lamp's cast, blur, "
        "coarse JPEG",
        (0.2, 0.15), (Pose(0.3, 15, 90, -5), Pose(0.34, 38, 40, 25)), (Light(0.3), Light(0.55, 120, WARM)),
        (Camera(SMALL), Camera(SMALL, defocus=1.3, quality=72)),
    ),
    "unmarked": Way(
        "as easy, but without a single nail head or dent: nothing but grain and what the film shows",
        (0.2, 0.15), (Pose(0.3), Pose(0.33, 15, 40, 6)), (Light(0.2), Light(0.3, 120)),
        (Camera(SMALL), Camera(SMALL)), marks=0,
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Laid:
    """One pair: how it was laid over, and how far off. off and worst in px of before, off_mm in mm on the piece."""

    way: str
    on: str
    by: str | None
    off: float = np.nan
    worst: float = np.nan
    off_mm: float = np.nan
    share: float = np.nan
    true: float = np.nan
    tapped: bool | None = None
    tapped_worst: float = np.nan


def linear(jpeg: bytes) -> Floats:
    """Linear sRGB of a file (H, W, 3)."""
    return np.asarray(to_linear(read(jpeg).astype(np.float32) / 255), np.float32)


def made(way: Way, substrate: str, coating: str, seed: int) -> Pair:
    """One pair of photos."""
    rng = np.random.default_rng([seed, *map(ord, substrate + coating)])
    return pair(way.size, rng, substrate, coating, STEP, way.share, SCALE, way.marks, way.poses, way.lights,
                way.cameras)  # fmt: skip


def off_by(two: Pair, size: tuple[float, float], homography: Floats) -> tuple[Floats, float]:
    """(distances [px of before] on a grid of the piece that both photos show, pixels of a millimetre of before)."""
    x, y = (np.linspace(0.02, 0.98, 25) * one for one in size)
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    own, other = (two.pixels(which, grid) for which in (0, 1))
    width, height = two.before.size
    shown = ((own > 0) & (own < (width, height)) & (other > 0) & (other < (width, height))).all(axis=1)
    moved = cv2.perspectiveTransform(other[shown][:, None], homography)[:, 0]
    near = two.pixels(0, grid[shown] + (0.001, 0.0)) - own[shown]
    return np.hypot(*(moved - own[shown]).T), float(np.median(np.hypot(*near.T)))


def true_share(two: Pair, size: tuple[float, float], both: NDArray[np.bool_], piece: bool) -> float:
    """Share of what is compared that was bared."""
    if piece:
        return two.bared / (size[0] * size[1])
    rows, columns = np.nonzero(both[::4, ::4])
    at = two.before.view.sheet(np.stack([columns, rows], axis=-1) * 4.0)
    bared = two.patch.area & ~two.patch.left
    column, row = (at * two.patch.scale).astype(int).T
    inside = (column >= 0) & (row >= 0) & (column < bared.shape[1]) & (row < bared.shape[0])
    return float(bared[row[inside], column[inside]].sum() / len(rows))


def judged(name: str, substrate: str, coating: str, seed: int = 0, taps: bool = False) -> Laid:
    """One pair laid over, and by hand as well where that is asked for."""
    way = WAYS[name]
    two = made(way, substrate, coating, seed)
    before, after = linear(two.before.jpeg), linear(two.after.jpeg)
    laid = lay_over(before, after)
    on = f"{coating} on {substrate}"
    tapped, tapped_worst = by_taps(two, way, before, after, seed) if taps else (None, np.nan)
    if laid.registered is None or laid.share is None or laid.both is None:
        return Laid(name, on, None, tapped=tapped, tapped_worst=tapped_worst)
    off, scale = off_by(two, way.size, laid.registered.homography)
    true = true_share(two, way.size, laid.both, laid.piece)
    return Laid(name, on, laid.registered.by, float(np.median(off)), float(off.max()), float(np.median(off)) / scale,
                laid.share, true, tapped, tapped_worst)  # fmt: skip


def by_taps(two: Pair, way: Way, before: Floats, after: Floats, seed: int) -> tuple[bool, float]:
    """(whether four taps that are somewhat off are refined and confirmed, the worst distance then [px])."""
    rng = np.random.default_rng([seed, 4])
    middle, reach = np.array(way.size) / 2, np.array([0.07, 0.05])
    places = middle + reach * [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    taps = [two.pixels(which, places) + rng.normal(0, TAP * before.shape[1], (4, 2)) for which in (0, 1)]
    start = cv2.getPerspectiveTransform(taps[1].astype(np.float32), taps[0].astype(np.float32))
    found = register(before, after, start)
    return (False, np.nan) if found is None else (True, float(off_by(two, way.size, found.homography)[0].max()))


def strangers(pieces: Sequence[tuple[str, str]], seeds: int) -> tuple[int, int]:
    """(pairs of photos of two different pieces of one kind that were tried, how many were laid over)."""
    tried = taken = 0
    way = WAYS["easy"]
    narrow = Way("", way.size, way.poses, way.lights, (Camera(NARROW), Camera(NARROW)))
    for substrate, coating in pieces:
        photos = [made(narrow, substrate, coating, 100 + seed) for seed in range(seeds)]
        seen = [(linear(one.before.jpeg), linear(one.after.jpeg)) for one in photos]
        for one, other in itertools.permutations(range(seeds), 2):
            tried += 1
            taken += register(seen[one][0], seen[other][1]) is not None
    return tried, taken


def line(name: str, rows: Iterable[Laid]) -> str:
    """A row of the table."""
    rows = list(rows)
    told = [r for r in rows if r.by is not None]
    right = [r for r in told if r.worst <= WRONG]
    off = np.array([abs(r.share - r.true) for r in right])
    by = ", ".join(f"{sum(r.by == way for r in told)} {way}" for way in ("features", "outline"))
    if not right:
        return f"| {name} | {len(rows)} | 0 | {len(told)} | – | – | – | – | – |"
    return (
        f"| {name} | {len(rows)} | {len(right)} ({by}) | {len(told) - len(right)} "
        f"| {np.median([r.off for r in right]):.2f} | {np.quantile([r.worst for r in right], 0.9):.2f} "
        f"| {np.median([r.off_mm for r in right]):.3f} "
        f"| {100 * np.median(off):.1f} | {100 * np.quantile(off, 0.9):.1f} |"
    )


HEAD = (
    "| pairs | tried | laid over | wrongly | median off, px | worst place, px (90 %) | median off, mm "
    "| share off, points (median) | (90 %) |\n|---|---|---|---|---|---|---|---|---|"
)


def report(rows: list[Laid], alone: tuple[int, int], coatings: int) -> str:
    """The page."""
    ways = list(dict.fromkeys(r.way for r in rows))
    substrates = list(dict.fromkeys(r.on.split(" on ")[1] for r in rows))
    lost = [f"{r.on} ({r.way})" for r in rows if r.by is None or r.worst > WRONG]
    tapped = [r for r in rows if r.tapped is not None]
    held = [r for r in tapped if r.tapped and r.tapped_worst <= WRONG]
    false = sum(bool(r.tapped) for r in tapped) - len(held)
    parts = [
        "# Before over after, measured",
        f"Written by `python benchmarks/pairs.py --write`, code {digest(PAIRED)}. "
        "The photos are made (`tests/made`): procedural pieces and "
        "films, their numbers invented, 1.6 megapixels, flat. A real phone and a piece that is not flat do worse. "
        f"About 40 % of what is shown is cleaned between the photos, {100 * STEP.left:.0f} % of the film is left "
        "there. Each piece but the unmarked has 25 nail heads and dents, which show through any film. "
        f"Each of {len(substrates)} substrates has {coatings} usual coatings at most, one piece each.",
        "How they are photographed:",
        "\n".join(f"- **{name}**: {WAYS[name].says}." for name in ways),
        "\n".join([HEAD, *(line(name, (r for r in rows if r.way == name)) for name in ways)]),
        "By substrate, all ways together:",
        "\n".join([HEAD, *(line(on, (r for r in rows if r.on.endswith(f" on {on}"))) for on in substrates)]),
        "Not laid over, to be done by hand: " + (", ".join(lost) or "none") + ".",
        f"By hand: four places tapped in both photos of each hard pair, each tap off by {TAP * 328:.1f} of the "
        f"{328} pixels the page shows (standard deviation, each way). Refined from there, {len(held)} of "
        f"{len(tapped)} are confirmed and nowhere off by more than {WRONG:.0f} px, {false} are confirmed wrongly.",
        f"Strangers: {alone[0]} pairs of photos that show two different pieces of the same kind, size and pose, so "
        f"that their outlines fit each other. Laid over: {alone[1]}.",
    ]
    return "\n\n".join(parts) + "\n"


def kinds(coatings: int) -> list[tuple[str, str]]:
    """(substrate, coating), so many coatings of each substrate at most."""
    return [(under, film) for under, films in USUAL.items() for film in films[:coatings]]


def run(name: str, coatings: int, folder: Path | None) -> list[Any]:
    """Rows of one part; kept in a folder, where one is given, and taken from there if they are there."""
    kept = None if folder is None else folder / f"{name}.json"
    if kept is not None and kept.exists():
        return list(json.loads(kept.read_text("utf-8")))
    if name == "strangers":
        rows: list[Any] = list(strangers(STRANGERS, SEEDS))
    else:
        rows = [vars(judged(name, *kind, taps=name == "hard")) for kind in kinds(coatings)]
    if kept is not None:
        kept.write_text(json.dumps(rows), "utf-8")
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--part", choices=[*WAYS, "strangers"], help="only this, for --kept")
    parser.add_argument("--coatings", type=int, default=2, help="of each substrate at most")
    parser.add_argument("--kept", type=Path, help="folder that keeps what is measured, part by part")
    parser.add_argument("--write", action="store_true")
    said = parser.parse_args()
    if said.part is not None:
        print(run(said.part, said.coatings, said.kept))
        return
    rows = [Laid(**one) for name in WAYS for one in run(name, said.coatings, said.kept)]
    tried, taken = run("strangers", said.coatings, said.kept)
    page = report(rows, (tried, taken), said.coatings)
    print(page)
    if said.write:
        PAGE.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
