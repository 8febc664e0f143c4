"""What all tests share."""

import functools

import pytest
from hypothesis import HealthCheck, settings

import proofpatch as pp
from proofpatch.shop.store import Store

# The same examples on every machine, drawn from what a test asks: a change fails where it was made, or not at all. A
# clock has no say in it, as it would be the other worker's too.
settings.register_profile(
    "ours", deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("ours")


@pytest.fixture(scope="session")
def varnished_oak():
    return pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged")


@pytest.fixture(scope="session")
def greasy_pan():
    return pp.Surface([pp.Layer("baked-grease")], "aluminium")


@pytest.fixture(scope="session")
def oak_belief(varnished_oak):
    return pp.prior(varnished_oak, "pulsed-500", draws=512)


@pytest.fixture(scope="session")
def pan_belief(greasy_pan):
    return pp.prior(greasy_pan, "pulsed-500", draws=512)


@pytest.fixture(scope="session")
def at_work():
    """A plausible setting of the 500 W laser, knobs changed by name."""
    return functools.partial(
        lambda **knobs: pp.Setting(**knobs),
        average_power=250.0,
        repetition_rate=20e3,
        pulse_width=200e-9,
        spot_radius=0.45e-3,
        sweep_width=0.1,
        sweep_speed=10.0,
        travel_speed=0.05,
        passes=4,
    )


@pytest.fixture
def store(tmp_path):
    """A shop of its own."""
    found = Store.open(tmp_path / "shop")
    yield found
    found.close()
