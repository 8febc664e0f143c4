"""What to lay and read: within what the laser can do, and enough for the fits."""

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.lasers.caustic import fit_caustic
from proofpatch.lasers.plan import plan


# ISO 11146-1 wants stand-offs near and far; the marks must lie apart and be within what the laser can do.
@pytest.mark.parametrize("id", ["pulsed-100", "pulsed-300", "pulsed-500"])
def test_the_plan_is_one_this_laser_can_make_and_the_fits_can_use(id):
    laser = pp.laser(id)
    found = plan(laser)
    assert found.apart
    assert found.mark_pitch == pytest.approx(laser.handpiece.sweep_speed_max / laser.min_rate)
    for power in found.powers:
        laser.check(
            pp.Setting(power, found.repetition_rate, found.pulse_width, laser.spot_radius,
                       laser.handpiece.sweep_width_default, found.sweep_speed, 0.05)
        )  # fmt: skip
    assert found.pulse_energies[0] == pytest.approx(max(e for _, e in laser.energy_limits))
    away = np.array([0.0, *found.lifts])
    spots = laser.spot_radius * np.sqrt(1 + (away / laser.rayleigh_range) ** 2)
    assert fit_caustic(away, spots, laser.wavelength).m2.value == pytest.approx(laser.m2)
    assert found.quick_lift == pytest.approx(laser.rayleigh_range, rel=0.05)
