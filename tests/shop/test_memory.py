"""The seam of memory in the shop: what is kept of a job, and that nothing asks for it unless it is switched on."""

import numpy as np
import pytest
from made_cli import asked, told
from made_lent import OAK, WHEN

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.learn.memory import site
from proofpatch.shop.learned import learned
from proofpatch.shop.log import graded_to
from proofpatch.shop.memory import population_of, recalled_of
from proofpatch.shop.settings import Settings, keep_settings
from proofpatch.shop.sites import KIND, site_from, site_to, sites_of
from proofpatch.web.come_to import keep
from proofpatch.web.road import road


@pytest.fixture
def job(store, at_work):
    """Takes in an oak job and lays patches on it that came out so, as the pages do."""

    def made(*residues, title="Chest", passes=8):
        entry = store.add("job", OAK | {"job": {"title": title, "laser": "pulsed-500"}}, title=title)
        keep(store, road(store, entry))
        for n, residue in enumerate(residues):
            graded = pp.Graded(at_work(passes=passes + n), residue, "none", seconds=2.0, length=0.1)
            store.add("patch", graded_to(graded, WHEN), entry.id)
        if residues:
            keep(store, road(store, entry))
        return entry

    return made


def test_the_site_of_a_job_is_kept_when_its_grades_are(store, job):
    assert not store.all(KIND, job().id)
    entry = job("trace", "trace")
    (kept,) = store.all(KIND, entry.id)
    here = site(road(store, entry).window.belief)
    found = site_from(kept.data)
    assert (found.surface, found.patches, found.laser) == (here.surface, 2, "pulsed-500")
    assert len(found.parts) == len(here.parts) > 0
    for part, right in zip(found.parts, here.parts, strict=True):
        assert part.reading == pytest.approx(right.reading, rel=1e-4)
        assert part.read == pytest.approx(right.read, rel=1e-4)
    version = kept.version
    keep(store, road(store, entry))
    assert store.all(KIND, entry.id)[0].version == version  # nothing new, nothing written


def test_a_missing_site_is_worked_out_again(store, job):
    entry = job("trace", "trace")
    (kept,) = store.all(KIND, entry.id)
    store.delete(KIND, kept.id, kept.version)
    ((whose, found),) = sites_of(store)
    assert whose.id == entry.id
    assert site_to(found) == site_to(site_from(kept.data))


def test_a_grade_taken_back_is_not_remembered(store, job):
    entry = job("trace", "trace")
    one, two = store.in_order("patch", entry.id)
    store.delete("patch", one.id, 1)
    assert sites_of(store)[0][1].patches == 1
    store.delete("patch", two.id, 1)
    assert sites_of(store) == []


def test_no_forecast_uses_memory_unless_it_is_switched_on(store, job):
    plain = road(store, job(title="Before")).window
    for n in range(3):
        job("trace", "trace", "trace", title=f"Past {n}")
    entry = job(title="New")
    off = road(store, entry).window
    assert recalled_of(store, entry) is None
    assert np.array_equal(off.p_clean, plain.p_clean)
    keep_settings(store, {"memory": True}, 0)
    on = road(store, entry).window
    # The others stayed dirty where published data expect little left: so will this.
    assert on.p_clean.max() < off.p_clean.max()
    keep_settings(store, {"memory": False}, 1)
    assert np.array_equal(road(store, entry).window.p_clean, plain.p_clean)


def test_a_job_does_not_start_from_its_own_grades(store, job):
    keep_settings(store, {"memory": True}, 0)
    entry = job("trace", "trace")
    assert recalled_of(store, entry) is None  # nobody else
    job("clean", title="Other")
    before = recalled_of(store, entry)
    assert before is not None
    job_patch = store.in_order("patch", entry.id)[0]
    store.delete("patch", job_patch.id, 1)
    assert recalled_of(store, entry) == before
    assert len(population_of(store).sites) == 2


def test_the_setting_is_off_and_is_a_yes_or_no():
    assert Settings().memory is False
    with pytest.raises(InputError, match="memory"):
        Settings(memory="yes")


def test_what_was_learned_by_pair(store, job):
    job("trace", "trace")
    job("trace", title="Two")
    job(title="Waits")
    store.add("job", {**OAK, "job": {"title": "W", "laser": "pulsed-500"}, "surface": {"substrate": "walnut"}})
    oak, walnut = learned(store)
    assert (oak.jobs, oak.patches, oak.waiting) == (2, 3, 1)
    assert oak.nats > walnut.nats > 0
    assert "2 earlier jobs" in oak.because
    assert (walnut.jobs, walnut.first) == (0, None)
    assert "First job of" in walnut.because


def test_the_command_tells_it_and_switches_it(store, job, capsys):
    job("trace", "trace")
    code, out, _ = asked(capsys, "memory", store.folder)
    words = " ".join(out.split())
    assert code == 0
    assert "1 job with 2 graded patches are remembered. No forecast uses it" in words
    assert "With memory on: starts from published data and 1 earlier job" in words
    record = told(capsys, "memory", store.folder, "--use", "on")
    assert (record["used"], record["jobs"], record["pairs"][0]["patches"]) == (True, 1, 2)
    assert asked(capsys, "memory", store.folder / "nowhere")[0] == 2
