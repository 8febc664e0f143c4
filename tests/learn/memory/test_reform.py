"""Sites formed anew from what all other jobs say."""

from dataclasses import replace

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.belief import Recalled, latents
from proofpatch.learn.memory import Part, Site, population, reformed
from proofpatch.learn.memory.fit import effects_given
from proofpatch.learn.memory.jobs import lay_out
from proofpatch.learn.memory.levels import concretes
from proofpatch.learn.memory.population import Population
from proofpatch.learn.memory.reform import LEAST_EFFECTIVE, again, cavities, weighted

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
