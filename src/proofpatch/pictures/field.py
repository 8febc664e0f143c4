"""The field of a process window: what comes of two knobs, asked of the same kernels and draws as the forecast."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, special

from proofpatch.bench import middle
from proofpatch.lasers import Laser
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.belief import Belief
from proofpatch.learn.evidence import Graded
from proofpatch.learn.forecast import FASTEST_HAND, PASSES, SLOWEST_HAND, SPEEDS, forecast, thinned
from proofpatch.learn.kernels import window
from proofpatch.learn.limits import Limits
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.materials import substrate as substrate_record
from proofpatch.physics import rows as at
from proofpatch.physics.setting import Setting

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Points = list[tuple[float, float]]
COLUMNS, ROWS = 30, 24  # points of the field across and up
LOOK, ASK, HELD = 64, 256, 1024  # draws: to choose a hand, to ask it, to ask the only one there is
WEAKEST = 0.1  # of the rated power: where an axis of it begins (common practice, no source)
EDGE = 1e-4  # a chance nearer to 0 or 1 is drawn as this
LONGEST = 14  # letters of a name that is drawn


@dataclass(frozen=True)
class Knob:
    """A knob that can be an axis: its column in a row of the kernels, its name, its kind of quantity."""

    column: int
    words: str
    kind: str


KNOBS = {
    "average_power": Knob(at.POWER, "average power", "power"),
    "repetition_rate": Knob(at.RATE, "repetition rate", "frequency"),
    "travel_speed": Knob(at.TRAVEL, "hand travel", "speed"),
}


@dataclass(frozen=True, eq=False)
class Field:
    """What comes of every setting of two knobs, the other knobs of one setting.

    knobs: across and up. across (columns,), up (rows,): their values, SI, evenly on a log axis. p_clean, p_harm
    (rows, columns): of the finished surface; nan where nothing was asked. inside: the laser can do it. travel [m/s],
    passes (rows, columns): the hand that was taken there. setting, chosen: the one that is ringed and its P(clean) and
    P(harm). held: everywhere the hand of that setting, else at each point the best by the rule of `Window.best`.
    """

    knobs: tuple[str, str]
    across: Floats
    up: Floats
    p_clean: Floats
    p_harm: Floats
    inside: Bools
    travel: Floats
    passes: Floats
    setting: Setting
    chosen: tuple[float, float]
    held: bool
    limits: Limits
    laser: Laser
    coating: str
    harm: str

    @property
    def open(self) -> Bools:
        """Where both limits hold."""
        return self.inside & (self.p_clean >= self.limits.p_clean) & (self.p_harm <= self.limits.p_harm)


def field_of(
    belief: Belief, limits: Limits, setting: Setting, chances: tuple[float, float] | None = None, held: bool = True,
    shown: Sequence[Graded] = (), knobs: tuple[str, str] = ("repetition_rate", "average_power"),
    size: tuple[int, int] = (COLUMNS, ROWS),
) -> Field:  # fmt: skip
    """The field of two knobs over what the laser can do, at the pulse width, spot and sweep of a setting.

    Args:
        belief: what is known.
        limits: of the job.
        setting: the one to ring.
        chances: its P(clean) and P(harm) as an answer gave them; None: asked here, of all draws.
        held: everywhere its hand speed and passes; else those that are best at each point.
        shown: graded patches that are to lie on the axes.
        knobs: across and up, of KNOBS.
        size: columns and rows.
    """
    x, y = (_axis(knob, belief.laser, setting, shown, n) for knob, n in zip(knobs, size, strict=True))
    inside = can(belief.laser, setting, knobs, x[None, :], y[:, None])
    # One point beyond the edge too: what is drawn up to the edge lies between them.
    near = ndimage.binary_dilation(inside, np.ones((3, 3), bool))
    base = setting_rows([setting], belief.laser)[0]
    hands = _hands(base, knobs, held)
    place = {KNOBS[knob].column: np.broadcast_to(v, near.shape) for knob, v in zip(knobs, (x, y[:, None]), strict=True)}
    columns = place | {at.POWER: place[at.POWER] * belief.laser.power_factor} if at.POWER in place else place
    taken = np.zeros((1, *near.shape), int) if held else _candidates(belief, limits, base, columns, hands, near)
    asked = near & np.concatenate([np.ones((1, *near.shape), bool), np.diff(taken, axis=0) != 0])
    p_clean, p_harm = np.full(taken.shape, np.nan), np.full(taken.shape, np.nan)
    made = _made(base, columns, hands, taken, asked)
    p_clean[asked], p_harm[asked] = _ask(belief, made, HELD if held else ASK)
    rate = base[at.SWEEP] * columns.get(at.TRAVEL, hands[taken, 0]) / hands[taken, 1]
    best = _merit(p_clean, p_harm, rate, limits).argmax(axis=0)[None]
    p_clean, p_harm, taken = (np.take_along_axis(a, best, 0)[0] for a in (p_clean, p_harm, taken))
    if chances is None:
        there = forecast(belief, limits, [setting])
        chances = float(there.p_clean[0]), float(there.p_harm[0])
    coating, harm = named(belief)
    return Field(
        knobs, x, y, p_clean, p_harm, inside, columns.get(at.TRAVEL, hands[taken, 0]), hands[taken, 1], setting,
        chances, held, limits, belief.laser, coating, harm,
    )  # fmt: skip


def _axis(knob: str, laser: Laser, setting: Setting, shown: Sequence[Graded], count: int) -> Floats:
    """Values of a knob over what the laser or the hand can do."""
    corner = laser.corner_rate(setting.pulse_width)
    low, high = {
        "average_power": (WEAKEST * laser.max_power, laser.max_power),
        "repetition_rate": (max(laser.min_rate, 0.3 * corner), laser.max_rate),
        "travel_speed": (SLOWEST_HAND, FASTEST_HAND),
    }[knob]
    least = min(getattr(one, knob) for one in (setting, *(g.moved() for g in shown)))
    return np.geomspace(max(min(low, 0.9 * least), laser.min_rate if knob == "repetition_rate" else 0.0), high, count)


def can(laser: Laser, setting: Setting, knobs: tuple[str, str], x: Any, y: Any) -> Bools:
    """Where the laser can do it, any shape: up to the most energy of a pulse; the axes end where the rest does."""
    value = dict(zip(knobs, (x, y), strict=True))
    power, rate = (value.get(knob, getattr(setting, knob)) for knob in ("average_power", "repetition_rate"))
    return np.asarray(power + 0 * x + 0 * y <= rate * laser.max_energy(setting.pulse_width) * (1 + 1e-6))


def _hands(base: Floats, knobs: tuple[str, str], held: bool) -> Floats:
    """(hands, 2): travel speed and passes to choose from; the setting's own alone, or first."""
    own = (base[at.TRAVEL], base[at.PASSES])
    speeds = [own[0]] if "travel_speed" in knobs else np.geomspace(SLOWEST_HAND, FASTEST_HAND, 2 * SPEEDS - 1)
    return np.array([own] if held else [own, *((u, n) for u in speeds for n in PASSES)])


