"""What the faces show of hazards, as plain records. Distances are rounded up, limits down, where they become words."""

from __future__ import annotations

import math
from typing import Any

from proofpatch.hazards import CAUTIONS
from proofpatch.hazards.beam import BeamHazards
from proofpatch.hazards.distance import MOST_NUMBER
from proofpatch.hazards.limits import Allowed
from proofpatch.units import show

ALWAYS = (
    "Calculated planning value, not a clearance. The laser's class 4 beam, reflections, fume and fire can injure "
    "beyond this estimate. Follow the manufacturer, local law, and a qualified laser safety officer."
)


def rounded_up(value: float, digits: int = 2) -> float:
    """The value with so many digits, never less than it is."""
    if value <= 0.0 or not math.isfinite(value):
        return value
    step = 10.0 ** (math.floor(math.log10(value)) - digits + 1)
    return math.ceil(value / step * (1 - 1e-12)) * step


def beam_record(found: BeamHazards) -> dict[str, Any]:
    """The contract's keys of `hazards`, and what stands behind them."""
    beam = found.beam
    return {
        "answers": list(beam_answers(found)),
        "eye_limit_J_m2_per_pulse": found.eye.per_pulse,
        "eye_limit_W_m2": found.eye.average,
        "governing_rule": found.governing,
        "other_rules": _allowed(found.other),
        "skin_limit_W_m2": found.skin_limit.average,
        "hazard_distance_m": found.distance,
        "mirrored_distance_m": found.mirrored,
        "diffuse_distance_m": found.diffuse,
        "skin_distance_m": found.skin,
        "distance_at_windows_m": found.at_window,
        "lens_missing_distance_m": found.lens_missing,
        "optical_density": found.optical_density,
        "scale_number_D": found.number_steady,
        "scale_number_R": found.number_pulsed,
        "scale_letter": found.pulse_letter,
        "screens": found.screens,
        "beam": {
            "power_W": beam.power, "rate_Hz": beam.rate, "width_s": beam.width, "wavelength_m": beam.wavelength,
            "beam_diameter_m": beam.diameter, "divergence_rad": beam.divergence, "focal_length_m": beam.focal_length,
            "exposure_s": beam.exposure, "reflectance": beam.reflectance,
        },
        "assumptions": list(found.assumptions),
        "sources": sources_of(found),
        "always": ALWAYS,
        "cautions": list(CAUTIONS),
    }  # fmt: skip


def sources_of(found: BeamHazards) -> list[str]:
    """One line for each thing the figures rest on, with its mark."""
    return [f"{words}: from memory, unverified" if mark == "memory" else words for words, mark in found.marks]


def _allowed(one: Allowed) -> dict[str, Any]:
    return {
        "rules": one.rules, "governing_rule": one.rule, "eye_limit_J_m2_per_pulse": one.per_pulse,
        "eye_limit_W_m2": one.average,
    }  # fmt: skip


def beam_answers(found: BeamHazards) -> tuple[str, str]:
    """Eyewear and distance, each in a sentence made of its values."""
    number = found.number_pulsed
    pulsed = f" and {found.pulse_letter} LB{number}" if number is not None else ""
    scale = f"D LB{found.number_steady}{pulsed}"
    nanometres = round(found.beam.wavelength * 1e9)
    density = math.ceil(found.optical_density * 10 - 1e-9) / 10
    worn = (
        f"Eyewear: for {nanometres} nm, optical density at least {density:.1f} and scale numbers {scale}, for everyone "
        "inside the zone."
    )
    if max(found.number_steady, number or 0) > MOST_NUMBER:
        worn = f"Eyewear: none is made for scale numbers {scale}; the beam has to be enclosed."
    far = show(rounded_up(found.distance), "length")
    distance = (
        f"Distance: an unprotected eye is at risk within {far} of the head in any line of sight, the sweep stopped; "
        f"skin within {show(rounded_up(found.skin), 'length')}; off a matt surface within "
        f"{show(rounded_up(found.diffuse), 'length')} of it. Walls that stop the beam end the zone, windows and shiny "
        "things do not."
    )
    return worn, distance
