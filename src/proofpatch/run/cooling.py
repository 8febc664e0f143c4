"""How long a thin part cools between passes: the bulk clock of the physics, with a pause in it.

    ΔT₁ = f a D/(ρc h)                   rise by one pass over f faces, no cooling       (1)
    τ = ρc h/(2 α)                       both faces give off heat                        (2)
    ΔT_n = ΔT₁ (1 − q^n)/(1 − q),  q = e^(−t/τ)   just after pass n, one every t          (3)

a share of the dose D that stays as heat, h thickness, α to still air. The physics itself counts passes without cooling
(`physics.clocks`), so a recipe that is admissible needs no wait by it; this holds the part well below its limit, where
hours of warmth also dry and warp. A lumped part: Biot number α h/k far below 1 for what is thin.

Source: Incropera & DeWitt, lumped capacitance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn.belief import Belief
from proofpatch.learn.forecast import quantiles
from proofpatch.physics import rows as at
from proofpatch.physics.clocks import BULK_SECONDS, ROOM, TINT
from proofpatch.physics.kinetics import temperature_for_conversion
from proofpatch.physics.setting import Setting, finite_number
from proofpatch.physics.sweep import mean_dose
from proofpatch.run.day import figures
from proofpatch.units import show

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cooling:
    """What the bulk asks. rise: by one pass, 95 % point of the belief [K]. allowed: [K]. time: τ, 5 % thin side [s].

    wait: between passes beyond the time a pass takes [s]; infinite where one pass alone is too much.
    """

    rise: float
    allowed: float
    time: float
    wait: float
    words: str


def cooling(belief: Belief, setting: Setting, seconds: float, faces: int = 1) -> Cooling:
    """The wait between passes over one zone.

    Args:
        seconds: one pass over it takes. faces: of the part that are worked in one go, 1 or 2: a small part turned at
            once, or a panel cleaned on both sides, takes the heat of both.

    Raises:
        InputError: a time that is none, or another number of faces.
    """
    seconds = finite_number("seconds", "The time of a pass", seconds, 0.0, 1e6, "s")
    sides = finite_number("faces", "The number of faces", faces, 1, 2, "")
    sub, weight = belief.substrate, belief.weight
    dose = mean_dose(setting.average_power * belief.laser.power_factor, setting.sweep_width, setting.travel_speed)
    bulk = sub[:, at.HEAT_CAPACITY] * sub[:, at.SOLID_THICKNESS]
    # Once bare, the substrate takes what its face absorbs; before that a film keeps no more than all of it.
    share = np.maximum(sub[:, at.ABSORPTANCE], _kept(belief)) * sub[:, at.HEAT_FACTOR]
    rises = np.asarray(sides * share * dose / bulk)  # (1)
    rise, allowed = _point(rises, weight, 2), figures()["bulk_share"].value * _point(_limits(sub), weight, 1)
    time = _point(np.asarray(bulk / (2.0 * figures()["still_air"].value)), weight, 0)  # (2)
    wait = max(_every(rise, allowed, time, setting.passes) - seconds, 0.0)
    return Cooling(rise, allowed, time, wait, _words(rise, allowed, wait))


def _every(rise: float, allowed: float, time: float, passes: int) -> float:
    """Time from pass to pass at which the last one just stays within what is allowed [s]."""
    if rise * passes <= allowed:
        return 0.0
    if rise >= allowed:
        return math.inf
    low, high = 0.0, 1.0  # of q; the sum rises with it
    for _ in range(60):
        q = 0.5 * (low + high)
        total = rise * math.fsum(q**k for k in range(passes))
        low, high = (q, high) if total <= allowed else (low, q)
    return -time * math.log(max(low, 1e-300))


def _limits(sub: Floats) -> Floats:
    """Rise at which the bulk of each draw comes to harm [K]: glue line, tint, or a temperature."""
    kinetic = sub[:, at.ACTIVATION] > 0
    energy = np.maximum(sub[:, at.ACTIVATION], 1.0)
    tint = np.where(
        kinetic, temperature_for_conversion(TINT, BULK_SECONDS, sub[:, at.LN_FREQUENCY], energy) - ROOM, np.inf
    )
    limit = np.where(kinetic, tint, sub[:, at.LIMIT])
    return np.asarray(np.where(sub[:, at.GLUE_DEPTH] > 0, np.minimum(limit, sub[:, at.GLUE]), limit))


def _kept(belief: Belief) -> Floats:
    """Share of the light a film takes and keeps as heat while it goes."""
    layer = belief.layer
    taken = (1.0 - layer[:, 0, at.REFLECTANCE]) * -np.expm1(
        -(layer[:, :, at.ABSORPTION] * layer[:, :, at.THICKNESS]).sum(axis=1)
    )
    return np.asarray(taken * layer[:, :, at.RESIDUAL_HEAT].max(axis=1))


def _point(values: Floats, weight: Floats, which: int) -> float:
    """0: median, 1: 5 %, 2: 95 % point."""
    return quantiles(values, weight)[which]


def _words(rise: float, allowed: float, wait: float) -> str:
    said = [f"One pass warms the part through by up to {rise:.3g} °C."]
    if wait > 0:
        said.append(f"It is to warm by less than {allowed:.3g} °C.")
    if math.isinf(wait):
        said.append("One pass is too much: not by this setting.")
    else:
        said.append(f"Wait {show(wait, 'duration')} between passes." if wait > 0 else "No wait is needed.")
    return " ".join(said)
