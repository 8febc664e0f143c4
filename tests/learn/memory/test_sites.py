"""What a job leaves in memory."""

from dataclasses import replace

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.belief import Recalled
from proofpatch.learn.memory import Part, site
from proofpatch.learn.memory.sites import _undone, taught

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
    return np.array([3.0, 2.0, 1.8])[:, None] * directions, np.array([2.0, -1.0, 0.5])


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
    # Without (3) the smallest variance of few draws looks smaller than it is: here 0.18 for 0.25.
    rng = np.random.default_rng(4)
    root = np.eye(UNKNOWNS)
    root[0, 0] = 0.5
    found = []
    for _ in range(60):
        reading, _ = taught(rng.standard_normal((300, UNKNOWNS)) @ root, even(300))
        found += [1 / (1 + np.square(reading).sum(axis=1).max())] if len(reading) else []
    assert len(found) > 50
    assert np.mean(found) == pytest.approx(0.25, rel=0.06)


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


def test_memory_of_the_start_is_taken_out_again():
    # A job of a known site on y that started from y = m + A z: the site found from its draws of z is that one.
    rng = np.random.default_rng(6)
    reading, read = known_site(rng)
    along = np.linalg.qr(rng.standard_normal((UNKNOWNS, 2)))[0]
    root = np.linalg.cholesky(np.eye(UNKNOWNS) - 0.5 * along @ along.T)
    mean = 0.5 * rng.standard_normal(UNKNOWNS)
    on_z, read_on_z = reading @ root, read - reading @ mean
    z = rng.multivariate_normal(*posterior(on_z, read_on_z), 8192)
    again = posterior(*_undone(*taught(z, even(8192)), mean, root))
    right = posterior(reading, read)
    assert again[0] == pytest.approx(right[0], abs=0.08)
    assert np.trace(again[1]) == pytest.approx(np.trace(right[1]), rel=0.02)


def test_a_job_that_started_from_memory_is_so_read(varnished_oak, graded):
    unknowns = pp.prior(varnished_oak, "pulsed-500", draws=16).z.shape[1]
    far = Recalled(np.full((1, unknowns), 0.7), 0.6 * np.eye(unknowns)[None], "before")
    belief = pp.update(pp.prior(varnished_oak, "pulsed-500", memory=far, draws=1024), graded)
    (part,) = site(belief).parts
    reading, read = _undone(*taught(belief.z, belief.weight), far.mean[0], far.root[0])
    assert part.reading == pytest.approx(reading)
    assert part.read == pytest.approx(read)
    # Memory times site is the belief, in the directions read.
    covariance = np.linalg.inv(np.eye(unknowns) / 0.36 + reading.T @ reading)
    mean = covariance @ (far.mean[0] / 0.36 + reading.T @ read)
    y = far.mean[0] + 0.6 * belief.z
    assert reading @ mean == pytest.approx((y @ reading.T).mean(axis=0), abs=1e-9)


def test_a_site_of_another_surface_is_refused(oak_belief, graded):
    found = site(pp.update(oak_belief, graded))
    part = found.parts[0]
    with pytest.raises(pp.InputError, match="does not fit"):
        replace(found, parts=(Part(part.stack, part.state, 1.0, part.reading[:, 1:], part.read),))
    with pytest.raises(pp.InputError, match="none"):
        replace(found, parts=(Part(part.stack, part.state, 1.0, part.reading * np.nan, part.read),))
    with pytest.raises(pp.InputError, match="weight"):
        found.weighed(1.5)
