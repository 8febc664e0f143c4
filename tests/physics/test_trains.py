"""The pulses one place gets, against counting and energy; merged ones against every pulse."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch.errors import InputError
from proofpatch.physics.heat import instant_volume_rise
from proofpatch.physics.setting import Setting
from proofpatch.physics.trains import merged, place_train

SETTING = Setting(500.0, 20e3, 200e-9, 0.45e-3, 0.1, 10.0, 0.05)


# Energy over area: averaged over all phases a place gets P/(u W), however they fall (thermal-optical.md 3.8).
@pytest.mark.parametrize("share", [0.0, 0.7, 1.0])
@pytest.mark.parametrize("speed", [0.02, 0.05, 0.1])
def test_mean_dose_is_energy_over_area(share, speed):
    phases = (np.arange(30) + 0.5) / 30
    setting = SETTING.with_(travel_speed=speed)
    doses = [place_train(setting, share, a, b)[1].sum() for a in phases for b in phases]
    assert np.mean(doses) == pytest.approx(500 / (speed * 0.1), rel=0.01)


def test_pulses_come_in_bursts_a_line_apart():
    starts, fluences = place_train(SETTING.with_(repetition_rate=200e3, average_power=500.0), 1.0, 0.5, 0.5)
    gaps = np.diff(starts)
    assert starts[0] == 0.0
    assert np.all(gaps > 0)
    # A line takes 0.1 m / 10 m/s; within a crossing pulses follow at the repetition rate.
    assert set(np.round(gaps[gaps < 1e-4] * 200e3, 6)) == {1.0}
    assert np.all(np.abs(gaps[gaps > 1e-4] - 10e-3) < 1e-3)
    assert fluences == pytest.approx(np.full(fluences.size, 2.5e-3 / (math.pi * 0.45e-3**2)))


@settings(deadline=None, max_examples=60)
@given(
    pulses=st.integers(2, 400),
    rate=st.floats(1e3, 1e6),
    uneven=st.floats(0, 1),
    detail=st.sampled_from([0.05, 0.1, 0.3]),
    seed=st.integers(0, 99),
)
def test_merged_pulses_heat_the_face_as_much(pulses, rate, uneven, detail, seed):
    rng = np.random.default_rng(seed)
    starts = np.arange(pulses) / rate
    fluences = 1 + uneven * rng.uniform(-1, 1, pulses)
    around = float(starts[-1]) + 1 / rate
    begin, width, energy = merged(starts, 1e-8, fluences, around, detail)
    assert energy.sum() == pytest.approx(fluences.sum())

    def rise(t, f):  # at the face of wood, absorbed within 1 µm: close to age^(−1/2)
        return instant_volume_rise(0.0, np.maximum(around - t, 1e-12), f, 1.15e6, 1.5e-7, 1e6)

    # A rectangle as 400 flashes; stated: (3/8)(g/2a)² of a group and (g/2a)/2 of its imbalance.
    parts = (np.arange(400) + 0.5) / 400
    got = sum(np.mean(rise(b + parts * w, e)) for b, w, e in zip(begin, width, energy, strict=True))
    wanted = np.sum(rise(starts + 0.5e-8, fluences))
    assert got == pytest.approx(wanted, rel=(0.4 * (detail / 2) ** 2 + detail / 4 * (0.05 + uneven)))
    assert begin.size <= 3 * math.log(1 + pulses) / detail + 3


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: place_train(SETTING, 0.7, math.nan), "phase"),
        (lambda: place_train(SETTING.with_(travel_speed=1e-5, repetition_rate=1e6), 0.7), "repetition_rate"),
        (lambda: merged([0.0], 1e-7, [1.0, 2.0], 1.0), "starts"),
        (lambda: merged([0.0], 1e-7, [1.0], 1.0, 0.0), "detail"),
        (lambda: merged([0.0], 1e-7, [1.0], 1.0, 1.5), "detail"),
        (lambda: merged([-1.0], 1e-7, [1.0], 1.0), "starts"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