def _made(base: Floats, columns: dict[int, Floats], hands: Floats, taken: NDArray[Any], asked: Bools) -> Floats:
    """Rows of the settings `asked` for, (asked, len(SETTING))."""
    rows = np.repeat(base[None], int(asked.sum()), axis=0)
    rows[:, at.TRAVEL], rows[:, at.PASSES] = hands[taken[asked]].T
    for column, values in columns.items():
        rows[:, column] = np.broadcast_to(values, asked.shape)[asked]
    return rows


def _ask(belief: Belief, rows: Floats, draws: int) -> tuple[Floats, Floats]:
    """P(clean) and P(harm) of rows, as `forecast` asks them of so many draws."""
    few = thinned(belief, draws)
    noise = assumption("setting_noise").value
    found = window(few.layer, few.substrate, few.weight, rows, hand_row(belief.hand), noise)
    return found[0], found[1]


def _merit(p_clean: Floats, p_harm: Floats, rate: Floats, limits: Limits) -> Floats:
    """Highest for the best by the rule of `Window.best`: the fastest admissible, else the likeliest clean and whole."""
    holds = (p_clean >= limits.p_clean) & (p_harm <= limits.p_harm)
    merit = np.where(holds, 1e3 + rate, p_clean * (1.0 - p_harm) + 1e-9 * rate)
    return np.where(np.isnan(merit), -1.0, merit)


