"""Sites formed anew from what all other jobs say."""

from dataclasses import replace

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.belief import Recalled
from proofpatch.learn.memory import Part, Site, population, reformed, site
from proofpatch.learn.memory.fit import effects_given
from proofpatch.learn.memory.jobs import lay_out
from proofpatch.learn.memory.levels import concretes
from proofpatch.learn.memory.population import Population
from proofpatch.learn.memory.reform import LEAST_EFFECTIVE, again, cavities, weighted
from proofpatch.learn.unknowns import latents

SURFACES = (
    pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged"),
    pp.Surface([pp.Layer("oil-varnish", condition="aged")], "walnut", condition="aged"),
    pp.Surface("baked-grease", "aluminium"),  # several components
)


def made_up(surface, rng):
    unknowns, parts = len(latents(surface).names), []
    for share, stack, state in surface.components():
        parts.append(Part(stack, state, share, rng.standard_normal((3, unknowns)), 2.0 * rng.standard_normal(3)))
    return Site(surface, tuple(parts), 3, "pulsed-500", "Ida")


@pytest.fixture(scope="module")
def sites():
    rng = np.random.default_rng(1)
    return [made_up(SURFACES[n % 3], rng) for n in range(7)]


def test_a_cavity_is_what_the_others_alone_say(sites):
    # Taken out by (1); here the effects are worked out anew from the other sites, at the same spreads.
    found = population(sites, warm=3, kept=6)
    taken_out = cavities(found)
    for i, each in enumerate(sites):
        others = sites[:i] + sites[i + 1 :]
        readings = lay_out(others)
        known = {key: found.fit.spreads[place] for key, place in found.scales.items()}
        mean, root = effects_given(readings, np.array([known[key] for key in readings.scales]))
        fit = replace(found.fit, mean=mean, covariance=np.linalg.inv(root @ root.T))
        alone = Population((), fit, {key: n for n, key in enumerate(readings.effects)}, found.scales)
        for c, concrete in enumerate(concretes(each.surface, each.laser, each.grader)):
            m, covariance = alone.predicted(concrete)
            assert taken_out[i].mean[c] == pytest.approx(m, abs=1e-8)
            assert taken_out[i].root[c] @ taken_out[i].root[c].T == pytest.approx(covariance, abs=1e-8)


@pytest.fixture(scope="module")
def beliefs(at_work):
    """Four pieces of varnished oak that stayed dirty where published data expect little left."""
    found = []
    for seed in range(4):
        graded = [pp.Graded(at_work(passes=n), "trace", "none", seconds=2.0, length=0.1) for n in (6, 12)]
        found.append(pp.update(pp.prior(SURFACES[0], "pulsed-500", seed=seed, draws=768), graded))
    return found


def start(belief, shift, root=1.0):
    unknowns = belief.z.shape[1]
    mean = np.full((1, unknowns), shift / np.sqrt(unknowns))
    return Recalled(mean, root * np.eye(unknowns)[None], f"{shift} {root}")


def test_draws_weighed_anew_have_the_moments_of_the_new_start():
    # Without a grade the new belief is the new start itself: N(m, 0.97²), known exactly.
    prior = pp.prior(SURFACES[0], "pulsed-500", draws=8192)
    there = start(prior, 0.6, 0.97)
    found = weighted(prior, there)
    y = there.normals(found.component, found.z)
    error = 3.5 / np.sqrt(found.effective_draws)
    assert found.effective_draws > 1000
    assert np.abs(found.weight @ y - there.mean[0]).max() < error
    assert np.abs(found.weight @ (y - there.mean[0]) ** 2 - 0.97**2).max() < 1.5 * error


def test_a_near_start_weighs_and_a_far_one_draws_anew(beliefs):
    near, far = again(beliefs[0], start(beliefs[0], 0.1)), again(beliefs[0], start(beliefs[0], 3.0))
    assert near.effective_draws >= LEAST_EFFECTIVE * near.z.shape[1]
    assert np.ptp(near.weight) > 0
    assert np.ptp(far.weight) == 0  # an update leaves equal weights
    assert far.evidence == beliefs[0].evidence
    assert far.recalled.name == "3.0 1.0"


def test_what_others_say_times_the_new_site_is_the_belief_from_there(beliefs):
    # By the textbook's product of two normals; the site formed about published data misses it.
    found = population([site(belief) for belief in beliefs], warm=3, kept=12)
    anew = reformed(found, beliefs)
    off = {"old": 0.0, "new": 0.0}
    for belief, cavity, one, other in zip(beliefs, cavities(found), found.sites, anew, strict=True):
        right = again(belief, cavity)
        y = cavity.normals(right.component, right.z)
        inverse = np.linalg.inv(cavity.root[0] @ cavity.root[0].T)
        (way,) = other.parts
        for name, (part,) in (("old", one.parts), ("new", other.parts)):
            precision = inverse + part.reading.T @ part.reading
            mean = np.linalg.solve(precision, inverse @ cavity.mean[0] + part.reading.T @ part.read)
            off[name] = max(off[name], np.abs(way.reading @ mean - right.weight @ (y @ way.reading.T)).max())
    assert off["new"] < 1e-8
    assert off["old"] > 0.05
    assert [one.patches for one in anew] == [2] * 4


def test_beliefs_of_other_jobs_are_refused(beliefs):
    found = population([site(beliefs[0])], warm=1, kept=2)
    with pytest.raises(pp.InputError, match="not the jobs"):
        reformed(found, beliefs)
