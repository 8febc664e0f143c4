"""What must hold for any stack: heat kept, nothing colder than before, cuts and units without effect; and refusals."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_solids import ALUMINIUM, MILD_STEEL, PAINT, STAINLESS, UM, WOOD

from proofpatch.errors import InputError
from proofpatch.physics import layered
from proofpatch.physics.heat_stack import HeatLayer
from proofpatch.physics.layered import layered_energy, layered_rise

STACK = [PAINT.layer(40 * UM, 2e4), WOOD.layer(200 * UM, 5e3), ALUMINIUM.layer(50 * UM, 1e3), PAINT.layer(30 * UM, 100)]
OPAQUE_STACK = [PAINT.layer(90 * UM, 1e4), MILD_STEEL.layer(1e-3), WOOD.layer()]


def test_every_absorbed_joule_is_stored():
    width, rate, pulses, flux = 200e-9, 20e3, 30, 1e9
    times = np.array([0.3 * width, width, 5 / rate, 7 / rate + 0.5 * width, 30 / rate, 1.0])
    lit = np.array([0.3, 1, 5, 7.5, 30, 30]) * width
    passes = math.exp(-(2e4 * 40e-6 + 5e3 * 200e-6 + 1e3 * 50e-6 + 100 * 30e-6))
    assert 0.1 < passes < 0.9  # a stack that lets light through
    for stack, share in ((STACK, 1 - passes), (OPAQUE_STACK, 1.0), ([WOOD.layer(absorption=1e3)], 1.0)):
        got = layered_energy(stack, flux, width, rate, pulses, times)
        assert got == pytest.approx(flux * lit * share, rel=1e-9)


# Cells that settle 10¹¹ times within a step, for 300 steps and more: what rounding takes must not add up.
def test_films_far_thinner_than_the_heat_lose_nothing():
    stack = [ALUMINIUM.layer(20e-9), STAINLESS.layer(30e-9)]
    got = layered_energy(stack, 1e6, 200e-6, 1e3, 5, 5e-3, resolution=2)
    assert got == pytest.approx(1e6 * 200e-6 * 5, rel=1e-9)
    rise = layered_rise(stack, 1e6, 200e-6, 1e3, 5, [0, 20e-9, 50e-9], 5e-3)
    held = ALUMINIUM.heat_capacity * 20e-9 + STAINLESS.heat_capacity * 30e-9
    assert rise == pytest.approx(np.full(3, 1e3 / held), rel=1e-9)


# The same heat from the rises themselves: the trapezoid rule over each layer, which knows nothing of the cells.
def test_rises_hold_the_heat_that_was_absorbed():
    width, flux = 200e-9, 1e9
    total, top, absorbed = 0.0, 0.0, 1.0
    time = 2e-3
    for layer in STACK:
        z = top + np.linspace(0, layer.thickness, 801)
        rise = layered_rise(STACK, flux, width, 1.0, 1, z, time)
        total += np.trapezoid(layer.heat_capacity * rise, z)
        top = z[-1]
        absorbed *= math.exp(-layer.absorption * layer.thickness)
    assert total == pytest.approx(flux * width * (1 - absorbed), rel=2e-4)


# No source is negative, so no rise is; and one pulse at the face is hottest there, at its end.
@pytest.mark.parametrize(
    "stack",
    [
        [PAINT.layer()],
        [PAINT.layer(2 * UM), MILD_STEEL.layer()],
        [STAINLESS.layer(5 * UM), WOOD.layer()],
        [ALUMINIUM.layer(0.05 * UM), WOOD.layer(1e-3)],
        STACK,
        OPAQUE_STACK,
    ],
)
def test_nothing_is_colder_than_before_or_hotter_than_the_lit_face(stack):
    width = 200e-9
    times = np.unique(np.concatenate([np.geomspace(1e-4, 1e5, 40), 1 + np.geomspace(1e-6, 10, 30)])) * width
    reach = min(sum(layer.thickness or 1e-3 for layer in stack), 3e-4)
    depths = np.concatenate([[0], np.geomspace(1e-4, 1, 200) * reach])[:, None]
    rise = layered_rise(stack, 1e9, width, 1.0, 1, depths, times)
    assert rise.min() >= -1e-9 * rise.max()
    if stack[0].absorption is None:
        assert rise.max() == rise[0, np.searchsorted(times, width)]
    train = layered_rise(stack, 1e9, width, 100e3, 5, depths, np.linspace(0, 60e-6, 97))
    assert train.min() >= -1e-9 * train.max()


# The cells change with the cut, so the results may by the scheme's error, and by no more: 0.1 %, and a quarter of
# it at twice the resolution.
def test_cutting_a_layer_in_two_changes_nothing():
    whole = [PAINT.layer(40 * UM, 2e4), MILD_STEEL.layer()]
    cut = [PAINT.layer(20 * UM, 2e4), PAINT.layer(20 * UM, 2e4), MILD_STEEL.layer()]
    depths = np.array([0, 10, 20, 30, 40, 50])[:, None] * UM
    times = np.array([200e-9, 50e-6, 1e-3])
    off = []
    for r in (1, 2):
        a, b = (layered_rise(s, 1e9, 200e-9, 1.0, 1, depths, times, resolution=r) for s in (whole, cut))
        off.append(np.max(abs(a - b) / a.max(axis=0)))
    assert off[0] < 1e-3
    assert off[1] < 0.4 * off[0]


@given(length=st.floats(-2, 2), time=st.floats(-2, 2), conductivity=st.floats(-1, 1), amplitude=st.floats(-2, 2))
@settings(deadline=None, max_examples=15)
def test_units_of_length_time_and_heat_do_not_matter(length, time, conductivity, amplitude):
    # z → l z, t → s t, k → c k, ρ → ρ c s/l² keep D t/z²; flux → a flux gives rises a l/c as large.
    el, es, ck, am = 10**length, 10**time, 10**conductivity, 10**amplitude

    def scaled(layer):
        return HeatLayer(
            layer.thickness and layer.thickness * el,
            layer.conductivity * ck,
            layer.density * ck * es / el**2,
            layer.specific_heat,
            layer.absorption and layer.absorption / el,
        )

    depths, times = np.array([0, 40, 90, 300])[:, None] * UM, np.array([1e-7, 60e-6, 1e-3])
    base = layered_rise(OPAQUE_STACK, 1e9, 200e-9, 20e3, 3, depths, times)
    other = layered_rise(
        [scaled(layer) for layer in OPAQUE_STACK], 1e9 * am, 200e-9 * es, 20e3 / es, 3, depths * el, times * es
    )
    assert other * ck / (am * el) == pytest.approx(base, rel=1e-6, abs=1e-9 * base.max())


def test_flux_scales_the_rise_and_stacks_add_up():
    depths = np.array([0, 45, 90, 200]) * UM
    one, two = (layered_rise(OPAQUE_STACK, q, 200e-9, 20e3, 3, depths, 1e-4) for q in (1e9, 2.5e9))
    assert two == pytest.approx(2.5 * one, rel=1e-12)
    assert layered_rise(OPAQUE_STACK, 0.0, 200e-9, 20e3, 3, depths, 1e-4) == pytest.approx(0 * depths, abs=0)


def test_what_is_asked_beside_does_not_move_an_answer():
    # Same first and last time, so same cells: the times between are reached by steps aside.
    few = layered_rise(OPAQUE_STACK, 1e9, 200e-9, 20e3, 3, 0, [1e-7, 77e-6, 2e-4])
    many = layered_rise(OPAQUE_STACK, 1e9, 200e-9, 20e3, 3, 0, np.append(np.linspace(1e-7, 2e-4, 50), 77e-6))
    assert many[[0, -1, -2]] == pytest.approx(few, rel=1e-12)


def test_compiled_and_plain_steps_agree(monkeypatch):
    if layered.numba is None:  # nothing to compare: the plain form is the only one
        assert layered._march_for(10**9) is layered._march_plain
        return
    ask = (OPAQUE_STACK, 1e9, 200e-9, 20e3, 20, np.array([0, 45, 90, 300])[:, None] * UM, np.linspace(0, 1.1e-3, 7))
    plain = layered_rise(*ask)
    monkeypatch.setattr(layered, "WORTH_COMPILING", 0)
    assert layered._march_for(1) is layered._march_compiled
    assert layered_rise(*ask) == pytest.approx(plain, rel=1e-9, abs=1e-12 * plain.max())
    monkeypatch.setattr(layered, "numba", None)
    assert layered._march_for(1) is layered._march_plain


def test_steps_do_not_grow_with_the_number_of_pulses():
    train = layered._train(1e9, 200e-9, 20e3, 10_000)
    mesh = layered._mesh(OPAQUE_STACK, train, np.array([0.5]), 0.0, 1.0)
    on = layered._steps(mesh, train.width, layered.FIRST_STEP * train.width, 1.0)
    off = layered._steps(mesh, train.period - train.width, layered.FIRST_STEP * train.width, 1.0)
    assert len(on.theta) + len(off.theta) < 200
    assert mesh.nodes.size < 1500
    assert mesh.light.sum() == pytest.approx(1)


# ---- What goes in and comes out ----


def test_layers_are_mappings_or_objects_and_pairs_broadcast():
    @dataclass
    class Own:
        thickness: float
        conductivity: float
        density: float
        specific_heat: float
        absorption: float | None

    as_mapping = {"thickness": 90 * UM, "conductivity": 0.25, "density": 1400, "specific_heat": 1400, "absorption": 1e4}
    thick = {"thickness": math.inf, "conductivity": 60.5, "density": 7854, "specific_heat": 434, "absorption": None}
    unnamed = {"conductivity": 60.5, "density": 7854, "specific_heat": 434}
    depths, times = np.array([[0.0], [90 * UM]]), np.array([2e-7, 1e-4, 0.0])
    base = layered_rise([PAINT.layer(90 * UM, 1e4), MILD_STEEL.layer()], 1e9, 2e-7, 1.0, 1, depths, times)
    assert base.shape == (2, 3)
    assert np.all(base[:, 2] == 0)
    assert np.array_equal(base, layered_rise((Own(**as_mapping), thick), 1e9, 2e-7, 1.0, 1, depths, times))
    assert np.array_equal(base, layered_rise([as_mapping, unnamed], 1e9, 2e-7, 1.0, 1, depths, times))
    one = layered_rise([PAINT.layer()], 1e9, 2e-7, 1.0, 1, 0, 1e-6)
    assert isinstance(one, np.ndarray)
    assert one.shape == ()
    assert layered_rise([PAINT.layer()], 1e9, 2e-7, 1.0, 1, [], 1e-6).shape == (0,)
    assert layered_rise([PAINT.layer()], 1e9, 2e-7, 1.0, 1, 0.0, 0.0) == 0


GOOD = {
    "layers": [PAINT.layer(90 * UM, 1e4), MILD_STEEL.layer(1e-3)],
    "flux": 1e9, "pulse_width": 1e-7, "repetition_rate": 20e3, "pulses": 2, "depths": 0.0, "times": 1e-5,
}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"layers": []}, "layers"),
        ({"layers": None}, "layers"),
        ({"layers": {"thickness": 1}}, "layers"),
        ({"layers": [{"thickness": 1e-3, "conductivity": 1, "density": 1}]}, "specific_heat"),
        ({"layers": [PAINT.layer(), MILD_STEEL.layer()]}, "thickness"),
        ({"layers": [PAINT.layer(math.inf), MILD_STEEL.layer()]}, "thickness"),
        ({"flux": -1}, "flux"),
        ({"flux": math.nan}, "flux"),
        ({"flux": [1e9, 1e9]}, "flux"),
        ({"pulse_width": 0}, "pulse_width"),
        ({"pulse_width": 60e-6}, "pulse_width"),
        ({"pulse_width": math.inf}, "pulse_width"),
        ({"repetition_rate": -1}, "repetition_rate"),
        ({"repetition_rate": "often"}, "repetition_rate"),
        ({"pulses": 0}, "pulses"),
        ({"pulses": 1.5}, "pulses"),
        ({"pulses": 1e12}, "pulses"),
        ({"pulses": math.inf}, "pulses"),
        ({"depths": -1e-9}, "depths"),
        ({"depths": [0, 1.1e-3]}, "depths"),
        ({"depths": "deep"}, "depths"),
        ({"times": -1e-9}, "times"),
        ({"times": [1e-6, math.inf]}, "times"),
        ({"resolution": 0}, "resolution"),
        ({"resolution": math.nan}, "resolution"),
    ],
)
def test_refuses_what_cannot_be(change, field):
    assert np.isfinite(layered_rise(**GOOD))
    with pytest.raises(InputError) as refused:
        layered_rise(**(GOOD | change))
    assert refused.value.field == field


@pytest.mark.parametrize("field", ["thickness", "conductivity", "density", "specific_heat", "absorption"])
@pytest.mark.parametrize("value", [0, -1, math.nan, "thin"])
def test_refuses_a_layer_that_cannot_be(field, value):
    good = {"thickness": 1e-4, "conductivity": 1, "density": 1, "specific_heat": 1, "absorption": 1}
    HeatLayer(**good)
    for make in (lambda v: HeatLayer(**v), lambda v: layered_rise(**(GOOD | {"layers": [v]}))):
        with pytest.raises(InputError) as refused:
            make(good | {field: value})
        assert refused.value.field == field


def test_one_pulse_may_be_longer_than_a_period():
    got = layered_rise(**(GOOD | {"pulses": 1, "pulse_width": 1e-3, "times": 1e-3}))
    assert got > 0
