"""What a job taught, and which jobs were like it."""

import math
import sys
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

import proofpatch as pp
from proofpatch.learn.memory import Part, Site, site
from proofpatch.learn.memory.alike import alike, distance, known, moved
from proofpatch.learn.unknowns import latents

AGED = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged")


def made(surface, readings, reads):
    """A job that read these unknowns, by name, with error 1/4 of what published data leave open."""
    names = latents(surface).names
    reading = np.zeros((len(readings), len(names)))
    for row, name in enumerate(readings):
        reading[row, names.index(name)] = 4.0
    _, stack, state = surface.components()[0]
    return Site(surface, (Part(stack, state, 1.0, reading, 4.0 * np.array(reads, float)),), 5)


ABSORPTION, THICKNESS = ("layer 0", "absorption"), ("layer 0", "thickness")


def test_what_was_read_is_known():
    job = made(AGED, [ABSORPTION], [1.0])
    mean, covariance = known(job.parts[0])
    k = latents(AGED).names.index(ABSORPTION)
    assert mean[k] == pytest.approx(16 / 17)
    assert covariance[k, k] == pytest.approx(1 / 17)
    assert np.delete(np.diag(covariance), k) == pytest.approx(1.0)


def test_nats_are_those_of_two_normals():
    # Against draws: mean of ln posterior − ln prior under the posterior, both by SciPy.
    job = made(AGED, [ABSORPTION, THICKNESS], [1.0, -0.5])
    mean, covariance = known(job.parts[0])
    y = np.random.default_rng(1).multivariate_normal(mean, covariance, 20_000)
    ratio = stats.multivariate_normal(mean, covariance).logpdf(y) - stats.norm.logpdf(y).sum(axis=1)
    found = moved(job)
    assert found.nats == pytest.approx(ratio.mean(), abs=0.05)
    assert found.shifts[ABSORPTION] == pytest.approx(16 / 17)
    assert found.spreads[THICKNESS] == pytest.approx(17**-0.5)
    assert "absorption" in found.because


def test_a_job_without_patches_moved_nothing(oak_belief):
    assert moved(site(oak_belief)).nats == 0
    assert "nothing was learned" in moved(site(oak_belief)).because
    with pytest.raises(pp.InputError, match="without patches"):
        distance(site(oak_belief), site(oak_belief))


def test_pieces_found_the_same_are_nearer_than_pieces_found_apart():
    every = [ABSORPTION, THICKNESS]
    here = made(AGED, every, [1.0, -1.0])
    same, apart = made(AGED, every, [1.0, -1.0]), made(AGED, every, [-1.0, 1.5])
    blank = made(AGED, [], [])
    assert distance(blank, blank) == pytest.approx(1.0)
    assert distance(here, same) < 1.0 < distance(here, apart)
    assert distance(here, apart) == distance(apart, here)


def test_another_coating_is_farther_than_the_same_on_another_wood():
    here = made(AGED, [ABSORPTION], [0.0])
    walnut = made(replace(AGED, substrate="walnut"), [ABSORPTION], [0.0])
    rust = made(pp.Surface([pp.Layer("loose-rust", condition="aged")], "mild-steel"), [ABSORPTION], [0.0])
    found = alike(here, [rust, walnut, made(AGED, [ABSORPTION], [0.0])])
    assert [a.index for a in found] == [2, 1, 0]
    assert found[0].distance < found[1].distance < found[2].distance


def test_other_numbers_of_layers_are_not_compared():
    two = made(pp.Surface([pp.Layer("wax"), pp.Layer("oil-varnish")], "oak"), [ABSORPTION], [0.0])
    assert distance(made(AGED, [ABSORPTION], [0.0]), two) == math.inf
    assert alike(made(AGED, [ABSORPTION], [0.0]), [two]) == []


# Each piece is described once, not again for every pair of states: a page of ten jobs took six seconds.
def test_every_piece_is_described_once(monkeypatch):
    asked = []
    module, whole = sys.modules[alike.__module__], latents
    monkeypatch.setattr(module, "latents", lambda surface: asked.append(surface) or whole(surface))
    here = made(AGED, [ABSORPTION], [0.0])
    alike(here, [made(AGED, [ABSORPTION], [0.1 * n]) for n in range(6)])
    assert len(asked) == 7
