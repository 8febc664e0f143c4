"""A belief on another laser."""

from dataclasses import replace

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.belief import Recalled
from proofpatch.learn.memory.carried import _loosened, carried, carry, every
from proofpatch.learn.unknowns import latents


@pytest.fixture(scope="module")
def tested(greasy_pan):
    """Grease on aluminium on 300 W, a handful of patches by the six calls' own choice and clear grades."""
    laser = pp.laser("pulsed-300")
    setting = pp.Setting(300.0, 100e3, 30e-9, laser.spot_radius, 0.1, 10.0, 0.02, 4)
    graded = [
        pp.Graded(setting.with_(passes=n), r, "none", seconds=5.0, length=0.1)
        for n, r in ((1, "nearly"), (2, "clean"), (4, "clean"), (8, "clean"), (16, "clean"))
    ]
    return pp.update(pp.prior(greasy_pan, laser, draws=512), graded)


def test_on_its_own_laser_nothing_changes(tested):
    assert carry(tested, "pulsed-300") is tested


def test_the_patches_keep_their_laser(tested):
    moved = carry(tested, "pulsed-500")
    assert moved.laser.id == "pulsed-500"
    assert {g.laser.id for g in moved.evidence} == {"pulsed-300"}
    assert replace(moved.evidence[0], laser=None) in tested.evidence


def test_only_what_may_be_the_lasers_own_is_loosened(tested):
    names = latents(tested.surface).names
    moved = carry(tested, "pulsed-500")
    # What an update alone would give, on the same seed: the patches' own likelihood does not see the belief's laser.
    start = pp.prior(tested.surface, "pulsed-500", draws=512)
    plain = pp.update(start, moved.evidence)
    factors = {k for k, (_, name) in enumerate(names) if name.endswith("_discrepancy") and "kinetics" not in name}
    assert len(factors) == 5
    for k in range(len(names)):
        same = np.array_equal(plain.z[:, k], moved.z[:, k])
        assert same != (k in factors)


def test_loosening_leaves_published_data_as_they_are(greasy_pan):
    before = pp.prior(greasy_pan, "pulsed-500", draws=4096)
    after = _loosened(before, pp.laser("pulsed-300"))
    assert after.z.std(axis=0) == pytest.approx(1.0, abs=0.05)
    assert after.z.mean(axis=0) == pytest.approx(0.0, abs=0.06)


def test_loosening_a_memory_goes_by_what_it_is_in_normals(greasy_pan):
    unknowns = len(latents(greasy_pan).names)
    components = len(latents(greasy_pan).weights)
    narrow = Recalled(
        np.full((components, unknowns), 1.0), np.tile(0.1 * np.eye(unknowns), (components, 1, 1)), "narrow"
    )
    before = pp.prior(greasy_pan, "pulsed-500", memory=narrow, draws=2048)
    after = _loosened(before, pp.laser("pulsed-300"))
    y = after.recalled.normals(after.component, after.z)
    k = [name for _, name in latents(greasy_pan).names].index("heat_discrepancy")
    # (1): 0.8 of the mean, variance 0.64 of 0.01 and 0.2 · 1.8 of its own.
    assert y[:, k].mean() == pytest.approx(0.8, abs=0.05)
    assert y[:, k].var() == pytest.approx(0.64 * 0.01 + 0.36, rel=0.1)
    assert after != before
    assert "carried from pulsed-300" in after.recalled.name


def test_a_recipe_is_carried_with_its_time_and_its_room(tested):
    found = carried(tested, "pulsed-500")
    assert found.there.setting is not None
    assert found.here.setting is not None
    assert found.time == pytest.approx(found.here.area_rate / found.there.area_rate)
    assert found.patches == 0
    found.laser.check(found.there.setting)
    # No patch was laid with it, so a quarter of the doubt of the ordinary limits is asked.
    assert found.there.p_clean >= 0.9875
    assert found.there.p_harm <= 0.0025
    assert "None of the 5 graded patches was laid with it" in found.because
    assert "confirmation patch" in found.because


def test_a_patch_on_the_other_laser_brings_back_the_jobs_own_limits(tested):
    first = carried(tested, "pulsed-500")
    laid = pp.Graded(first.there.setting, "clean", "none", laser="pulsed-500", seconds=0.1 / 0.05, length=0.1)
    again = carried(pp.update(tested, laid), "pulsed-500")
    assert again.patches == 1
    assert again.there.area_rate >= first.there.area_rate
    assert "None of the" not in again.because


def test_every_laser_is_ranked_by_its_time(tested):
    found = every(tested, ["pulsed-100", "pulsed-500"])
    rates = [c.there.area_rate for c in found]
    assert rates == sorted(rates, reverse=True)


def test_an_unknown_laser_is_refused(tested):
    with pytest.raises(pp.InputError):
        carry(tested, "no such laser")
