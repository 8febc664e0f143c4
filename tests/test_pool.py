"""Work on many jobs gives the same on this machine and on a cluster, though a worker is killed half-way."""

import contextlib
import json
import signal
import subprocess
import sys
import time
from dataclasses import replace

import pytest

import proofpatch as pp
import proofpatch.pool
from proofpatch import InputError
from proofpatch.cli import main
from proofpatch.learn.memory import population, reformed
from proofpatch.pool import each_on, pool
from proofpatch.shop.log import graded_to
from proofpatch.shop.many import form_anew, site_anew, with_laser, works_of
from proofpatch.shop.sites import KIND, graded_of, site_to, sites_of, work_of

OAK = {"surface": {"substrate": "oak", "condition": "aged"}, "limits": {"preset": "ordinary"},
       "layers": [{"coating": "oil-varnish", "condition": "aged"}]}  # fmt: skip
SCHEDULER = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
             "--no-dashboard", "--scheduler-file"]  # fmt: skip
LONG = 120.0  # s; a worker is a process that reads its libraries first, on a core that is another's too
WORKER = "from distributed.cli.dask_worker import main; main()"
# A machine where proofpatch was never installed.
BARE = """
import importlib.metadata as metadata
known = metadata.version
def version(name):
    if name == "proofpatch":
        raise metadata.PackageNotFoundError(name)
    return known(name)
metadata.version = version
"""
# One where another state of it was installed.
OTHER = "import proofpatch.pool as pool; pool.seal = lambda: 'of other code'\n"


class Cluster:
    """A scheduler and its workers, processes of their own on this machine."""

    def __init__(self, folder):
        self.folder, self.started = folder, []
        said = folder / "scheduler.json"
        self.start([*SCHEDULER, str(said)])
        end = time.monotonic() + 120
        while not (said.exists() and said.read_text("utf-8").endswith("}")):
            assert time.monotonic() < end, self.told()
            time.sleep(0.05)
        self.address = json.loads(said.read_text("utf-8"))["address"]

    def start(self, words):
        with (self.folder / f"{len(self.started)}.log").open("wb") as log:
            self.started.append(subprocess.Popen(words, stdout=log, stderr=log, cwd=self.folder))
        return self.started[-1]

    def worker(self, before="", threads=1):
        return self.start([
            sys.executable, "-c", before + WORKER, self.address, "--nthreads", str(threads), "--no-nanny",
            "--no-dashboard", "--host", "127.0.0.1", "--local-directory", str(self.folder),
        ])  # fmt: skip

    def told(self):
        return [path.read_text("utf-8", "replace")[-500:] for path in self.folder.glob("*.log")]


@pytest.fixture
def cluster(tmp_path):
    folder = tmp_path / "cluster"
    folder.mkdir()
    found = Cluster(folder)
    yield found
    for one in reversed(found.started):
        one.kill()
        one.wait(60)


@pytest.fixture
def shop(store, at_work):
    """Two jobs that were graded."""
    for title, residues in (("Chest", ("trace", "partial")), ("Frame", ("partial", "clean"))):
        entry = store.add("job", OAK | {"job": {"title": title, "laser": "pulsed-500"}}, title=title)
        for n, residue in enumerate(residues):
            graded = pp.Graded(at_work(passes=8 + n), residue, "none", seconds=2.0, length=0.1)
            store.add("patch", graded_to(graded, "2026-03-02T09:00:00+00:00"), entry.id)
    return store


def test_a_cluster_gives_what_this_machine_gives_though_a_worker_is_killed(cluster, shop, monkeypatch):
    monkeypatch.setattr("proofpatch.pool.PATIENCE", LONG)
    first, second = cluster.worker(), cluster.worker()
    works = [replace(work, job=replace(work.job, seed=seed)) for seed in range(3) for _, work in works_of(shop)[0]]
    with each_on() as each:
        own = list(each(site_anew, works))
    assert len({json.dumps(one) for one in own}) == len(works)  # each is another task
    with each_on(cluster.address) as each:
        found = each(site_anew, works)
        theirs = [next(found), next(found)]
        assert second.poll() is None
        second.send_signal(signal.SIGKILL)
        theirs += found
    assert second.wait(60) == -signal.SIGKILL
    assert first.poll() is None
    assert theirs == own


