import importlib
import inspect

import numba
import numpy as np
import pytest
from scipy import integrate, special

from proofpatch.errors import InputError
from proofpatch.physics import elementwise as ew

X = np.concatenate([np.linspace(0, 12, 481), [7.999, 8.0, 8.001, 26, 40, 1e3, 1e8]])


def compiled(function):
    """`function` called with scalars from a compiled kernel."""
    return numba.njit(lambda *values: function(*values), error_model="numpy")


def test_erfc_is_scipys_and_the_same_compiled():
    both = np.concatenate([-X, X])
    assert np.array_equal(ew.erfc(both), special.erfc(both))
    fast = compiled(ew.erfc)
    assert [fast(float(x)) for x in both] == pytest.approx(special.erfc(both), rel=1e-13, abs=0)


def test_erfcx_against_scipy():
    assert ew.erfcx(X) == pytest.approx(special.erfcx(X), rel=1e-7, abs=0)  # the docstring's promise
    near = X[X < 8]
    assert ew.erfcx(near) == pytest.approx(special.erfcx(near), rel=1e-13, abs=0)
    fast = compiled(ew.erfcx)
    assert [fast(float(x)) for x in X] == pytest.approx(ew.erfcx(X), rel=1e-13, abs=0)


def test_ierfc_is_the_integral_of_erfc():
    for x in (0.0, 0.1, 0.7, 2.0, 4.0):
        assert ew.ierfc(x) == pytest.approx(integrate.quad(special.erfc, x, np.inf, epsabs=0)[0], rel=1e-8)
    assert ew.ierfc(0.0) == pytest.approx(1 / np.sqrt(np.pi), rel=1e-15)


def test_normal_distribution_against_scipy():
    z = np.linspace(-9, 9, 181)
    assert ew.normal_cdf(z) == pytest.approx(special.ndtr(z), rel=1e-12, abs=0)
    p = np.concatenate([np.geomspace(1e-12, 0.5, 200), 1 - np.geomspace(1e-12, 0.5, 200)])
    assert ew.normal_quantile(p) == pytest.approx(special.ndtri(p), abs=5e-4)


def test_choose_takes_a_side_and_is_a_number_when_compiled():
    assert np.array_equal(ew.choose(np.array([True, False]), 1.0, np.array([2.0, 3.0])), [1.0, 3.0])
    fast = compiled(ew.choose)
    assert fast(True, 1.0, 2.0) == 1.0
    assert fast(False, 1.0, 2.0) == 2.0
    assert isinstance(fast(True, 1.0, 2.0), float)


@ew.elementwise
def _ratio(top, bottom, weight=1.0):
    return weight * top / bottom


ratio = ew.checked(_ratio, top=ew.NOT_NEGATIVE, bottom=ew.POSITIVE, weight=ew.SHARE)


def test_checked_passes_numbers_arrays_lists_and_names():
    assert ratio(6, 3) == 2
    assert ratio(top=6, bottom=3, weight=0.5) == 1
    assert np.array_equal(ratio([2, 4], np.array([[1], [2]])), [[2, 4], [1, 2]])


@pytest.mark.parametrize(
    ("args", "field"),
    [
        ((-1, 1), "top"),
        ((1, 0), "bottom"),
        ((1, [1, 2, -3]), "bottom"),
        ((1, 1, 1.01), "weight"),
        ((float("inf"), 1), "top"),
        ((1, np.array([1.0, np.nan])), "bottom"),
        (("much", 1), "top"),
        ((None, 1), "top"),
    ],
)
def test_checked_names_the_argument_it_refuses(args, field):
    with pytest.raises(InputError) as refused:
        ratio(*args)
    assert refused.value.field == field
    assert field in str(refused.value)


def test_a_rule_for_no_argument_is_a_bug_not_an_input_error():
    with pytest.raises(TypeError, match="middle"):
        ew.checked(_ratio, middle=ew.POSITIVE)


