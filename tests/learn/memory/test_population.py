"""What jobs say together, and what the next one starts from."""

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.memory import Part, Site, population, site
from proofpatch.learn.unknowns import latents


@pytest.fixture(scope="module")
def jobs(at_work):
    """Eight pieces of varnished oak that came clean later than published data expect."""
    surface = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged")
    found = []
    for seed in range(8):
        graded = [pp.Graded(at_work(passes=n), "trace", "none", seconds=2.0, length=0.1) for n in (4, 8, 12 + seed)]
        found.append(site(pp.update(pp.prior(surface, "pulsed-500", seed=seed, draws=1024), graded)))
    return found


@pytest.fixture(scope="module")
def shop(jobs):
    return population(jobs, warm=5, kept=20)


def test_without_jobs_memory_changes_nothing(varnished_oak):
    empty = population([])
    recalled = empty.recalled(varnished_oak, "pulsed-500", "Ida")
    assert np.array_equal(recalled.mean, np.zeros_like(recalled.mean))
    assert np.array_equal(recalled.root, np.tile(np.eye(recalled.mean.shape[1]), (len(recalled.mean), 1, 1)))
    plain, started = pp.prior(varnished_oak, "pulsed-500"), pp.prior(varnished_oak, "pulsed-500", memory=recalled)
    assert np.array_equal(plain.layer, started.layer)
    assert np.array_equal(plain.substrate, started.substrate)
    assert "No earlier job" in empty.because(varnished_oak)


def test_jobs_move_the_next_forecast_their_way(shop, varnished_oak, at_work):
    setting = at_work(passes=8)
    chances = [
        pp.forecast(pp.prior(varnished_oak, "pulsed-500", memory=memory), settings=[setting]).p_clean[0]
        for memory in (None, shop.recalled(varnished_oak, "pulsed-500"))
    ]
    assert chances[1] < 0.6 * chances[0]
    assert shop.narrowed(varnished_oak) > 0.1


def test_more_jobs_narrow_more(jobs, shop, varnished_oak):
    assert 0 < population(jobs[:1], warm=5, kept=20).narrowed(varnished_oak) < shop.narrowed(varnished_oak)


def test_a_pair_nobody_met_starts_nearer_to_published_data(shop, varnished_oak):
    other = pp.Surface("loose-rust", "mild-steel")
    recalled = shop.recalled(other)
    assert np.abs(recalled.mean).max() < np.abs(shop.recalled(varnished_oak).mean).max()
    assert 0 < shop.narrowed(other) < 0.5 * shop.narrowed(varnished_oak)
    names = latents(other).names
    moved = np.flatnonzero(recalled.mean[0])
    assert {names[k][0] for k in moved} == {"model"}  # what all jobs share, and no more


def test_a_first_job_in_a_pair_says_so(shop, varnished_oak):
    walnut = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "walnut", condition="aged")
    assert "First job of oil varnish on walnut here" in shop.because(walnut)
    assert "8 jobs with this coating" in shop.because(walnut)
    assert "8 earlier jobs" in shop.because(varnished_oak)
    assert "24 graded patches" in shop.because(varnished_oak)
    assert "nothing like it yet" in shop.because(pp.Surface("loose-rust", "mild-steel"))


def test_a_job_the_owner_lets_count_for_nothing_counts_for_nothing(jobs, varnished_oak):
    found = population([job.weighed(0.0) for job in jobs], warm=2, kept=4)
    assert not found.recalled(varnished_oak).mean.any()
    half = population([jobs[0].weighed(0.5)], warm=5, kept=30)
    assert half.narrowed(varnished_oak) < population(jobs[:1], warm=5, kept=30).narrowed(varnished_oak)


def test_each_component_of_a_doubt_has_its_own(shop):
    unknown = pp.Surface("oil-varnish", "oak", condition="aged")
    recalled = shop.recalled(unknown, "pulsed-500")
    assert len(recalled.mean) == len(unknown.components()) > 1
    stacks = [stack for _, stack, _ in unknown.components()]
    aged = [i for i, stack in enumerate(stacks) if stack[0][2] == "aged"]
    others = [i for i in range(len(stacks)) if i not in aged]
    assert np.abs(recalled.mean[aged]).max() > np.abs(recalled.mean[others]).max() > 0


def test_equal_memories_have_equal_names_and_others_not(jobs, shop, varnished_oak):
    again = population(jobs, warm=5, kept=20)
    assert again.recalled(varnished_oak) == shop.recalled(varnished_oak)
    assert population(jobs[:4], warm=5, kept=20).recalled(varnished_oak) != shop.recalled(varnished_oak)


def test_what_is_no_site_is_refused():
    with pytest.raises(pp.InputError, match="sites"):
        population([3])


def reading_of(surface, *unknowns):
    """A site that reads 3 times the sum of these unknowns as 6."""
    names = [name for _, name in latents(surface).names]
    f = np.zeros((1, len(names)))
    f[0, [names.index(name) for name in unknowns]] = 3.0
    ((share, stack, state),) = surface.components()
    return Site(surface, (Part(stack, state, share, f, np.array([6.0])),), 4, "pulsed-500", "Ida")


def test_a_graders_noise_and_the_models_tilts_are_not_added_up(varnished_oak):
    names = [name for _, name in latents(varnished_oak).names]
    for name in ("grader_noise", "need_by_dose"):
        found = population([reading_of(varnished_oak, name)] * 30, warm=2, kept=6)
        start = found.recalled(varnished_oak, "pulsed-500", "Ida")
        assert start.mean[0, names.index(name)] == 0.0
        assert start.root[0] @ start.root[0].T == pytest.approx(np.eye(len(names)))
    # A reading they have a part in says less of the rest. 3 (a + b) = 6 ± 1, both N(0, 1), 0.15 + 0.25 + 0.20 of a
    # everyone's, the pair's and the laser's: by the textbook a of the next piece is 0.6 · 3 · 6/(9 + 9 + 1) = 0.57,
    # but for the spread of pieces, known to a half.
    both = population([reading_of(varnished_oak, "depth_discrepancy", "need_by_dose")], warm=20, kept=200)
    start = both.recalled(varnished_oak, "pulsed-500")
    assert start.mean[0, names.index("depth_discrepancy")] == pytest.approx(0.57, rel=0.1)
    assert np.flatnonzero(start.mean[0]).size == 1


def test_a_start_once_told_is_told_again_whatever_is_graded_later(jobs, varnished_oak):
    before = population(jobs[:3], warm=5, kept=20).recalled(varnished_oak, "pulsed-500")
    later = population(jobs, warm=5, kept=20).recalled(varnished_oak, "pulsed-500")
    again = population(jobs[:3], warm=5, kept=20).recalled(varnished_oak, "pulsed-500")
    assert before == again
    assert before.name == again.name != later.name
    assert np.array_equal(before.mean, again.mean)
    assert np.array_equal(before.root, again.root)
    one, other = (pp.prior(varnished_oak, "pulsed-500", memory=start, draws=64) for start in (before, again))
    assert np.array_equal(one.layer, other.layer)
