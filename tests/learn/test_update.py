"""What patches teach, on simulated grades; an independent route for the posterior."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri
from scipy.stats import norm

import proofpatch as pp
from proofpatch.learn.forecast import grades_at
from proofpatch.learn.grading import fraction_chance
from proofpatch.learn.kernels import outcomes, patch_logs, plain_patch_logs
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.learn.update import patch_arguments
from proofpatch.physics import rows as at


@pytest.fixture(scope="module")
def evidence(at_work):
    return [
        pp.Graded(at_work(passes=1), "trace", "none", seconds=2.0, length=0.1),
        pp.Graded(at_work(passes=4), "partial", "none", seconds=2.0, length=0.1),
        pp.Graded(at_work(passes=8), "nearly", "none"),
        pp.Graded(at_work(passes=16, average_power=350.0), "clean", "tint", wiped=False, grader="Ida"),
    ]


def test_order_cannot_matter(oak_belief, evidence):
    there = pp.update(oak_belief, evidence)
    back = pp.update(oak_belief, evidence[::-1])
    one_by_one = oak_belief
    for graded in evidence:
        one_by_one = pp.update(one_by_one, graded)
    for other in (back, one_by_one):
        assert np.array_equal(there.layer, other.layer)
        assert np.array_equal(there.substrate, other.substrate)
    assert there.evidence == back.evidence == one_by_one.evidence


def test_nothing_graded_teaches_nothing(oak_belief):
    assert pp.update(oak_belief, []) is oak_belief


def test_update_does_not_change_the_belief_it_is_given(oak_belief, evidence):
    before = oak_belief.layer.copy()
    pp.update(oak_belief, evidence)
    assert np.array_equal(before, oak_belief.layer)
    assert oak_belief.evidence == ()


def test_posterior_agrees_with_weighting_a_large_prior(varnished_oak, oak_belief, evidence):
    # Importance sampling of 16 384 prior draws with the plain NumPy likelihood: no tempering, no moves, no Numba.
    big = pp.prior(varnished_oak, "pulsed-500", seed=11, draws=16384)
    logs = plain_patch_logs(big.layer, big.substrate, *patch_arguments(big, evidence[:3])).sum(axis=1)
    w = np.exp(logs - logs.max())
    w /= w.sum()
    assert 1 / np.sum(w**2) > 1000
    small = pp.update(pp.prior(varnished_oak, "pulsed-500", draws=2048), evidence[:3])
    for column in (at.THRESHOLD, at.ABSORPTION, at.THICKNESS, at.DEPTH):
        x, y = np.log(big.layer[:, 0, column]), np.log(small.layer[:, 0, column])
        mean, sd = w @ x, np.sqrt(w @ (x - w @ x) ** 2)
        assert y.mean() == pytest.approx(mean, abs=0.2 * sd)
        assert y.std() == pytest.approx(sd, rel=0.2)


def test_evidence_pulls_the_forecast_its_way(oak_belief, at_work):
    setting = at_work(passes=8)
    before = grades_at(oak_belief, setting)
    cleaned = grades_at(pp.update(oak_belief, pp.Graded(setting, "clean", "none")), setting)
    left = grades_at(pp.update(oak_belief, pp.Graded(setting, "trace", "none")), setting)
    burnt = grades_at(pp.update(oak_belief, pp.Graded(setting, "clean", "burnt")), setting)
    assert left[0] < before[0] < cleaned[0]
    assert cleaned[1] < before[1] < burnt[1]


def spread_of_need(belief, setting):
    """Standard deviation of ln X at a setting."""
    rows = setting_rows([setting], belief.laser)
    return outcomes(belief.layer, belief.substrate, rows, hand_row(belief.hand), 0)[0][:, 0].std()


def test_a_second_equal_patch_sharpens(varnished_oak, at_work):
    belief = pp.prior(varnished_oak, "pulsed-500", draws=4096)
    graded = pp.Graded(at_work(passes=4), "partial", "none", seconds=2.0, length=0.1)
    spread = [
        spread_of_need(b, graded.setting)
        for b in (belief, pp.update(belief, graded), pp.update(belief, [graded, graded]))
    ]
    assert spread[2] < spread[1] < spread[0]


def test_grades_that_contradict_each_other_widen(varnished_oak, at_work):
    belief = pp.prior(varnished_oak, "pulsed-500", draws=4096)
    one, other = at_work(passes=4), at_work(passes=5)
    alike = pp.update(belief, [pp.Graded(s, "partial", "none") for s in (one, other)])
    apart = pp.update(belief, [pp.Graded(one, "clean", "none"), pp.Graded(other, "no effect", "none")])
    assert spread_of_need(apart, one) > spread_of_need(alike, one)


@pytest.mark.parametrize(
    ("substrate", "waited", "residue", "harm", "less"),
    [
        ("oak", 1800.0, "clean", "none", "harmless"),  # a tint may not have come out yet
        ("mild-steel", 86400.0, "nearly", "none", "dirty"),  # fresh rust may pass for residue
    ],
)
def test_when_a_patch_was_judged_counts(at_work, substrate, waited, residue, harm, less):
    belief = pp.prior(pp.Surface(["latex-paint"], substrate), "pulsed-500", draws=4096)
    setting = at_work(passes=4)
    asked = []
    for when in (None, waited):
        # The same draws weighted: by an update's own draws so small a difference would be chance.
        logs = patch_logs(
            belief.layer, belief.substrate, *patch_arguments(belief, [pp.Graded(setting, residue, harm, waited=when)])
        )
        weight = np.exp(logs[:, 0])
        p_clean, p_harm, _ = grades_at(replace(belief, weight=weight / weight.sum()), setting)
        asked.append((p_clean, p_harm))
    (clean, harmed), (clean_then, harmed_then) = asked
    assert harmed_then > harmed if less == "harmless" else clean_then > clean
    # As advised, and on wood the next day, nothing is taken off.
    same = [
        pp.update(belief, pp.Graded(setting, residue, harm, waited=w))
        for w in (None, 13 * 3600.0 if less == "harmless" else 60.0)
    ]
    assert np.array_equal(same[0].layer, same[1].layer)


def test_dust_left_on_counts_for_less(oak_belief, at_work):
    setting = at_work(passes=8)
    shift = [
        abs(
            grades_at(pp.update(oak_belief, pp.Graded(setting, "trace", "none", wiped=w)), setting)[0]
            - grades_at(oak_belief, setting)[0]
        )
        for w in (True, False)
    ]
    assert shift[1] < shift[0]


def test_the_speed_really_moved_is_what_counts(oak_belief, at_work):
    graded = pp.Graded(at_work(travel_speed=0.05), "clean", "none", seconds=10.0, length=0.1)
    assert graded.moved().travel_speed == pytest.approx(0.01)


def test_a_measured_fraction_says_more_than_a_grade(oak_belief, at_work):
    setting = at_work(passes=4)
    by_eye = pp.update(oak_belief, pp.Graded(setting, "partial", "none"))
    measured = pp.update(oak_belief, pp.Graded(setting, "partial", "none", fraction_left=0.15))
    left = [sum(grades_at(b, setting)[2]["residue"][g] for g in ("clean", "nearly")) for b in (by_eye, measured)]
    assert left[1] > left[0]


# SciPy's normal density.
@pytest.mark.parametrize("error", [0.01, 0.05, 0.3])
def test_a_measured_fraction_counts_by_its_own_error(oak_belief, at_work, error):
    there, off = (float(fraction_chance(0.3, error, ndtri(left), 1.0, 0.0, 0.0)) for left in (0.3, 0.33))
    assert np.log(there / off) == pytest.approx(norm.logpdf(0.0, scale=error) - norm.logpdf(0.03, scale=error))

    def logs(**measured):
        graded = pp.Graded(at_work(passes=4), "partial", "none", fraction_left=0.3, **measured)
        return patch_logs(oak_belief.layer, oak_belief.substrate, *patch_arguments(oak_belief, [graded]))

    assert not np.array_equal(logs(), logs(fraction_error=error))
    np.testing.assert_array_equal(logs(), logs(fraction_error=0.01 + 0.25 * 0.3 * 0.7))


def test_the_layer_judged_is_the_layer_meant(at_work):
    surface = pp.Surface([pp.Layer("wax"), pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged")
    belief = pp.prior(surface, "pulsed-500", draws=256)
    top = pp.update(belief, pp.Graded(at_work(), "clean", "none", layer=0))
    whole = pp.update(belief, pp.Graded(at_work(), "clean", "none", layer=1))
    assert pp.forecast(top, settings=[at_work()]).p_clean[0] < pp.forecast(whole, settings=[at_work()]).p_clean[0]
    with pytest.raises(pp.InputError, match="Layer 2"):
        pp.update(belief, pp.Graded(at_work(), "clean", "none", layer=2))


def test_a_patch_of_another_laser_is_read_with_that_laser(oak_belief, at_work):
    setting = at_work(average_power=80.0, repetition_rate=60e3, spot_radius=0.125e-3)
    a = pp.update(oak_belief, pp.Graded(setting, "clean", "none", laser="pulsed-100"))
    assert np.isfinite(a.layer).all()


def test_effective_draws_are_reported_and_enough(oak_belief, evidence):
    taught = pp.update(oak_belief, evidence)
    assert taught.effective_draws == pytest.approx(taught.draws)
    assert min(taught.trace) > 0.4 * taught.draws
    assert len(np.unique(taught.z[:, 0])) > 0.5 * taught.draws


@settings(max_examples=15, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(pp.RESIDUES), st.sampled_from(pp.HARMS), st.integers(1, 40)), min_size=1, max_size=8
    )
)
def test_contradictory_grades_never_break_it(grades):
    belief = pp.prior(pp.Surface([pp.Layer("oil-varnish")], "oak"), "pulsed-500", draws=128)
    base = pp.Setting(250.0, 20e3, 200e-9, 0.45e-3, 0.1, 10.0, 0.05)
    taught = pp.update(belief, [pp.Graded(base.with_(passes=n), r, h) for r, h, n in grades])
    p_clean, p_harm, chances = grades_at(taught, base)
    assert 0 <= p_clean <= 1
    assert 0 <= p_harm <= 1
    for family in chances.values():
        assert sum(family.values()) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"residue": "spotless"}, "residue"),
        ({"harm": "ruined"}, "harm"),
        ({"fraction_left": 1.5}, "fraction_left"),
        ({"fraction_left": float("nan")}, "fraction_left"),
        ({"fraction_left": 0.5, "fraction_error": 0.0}, "fraction_error"),
        ({"fraction_error": 0.1}, "fraction_error"),
        ({"seconds": 3.0}, "length"),
        ({"seconds": -1.0, "length": 0.1}, "seconds"),
        ({"layer": -1}, "layer"),
        ({"layer": 0.5}, "layer"),
    ],
)
def test_bad_grades_are_one_sentence_at_their_field(at_work, change, field):
    with pytest.raises(pp.InputError) as caught:
        pp.Graded(**{"setting": at_work(), "residue": "clean", "harm": "none", **change})
    assert caught.value.field == field


PIECES = (
    ("oil-varnish", "oak"),
    ("loose-rust", "mild-steel"),
    ("masonry-paint", "fired-brick"),
    ("latex-paint", "pine"),
)


@pytest.mark.parametrize(("coating", "substrate"), PIECES)
def test_harm_seen_never_speaks_for_less_of_it(coating, substrate, at_work):
    # Whatever was laid before: with a harm grade more, P(harm) falls nowhere that is as hard or harder.
    belief = pp.prior(pp.Surface([coating], substrate), "pulsed-500", draws=2048)
    seen = [pp.Graded(at_work(passes=1), "trace", "none"), pp.Graded(at_work(passes=2), "partial", "none")]
    asked = at_work(average_power=300.0)
    harder = [
        asked.with_(**change)
        for change in ({}, {"passes": 6}, {"average_power": 400.0}, {"travel_speed": asked.travel_speed / 1.5})
    ]
    for before in ([], seen):
        without = pp.update(belief, before)
        for harm in ("tint", "marked", "burnt"):
            after = pp.update(belief, [*before, pp.Graded(asked, "partial", harm)])
            for setting in harder:
                # 2048 draws leave about a hundredth of chance in a probability.
                assert grades_at(after, setting)[1] >= grades_at(without, setting)[1] - 0.01


@pytest.mark.parametrize(("coating", "substrate"), PIECES)
def test_a_cleaner_grade_never_speaks_for_more_coating(coating, substrate, at_work):
    belief = pp.prior(pp.Surface([coating], substrate), "pulsed-500", draws=2048)
    for setting in (at_work(), at_work(passes=12, average_power=400.0)):
        found = [
            grades_at(pp.update(belief, pp.Graded(setting, residue, "none")), setting)[0] for residue in pp.RESIDUES
        ]
        assert np.diff(found).min() >= -0.02


# Passes and grades laid before, in the order of dose or against it.
BEFORE = (
    ((2, "nearly"), (3, "trace"), (5, "clean")),
    ((2, "clean"), (4, "clean"), (6, "no effect")),
    ((4, "no effect"), (6, "no effect"), (1, "clean")),
    ((2, "trace"), (3, "partial"), (6, "nearly")),
    ((1, "clean"),),
)


@pytest.mark.parametrize(("coating", "substrate"), PIECES)
@pytest.mark.parametrize("before", BEFORE)
def test_a_cleaner_grade_speaks_for_less_coating_after_wrong_ones_too(coating, substrate, before, at_work):
    # Wrong grades on both sides. A grade is read as room to clean alone, by one eye and one steepness; so likelihoods
    # of two grades keep order in that room (total positivity, Karlin 1968, from memory).
    laid = [pp.Graded(at_work(passes=n), r, "none", seconds=2.0, length=0.1) for n, r in before]
    taught = pp.update(pp.prior(pp.Surface([coating], substrate), "pulsed-500", draws=1024), laid)
    for setting in (at_work(passes=1), at_work(passes=3), at_work(passes=5), at_work(passes=12, average_power=400.0)):
        found = []
        for residue in pp.RESIDUES:
            graded = pp.Graded(setting, residue, "none", seconds=0.1 / setting.travel_speed, length=0.1)
            logs = patch_logs(taught.layer, taught.substrate, *patch_arguments(taught, [graded]))[:, 0]
            weight = np.exp(logs - logs.max())
            found.append(grades_at(replace(taught, weight=weight / weight.sum()), setting)[0])
        assert np.diff(found).min() >= -1e-3
        assert found[-1] > found[0]