# One range for every argument name in the physics, so that a new equation is tested as soon as it is written.
RANGES = {
    "warmth": (0, 3), "folds": (-6, 6),
    "absorptance": (0.05, 1), "absorption": (1e2, 1e6), "absorption_ratio": (0, 5), "activation_energy": (5e4, 3e5),
    "across": (-1e-4, 1e-4), "along": (-1e-3, 1e-3), "aside": (0, 1e-3), "average_power": (1, 500),
    "basic_specific_gravity": (0.3, 0.8), "beam_diameter": (1e-3, 1e-2), "beam_quality": (1, 30),
    "bond_energy": (0, 100), "conductivity": (0.1, 400), "conversion": (0.01, 0.9), "core_area": (1e-11, 1e-8),
    "density": (500, 9000), "depth": (0, 1e-4), "diffusivity": (1e-7, 1e-4), "distance": (-0.1, 0.1),
    "effective_depth": (1e-7, 1e-4), "emission": (1e-26, 1e-24), "energy": (1e-6, 1e-2), "energy_limit": (1e-4, 1e-1),
    "exponent": (0.6, 1.1), "extinction": (0, 5), "fibre_length": (1, 10), "fluence": (0, 1e5), "flux": (0, 1e10),
    "absorbed_fluence": (0, 1e5), "focal_length": (0.05, 0.5), "gas_onset_energy": (0, 1e4),
    "ground_reflectance": (0, 1), "heat_capacity": (1e6, 5e6), "hits": (1, 300),
    "lowest_threshold": (1e2, 1e5), "most": (50, 200), "ramp": (0, 0.4), "rate": (1e3, 1e6), "sweep": (1e-2, 0.15),
    "travel": (2e-3, 0.15), "top_hat": (0, 1), "skin_part": (0, 0.5), "skin_depth": (0, 1e-4), "rest_part": (0, 0.5),
    "rest_depth": (1e-4, 1e-2), "skin": (1e-9, 1e-4), "rest": (1e-4, 1e-2), "kept": (0, 1), "early": (1e-8, 1e-3),
    "film": (1e-6, 1e-3), "film_conductivity": (0.1, 5), "film_capacity": (1e6, 5e6), "optical": (0, 20),
    "way": (1e-7, 1e-6), "film_diffusivity": (1e-8, 1e-6), "contrast": (-0.95, 0.9), "ratio": (0.5, 5),
    "per_skin": (1e-9, 1e-3), "left": (0, 1), "share": (0.05, 1), "place": (-1, 2), "index": (1, 3),
    "inner_loss": (0, 0.9), "interface_energy": (0, 1e5), "latent_heat": (0, 1e6), "line_pitch": (1e-5, 1e-3),
    "ln_frequency_factor": (10, 50), "mode_area": (1e-10, 1e-8), "moisture_percent": (0, 25), "optical_depth": (0, 10),
    "order": (1, 10), "outer_loss": (0, 0.1), "passes": (1, 9), "peak_power_limit": (1e3, 1e6), "pitch": (1e-5, 1e-3),
    "plume_fluence": (1e3, 1e6), "power": (0, 100), "pulse_energy": (1e-5, 1e-1), "pulse_pitch": (1e-5, 1e-3),
    "pulse_width": (1e-9, 1e-6), "radius": (1e-6, 1e-3), "raman_gain": (1e-14, 1e-12), "rated_power": (10, 1000),
    "reach": (1e-7, 1e-3), "reflectance": (0, 0.9), "repetition_rate": (1e3, 1e6), "rise": (1, 3000),
    "scattering": (1, 1e5), "seconds": (1e-8, 10), "shrinkage_percent": (5, 20), "specific_gravity": (0.3, 0.9),
    "specific_heat": (300, 2500), "speed": (0, 10), "spot_diameter": (1e-4, 2e-3), "spot_radius": (5e-5, 1e-3),
    "stored_energy": (1e-4, 1e-1), "sweep_speed": (0.1, 50), "sweep_width": (1e-3, 0.3), "temperature": (280, 420),
    "thick_layer_reflectance": (0.01, 1), "thickness": (1e-6, 1e-3), "threshold_energy": (1e-5, 1e-3),
    "threshold_fluence": (1e2, 1e5), "time": (0, 1e-3), "top_hat_share": (0, 1), "toughness": (0, 1e7),
    "travel_speed": (1e-3, 0.2), "waist_radius": (1e-5, 1e-3), "wavelength": (5e-7, 2e-6), "x": (0, 10),
}  # fmt: skip
MODULES = [
    "beam",
    "pulses",
    "sweep",
    "removal",
    "heat",
    "hot_place",
    "spots",
    "accumulation",
    "moving",
    "kinetics",
    "optics",
    "wood",
]
# Written with quadrature, sums or special functions that Numba lacks.
PLAIN = {
    "_accumulated_rise", "_accumulation_sum", "_gaussian_accumulated_rise", "_moving_gaussian_rise",
    "_moving_integral", "_pulse_numbers", "_standing_power_limit", "_two_layer_shares",
}  # fmt: skip


def equations():
    for module in MODULES:
        home = importlib.import_module(f"proofpatch.physics.{module}")
        for name, function in inspect.getmembers(home, inspect.isfunction):
            if name.startswith("_") and function.__module__ == home.__name__ and name not in PLAIN:
                yield pytest.param(function, id=f"{module}.{name}")


# A second implementation: the body compiled for scalars against NumPy on arrays.
@pytest.mark.parametrize("equation", list(equations()))
def test_compiled_equals_numpy(equation):
    random = np.random.default_rng(20)
    names = inspect.signature(equation).parameters
    # Squares of uniform numbers crowd the low end, where thresholds and short times lie.
    values = [low + (high - low) * random.uniform(size=60) ** 2 for low, high in (RANGES[name] for name in names)]
    plain = np.atleast_2d(np.asarray(equation(*values)))
    kernel = compiled(equation)
    fast = np.atleast_2d(np.array([kernel(*map(float, row)) for row in zip(*values, strict=True)]).T)
    assert np.all(np.isfinite(plain))
    # Where a rise is the small difference of large terms, the two agree to the rounding of the terms.
    floor = 1e-10 * np.median(np.abs(plain), axis=1, keepdims=True)
    assert np.all(np.abs(fast - plain) <= 1e-11 * np.abs(plain) + floor)
    assert np.ptp(plain) > 0
