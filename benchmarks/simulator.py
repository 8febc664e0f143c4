"""A piece of work to judge the learning by: a true surface, a true hand, what a patch on it looks like, what is said.

Run: OPENBLAS_NUM_THREADS=1 python benchmarks/simulator.py     (forecasts beside what came true on twelve pieces)

Nothing of this is imported by the package, and none of the closed forms that decide there is used here: every pulse is
placed and followed on every pixel it reaches. docs/simulator.md says what truth and model still share, and where this
departs on purpose. `simulator_truth` draws the piece, `simulator_tile` goes over it, `simulator_pulse` is what a pulse
does, `simulator_heat` where the heat goes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from simulator_pulse import ABSENT
from simulator_tile import Tile, lay, make_tile, true_rise
from simulator_truth import FilmTruth, GraderTruth, GroundTruth, Truth, draw_truth

from proofpatch.learn.evidence import HARMS, RESIDUES, Graded
from proofpatch.physics.setting import Setting
from proofpatch.physics.strokes import HandMotion

__all__ = [
    "FilmTruth",
    "GraderTruth",
    "GroundTruth",
    "Seen",
    "Truth",
    "Verdict",
    "draw_truth",
    "finished",
    "grade",
    "lay_patch",
]

Floats = NDArray[np.float64]
VISIBLE = 1e-6  # m; thinner, or less than a tenth of the film, is not seen; from memory, unverified
EDGES = (0.01, 0.10, 0.90)  # of the share covered, between clean, nearly, partial and trace (the design's)
THINNED = 0.05  # of the film; less is no effect (the design's)
TINT, MARKED, BURNT = 0.01, 0.04, 0.10  # converted share; the first and the last are the design's, the middle ours
# Over the limit of a pulse, and over a temperature: tint, marked, burnt; from memory, unverified.
FLASHED, HEATED = (1.0, 1.2, 1.5), (1.0, 1.15, 1.3)
HARM_SHARE, WIDEST = 0.001, 3e-3  # of the surface; m (the design's)
NEIGHBOUR = 0.8  # of the plain wrong grades fall on a neighbour; from memory, unverified
# A finished surface by how slow the hand was, in standard deviations: the mean of the slowest 0.2 %, the next tenth,
# the middle, the fastest tenth; with the share of the surface each stands for. The first grows with the passes.
STRATA = ((3.17, 0.002), (1.73, 0.1), (0.0, 0.4), (0.0, 0.4), (-1.73, 0.1))
FEWER = ((3.17, 0.002), (0.8, 0.5), (-0.8, 0.5))  # the same in fewer places: the slower and the faster half
STROKE = 0.3  # m, of a day's work; a stop takes its share of it
CLOCK = 0.03  # error of a stopwatch by hand, in ln seconds; from memory, unverified
TIMED = 0.5  # how uneven a timed stroke is beside a day's work; from memory, unverified


@dataclass(frozen=True)
class Seen:
    """What a patch, or a surface, looks like after its dust is wiped off.

    covered: share under visible film or soaked in. removed, start: mean depth taken off, and what there was [m].
    tinted, marked, burnt: share of the surface that shows it; each holds the next. mark: widest tinted spot [m].
    islands: widest island still covered [m]. hottest: highest rise of the face, a flash on metal included [K].
    setting: the last one used. tiles: the places, for further passes. moved: travel speed of the strokes as a clock
    has it [m/s], and length: theirs [m]; None where nobody timed them.
    """

    covered: float
    removed: float
    start: float
    tinted: float
    marked: float
    burnt: float
    mark: float
    islands: float
    hottest: float
    setting: Setting
    tiles: tuple[Tile, ...] = field(repr=False)
    moved: float | None = None
    length: float | None = None

    @property
    def residue(self) -> int:
        """Index into RESIDUES of the true grade."""
        return residue_of(self.covered, self.removed / self.start)

    @property
    def harm(self) -> int:
        """Index into HARMS of the true grade."""
        return harm_of((self.tinted, self.marked, self.burnt), self.mark)


@dataclass(frozen=True)
class Verdict:
    """Whether a finished surface is truly clean, and truly harmless; and what was seen."""

    clean: bool
    harmless: bool
    seen: Seen


def residue_of(covered: float, thinned: float) -> int:
    """Index into RESIDUES of a share covered and a share of the film taken off."""
    index = 4 - int(np.searchsorted(EDGES, covered))
    return index if index > 1 or thinned >= THINNED else 0


def harm_of(shares: tuple[float, float, float], mark: float) -> int:
    """Index into HARMS of shares tinted, marked and burnt: the worst on more than 0.1 %; a wide mark is a tint."""
    level = max((n + 1 for n, share in enumerate(shares) if share > HARM_SHARE), default=0)
    return max(level, int(mark > WIDEST))


def lay_patch(
    truth: Truth, setting: Setting, rng: np.random.Generator, size: float = 0.04, state: Seen | None = None
) -> Seen:
    """Lay a test patch, or go over one again.

    Args:
        truth: the piece, hand and laser.
        setting: what is dialled in, with its passes.
        rng: source of hand, phases and grain.
        size: length of the patch along the travel; its width is the sweep's [m].
        state: what an earlier call left; it is not changed. It has cooled meanwhile.

    Returns:
        What is seen: from the middle of the swept line and from its end.

    The stroke is timed, so half as uneven as a day's work; it starts and ends on a mask.
    """
    if state is None:
        end = min(setting.spot_radius * 8.0 / setting.sweep_width, 0.3)
        middles = 2 if size > 0.02 else 1
        tiles = [make_tile(truth, setting, "middle", (1.0 - end) / middles, rng) for _ in range(middles)]
        tiles.append(make_tile(truth, setting, "end", end, rng))
    else:
        tiles = [tile.copy() for tile in state.tiles]
    hand = _timed(truth.hand)
    slowness = rng.normal(size=setting.passes)
    for tile in tiles:
        lay(tile, truth, setting, hand, slowness, rng)
    seconds = np.mean(np.exp(hand.speed_spread * slowness - 0.5 * hand.speed_spread**2)) / setting.travel_speed
    return replace(look(truth, setting, tiles), moved=float(1.0 / seconds), length=size)


def finished(truth: Truth, setting: Setting, rng: np.random.Generator, thorough: bool = True) -> Verdict:
    """Treat a whole surface and judge it: many strokes, lanes that overlap, and stops where strokes start free.

    Args:
        truth: the piece, hand and laser.
        setting: what is dialled in.
        rng: source of hand, phases and grain.
        thorough: False lays fewer places, in two thirds of the time.

    The slowest places of a day's work are laid on purpose and weighted, or a handful of tiles would never meet them.
    """
    n = setting.passes
    strata = STRATA if thorough else FEWER
    overlap, stops = truth.hand.lane_overlap, truth.hand.stop_seconds > 0.0
    places = [("middle", slow, share * (1 - overlap)) for slow, share in strata]
    places += [("overlap", float(rng.normal()), overlap)] + ([("start", 0.0, 0.0)] if stops else [])
    tiles = []
    for kind, slow, share in places:
        if kind == "overlap" and share * setting.sweep_width < 2.0 * setting.spot_radius:
            continue
        tile = make_tile(truth, setting, kind, share, rng)
        # The place is slow as a whole; single passes differ around that.
        spread = rng.normal(size=n)
        passes = slow / math.sqrt(n) + spread - spread.mean()
        if slow > 3.0:
            passes[int(rng.integers(n))] = slow
            tile.weight = min(n * share, 0.05)
        if kind == "start":  # both ends of a stroke
            tile.weight = 2.0 * tile.pixel * (tile.seen[0].stop - tile.seen[0].start) / STROKE
        lay(tile, truth, setting, truth.hand, passes, rng)
        tiles.append(tile)
    seen = look(truth, setting, tiles)
    return Verdict(seen.covered <= EDGES[0], seen.harm == 0, seen)


def _timed(hand: HandMotion) -> HandMotion:
    """The hand of a timed stroke, started on a mask."""
    return replace(
        hand, speed_spread=TIMED * hand.speed_spread, stand_off_spread=TIMED * hand.stand_off_spread, stop_seconds=0.0
    )


def look(truth: Truth, setting: Setting, tiles: list[Tile]) -> Seen:
    """What tiles show together, each with its weight."""
    film, ground, total = truth.film, truth.ground, sum(tile.weight for tile in tiles)
    shares = dict.fromkeys(("covered", "removed", "start", "tinted", "marked", "burnt"), 0.0)
    mark = island = hottest = 0.0
    for tile in tiles:
        here, weight = tile.seen, tile.weight / total
        soaked = (tile.soft > film.softening) & (tile.soaks < film.soak_share) & (tile.start > ABSENT) & ground.porous
        covered = ((tile.left > min(VISIBLE, 0.1 * film.thickness)) | soaked)[here]
        worst = harms(truth, tile)[here]
        # Under an opaque film nobody sees it; a finished surface has none.
        shows = np.where(covered & (not film.clear), 0, worst)
        shares["covered"] += weight * covered.mean()
        shares["removed"] += weight * (tile.start - tile.left)[here].mean()
        shares["start"] += weight * tile.start[here].mean()
        for name, level in (("tinted", 1), ("marked", 2), ("burnt", 3)):
            shares[name] += weight * (shows >= level).mean()
        mark = max(mark, widest(shows >= 1, tile.pixel))
        island = max(island, widest(covered, tile.pixel))
        hottest = max(hottest, float(true_rise(ground, tile.hottest[here].max())))
    return Seen(
        float(shares["covered"]), float(shares["removed"]), float(shares["start"]), float(shares["tinted"]),
        float(shares["marked"]), float(shares["burnt"]), mark, island, hottest, setting, tuple(tiles),
    )  # fmt: skip


def harms(truth: Truth, tile: Tile) -> NDArray[np.int64]:
    """Index into HARMS of every pixel: by what reacted, by the worst pulse, by heat that lasted."""
    level = np.zeros(tile.left.shape, dtype=np.int64)
    limit = truth.ground.heat_limit
    converted = -np.expm1(-tile.converted)
    for values, steps in (
        (converted, (TINT, MARKED, BURNT)),
        (tile.flash, FLASHED),
        (tile.lasting / limit if math.isfinite(limit) else np.zeros(level.shape), HEATED),
    ):
        for n, step in enumerate(steps):
            level = np.maximum(level, np.where(values >= step, n + 1, 0))
    return level


def widest(there: NDArray[np.bool_], pixel: float) -> float:
    """Longest side of the largest connected area [m]; pixels that touch at a corner belong together."""
    found = ndimage.find_objects(ndimage.label(there, structure=np.ones((3, 3)))[0])
    return max((pixel * max(s.stop - s.start for s in area) for area in found), default=0.0)


def grade(seen: Seen, truth: Truth, rng: np.random.Generator) -> Graded:
    """The patch as this grader calls it: near an edge now one side, now the other, and now and then plain wrong.

    The share covered is read with an error in its logit and a steady lean; the shares harmed with an error in their
    logarithm, the time of a stroke with one in its. A wrong grade is never the right one, and mostly its neighbour.
    """
    eye, shares = truth.grader, np.clip([seen.covered], 1e-4, 1 - 1e-4)
    logit = math.log(shares[0] / (1 - shares[0])) + eye.bias + eye.noise * rng.normal()
    covered = seen.covered if seen.covered in (0.0, 1.0) else 1.0 / (1.0 + math.exp(-logit))
    residue = residue_of(covered, seen.removed / seen.start * math.exp(eye.noise * rng.normal()))
    slip = math.exp(eye.harm_noise * rng.normal())
    clock: float | None = None
    if seen.moved is not None and seen.length is not None:
        clock = seen.length / seen.moved * math.exp(CLOCK * rng.normal())
    harm = harm_of((slip * seen.tinted, slip * seen.marked, slip * seen.burnt), seen.mark)
    return Graded(
        seen.setting, RESIDUES[_astray(residue, len(RESIDUES), eye.wrong, rng)],
        HARMS[_astray(harm, len(HARMS), eye.wrong, rng)],
        seconds=clock,
        length=seen.length if clock is not None else None,
    )  # fmt: skip


def _astray(right: int, count: int, wrong: float, rng: np.random.Generator) -> int:
    """The grade said: the right one, or with chance `wrong` another."""
    if rng.random() >= wrong:
        return right
    near = [n for n in (right - 1, right + 1) if 0 <= n < count]
    others = near if rng.random() < NEIGHBOUR else [n for n in range(count) if n != right]
    return int(rng.choice(others))


if __name__ == "__main__":
    from simulator_study import study

    print("\n".join(study()))
