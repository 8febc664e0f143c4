"""A grade that does not fit the rest is found and named."""

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.surprise import SURPRISE, expected, surprises
from proofpatch.units import chance


@pytest.fixture(scope="module")
def steady(at_work):
    return [pp.Graded(at_work(passes=n), r, "none") for n, r in ((1, "trace"), (4, "partial"), (8, "nearly"))]


def test_evidence_that_agrees_surprises_no_one(oak_belief, steady):
    assert surprises(oak_belief) == ()
    assert surprises(pp.update(oak_belief, steady)) == ()


def test_the_odd_one_is_named_with_its_figures(oak_belief, steady, at_work):
    odd = pp.Graded(at_work(passes=16), "no effect", "none")
    found = surprises(pp.update(oak_belief, [*steady, odd]))
    assert found[0].graded == odd
    assert found[0].chance < SURPRISE
    assert chance(found[0].chance) in found[0].because
    assert "16 passes" in found[0].because
    assert "the other 3 patches" in found[0].because


def test_what_is_expected_of_a_patch_adds_up_to_one(oak_belief, at_work):
    setting = at_work(passes=8)
    # "Tint" stands for tint or worse.
    chances = [expected(oak_belief, pp.Graded(setting, r, h)) for r in pp.RESIDUES for h in ("none", "tint")]
    assert sum(chances) == pytest.approx(1.0, abs=1e-6)
    assert min(chances) > 0


# Gelfand, Dey & Chang (1992): the chance of one datum given the others, here by leaving it out for real. Where grades
# contradict each other a few draws decide, so it is asked of five sets of draws; the bare identity scatters fourfold.
def test_it_agrees_with_leaving_the_patch_out_for_real(varnished_oak, at_work, monkeypatch):
    monkeypatch.setattr("proofpatch.learn.surprise.SURPRISE", 1.1)  # whatever its chance, it is named
    graded = [pp.Graded(at_work(passes=n), r, "none") for n, r in ((2, "partial"), (4, "trace"))]
    without, found = [], []
    for seed in range(5):
        belief = pp.prior(varnished_oak, "pulsed-500", draws=4096, seed=seed)
        without.append(expected(pp.update(belief, graded[0]), graded[1]))
        both = pp.update(belief, graded)
        found.append(next(s.chance for s in surprises(both) if s.graded == graded[1]))
    assert np.median(found) == pytest.approx(np.median(without), rel=0.4)
    # No seed is off by more than e^0.5 from what leaving it out really says (these five: 0.70 to 1.26 times that).
    assert np.abs(np.log(np.array(found) / np.median(without))).max() < 0.5
