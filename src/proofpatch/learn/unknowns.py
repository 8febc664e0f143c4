"""Everything unknown of a surface, each a standard normal number pushed through the data's own range (`Latent`).

So a prior is exact, an update moves plain normals, and a parameter of any draw can be traced to its datum.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from proofpatch.learn.assumptions import assumption
from proofpatch.learn.surface import Surface
from proofpatch.materials import coating_data, substrate_data
from proofpatch.materials import substrate as substrate_record
from proofpatch.physics.clocks import ROOM
from proofpatch.physics.rows import LAYER, SUBSTRATE
from proofpatch.sources import Datum

Floats = NDArray[np.float64]
NORMAL_90 = 1.6448536269514722  # half width of the middle 90 % of a standard normal

# Unknowns of a layer and of a substrate: property -> how its range is read.
LAYER_LATENTS = {
    "thickness": "log", "thickness_spread": "log", "absorption": "log", "reflectance": "share",
    "threshold_fluence": "log", "threshold_width_exponent": "plain", "removal_depth": "log", "incubation": "share",
    "decomposition_temperature": "plain", "bond_energy": "log", "toughness": "log", "residual_heat": "share",
    "plume_saturation": "log", "soak_share": "share", "evaporation_overrate": "log",
}  # fmt: skip
SUBSTRATE_LATENTS = {
    "absorptance": "share", "skin_share": "share", "skin_depth": "log", "diffuse_depth": "log", "conductivity": "log",
    "thickness_default": "log", "flash_limit": "log", "flash_exponent": "plain", "melting_temperature": "plain",
    "heat_limit": "plain", "gas_conversion": "log", "gas_onset": "plain", "glue_limit": "plain",
    "absorptance_spread": "log",
}  # fmt: skip
TILTS = ("need_by_rate", "need_by_width", "need_by_dose", "room_by_rate", "room_by_width", "room_by_dose")
MODEL_LATENTS = dict.fromkeys(
    ("depth_discrepancy", "heat_discrepancy", "flash_discrepancy", "lift_discrepancy", "film_discrepancy",
     "kinetics_discrepancy", "grader_noise"), "log",
) | dict.fromkeys(TILTS, "plain")  # fmt: skip
# Not drawn: known well against the rest, or moved together with a latent.
FIXED_LAYER = ("density", "specific_heat", "conductivity", "vaporisation_heat")
FIXED_SUBSTRATE = (
    "density", "specific_heat", "flash_reference_width", "glue_depth", "kinetics_ln_frequency_factor",
    "kinetics_activation_energy",
)  # fmt: skip
NEVER_RISE = 1e6  # K; a limit that does not exist
NO_SOAK = 1e6


@dataclass(frozen=True)
class Latent:
    """One unknown: x(z) for a standard normal z, with the datum's value at 0 and its 90 % range at ±1.645.

    The two halves may differ in width, so that value and range are both kept as published.
    """

    datum: Datum
    scale: str

    def halves(self) -> tuple[float, float, float]:
        """(centre, width below, width above) on the working scale."""
        value, low, high = self.datum.value, self.datum.low, self.datum.high
        spread = assumption("unstated_range")
        if low is None or high is None:
            relative = (spread.high or 1.0) / spread.value
            if self.scale == "plain":
                low, high = value - abs(value) * (relative - 1), value + abs(value) * (relative - 1)
            else:
                low, high = value / relative, value * relative
        if self.scale == "log":
            if value <= 0:
                return -745.0, 0.0, 0.0
            floor = max(low, value * 1e-3)
            return np.log(value), np.log(value / floor) / NORMAL_90, np.log(high / value) / NORMAL_90
        if self.scale == "share" and value in (0.0, 1.0):
            return 40.0 * (2 * value - 1), 0.0, 0.0  # none or all of it, for certain
        if self.scale == "share":

            def logit(p: float) -> float:
                return float(special.logit(min(max(p, 1e-4), 1 - 1e-4)))

            return logit(value), (logit(value) - logit(low)) / NORMAL_90, (logit(high) - logit(value)) / NORMAL_90
        return value, (value - low) / NORMAL_90, (high - value) / NORMAL_90


def _push(scale: str, centre: Floats, below: Floats, above: Floats, z: Floats) -> Floats:
    x = centre + np.where(z < 0, below, above) * z
    if scale == "log":
        return np.exp(x)
    return np.asarray(special.expit(x)) if scale == "share" else x


@dataclass(frozen=True)
class Latents:
    """The table of every unknown of a surface, for each component of its mixture.

    centre, below, above: (components, unknowns). fixed: name -> (components,) of what is not drawn.
    """

    names: tuple[tuple[str, str], ...]
    scales: tuple[str, ...]
    centre: Floats
    below: Floats
    above: Floats
    fixed: dict[tuple[str, str], Floats]
    weights: Floats
    stacks: tuple[tuple[tuple[str, str, str], ...], ...]
    data: tuple[Datum, ...]


@lru_cache(maxsize=64)
def latents(surface: Surface) -> Latents:
    """The table of unknowns of this surface."""
    components = surface.components()
    porous = substrate_record(surface.substrate).porous
    rows: list[dict[tuple[str, str], tuple[float, float, float]]] = []
    fixed_rows: list[dict[tuple[str, str], float]] = []
    data: dict[tuple[Any, ...], Datum] = {}
    scale_of: dict[tuple[str, str], str] = {}

    def take(
        row: dict[tuple[str, str], tuple[float, float, float]], place: str, name: str, scale: str, datum: Datum
    ) -> None:
        row[place, name] = Latent(datum, scale).halves()
        scale_of[place, name] = scale
        data[place, name, datum] = datum

    for _, stack, state in components:
        row: dict[tuple[str, str], tuple[float, float, float]] = {}
        fixed: dict[tuple[str, str], float] = {}
        for index, ((key, colour, condition), coat) in enumerate(zip(stack, surface.coats, strict=True)):
            place = f"layer {index}"
            found = dict(coating_data(key, colour, condition))
            if coat.thickness is not None:
                known = assumption("measured_thickness")
                lo, hi = (known.low or 1.0) * coat.thickness, (known.high or 1.0) * coat.thickness
                found["thickness"] = Datum(
                    coat.thickness, lo, hi, "m", "owner", "measured by the owner", "common practice"
                )
            if coat.thickness_spread is not None:
                given = max(coat.thickness_spread, 0.01)
                found["thickness_spread"] = Datum(
                    given, given, given, "1", "owner", "given by the owner", "common practice"
                )
            found["evaporation_overrate"] = assumption("evaporation_overrate")
            for name, scale in LAYER_LATENTS.items():
                if name in found:
                    take(row, place, name, scale, found[name])
            for name in FIXED_LAYER:
                fixed[place, name] = found[name].value
                data[place, name, found[name]] = found[name]
            fixed[place, "measured"] = float("threshold_fluence" in found)
            soaks = "soak_share" in found and "softening_temperature" in found
            fixed[place, "soak_rise"] = found["softening_temperature"].value - ROOM if soaks and porous else NO_SOAK
        under = dict(substrate_data(surface.substrate, state))
        if surface.substrate_thickness is not None:
            t = surface.substrate_thickness
            under["thickness_default"] = Datum(
                t, t * 0.95, t * 1.05, "m", "owner", "measured by the owner", "common practice"
            )
        for name, scale in SUBSTRATE_LATENTS.items():
            if name in under:
                take(row, "substrate", name, scale, under[name])
        for name in FIXED_SUBSTRATE:
            fixed["substrate", name] = under[name].value if name in under else 0.0
            if name in under:
                data["substrate", name, under[name]] = under[name]
        for name, scale in MODEL_LATENTS.items():
            take(row, "model", name, scale, assumption(name))
        rows.append(row)
        fixed_rows.append(fixed)
    names = tuple(sorted(scale_of))
    table = np.array([[row.get(name, (np.nan, 0.0, 0.0)) for name in names] for row in rows])
    return Latents(
        names=names,
        scales=tuple(scale_of[name] for name in names),
        centre=table[:, :, 0],
        below=table[:, :, 1],
        above=table[:, :, 2],
        fixed={name: np.array([row[name] for row in fixed_rows]) for name in fixed_rows[0]},
        weights=np.array([p for p, _, _ in components]),
        stacks=tuple((*stack, ("substrate", state, "")) for _, stack, state in components),
        data=tuple(data.values()),
    )


def concrete(table: Latents, component: NDArray[np.int64], z: Floats, layers: int) -> tuple[Floats, Floats]:
    """Concrete surfaces of normals z (draws, unknowns), SI: (draws, layers, len(LAYER)), (draws, len(SUBSTRATE))."""
    value: dict[tuple[str, str], Floats] = {}
    link = assumption("threshold_absorption_link").value
    column = {name: j for j, name in enumerate(table.names)}
    for name, j in column.items():
        normal = z[:, j]
        if name[1] == "threshold_fluence":
            # Drawn jointly: a film that takes less light has a higher threshold.
            normal = link * z[:, column[name[0], "absorption"]] + np.sqrt(1 - link**2) * normal
        value[name] = _push(
            table.scales[j], table.centre[component, j], table.below[component, j], table.above[component, j], normal
        )

    def get(place: str, name: str, missing: float) -> Floats:
        found = value.get((place, name))
        if found is None:
            return np.full(len(component), missing)
        return np.where(np.isfinite(found), found, missing)

    def must(place: str, name: str) -> Floats:
        found = value[place, name]
        if not np.all(np.isfinite(found)):
            raise ValueError(f"{place} lacks {name} in the data")
        return found

    def fixed(place: str, name: str) -> Floats:
        return table.fixed[place, name][component]

    draws = len(component)
    layer = np.zeros((draws, layers, len(LAYER)))
    for i in range(layers):
        place = f"layer {i}"
        rise = np.maximum(must(place, "decomposition_temperature") - ROOM, 30.0)
        absorption, reflectance = must(place, "absorption"), must(place, "reflectance")
        # Where no class was measured: the evaporation estimate, brought down by what such estimates overrate.
        enthalpy = fixed(place, "density") * (fixed(place, "specific_heat") * rise + fixed(place, "vaporisation_heat"))
        estimate = must(place, "evaporation_overrate") * enthalpy / (absorption * (1 - reflectance))
        measured = fixed(place, "measured") > 0
        threshold = np.where(measured, get(place, "threshold_fluence", 1e9), estimate)
        columns = {
            "thickness": must(place, "thickness"),
            "thickness_spread": must(place, "thickness_spread"),
            "absorption": absorption,
            "reflectance": reflectance,
            "threshold": np.clip(threshold, 1.0, 1e9),
            "width_exponent": must(place, "threshold_width_exponent"),
            "depth": must(place, "removal_depth"),
            "incubation": must(place, "incubation"),
            "decomposition_rise": rise,
            "bond_energy": must(place, "bond_energy"),
            "toughness": must(place, "toughness"),
            "residual_heat": must(place, "residual_heat"),
            "plume_fluence": must(place, "plume_saturation"),
            "heat_capacity": fixed(place, "density") * fixed(place, "specific_heat"),
            "conductivity": fixed(place, "conductivity"),
            "soak_rise": fixed(place, "soak_rise"),
            "soak_share": get(place, "soak_share", 0.0),
        }
        for j, column_name in enumerate(LAYER):
            layer[:, i, j] = columns[column_name]
    place = "substrate"
    rates = np.log(must("model", "kinetics_discrepancy"))
    kinetic = fixed(place, "kinetics_activation_energy") > 0
    sub_columns = {
        "absorptance": must(place, "absorptance"),
        "skin_share": must(place, "skin_share"),
        "skin_depth": must(place, "skin_depth"),
        "diffuse_depth": np.maximum(must(place, "diffuse_depth"), 1e-5),  # 0 where nothing goes there
        "heat_capacity": fixed(place, "density") * fixed(place, "specific_heat"),
        "conductivity": must(place, "conductivity"),
        "thickness": must(place, "thickness_default"),
        "flash_limit": get(place, "flash_limit", 0.0),
        "flash_reference_width": fixed(place, "flash_reference_width"),
        "flash_exponent": get(place, "flash_exponent", 0.5),
        "melt_rise": get(place, "melting_temperature", NEVER_RISE + ROOM) - ROOM,
        "ln_frequency_factor": np.where(kinetic, fixed(place, "kinetics_ln_frequency_factor") + rates, 0.0),
        "activation_energy": fixed(place, "kinetics_activation_energy"),
        "limit_rise": np.maximum(get(place, "heat_limit", NEVER_RISE + ROOM) - ROOM, 5.0),
        "gas_conversion": must(place, "gas_conversion"),
        "gas_rise": np.maximum(get(place, "gas_onset", ROOM) - ROOM, 0.0),
        "glue_depth": fixed(place, "glue_depth"),
        "glue_rise": np.maximum(get(place, "glue_limit", NEVER_RISE) - ROOM, 5.0),
        "spread": must(place, "absorptance_spread"),
        "depth_factor": must("model", "depth_discrepancy"),
        "heat_factor": must("model", "heat_discrepancy"),
        "flash_factor": must("model", "flash_discrepancy"),
        "lift_factor": must("model", "lift_discrepancy"),
        "film_factor": must("model", "film_discrepancy"),
        "grader_noise": must("model", "grader_noise"),
        **{name: must("model", name) for name in TILTS},
    }
    sub = np.stack([sub_columns[name] for name in SUBSTRATE], axis=1)
    return layer, sub


@lru_cache(maxsize=64)
def typical(surface: Surface) -> tuple[Floats, Floats, Floats]:
    """(layer, substrate, share) of each component with every unknown as its datum has it, as `concrete` has them."""
    table = latents(surface)
    components = np.arange(len(table.weights))
    layer, sub = concrete(table, components, np.zeros((len(components), len(table.names))), len(surface.coats))
    return layer, sub, table.weights
