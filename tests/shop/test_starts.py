"""What a job starts from stays with it, and what was said of its patches before they were graded."""

import numpy as np
import pytest
from made_lent import OAK, WHEN

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.learn.memory.skill import foretell
from proofpatch.shop import foretold
from proofpatch.shop.log import graded_from, graded_to
from proofpatch.shop.many import form_anew
from proofpatch.shop.memory import formed, recalled_of
from proofpatch.shop.settings import settings_of
from proofpatch.shop.sites import sites_of
from proofpatch.shop.starts import KIND, start_anew, start_of, switch
from proofpatch.shop.store import Overtaken
from proofpatch.web.come_to import keep
from proofpatch.web.road import road


@pytest.fixture
def job(store, at_work):
    """Takes in an oak job and lays patches on it that came out so, worked out after each."""

    def made(*residues, title="Chest", entry=None):
        entry = entry or store.add("job", OAK | {"job": {"title": title, "laser": "pulsed-500"}}, title=title)
        keep(store, road(store, entry))
        for n, residue in enumerate(residues):
            graded = pp.Graded(at_work(passes=8 + n), residue, "none", seconds=2.0, length=0.1)
            store.add("patch", graded_to(graded, WHEN), entry.id)
            keep(store, road(store, entry))
        return entry

    return made


def on(store, use=True):
    entry = settings_of(store)[1]
    switch(store, use, entry.version if entry else 0)


def chance(store, entry):
    return road(store, entry).window.p_clean


def test_a_job_keeps_its_start_from_the_first_grade_on(store, job):
    on(store)
    job("trace", "trace", title="Past")
    mine = job(title="Mine")
    assert start_of(store, mine).entry is None  # nothing was done: it moves
    before = start_of(store, mine).recalled
    job("partial", entry=mine)
    kept = start_of(store, mine)
    assert kept.recalled == before
    assert np.array_equal(kept.recalled.root, before.root)  # to the last digit
    assert np.array_equal(kept.recalled.mean, before.mean)
    forecast = chance(store, mine)
    for n in range(2):
        job("trace", "trace", title=f"Later {n}")
    assert recalled_of(store, mine) != before
    assert np.array_equal(chance(store, mine), forecast)
    assert "1 job" in start_of(store, mine).because


def test_it_is_started_anew_when_its_owner_says_so_and_back(store, job):
    on(store)
    job("trace", "trace", title="Past")
    mine = job("partial", title="Mine")
    forecast, version = chance(store, mine), start_of(store, mine).entry.version
    job("trace", "trace", title="Later")
    start_anew(store, mine, version)
    assert start_of(store, mine).recalled == recalled_of(store, mine)
    assert not np.array_equal(chance(store, mine), forecast)
    with pytest.raises(Overtaken):
        start_anew(store, mine, version)
    store.undo(KIND, start_of(store, mine).entry.id, version + 1)
    assert np.array_equal(chance(store, mine), forecast)
    on(store, use=False)
    with pytest.raises(InputError, match="off"):
        start_anew(store, mine, version + 2)


def test_the_switch_moves_no_job_that_was_begun_without_it(store, job):
    mine, waits = job("partial", title="Begun"), job(title="Waits")
    job("trace", "trace", title="Past")
    for kept in store.all(KIND):
        store.delete(KIND, kept.id, kept.version)  # as a shop that is older than starts has none
    plain, fresh = chance(store, mine), chance(store, waits)
    on(store)
    assert np.array_equal(chance(store, mine), plain)
    assert start_of(store, mine).recalled is None
    assert not np.array_equal(chance(store, waits), fresh)
    on(store, use=False)
    assert np.array_equal(chance(store, waits), fresh)


def test_a_piece_described_anew_is_another_piece(store, job):
    on(store)
    job("trace", title="Past")
    mine = job("partial", title="Mine")
    changed = store.change("job", mine.id, mine.version, mine.data | {"surface": {"substrate": "walnut"}})
    assert start_of(store, changed).stale
    keep(store, road(store, changed))
    assert not start_of(store, changed).stale
    assert start_of(store, changed).recalled.mean.shape[1] > 0


# The belief that had seen the earlier patches alone is made here without the shop: prior, then update.
def test_a_grade_is_foretold_by_what_was_known_before_it(store, job):
    mine = job("trace", "partial", "clean")
    (kept,) = store.all(foretold.KIND, mine.id)
    work = road(store, mine).work
    patches = store.in_order("patch", mine.id)
    graded = [graded_from(one.data) for one in patches]
    start = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
    for n, (patch, one) in enumerate(zip(patches, graded, strict=True)):
        clean, harm = foretell(pp.update(start, graded[:n]) if n else start, one, mine.id, 0.0)
        said = kept.data["said"][patch.id]
        assert (said["clean"], said["harm"]) == pytest.approx((clean.p, harm.p), rel=1e-9)
        assert (said["after"], said["late"]) == (n, False)
    told = foretold.told_of(store)
    assert (len(told.all), told.jobs, told.wanted) == (6, 1, 4)
    assert [one.came for one in told.all if one.outcome == "clean"] == [False, False, True]
    assert sum(row[2] for row in told.bins("clean")) == 3


def test_what_was_said_stays_though_the_job_is_told_otherwise(store, job):
    mine = job("trace", "partial")
    (before,) = store.all(foretold.KIND, mine.id)
    store.change("job", mine.id, mine.version, mine.data | {"surface": {"substrate": "walnut"}})
    keep(store, road(store, store.get("job", mine.id)))
    store.delete("patch", store.in_order("patch", mine.id)[0].id, 1)
    keep(store, road(store, store.get("job", mine.id)))
    assert store.all(foretold.KIND, mine.id)[0].data == before.data
    assert len(foretold.told_of(store).all) == 2  # one taken back counts no more


def test_what_jobs_taught_is_formed_anew_and_stands_until_a_grade_changes_it(store, job):
    mine = job("trace", "trace", title="One")
    job("trace", "trace", title="Two")
    before = dict((entry.title, site) for entry, site in sites_of(store))
    assert formed(store) == (0, 2, None)
    assert form_anew(store) == 2
    after = dict((entry.title, site) for entry, site in sites_of(store))
    assert formed(store)[:2] == (2, 2)
    assert not np.array_equal(before["One"].parts[0].read, after["One"].parts[0].read)
    keep(store, road(store, mine))
    assert formed(store)[:2] == (2, 2)
    job("trace", entry=mine)
    assert formed(store)[:2] == (1, 2)
