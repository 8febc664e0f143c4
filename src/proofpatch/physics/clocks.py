"""The clocks on which a substrate comes to harm, each as a margin: ln of the factor its heat could still grow.

Flash is one pulse, strip the sweep as a band under the hand, bulk a thin part warming as a whole, glue line the
plane below a veneer, stop a line that stands still. Wood and paper fail by Arrhenius conversion, others by
melting or by a temperature.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import choose, elementwise
from proofpatch.physics.kinetics import _temperature_for_conversion

ROOM = 293.15  # K, where every rise is counted from
GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
TINT = 0.01  # Arrhenius conversion that shows as a tint (common practice, no source)
BULK_SECONDS = 60.0  # how long a thin part stays hot; from memory, unverified
FAR = 20.0  # margin of a clock that does not run
# A plane of heat H at the face is hottest at depth z after z²/2D, with sqrt(2/(π e)) H/(ρc z).
PLANE_PEAK = math.sqrt(2.0 / (math.pi * math.e))


@elementwise
def _strip_margin(
    strip: Any, top: Any, crossing: Any, lasting: Any, passes: Any, skin_seconds: Any, ln_frequency: Any,
    activation: Any, limit: Any,
) -> Any:  # fmt: skip
    """Margin of the band under the hand, any shape.

    The face stays within RT²/E of its peak, where a reaction runs e times slower, for about
    (0.886 min(1, RT²/(E ΔT_crossing)))² d²/D after the last pulse: the time the last crossing's rise needs to fall
    that far.

    Args:
        strip: rise of the band [K]. top: what the hottest moment stands above it [K].
        crossing: what of the peak the last crossing has brought [K]. lasting: what of it lasts long enough to count
            where a temperature decides [K].
        passes: each adds its conversion. skin_seconds: d²/D of the skin [s].
        ln_frequency, activation: of the kinetics [1, J/mol]; activation 0 where a temperature decides.
        limit: rise that is harm where a temperature decides [K].

    Derived here from the inverse of erfcx near 1; held against the pulse-resolved table of oak in the tests.
    """
    kinetic = activation > 0.0
    energy = np.maximum(activation, 1.0)
    peak = choose(kinetic, strip + top, strip + lasting)
    e_fold = GAS_CONSTANT * (peak + ROOM) * (peak + ROOM) / energy
    fall = 0.886 * np.minimum(1.0, e_fold / np.maximum(crossing, 1e-3))
    near = np.maximum(fall * fall * skin_seconds, 1e-6)
    tint = _temperature_for_conversion(TINT, passes * near, ln_frequency, energy) - ROOM
    return np.log(choose(kinetic, tint, limit) / np.maximum(peak, 1e-3))


@elementwise
def _flash_margin(
    peak_fluence: Any, strip: Any, pulse_width: Any, absorptance: Any, conductivity: Any, heat_capacity: Any, melt: Any,
    flash_limit: Any, flash_width: Any, flash_exponent: Any,
) -> Any:  # fmt: skip
    """Margin of one pulse on bare substrate, any shape.

        F_melt = (ΔT/2) √(π k ρc τ)/A,   or a measured limit F_lim (τ/τ₀)^x

    Args:
        peak_fluence: [J/m²]. strip: rise already there [K]. pulse_width: τ [s].
        melt: rise to melting [K], huge where it does not melt.
        flash_limit: measured limit [J/m²] at flash_width [s] with flash_exponent; 0 where there is none.
    """
    molten = (
        0.5
        * np.maximum(melt - strip, 1.0)
        * np.sqrt(math.pi * conductivity * heat_capacity * pulse_width)
        / absorptance
    )
    widths = np.exp(flash_exponent * np.log(pulse_width / np.maximum(flash_width, 1e-12)))
    return np.log(choose(flash_limit > 0.0, flash_limit * widths, molten) / peak_fluence)


@elementwise
def _bulk_margin(rise: Any, ln_frequency: Any, activation: Any, limit: Any) -> Any:
    """Margin of a part warmed through, no cooling between passes (conservative), any shape."""
    slow = _temperature_for_conversion(TINT, BULK_SECONDS, ln_frequency, np.maximum(activation, 1.0)) - ROOM
    return np.log(choose(activation > 0.0, slow, limit) / np.maximum(rise, 1e-3))


@elementwise
def _glue_margin(absorbed: Any, bulk_rise: Any, heat_capacity: Any, depth: Any, limit: Any) -> Any:
    """Margin of a glue line `depth` below the face under `absorbed` heat [J/m²], any shape; depth 0: there is none."""
    rise = PLANE_PEAK * absorbed / (heat_capacity * np.maximum(depth, 1e-6)) + bulk_rise
    return choose(depth > 0.0, np.log(limit / np.maximum(rise, 1e-3)), FAR)


@elementwise
def _stop_margin(rise: Any, seconds: float, ln_frequency: Any, activation: Any, limit: Any) -> Any:
    """Margin of a line that stands still for `seconds`, beam on, with `rise` at its end [K], any shape.

    The peak is taken to last the whole stop (conservative).
    """
    tint = _temperature_for_conversion(TINT, seconds, ln_frequency, np.maximum(activation, 1.0)) - ROOM
    return np.log(choose(activation > 0.0, tint, limit) / np.maximum(rise, 1e-3))
