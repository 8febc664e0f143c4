"""What a job leaves in memory."""

from dataclasses import replace

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.belief import Recalled
from proofpatch.learn.memory import Part, site
from proofpatch.learn.memory.sites import taught

UNKNOWNS = 30


@pytest.fixture(scope="module")
def graded(at_work):
    return [
        pp.Graded(at_work(passes=1), "trace", "none", seconds=2.0, length=0.1, grader="Ida"),
        pp.Graded(at_work(passes=4), "partial", "none", seconds=2.0, length=0.1, grader="Ida"),
        pp.Graded(at_work(passes=12), "clean", "none", seconds=2.0, length=0.1, grader="Ida"),
    ]


def posterior(reading, read):
    """(mean, covariance) of a standard normal prior times a site, by the textbook."""
    covariance = np.linalg.inv(np.eye(reading.shape[1]) + reading.T @ reading)
    return covariance @ reading.T @ read, covariance


def known_site(rng):
    directions = np.linalg.qr(rng.standard_normal((UNKNOWNS, 3)))[0].T
    return np.array([3.0, 2.0, 1.2])[:, None] * directions, np.array([2.0, -1.0, 0.5])


def even(draws):
    return np.full(draws, 1 / draws)


def test_noise_teaches_nothing():
    # Draws of the prior itself: whatever is kept of them is made up. Sites of many jobs add, so hardly any may be.
    kept = [
        len(taught(np.random.default_rng(seed).standard_normal((1024, UNKNOWNS)), even(1024))[1]) for seed in range(40)
    ]
    assert sum(kept) <= 2


def test_a_known_site_comes_back_from_draws():
    rng = np.random.default_rng(3)
    reading, read = known_site(rng)
    mean, covariance = posterior(reading, read)
    z = rng.multivariate_normal(mean, covariance, 4096)
    again = posterior(*taught(z, even(4096)))
    assert again[0] == pytest.approx(mean, abs=0.06)
    # Along each direction read, the variance to a tenth; across, as the prior left it.
    for direction in reading / np.linalg.norm(reading, axis=1)[:, None]:
        assert direction @ again[1] @ direction == pytest.approx(direction @ covariance @ direction, rel=0.12)
    assert np.trace(again[1]) == pytest.approx(np.trace(covariance), rel=0.02)


def test_few_draws_do_not_make_a_job_say_more():
    # Without (3) the smallest variances of few draws look smaller than they are. A direction missed says less.
    rng = np.random.default_rng(4)
    reading, read = known_site(rng)
    mean, covariance = posterior(reading, read)
    direction = reading[2] / np.linalg.norm(reading[2])
    found = [
        direction @ posterior(*taught(rng.multivariate_normal(mean, covariance, 300), even(300)))[1] @ direction
        for _ in range(60)
    ]
    assert np.mean(found) > 0.97 * direction @ covariance @ direction


def test_a_job_without_patches_has_no_part(oak_belief):
    assert site(oak_belief).parts == ()


def test_a_site_names_who_laid_and_who_judged(oak_belief, graded):
    found = site(pp.update(oak_belief, graded))
    assert (found.patches, found.laser, found.grader) == (3, "pulsed-500", "Ida")
    two = site(pp.update(oak_belief, [*graded[:2], replace(graded[2], laser="pulsed-300", grader="Jonas")]))
    assert (two.laser, two.grader) == (None, None)


def test_prior_times_site_is_the_belief(oak_belief, graded, varnished_oak):
    belief = pp.update(pp.prior(varnished_oak, "pulsed-500", draws=4096), graded)
    (part,) = site(belief).parts
    mean, covariance = posterior(part.reading, part.read)
    directions = part.reading / np.linalg.norm(part.reading, axis=1)[:, None]
    drawn = belief.z @ directions.T
    assert directions @ mean == pytest.approx(drawn.mean(axis=0), abs=1e-9)
    assert np.diag(directions @ covariance @ directions.T) == pytest.approx(drawn.var(axis=0), rel=0.15)


def test_memory_of_the_start_is_taken_out_again(varnished_oak, graded):
    # A job that started from memory taught what it taught: its site on y is that of one that started without.
    plain = pp.prior(varnished_oak, "pulsed-500", draws=4096)
    unknowns = plain.z.shape[1]
    rng = np.random.default_rng(5)
    root = np.linalg.cholesky(np.eye(unknowns) - 0.3 * np.outer(*[rng.standard_normal(unknowns) / unknowns**0.5] * 2))
    mean = 0.3 * rng.standard_normal(unknowns)
    started = pp.prior(varnished_oak, "pulsed-500", memory=Recalled(mean[None], root[None], "before"), draws=4096)
    (one,), (other,) = (site(pp.update(start, graded)).parts for start in (plain, started))
    known = posterior(one.reading, one.read)[0], posterior(other.reading, other.read)[0]
    # As the two updates see other parts of one likelihood, they agree as far as it is a normal one.
    assert np.corrcoef(*known)[0, 1] > 0.85
    assert np.linalg.norm(known[0] - known[1]) < 0.45 * np.linalg.norm(known[0])


def test_a_site_of_another_surface_is_refused(oak_belief, graded):
    found = site(pp.update(oak_belief, graded))
    part = found.parts[0]
    with pytest.raises(pp.InputError, match="does not fit"):
        replace(found, parts=(Part(part.stack, part.state, 1.0, part.reading[:, 1:], part.read),))
    with pytest.raises(pp.InputError, match="none"):
        replace(found, parts=(Part(part.stack, part.state, 1.0, part.reading * np.nan, part.read),))
    with pytest.raises(pp.InputError, match="weight"):
        found.weighed(1.5)
