"""Many stacks at once against one at a time, against the plain form, and against what must hold."""

import math

import numpy as np
import pytest

from proofpatch.errors import InputError
from proofpatch.physics.heat import instant_volume_rise
from proofpatch.physics.heat_stack import HeatLayer
from proofpatch.physics.layered import layered_rise
from proofpatch.physics.layered_batch import HeatCase, layered_histories

FILM = HeatLayer(50e-6, 0.25, 1400, 1400, 1e4)
STEEL = HeatLayer(None, 60.5, 7854, 434)
WOOD = HeatLayer(None, 0.1697, 692.7, 1661, ((0.3, 1 / 60e-6), (0.3, 400.0)))


def random_case(rng, pulses=3):
    under = HeatLayer(None, rng.uniform(0.1, 60), rng.uniform(1e3, 6e3), 1000, ((0.5, 1 / 60e-6), (0.3, 400.0)))
    starts = np.arange(pulses) * 3e-4 + rng.uniform(0, 1e-4, pulses)
    layers = [FILM, under] if rng.random() < 0.7 else [under]
    return HeatCase(layers, starts, 2e-7, 1e11 * rng.random(pulses), 5e-3)


@pytest.mark.parametrize("resolution", [0.5, 1.0])
def test_plain_and_compiled_agree(resolution):
    # 33 cases: a full block of lanes and one left over.
    rng = np.random.default_rng(1)
    cases = [random_case(rng, int(rng.integers(1, 3))) for _ in range(33)]
    plain, quick = (layered_histories(cases, resolution=resolution, compiled=flag) for flag in (False, True))
    assert quick.front == pytest.approx(plain.front, rel=1e-9, abs=1e-9, nan_ok=True)
    assert quick.heat == pytest.approx(plain.heat, rel=1e-9)


# `layered_rise` is held against exact solutions in its own tests; the batch takes the same cells and steps.
def test_each_case_is_what_it_is_alone():
    times = [2e-7, 1e-5, 1e-3]
    cases = [HeatCase(stack, [0.0], 2e-7, 1e11, 1e-3) for stack in ([FILM, STEEL], [WOOD], [FILM, WOOD])]
    found = layered_histories(cases)
    for n, case in enumerate(cases):
        wanted = layered_rise(case.layers, 1e11, 2e-7, 1.0, 1, 0.0, times)
        got = np.interp(times, found.time[n], found.front[n, :, 0])
        assert got == pytest.approx(wanted, rel=2e-3)


def test_uneven_pulses_add_up_as_their_closed_forms():
    # Light in a skin of 60 µm on wood, three uneven flashes: sums of thermal-optical.md 4.2.
    skin = HeatLayer(None, 0.1697, 692.7, 1661, 1 / 60e-6)
    starts, fluences = np.array([0.0, 3e-3, 5e-3]), np.array([2e4, 1e4, 3e4])
    case = HeatCase([skin], starts, 1e-7, fluences / 1e-7, 4e-3)
    found = layered_histories([case])
    age = 9e-3 - starts - 0.5e-7
    d = 0.1697 / (692.7 * 1661)
    wanted = np.sum(instant_volume_rise(0.0, age, fluences, 692.7 * 1661, d, 1 / 60e-6))
    assert found.time[0, -1] == pytest.approx(9e-3)
    assert found.front[0, -1, 0] == pytest.approx(wanted, rel=2e-3)


def test_heat_is_kept_and_missing_layers_say_nothing():
    rng = np.random.default_rng(2)
    cases = [random_case(rng) for _ in range(40)]
    found = layered_histories(cases, resolution=0.5)
    for n, case in enumerate(cases):
        film = 1 - math.exp(-1e4 * 50e-6)
        taken = (film + (1 - film) * 0.8) if len(case.layers) == 2 else 0.8
        # The little that a thick layer of 40 diffuse depths lets through is nothing.
        assert found.heat[n] == pytest.approx(taken * np.sum(case.fluxes) * 2e-7, rel=1e-6)
        assert np.all(np.isnan(found.front[n, :, 1])) == (len(case.layers) == 1)
    assert np.all(found.peak[:, 0] >= found.front[:, -1, 0])


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"starts": []}, "starts"),
        ({"starts": [0.0, 0.0]}, "starts"),
        ({"starts": [0.0, 1e-8]}, "starts"),
        ({"starts": [[0.0]]}, "starts"),
        ({"starts": [math.nan]}, "starts"),
        ({"widths": 0.0}, "widths"),
        ({"widths": [1e-7, 1e-7]}, "widths"),
        ({"fluxes": -1.0}, "fluxes"),
        ({"until": 0.0}, "until"),
        ({"layers": []}, "layers"),
        ({"layers": [WOOD, FILM]}, "thickness"),
    ],
)
def test_refuses_what_cannot_be(change, field):
    given = {"layers": [FILM, WOOD], "starts": [0.0], "widths": 1e-7, "fluxes": 1e10, "until": 1e-3} | change
    with pytest.raises(InputError) as refused:
        HeatCase(**given)
    assert refused.value.field == field


def test_refuses_no_case_and_too_many_steps():
    with pytest.raises(InputError, match="no case"):
        layered_histories([])
    many = HeatCase([WOOD], np.arange(20_000) * 1e-6, 1e-7, 1.0, 1e-3)
    with pytest.raises(InputError, match="fewer pulses"):
        layered_histories([many])
