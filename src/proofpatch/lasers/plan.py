"""What to lay and read to know a laser, in its own figures."""

from __future__ import annotations

from dataclasses import dataclass

from proofpatch.lasers import Laser
from proofpatch.physics.sweep import pulse_pitch

# Common practice, no source: a step that a loupe can tell, enough of them to reach a pulse that leaves no mark.
ENERGY_STEP, ENERGY_STEPS = 1.5, 8
LIFTS = (-2.0, -1.0, -0.5, 0.5, 1.0, 2.0)  # in Rayleigh ranges; ISO 11146-1 wants some near and some far (from memory)
QUICK_LIFT = 1.0  # the same, where the spot is √2 as large
APART = 3.0  # spot diameters between sites (ISO 21254, from memory)
METER_SHARE = 0.5  # of the rated power; common practice, no source


@dataclass(frozen=True)
class Plan:
    """Single marks in focus and lifted, and a power to read.

    pulse_width [s], repetition_rate [Hz], sweep_speed [m/s]: of the marks. powers [W]: strongest first. lifts and
    quick_lift [m] from where the focus cue shows. meter_power [W]. mark_pitch: between marks [m]; apart: they do not
    touch.
    """

    pulse_width: float
    repetition_rate: float
    sweep_speed: float
    powers: tuple[float, ...]
    lifts: tuple[float, ...]
    quick_lift: float
    meter_power: float
    mark_pitch: float
    apart: bool

    @property
    def pulse_energies(self) -> tuple[float, ...]:
        """E = P/f of each [J]."""
        return tuple(power / self.repetition_rate for power in self.powers)


def plan(laser: Laser) -> Plan:
    """The lowest rate and the fastest sweep lay one pulse a place; the widest pulse raises the least plume."""
    rate, head = laser.min_rate, laser.handpiece
    most = min(max(energy for _, energy in laser.energy_limits), laser.max_power / rate)
    pitch = float(pulse_pitch(head.sweep_speed_max, rate))
    return Plan(
        pulse_width=max(width for width, energy in laser.energy_limits if energy >= most * (1 - 1e-9)),
        repetition_rate=rate,
        sweep_speed=head.sweep_speed_max,
        powers=tuple(most * rate / ENERGY_STEP**i for i in range(ENERGY_STEPS)),
        lifts=tuple(_round(k * laser.rayleigh_range) for k in LIFTS),
        quick_lift=_round(QUICK_LIFT * laser.rayleigh_range),
        meter_power=METER_SHARE * laser.max_power,
        mark_pitch=pitch,
        apart=pitch >= APART * 2 * laser.spot_radius,
    )


def _round(length: float) -> float:
    """To two digits, as a stack of shims has them."""
    return float(f"{length:.2g}")
