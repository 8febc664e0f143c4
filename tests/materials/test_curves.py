"""Curves of substrates against the handbook tables they come from."""

import numpy as np
import pytest

from proofpatch.errors import InputError
from proofpatch.materials import substrate_data, substrate_ids, substrate_mixture
from proofpatch.materials.curves import substrate_curve
from proofpatch.physics.clocks import ROOM
from proofpatch.physics.reacting import Slab, heat_course


def slope(curve, low, high):
    return (curve.heat_at(high) - curve.heat_at(low)) / (high - low)


# thermal-optical.md §1.5, specific heat at 12 % from the Wood Handbook's equation: 1.5375, 1.6632 at 280, 300 K,
# 1.9146, 2.0403 at 340, 360 K.
def test_wood_takes_more_heat_as_it_warms():
    curve, data = substrate_curve("oak", "aged")
    assert slope(curve, 340, 360) / slope(curve, 280, 300) == pytest.approx(
        (1.9146 + 2.0403) / (1.5375 + 1.6632), rel=1e-3
    )
    assert slope(curve, ROOM - 5, ROOM + 5) == pytest.approx(
        substrate_data("oak", "aged")["density"].value * substrate_data("oak", "aged")["specific_heat"].value, rel=0.02
    )
    assert all(datum.locator for datum in data)


# Wood Handbook ch. 4: k rises 2 to 3 % per 10 K.
def test_wood_conducts_better_as_it_warms():
    curve, _ = substrate_curve("pine", "new")
    rise = curve.conductivity_at(ROOM + 10) / curve.conductivity_at(ROOM) - 1
    assert 0.02 <= rise <= 0.03
    assert curve.conductivity_at(1000.0) == pytest.approx(curve.conductivity_at(440.0))


# thermal-optical.md §2.3: copper 208.7 kJ/kg at 1357.8 K, 8900 kg/m³.
def test_copper_takes_up_its_heat_of_fusion():
    curve, _ = substrate_curve("copper")
    steady = 8900 * 380.0
    assert curve.heat_at(1350) == pytest.approx(steady * (1350 - ROOM), rel=1e-6)
    assert curve.heat_at(1450) - steady * (1450 - ROOM) == pytest.approx(8900 * 208.7e3, rel=1e-3)


def test_water_takes_its_share():
    dry, _ = substrate_curve("oak", "aged")
    wet, data = substrate_curve("oak", "aged", moisture=0.10)
    assert wet.heat_at(360) == pytest.approx(dry.heat_at(360))
    extra = wet.heat_at(420) - dry.heat_at(420)
    assert extra == pytest.approx(substrate_data("oak", "aged")["density"].value / 1.12 * 0.10 * 2.26e6, rel=1e-6)
    assert any("water" in datum.locator for datum in data)
    hottest = [
        heat_course([Slab(None, c, ((0.5, 1 / 60e-6),))], [0.0], 0.02, 2e6, 0.05).front.max() for c in (dry, wet)
    ]
    assert hottest[1] < hottest[0] - 5


def test_every_substrate_has_a_curve():
    for substrate in substrate_ids():
        for _, condition in substrate_mixture(substrate):
            curve, data = substrate_curve(substrate, condition)
            assert np.all(np.diff([curve.heat_at(t) for t in np.linspace(290, 3000, 50)]) > 0)
            assert len(data) >= 3


@pytest.mark.parametrize(("given", "field"), [({"moisture": 0.5}, "moisture"), ({"condition": "green"}, "condition")])
def test_refuses_what_cannot_be(given, field):
    with pytest.raises(InputError) as refused:
        substrate_curve("oak", **({"condition": "aged"} | given))
    assert refused.value.field == field
