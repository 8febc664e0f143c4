"""Fast truths to judge a choice of patches by: the shipped physics on parameters and with errors the belief has not.

A truth differs from the model's own draws on purpose:

- parameters come from the same data rows with Student's t (5 degrees of freedom) in the place of normals, and move
  together in pairs the belief draws apart (TIES);
- on ln(dose needed) and on the room to harm lies a smooth random field over all knobs (random Fourier features, one
  e-fold and a half long), instead of the belief's straight lines;
- the laser gives up to some percent more or less than dialled, the hand is steadier or shakier than assumed;
- the grader leans, blurs and is now and then plain wrong, mostly by one grade; the stopwatch errs.

How large the fields are follows from `benchmarks/simulator.py` beside the closed forms on the very same parameters
(FIELD). What truth and belief still share is the form of the physics; the pulse-by-pulse simulator has its own study
(docs/calibration.md).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

import proofpatch as pp
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.forecast import FASTEST_HAND, SLOWEST_HAND, area_rate
from proofpatch.learn.grading import CLEAN_EDGE, MARKED_STEP, NEARLY_EDGE, PARTIAL_EDGE, THINNED
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.learn.unknowns import TILTS, concrete, latents
from proofpatch.physics import rows as at

Floats = NDArray[np.float64]
TAILS, T_95 = 5.0, 2.015  # degrees of freedom of Student's t, its 95 % point (printed tables)
NORMAL_95, NORMAL_99 = 1.6448536269514722, 2.3263478740408408
FIELD = 0.25  # standard deviation of each field; the simulator is off by 0.4 in all, factors included
LENGTH = 1.5  # e-folds of a knob over which a field changes; ours
WAVES = 64
TIES = (
    ("toughness", "bond_energy", 0.5),
    ("skin_share", "absorptance", 0.4),
    ("removal_depth", "threshold_fluence", 0.4),
)
WRONG, CLOCK = 0.03, 0.03  # plain wrong grades; error of the stopwatch in ln seconds
NEIGHBOUR = 0.8
# coating, its condition, substrate, its condition, laser
PIECES = (
    ("oil-varnish", "aged", "oak", "aged", "pulsed-500"),
    ("loose-rust", "unknown", "mild-steel", "unknown", "pulsed-500"),
    ("latex-paint", "unknown", "pine", "unknown", "pulsed-300"),
    ("baked-grease", "unknown", "aluminium", "unknown", "pulsed-500"),
    ("soot-crust", "unknown", "limestone", "unknown", "pulsed-300"),
    ("alkyd-paint", "aged", "mild-steel", "unknown", "pulsed-500"),
    ("masonry-paint", "unknown", "fired-brick", "unknown", "pulsed-500"),
    ("shellac", "aged", "mahogany", "aged", "pulsed-300"),
    ("soot-crust", "unknown", "paper", "unknown", "pulsed-100"),
    ("tight-rust", "unknown", "cast-iron", "unknown", "pulsed-500"),
    ("spray-graffiti", "unknown", "granite", "unknown", "pulsed-300"),
    ("fresh-grease", "unknown", "tool-steel", "unknown", "pulsed-100"),
    ("epoxy", "unknown", "aluminium", "unknown", "pulsed-500"),
    ("mill-scale", "unknown", "mild-steel", "unknown", "pulsed-500"),
    ("polyurethane-2k", "tinted", "maple", "new", "pulsed-300"),
)  # fmt: skip
KNOBS = (at.RATE, at.WIDTH, at.POWER, at.SWEEP_SPEED, at.TRAVEL, at.PASSES, at.SWEEP)


def knobs(rows: Floats) -> Floats:
    """ln of the knobs of setting rows; (settings, knobs)."""
    return np.log(rows[:, KNOBS])


@dataclass(frozen=True)
class Field:
    """A smooth random function of the knobs, standard deviation FIELD."""

    waves: Floats
    phases: Floats

    def at(self, rows: Floats) -> Floats:
        """(settings,)."""
        return FIELD * math.sqrt(2.0 / WAVES) * np.cos(knobs(rows) @ self.waves + self.phases).sum(axis=1)


def random_field(rng: np.random.Generator) -> Field:
    """Source: Rahimi & Recht, random features of a Gaussian kernel (2007; from memory)."""
    return Field(rng.normal(size=(len(KNOBS), WAVES)) / LENGTH, rng.uniform(0, 2 * math.pi, WAVES))


@dataclass(frozen=True)
class Truth:
    """One true piece, hand, laser and grader."""

    surface: pp.Surface
    laser: str
    layer: Floats
    substrate: Floats
    need_field: Field
    room_field: Field
    power: float
    hand: float  # its unevenness over what is assumed
    lean: float  # of the grader, in ln dose
    blur: float
    seed: int

    def outcome(self, settings: list[pp.Setting], patch: bool) -> tuple[Floats, Floats, Floats]:
        """(log need, spread, margin) of each setting."""
        laser = pp.laser(self.laser)
        rows = setting_rows(settings, laser)
        rows[:, at.POWER] *= self.power
        hand = hand_row(pp.Hand(), patch=patch)
        hand[at.SPEED_SPREAD] *= self.hand
        need, spread, margin, *_ = outcomes(self.layer, self.substrate, rows, hand, len(self.surface.coats) - 1)
        return need[0] + self.need_field.at(rows), spread[0], margin[0] + self.room_field.at(rows)

    def judge(self, settings: list[pp.Setting]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """(clean, harmless) of the finished surface at each setting."""
        need, spread, margin = self.outcome(settings, patch=False)
        return need <= CLEAN_EDGE * spread, margin >= 0.0

    def grade(self, setting: pp.Setting, number: int) -> pp.Graded:
        """What the grader says of the number-th patch; the same number, the same luck."""
        rng = np.random.default_rng([self.seed, 9, number])
        need, spread, margin = (float(v[0]) for v in self.outcome([setting], patch=True))
        need += self.lean + self.blur * rng.normal()
        margin += self.blur * rng.normal()
        edges = [CLEAN_EDGE * spread, NEARLY_EDGE * spread, PARTIAL_EDGE * spread, max(THINNED, PARTIAL_EDGE * spread)]
        dirty = int(np.searchsorted(edges, need))
        harm = int(np.searchsorted([0.0, MARKED_STEP, 2 * MARKED_STEP], -margin))
        dirty, harm = _astray(dirty, 5, rng), _astray(harm, 4, rng)
        seconds = 0.1 / setting.travel_speed * math.exp(CLOCK * rng.normal())
        return pp.Graded(setting, pp.RESIDUES[4 - dirty], pp.HARMS[harm], seconds=seconds, length=0.1)


def _astray(right: int, count: int, rng: np.random.Generator) -> int:
    if rng.random() >= WRONG:
        return right
    near = [n for n in (right - 1, right + 1) if 0 <= n < count]
    return int(rng.choice(near if rng.random() < NEIGHBOUR else [n for n in range(count) if n != right]))


def draw_truth(seed: int) -> Truth:
    """The truth of a seed; pieces take turns."""
    coating, condition, substrate, state, laser = PIECES[seed % len(PIECES)]
    surface = pp.Surface([pp.Layer(coating, condition=condition)], substrate, condition=state)
    rng = np.random.default_rng([seed, 77])
    table = latents(surface)
    z = rng.standard_t(TAILS, size=(1, len(table.names))) * NORMAL_95 / T_95
    column = {name: j for j, name in enumerate(table.names)}
    for one, other, tie in TIES:
        for (place, name), j in column.items():
            if name == one and (place, other) in column:
                z[0, j] = tie * z[0, column[place, other]] + math.sqrt(1 - tie**2) * z[0, j]
    for name in TILTS:
        z[0, column["model", name]] = 0.0  # the fields stand for them
    component = rng.choice(len(table.weights), p=table.weights, size=1).astype(np.int64)
    layer, sub = concrete(table, component, np.clip(z, -4.0, 4.0), len(surface.coats))
    normal = rng.normal(size=4)
    return Truth(
        surface, laser, layer, sub, random_field(rng), random_field(rng), math.exp(0.04 * normal[0]),
        math.exp(0.25 * normal[1]), 0.1 * normal[2], 0.15 * math.exp(0.3 * normal[3]), seed,
    )  # fmt: skip


def candidates(laser: str, count: int = 6000) -> list[pp.Setting]:
    """Settings spread evenly on log scales over what a laser and a hand can do, from a fixed seed."""
    own = pp.laser(laser)
    rng = np.random.default_rng([len(laser), count])
    widths, head = [w for w, _ in own.energy_limits], own.handpiece
    found: list[pp.Setting] = []
    while len(found) < count:
        width = math.exp(rng.uniform(math.log(min(widths)), math.log(max(own.pulse_widths))))
        rate = math.exp(rng.uniform(math.log(own.min_rate), math.log(own.max_rate)))
        full = min(own.max_power, rate * own.max_energy(width)) * (1 - 1e-9)
        found.append(
            pp.Setting(
                full * math.exp(rng.uniform(math.log(0.15), 0.0)), rate, width, own.spot_radius,
                head.sweep_width_default, head.sweep_speed_default,
                math.exp(rng.uniform(math.log(SLOWEST_HAND), math.log(FASTEST_HAND))),
                int(rng.choice([1, 1, 2, 3, 4, 6, 8, 12])),
            )
        )  # fmt: skip
    return found


# What one who knew the truth would lay: round a setting, a little gentler up to half as hard again (power, or a slower
# hand where the laser has no more); ours.
KNOWING = (0.8, 1.0, 1.25, 1.5, 0.9, 1.0, 1.1, 1.25)
WELL = 0.6  # of the best rate, which the setting they lie round has at least; ours


def knowing_patches(truth: Truth, best: float) -> list[pp.Setting]:
    """Eight patches round the setting with most room on either side among the fast ones; none where none is fast.

    They show about how much the choice of patches could gain: a good way of placing them, not the best of all.
    """
    settings = candidates(truth.laser)
    need, spread, margin = truth.outcome(settings, patch=False)
    room = np.minimum((CLEAN_EDGE * spread - need) / NORMAL_95, margin / NORMAL_99)
    fast = np.array([area_rate(s) for s in settings]) >= WELL * best
    if not (fast & (room > 0)).any():
        return []
    middle, found = settings[int(np.argmax(np.where(fast, room, -np.inf)))], []
    for factor in KNOWING:
        step = middle.with_(average_power=middle.average_power * factor)
        try:
            pp.laser(truth.laser).check(step)
        except pp.InputError:
            step = middle.with_(travel_speed=middle.travel_speed / factor)
        found.append(step)
    return found


def best_rates(truth: Truth) -> tuple[float, float]:
    """Area rate of the fastest truly clean and harmless candidate; 0: there is none. And with room to spare.

    The second keeps the room the ordinary limits ask for (P(clean) 95 %, P(harm) 1 %) against how far two equal
    settings differ (0.15 in ln): a tester who knew the truth to that would name it.
    """
    settings = candidates(truth.laser)
    need, spread, margin = truth.outcome(settings, patch=False)
    room, noise = CLEAN_EDGE * spread - need, assumption("setting_noise").value
    rates = np.array([area_rate(s) for s in settings])
    able = (room >= 0) & (margin >= 0)
    sure = (room >= NORMAL_95 * noise) & (margin >= NORMAL_99 * noise)
    return float(np.max(np.where(able, rates, 0.0))), float(np.max(np.where(sure, rates, 0.0)))