def test_what_cannot_work_is_said_in_one_sentence(cluster, monkeypatch):
    monkeypatch.setattr("proofpatch.pool.PATIENCE", 1.0)

    def told(address):
        with pytest.raises(InputError) as caught, pool(address):
            pass
        assert caught.value.field == "cluster"
        return str(caught.value)

    assert "No Dask scheduler answers at 'tcp://127.0.0.1:9'" in told("tcp://127.0.0.1:9")
    assert "No Dask scheduler answers" in told("no address at all")
    # The scheduler is there and may be slow; a worker that was never started is not waited for.
    client = proofpatch.pool._client

    def found(address):
        with monkeypatch.context() as patient:
            patient.setattr("proofpatch.pool.PATIENCE", LONG)
            return client(address)

    with monkeypatch.context() as short:
        short.setattr("proofpatch.pool._client", found)
        assert "has no worker. Start one with: dask worker tcp://127.0.0.1" in told(cluster.address)
    monkeypatch.setattr("proofpatch.pool.PATIENCE", LONG)
    bare = cluster.worker(BARE)
    assert "has no proofpatch. Install 0.1.0 there." in told(cluster.address)
    bare.kill()
    bare.wait(60)
    wide = cluster.worker(threads=2)
    assert "does 2 tasks at once" in told(cluster.address)
    wide.kill()
    wide.wait(60)
    cluster.worker(OTHER)
    assert "another proofpatch" in told(cluster.address)


@pytest.mark.parametrize("address", ["garbage", "tcp://", "tcp://here", "no address at all", ":8786 "])
def test_what_is_no_address_is_looked_for_nowhere(monkeypatch, address):
    monkeypatch.setattr("distributed.Client", lambda *_, **__: pytest.fail("it was looked for"))
    with pytest.raises(InputError, match="No Dask scheduler answers"), pool(address):
        pass


def test_without_the_library_the_command_says_what_to_install(shop, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SystemExit) as end:
        main(["rework", "sites", str(shop.folder), "--cluster", "tcp://127.0.0.1:8786"])
    assert end.value.code == 2
    assert 'pip install "proofpatch[cluster]"' in capsys.readouterr().err


# Against the engine's own call, which does the same to all jobs at once.
def test_sites_are_formed_anew_as_the_engine_forms_them_and_kept(shop):
    own = sites_of(shop)
    jobs = [(work_of(shop, entry), entry) for entry, _ in own]
    beliefs = [
        pp.update(pp.prior(job.surface, job.laser, job.hand, seed=job.seed), graded_of(shop, entry, job))
        for job, entry in jobs
    ]
    wanted = [site_to(one) for one in reformed(population([one for _, one in own]), beliefs)]
    assert wanted != [site_to(one) for _, one in own]
    assert form_anew(shop, map) == 2
    kept = {one.job: one for one in shop.all(KIND)}
    for (entry, _), one in zip(own, wanted, strict=True):
        assert {key: kept[entry.id].data[key] for key in one} == one
        assert kept[entry.id].version == 2
    # The grades stayed as they were: nothing is worked out again.
    assert [site_to(one) for _, one in sites_of(shop)] == wanted


def test_another_laser_is_asked_of_every_piece(shop, monkeypatch, capsys):
    small = pp.laser("pulsed-100")
    found = list(with_laser(shop, map, small))
    job = work_of(shop, shop.in_order("job")[0])
    for got, laser in ((found[0].own, job.laser), (found[0].other, small)):
        assert got == pp.forecast(pp.prior(job.surface, laser, job.hand, seed=job.seed), job.limits).chance
    assert [one.job for one in found] == ["Chest", "Frame"]
    monkeypatch.setattr("proofpatch.pool.each_on", lambda address: contextlib.nullcontext(map))
    with pytest.raises(SystemExit) as end:
        main(["rework", "laser", str(shop.folder), "--laser", "pulsed-100", "--json"])
    record = json.loads(capsys.readouterr().out)
    assert end.value.code == 0
    assert [one["chance_with_it"] for one in record["jobs"]] == [one.other for one in found]
    assert sum(record["answers_with_it"].values()) == 2


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["laser"], "Name it with --laser"),
        (["sites", "--laser", "pulsed-100"], "and only there"),
        (["laser", "--laser", "none-such"], "none-such"),
    ],
)
def test_what_the_command_cannot_do_is_said(shop, capsys, words, says):
    with pytest.raises(SystemExit) as end:
        main([*("rework", words[0], str(shop.folder)), *words[1:]])
    assert end.value.code == 2
    assert says in capsys.readouterr().err
