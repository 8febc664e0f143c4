"""Marks of a beam with a flat part: recovered from simulated marks; with no flat part it is the Gaussian line."""

import numpy as np
import pytest
from made_marks import SPOT, THRESHOLD, marks_of

from proofpatch.errors import InputError
from proofpatch.lasers.marks import fit_marks

UM = 1e-6


# Our own profile, inverted by beam.threshold_radius: exact marks give back what made them.
@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7])
def test_exact_marks_give_back_what_made_them(share):
    energies, exact, fluence = marks_of(share, 10)
    fit = fit_marks(energies, exact, share)
    assert fit.spot_radius.value == pytest.approx(SPOT, rel=2e-3)
    assert fit.threshold_energy.value == pytest.approx(THRESHOLD, rel=5e-3)
    assert fit.threshold_fluence.value == pytest.approx(fluence, rel=5e-3)
    assert fit.top_hat_share.value == share


# The search at a share of next to nothing and the line are two codes for one model.
def test_without_a_flat_part_it_is_the_line():
    rng = np.random.default_rng(2)
    energies, exact, _ = marks_of(0.0, 9)
    diameters = exact + 20 * UM * rng.standard_normal(9)
    line, search = fit_marks(energies, diameters), fit_marks(energies, diameters, 1e-9)
    for name in ("spot_radius", "threshold_energy", "threshold_fluence"):
        one, other = getattr(line, name), getattr(search, name)
        assert [other.value, other.low, other.high] == pytest.approx([one.value, one.low, one.high], rel=4e-3)


# A share of 0.7 keeps the mark at 2w from 1.66 to 16 times the threshold (beam.threshold_radius, edges (2) and (4)):
# marks of that span fix the spot, and the threshold only within it.
def test_on_the_plateau_the_mark_is_the_spot():
    energies = THRESHOLD * np.array([2.0, 3.0, 5.0, 8.0, 12.0])
    fit = fit_marks(energies, np.full(5, 2 * SPOT), 0.7, 30 * UM)
    assert fit.spot_radius.value == pytest.approx(SPOT, rel=1e-6)
    assert fit.spot_radius.high - fit.spot_radius.low < 60 * UM
    assert fit.threshold_energy.holds(THRESHOLD)
    assert fit.threshold_energy.high / fit.threshold_energy.low > 1.5


def test_a_pure_top_hat_gives_its_spot_and_only_an_upper_end_of_the_threshold():
    energies = THRESHOLD * np.array([1.2, 2.0, 4.0, 8.0])
    fit = fit_marks(energies, np.full(4, 2 * SPOT), 1.0, 30 * UM)
    assert fit.spot_radius.value == pytest.approx(SPOT, rel=1e-6)
    assert fit.threshold_energy.low == fit.threshold_fluence.low == 0.0
    assert fit.threshold_energy.high == pytest.approx(energies[0], rel=0.02)


def test_a_pulse_that_leaves_no_mark_bounds_the_threshold_from_below():
    energies = THRESHOLD * np.array([1.2, 2.0, 4.0, 8.0])
    fit = fit_marks([*energies, 0.9 * THRESHOLD], [*np.full(4, 2 * SPOT), 0.0], 1.0, 30 * UM)
    assert fit.threshold_energy.low == pytest.approx(0.9 * THRESHOLD, rel=0.02)
    assert fit.marks == 4


@pytest.mark.parametrize("share", [0.3, 0.7])
def test_the_spot_lies_inside_its_interval_nine_times_in_ten(share):
    rng = np.random.default_rng(7)
    energies, exact, fluence = marks_of(share, 8)
    held = []
    for _ in range(200):
        try:
            fit = fit_marks(energies, exact + 15 * UM * rng.standard_normal(8), share)
        except InputError:
            continue
        held.append((fit.spot_radius.holds(SPOT), fit.threshold_fluence.holds(fluence)))
    assert len(held) >= 190
    assert np.mean(held, axis=0)[0] >= 0.84
    assert np.mean(held, axis=0)[1] >= 0.86


# From just above threshold to past the plateau, so that both its ends are seen.
@pytest.mark.parametrize("share", [0.3, 0.6])
def test_the_share_itself_can_be_fitted(share):
    rng = np.random.default_rng(11)
    energies, exact, _ = marks_of(share, 12, span=30.0)
    held = 0
    for _ in range(25):
        fit = fit_marks(energies, exact + 8 * UM * rng.standard_normal(12), None)
        held += fit.top_hat_share.holds(share) and fit.spot_radius.holds(SPOT)
        assert fit.top_hat_share.value == pytest.approx(share, abs=0.2)
    assert held >= 18


def test_a_share_that_another_fits_clearly_better_is_refused():
    energies, exact, _ = marks_of(0.2, 10)
    with pytest.raises(InputError, match=r"near 0\.2, not the 0\.7"):
        fit_marks(energies, exact, 0.7, 20 * UM)


def test_too_few_marks_or_too_like_ones_do_not_fit_a_share():
    energies, exact, _ = marks_of(0.7, 5)
    with pytest.raises(InputError, match="too few"):
        fit_marks(energies, exact, None)
    with pytest.raises(InputError, match="fit any"):
        fit_marks(THRESHOLD * np.geomspace(2, 3, 6), np.full(6, 2 * SPOT), None, 50 * UM)


def test_an_energy_that_left_no_mark_must_lie_below_the_threshold():
    energies, exact, _ = marks_of(0.7, 6)
    with pytest.raises(InputError, match="left no mark"):
        fit_marks([*energies, 5 * THRESHOLD], [*exact, 0.0], 0.7, 20 * UM)


def test_an_order_and_a_share_are_two_profiles():
    energies, exact, _ = marks_of(0.7, 5)
    with pytest.raises(InputError, match="two profiles"):
        fit_marks(energies, exact, 0.7, order=2)
