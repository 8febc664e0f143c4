"""A true piece of work for `simulator`: what nobody at the bench knows, drawn from the data and not from the belief.

The rows of `materials` say what is usual; here one piece, hand and grader are drawn from them, with tails and ties the
belief does not have (docs/simulator.md).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn.surface import Surface
from proofpatch.materials import coating, coating_data, substrate, substrate_data
from proofpatch.materials.curves import substrate_curve
from proofpatch.physics.strokes import HandMotion
from proofpatch.sources import Datum

Floats = NDArray[np.float64]
ROOM = 293.15  # K, from which every rise counts
TAILS = 5.0  # degrees of freedom of Student's t; ours
T_95 = 2.015  # its 95 % point (printed tables)
FARTHEST = 2.5  # half widths of the 90 % range beyond which nothing is drawn; ours
UNSTATED = 1.08  # factor of the 90 % range of a value without one; ours
SHARES = frozenset(
    ("reflectance", "incubation", "residual_heat", "soak_share", "absorptance", "absorptance_changed", "skin_share")
)
PLAIN = frozenset(
    (
        "threshold_width_exponent", "decomposition_temperature", "softening_temperature", "flash_exponent",
        "melting_temperature", "heat_limit", "gas_onset",
    )
)  # fmt: skip
# ln F_th against ln absorption, and toughness against bond, in standard deviations; from memory, unverified.
THRESHOLD_TIE, BOND_TIE = -0.6, 0.5
OVERRATED = (0.04, 0.4)  # measured threshold over evaporation estimate, where no class was measured; from memory


@dataclass(frozen=True)
class FilmTruth:
    """The one coat; SI, rises above ROOM. thickness is the median, spread of its ln, correlation its length."""

    thickness: float
    spread: float
    correlation: float
    absorption: float
    reflectance: float
    threshold: float  # first hit, 100 ns
    width_exponent: float
    depth: float  # δ
    incubation: float
    plume: float
    bond: float
    bond_spread: float  # of ln bond from place to place
    toughness: float
    residual_heat: float
    decomposition: float  # rise at which it goes by heat alone
    vaporisation: float  # J/kg
    density: float
    specific_heat: float
    conductivity: float
    softening: float = math.inf  # rise
    soak_share: float = 0.0
    clear: bool = False  # a tint shows through it
    organic: bool = True  # heat alone takes it off in the end

    @property
    def heat_capacity(self) -> float:
        """ρc [J/(m³ K)]."""
        return self.density * self.specific_heat


@dataclass(frozen=True)
class GroundTruth:
    """The substrate; SI, rises above ROOM, inf or 0 for what it does not have."""

    absorptance: float
    changed: float  # absorptance of char or oxide
    streaks: float  # spread of ln absorptance
    grain: float  # length over which they change
    skin_share: float
    skin_depth: float
    diffuse_depth: float
    heat_capacity: float
    conductivity: float
    thickness: float
    ln_frequency: float = 0.0
    activation: float = 0.0
    heat_limit: float = math.inf
    melting: float = math.inf
    flash_limit: float = 0.0
    flash_width: float = 1e-7
    flash_exponent: float = 0.0
    char_threshold: float = math.inf
    gas_conversion: float = 0.0
    gas_onset: float = 0.0  # 0: the film's decomposition
    porous: bool = False
    warming: tuple[tuple[float, float], ...] = ()  # (rise of the linear solution, true rise); () where they are equal


@dataclass(frozen=True)
class GraderTruth:
    """Who looks: spread and steady lean of the eye in logits of the share left, of ln harm share; plain wrong share."""

    noise: float = 0.3
    bias: float = 0.0
    harm_noise: float = 0.5
    wrong: float = 0.03


@dataclass(frozen=True)
class Truth:
    """One true piece under one true hand. `power` and `top_hat_share` are what the laser really does."""

    film: FilmTruth
    ground: GroundTruth
    hand: HandMotion
    laser: Any
    power: float  # at the work over dialled
    top_hat_share: float
    pause: float  # from one pass over a place to the next [s]
    grader: GraderTruth

    def with_(self, film: dict[str, Any] | None = None, ground: dict[str, Any] | None = None, **rest: Any) -> Truth:
        """The same with some values changed."""
        return replace(self, film=replace(self.film, **film or {}), ground=replace(self.ground, **ground or {}), **rest)


def drawn(name: str, datum: Datum, z: float) -> float:
    """A value z standard deviations off the datum's: its 90 % range at ±1.645 of a normal with the same tails.

    On the log scale, on that of ln(p/(1 − p)) for shares, plainly for temperatures and exponents.
    """
    value, low, high = datum.value, datum.low, datum.high
    if low is None or high is None:
        low, high = (value / UNSTATED, value * UNSTATED) if name not in PLAIN else (value - 5.0, value + 5.0)
    share = float(np.clip(z, -FARTHEST, FARTHEST))
    if name in PLAIN:
        return value + share * (high - value if share > 0 else value - low)
    if value <= 0.0 or (name in SHARES and value >= 1.0):
        return value
    if name in SHARES:
        middle, low, high = (math.log(p / (1.0 - p)) for p in np.clip([value, low, high], 1e-3, 1.0 - 1e-3))
        return 1.0 / (1.0 + math.exp(-middle - share * (high - middle if share > 0 else middle - low)))
    return value * math.exp(share * math.log(high / value if share > 0 else value / max(low, 1e-3 * value)))


def draw_truth(surface: Surface, laser: Any, rng: np.random.Generator, starts: str = "mask") -> Truth:
    """A true piece of this surface, its hand and its grader.

    Args:
        surface: one coat on a substrate; what is unknown in it is decided.
        laser: a Laser.
        rng: source of the draw; the same state gives the same truth.
        starts: "free" where strokes begin and end on the piece with the beam on.

    Raises:
        ValueError: more than one coat.
    """
    if len(surface.coats) != 1:
        raise ValueError("The simulator knows one coat.")
    weight, stacks, states = zip(*surface.components(), strict=True)
    pick = int(rng.choice(len(weight), p=weight))
    (key, colour, condition), state = stacks[pick][0], states[pick]
    coat = surface.coats[0]
    film = draw_film(key, coating_data(key, colour, condition), coat.thickness, coat.thickness_spread, rng)
    ground = draw_ground(surface.substrate, state, surface.substrate_thickness, rng)
    normal = rng.normal(size=6)
    # Hand and pause: from memory, unverified; the spread of speed is that of "±25 % covers 95 %".
    hand = HandMotion(
        0.114 * math.exp(0.25 * normal[0]), 1e-3 * math.exp(0.4 * normal[1]), 3e-3 * math.exp(0.3 * normal[2]),
        float(rng.uniform(0.05, 0.2)), float(rng.uniform(0.02, 0.1)) if starts == "free" else 0.0,
    )  # fmt: skip
    grader = GraderTruth(0.3 * math.exp(0.3 * normal[3]), 0.2 * normal[4])
    return Truth(
        film, ground, hand, laser, laser.power_factor * math.exp(0.04 * normal[5]),
        float(np.clip(laser.top_hat_share + 0.1 * rng.normal(), 0.0, 1.0)), float(rng.uniform(3.0, 30.0)), grader,
    )  # fmt: skip


def _normals(names: list[str], rng: np.random.Generator) -> dict[str, float]:
    """A number for each name, ±1 at the ends of a 90 % range, heavy-tailed."""
    return dict(zip(names, rng.standard_t(TAILS, size=len(names)) / T_95, strict=True))


def draw_film(
    key: str, data: dict[str, Datum], thickness: float | None, spread: float | None, rng: np.random.Generator
) -> FilmTruth:
    """The coat of these data, or of the thickness and spread its owner gives."""
    z = _normals([*data, "overrated"], rng)
    tie = z["absorption"]
    if "threshold_fluence" in data:
        z["threshold_fluence"] = THRESHOLD_TIE * tie + math.sqrt(1 - THRESHOLD_TIE**2) * z["threshold_fluence"]
    z["toughness"] = BOND_TIE * z["bond_energy"] + math.sqrt(1 - BOND_TIE**2) * z["toughness"]
    found = {name: drawn(name, datum, z[name]) for name, datum in data.items()}
    rise = max(found["decomposition_temperature"] - ROOM, 30.0)
    threshold = found.get("threshold_fluence")
    if threshold is None:
        enthalpy = found["density"] * (found["specific_heat"] * rise + found["vaporisation_heat"])
        low, high = np.log(OVERRATED)
        threshold = enthalpy / found["absorption"] / (1 - found["reflectance"]) * math.exp(rng.uniform(low, high))
    return FilmTruth(
        thickness=found["thickness"] if thickness is None else thickness * math.exp(0.1 * z["thickness"]),
        spread=found["thickness_spread"] if spread is None else spread,
        correlation=3e-3 * math.exp(0.6 * rng.normal()),  # from memory, unverified
        absorption=found["absorption"], reflectance=found["reflectance"], threshold=threshold,
        width_exponent=found["threshold_width_exponent"], depth=found["removal_depth"],
        incubation=found["incubation"], plume=found["plume_saturation"], bond=found["bond_energy"],
        bond_spread=0.4 * math.exp(0.3 * rng.normal()),  # from memory, unverified
        toughness=found["toughness"], residual_heat=found["residual_heat"], decomposition=rise,
        vaporisation=found["vaporisation_heat"], density=found["density"], specific_heat=found["specific_heat"],
        conductivity=found["conductivity"], softening=found.get("softening_temperature", math.inf) - ROOM,
        soak_share=found.get("soak_share", 0.0), clear=coating(key).kind == "clear film",
        organic="organic" in coating(key).families,
    )  # fmt: skip


def draw_ground(key: str, state: str, thickness: float | None, rng: np.random.Generator) -> GroundTruth:
    """The substrate of these data, or of the thickness its owner measured."""
    data = substrate_data(key, state)
    z = _normals([*data, "rate"], rng)
    if "kinetics_activation_energy" in data:  # a fit's two numbers err together
        z["kinetics_activation_energy"] = z["kinetics_ln_frequency_factor"]
    found = {name: drawn(name, datum, z[name]) for name, datum in data.items()}

    def above(name: str) -> float:
        return found[name] - ROOM if name in found else math.inf

    usual, blend = thickness, float(rng.uniform())
    return GroundTruth(
        absorptance=min(found["absorptance"], 0.95), changed=found.get("absorptance_changed", found["absorptance"]),
        streaks=found["absorptance_spread"], grain=1.5e-3 * math.exp(0.5 * rng.normal()),  # from memory, unverified
        skin_share=found["skin_share"], skin_depth=found["skin_depth"], diffuse_depth=found["diffuse_depth"],
        heat_capacity=found["density"] * found["specific_heat"], conductivity=found["conductivity"],
        thickness=found["thickness_default"] if usual is None else usual * math.exp(0.03 * z["rate"]),
        ln_frequency=found.get("kinetics_ln_frequency_factor", 0.0) + (0.35 * z["rate"]),  # ours
        activation=found.get("kinetics_activation_energy", 0.0),
        heat_limit=above("heat_limit"), melting=above("melting_temperature"),
        flash_limit=found.get("flash_limit", 0.0), flash_width=found.get("flash_reference_width", 1e-7),
        flash_exponent=found.get("flash_exponent", 0.0), char_threshold=found.get("char_threshold", math.inf),
        gas_conversion=found["gas_conversion"], gas_onset=max(above("gas_onset"), 0.0) if "gas_onset" in found else 0.0,
        porous=substrate(key).porous,
        warming=tuple((heat, heat + blend * (rise - heat)) for heat, rise in warming_of(key, state)),
    )  # fmt: skip


def warming_of(key: str, state: str) -> tuple[tuple[float, float], ...]:
    """(rise of the linear solution, true rise) [K] of a substrate whose heat over temperature is known; else ().

    The same heat by volume. The curve is of wood that keeps its moisture but never boils it: dried wood takes less,
    wood that dries at that moment more, so a truth takes a share of it.
    """
    if "conductivity_slope" not in substrate_data(key, state):
        return ()
    curve = substrate_curve(key, state)[0]
    cold = curve.heat_at(ROOM)
    slope = curve.heat_at(ROOM + 1.0) - cold
    kelvins = [ROOM, *(t for t in curve.temperatures if t > ROOM), 3000.0]
    return tuple(((curve.heat_at(t) - cold) / slope, t - ROOM) for t in kelvins)