def _candidates(
    belief: Belief, limits: Limits, base: Floats, columns: dict[int, Floats], hands: Floats, near: Bools
) -> NDArray[np.int64]:
    """Hands worth asking at each point, (4, rows, columns), sorted: the best at every second point about it.

    To ask every hand everywhere would take ten times as long; from a point to the next the best hand hardly changes.
    """
    j, i = (np.union1d(np.arange(0, n, 2), n - 1) for n in near.shape)
    coarse = np.ix_(j, i)
    shape = (len(hands), len(j), len(i))
    wanted = np.broadcast_to(ndimage.binary_dilation(near, np.ones((3, 3), bool))[coarse], shape)
    every = np.broadcast_to(np.arange(len(hands))[:, None, None], shape)
    there = {column: values[coarse] for column, values in columns.items()}
    p_clean, p_harm = np.full(shape, np.nan), np.full(shape, np.nan)
    p_clean[wanted], p_harm[wanted] = _ask(belief, _made(base, there, hands, every, wanted), LOOK)
    speed = there.get(at.TRAVEL, hands[every, 0])
    best = _merit(p_clean, p_harm, base[at.SWEEP] * speed / hands[every, 1], limits).argmax(axis=0)
    rows, cols = np.arange(near.shape[0]), np.arange(near.shape[1])
    about = [
        best[np.ix_(a, b)]
        for a in (rows // 2, np.minimum(-(-rows // 2), len(j) - 1))
        for b in (cols // 2, np.minimum(-(-cols // 2), len(i) - 1))
    ]
    return np.sort(np.stack(about), axis=0)


def named(belief: Belief) -> tuple[str, str]:
    """What stays on, and what the substrate does: "varnish", "pine tints"."""
    sub, coats = middle(belief)[1], belief.surface.coats
    harm = "tints" if sub[at.ACTIVATION] > 0 else "is harmed" if sub[at.LIMIT] < sub[at.MELT] else "melts"
    coating = coats[0].title.lower() if len(coats) == 1 and len(coats[0].shares) == 1 else "coating"
    under = substrate_record(belief.surface.substrate).title.lower()
    coating = coating if len(coating) <= LONGEST else "coating"
    return coating, f"{under if len(under) <= LONGEST else 'what is under it'} {harm}"


def logit(p: Floats) -> Floats:
    """ln of the odds, any shape; kept off 0 and 1."""
    return np.asarray(special.logit(np.clip(p, EDGE, 1 - EDGE)))


def between(z: Floats, row: Floats, column: Floats) -> Floats:
    """Values between the points of a grid, in straight lines; `row` and `column` count points, any shape."""
    j = np.clip(np.floor(row).astype(int), 0, z.shape[0] - 2)
    i = np.clip(np.floor(column).astype(int), 0, z.shape[1] - 2)
    v, u = row - j, column - i
    return np.asarray(
        (1 - v) * ((1 - u) * z[j, i] + u * z[j, i + 1]) + v * ((1 - u) * z[j + 1, i] + u * z[j + 1, i + 1])
    )


def contour(z: Floats, level: float) -> list[Points]:
    """Lines along which a grid has a value, in straight pieces: points (column, row), counted from the first.

    Marching squares; where a square could be cut two ways its middle decides. A square with a nan is passed over.
    """
    joined: dict[tuple[int, int, int], list[tuple[int, int, int]]] = defaultdict(list)
    above = z >= level
    for j in range(z.shape[0] - 1):
        for i in range(z.shape[1] - 1):
            square = z[j : j + 2, i : i + 2]
            if np.isnan(square).any():
                continue
            a, b, c, d = above[j, i], above[j, i + 1], above[j + 1, i + 1], above[j + 1, i]
            south, east, north, west = (0, j, i), (1, j, i + 1), (0, j + 1, i), (1, j, i)
            cut = [
                e for e, p, q in ((south, a, b), (east, b, c), (north, c, d), (west, d, a)) if p != q
            ]  # in turn about the square
            if len(cut) == 4 and a == (square.mean() >= level):
                cut = [south, east, north, west]
            elif len(cut) == 4:
                cut = [west, south, east, north]
            for one, other in zip(cut[::2], cut[1::2], strict=True):
                joined[one].append(other)
                joined[other].append(one)

    def place(edge: tuple[int, int, int]) -> tuple[float, float]:
        upward, j, i = edge
        start, end = z[j, i], z[j + 1, i] if upward else z[j, i + 1]
        share = float((level - start) / (end - start))
        return (i, j + share) if upward else (i + share, j)

    lines, left = [], set(joined)
    # Lines that end at the border first, then the closed ones.
    for first in sorted(joined, key=lambda edge: len(joined[edge])):
        if first not in left:
            continue
        chain, here = [first], first
        left.discard(first)
        while following := [edge for edge in joined[here] if edge in left]:
            here = following[0]
            left.discard(here)
            chain.append(here)
        if len(chain) > 2 and first in joined[here]:
            chain.append(first)
        lines.append([place(edge) for edge in chain])
    return lines
