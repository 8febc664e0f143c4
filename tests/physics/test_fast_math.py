"""Each fast function against NumPy's or SciPy's over its whole range, compiled as the kernels use it."""

import numpy as np
import pytest
from scipy import special

from proofpatch.learn import lanes
from proofpatch.physics import fast_math
from proofpatch.physics.elementwise import numba

pytestmark = pytest.mark.skipif(numba is None, reason="only compiled kernels use these")

WIDE = np.concatenate([-np.geomspace(1e-12, 700, 4001)[::-1], [0.0], np.geomspace(1e-12, 700, 4001)])
ABOVE = np.geomspace(1e-300, 1e300, 20001)
RANGES = {
    "exp": (np.exp, WIDE),
    "log": (np.log, ABOVE),
    "expm1": (np.expm1, WIDE),
    "log1p": (np.log1p, np.concatenate([-np.geomspace(1e-12, 0.999, 2001), [0.0], np.geomspace(1e-12, 1e12, 2001)])),
    "tanh": (np.tanh, np.linspace(-30, 30, 6001)),
    "sqrt": (np.sqrt, ABOVE),
    "absolute": (np.absolute, WIDE),
    "erfc": (special.erfc, np.linspace(-8, 25, 6601)),
}


def everywhere(name, x):
    twin = getattr(lanes.vector, name)

    @numba.njit
    def loop(x, out):
        for i in range(len(x)):
            out[i] = twin(x[i])

    out = np.empty_like(x)
    loop(x, out)
    return out


# NumPy and SciPy are the outside reference.
@pytest.mark.parametrize("name", RANGES)
def test_equals_the_reference(name):
    exact, x = RANGES[name]
    np.testing.assert_allclose(everywhere(name, x), exact(x), rtol=1e-9, atol=1e-13 if name == "log" else 1e-300)


def test_what_lies_beyond_a_double_is_cut_not_lost():
    far = np.array([800.0, np.inf, -800.0, -np.inf])
    assert np.isfinite(everywhere("exp", far)).all()
    assert (everywhere("exp", far[2:]) < 1e-307).all()
    assert (everywhere("expm1", far[2:]) == -1.0).all()
    assert np.isfinite(everywhere("log", np.array([np.inf, 1.7e308]))).all()
    # A share that rounding took to a little under zero must not poison a posterior.
    found = everywhere("log", np.array([0.0, -1e-7, -np.inf, 5e-324]))
    assert (found == found[0]).all()
    assert found[0] == pytest.approx(-708.396, abs=1e-3)


def test_the_smaller_and_the_larger():
    pairs = np.array([[1.0, 2.0], [2.0, 1.0], [-1.0, -1.0], [0.0, np.inf]])
    least, most = fast_math.smaller, fast_math.larger

    @numba.njit
    def both(pairs):
        return [(least(a, b), most(a, b)) for a, b in pairs]

    assert both(pairs) == [(min(p), max(p)) for p in pairs.tolist()]
    one = numba.njit(lambda c: fast_math.select(c, 1.0, 2.0))
    assert (one(True), one(False)) == (1.0, 2.0)
