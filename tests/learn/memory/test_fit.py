"""The fit against plainer routes; the other sampler and the ranks of truths are in benchmarks/memory_fit.py."""

import memory_fit as study
import numpy as np
import pytest
from scipy import stats

from proofpatch.learn.memory.fit import effects_given, fit
from proofpatch.learn.memory.jobs import arranged
from proofpatch.learn.memory.levels import Layout, scale_shape


@pytest.fixture(scope="module")
def problem():
    return study.draw_problem(study.small_layouts(), jobs=7, rank=3, seed=2)


def test_effects_given_the_spreads_are_the_conditional_normal(problem):
    # The joint covariance of effects and readings, whole and dense, and the textbook's conditional of it.
    readings = problem.readings()
    spreads = dict(zip(readings.scales, (0.4, 1.7, 2.5), strict=True))
    place = {key: i for i, key in enumerate(readings.effects)}
    through, error, read = [], [], []
    for found, jobs, reads in problem.groups:
        wide = np.zeros((5, len(place)))
        wide[:, [place[key] for key in found.effects]] = found.loading
        own = found.rest + sum(spreads[key] * v for key, v in zip(found.scales, found.piece, strict=True))
        for f, g in zip(jobs, reads, strict=True):
            through.append(f @ wide)
            error.append(f @ np.diag(own) @ f.T + np.eye(3))
            read.append(g)
    z, g = np.concatenate(through), np.concatenate(read)
    total = z @ z.T
    for n, s in enumerate(error):
        total[3 * n : 3 * n + 3, 3 * n : 3 * n + 3] += s
    gain = z.T @ np.linalg.inv(total)
    mean, root = effects_given(readings, np.array([spreads[key] for key in readings.scales]))
    assert mean == pytest.approx(gain @ g, abs=1e-10)
    assert np.linalg.inv(root @ root.T) == pytest.approx(np.eye(len(place)) - gain @ z, abs=1e-10)


def test_one_effect_and_one_spread_against_quadrature():
    # Small enough for a grid over both: 6 pieces of one unknown, each read once with error 1/2.
    alone = Layout((("a",),), np.array([[0.5**0.5]]), (("g",),), np.array([[0.5]]), np.zeros(1))
    reads = [np.array([2.0 * y]) for y in (1.9, 0.2, 2.4, -0.3, 3.0, 1.1)]
    found = fit(arranged([(alone, [np.array([[2.0]])] * 6, reads)]), seed=1, warm=50, kept=4000)
    e, log_s = np.meshgrid(np.linspace(-5, 5, 801), np.linspace(-4, 4, 801), indexing="ij")
    s, alpha = np.exp(log_s), scale_shape()
    logs = stats.norm.logpdf(e) + stats.invgamma.logpdf(s, alpha, scale=alpha - 1) + log_s
    for g in reads:
        logs += stats.norm.logpdf(g[0], 2 * 0.5**0.5 * e, np.sqrt(1 + 4 * 0.5 * s))
    p = np.exp(logs - logs.max())
    p /= p.sum()
    mean, mean_s = (p * e).sum(), (p * s).sum()
    assert found.mean[0] == pytest.approx(mean, abs=0.01)
    assert np.sqrt(found.covariance[0, 0]) == pytest.approx(np.sqrt((p * (e - mean) ** 2).sum()), rel=0.02)
    assert found.spreads[0] == pytest.approx(mean_s, rel=0.02)
    # Draws for themselves, not only their averages.
    assert found.effect_draws.std() == pytest.approx(np.sqrt((p * (e - mean) ** 2).sum()), rel=0.06)
    assert found.spread_draws.mean() == pytest.approx(mean_s, rel=0.06)


def test_truths_lie_as_far_out_as_is_believed():
    # Over truths drawn from before, the effect's error over its own sd is standard normal in square.
    off = []
    for seed in range(40):
        drawn = study.draw_problem(study.small_layouts(), jobs=8, rank=3, seed=500 + seed)
        readings = drawn.readings()
        found = fit(readings, seed, warm=5, kept=12)
        truth = np.array([drawn.effects[key] for key in readings.effects])
        off.append((truth - found.mean) / np.sqrt(np.diag(found.covariance)))
    assert np.mean(np.square(off)) == pytest.approx(1.0, abs=0.2)
    assert np.mean(off) == pytest.approx(0.0, abs=0.15)


def test_nothing_read_leaves_everything_as_it_was():
    found = fit(arranged([]))
    assert found.mean.shape == (0,)


def test_spreads_of_many_pieces_are_found():
    drawn = study.draw_problem(study.small_layouts(), jobs=400, rank=3, seed=9)
    readings = drawn.readings()
    found = fit(readings, warm=5, kept=40)
    truth = np.log([drawn.spreads[key] for key in readings.scales])
    sd = np.log(found.spread_draws).std(axis=0)
    assert sd.max() < 0.3  # before any piece it is 0.53
    assert np.abs(np.log(found.spreads) - truth).max() < 3 * sd.max()
    assert np.abs(truth).max() > sd.max()  # they are not all 1 anyway
