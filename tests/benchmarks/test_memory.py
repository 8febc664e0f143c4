"""The memory's studies in short; the long ones are docs/memory-fit.md and docs/memory.md, made by `make long`.

Outside sources: emcee (another sampler, the joint density written with SciPy), and simulation-based calibration
(Talts et al. 2018).
"""

import json
import shutil

import memory
import memory_code
import memory_fit
import memory_shop
import numpy as np
import pytest
from memory_truth import CARRIED, GRADERS, SURFACES, Shop
from scipy import stats
from stamp import DOCS

from proofpatch.learn import compiled
from proofpatch.learn.memory import Part, Site, population
from proofpatch.learn.memory.levels import concretes, heard, layout


@pytest.fixture(scope="module")
def problem():
    return memory_fit.draw_problem(memory_fit.small_layouts(), jobs=6, rank=3, seed=3)


@pytest.fixture(scope="module")
def reference(problem):
    return memory_fit.reference(problem, seed=3, steps=3000, burn=500)


def test_the_fit_is_that_of_another_sampler(problem, reference):
    mean, sd, apart = reference
    assert apart < 2 * memory_fit.NEAR
    means, sds = memory_fit.off(memory_fit.fit(problem.readings(), 1, warm=30, kept=1200), mean, sd)
    assert means.max() < 1.5 * memory_fit.NEAR
    assert sds.max() < 1.5 * memory_fit.NEAR


def test_a_fit_that_was_told_less_is_told_apart(problem, reference):
    mean, sd, _ = reference
    groups = [(found, jobs[:-1], reads[:-1]) for found, jobs, reads in problem.groups]
    fewer = memory_fit.Problem(groups, problem.effects, problem.spreads).readings()
    means, _ = memory_fit.off(memory_fit.fit(fewer, 1, warm=30, kept=600), mean, sd)
    assert means.max() > 2 * memory_fit.NEAR


def test_truths_rank_evenly(monkeypatch):
    monkeypatch.setattr(memory_fit, "KEPT", 15)
    ranks = [memory_fit.ranks(memory_fit.small_layouts(), 8, 3, 90_000 + n) for n in range(48)]
    every = {name: np.array([r[name] for r in ranks]) for name in ranks[0]}
    # Sixteen ranks, pairs of them a bin: 6 in each.
    chances = {name: float(stats.chisquare(np.bincount(r // 2, minlength=8)).pvalue) for name, r in every.items()}
    least = min(chances, key=lambda name: chances[name])
    assert chances[least] * len(chances) > memory_fit.SURE, (least, every[least])


def test_a_shop_is_the_same_whichever_piece_comes_first():
    one, other = Shop(5), Shop(5)
    first = one.normals(SURFACES[0], "pulsed-300", "Ida", 1)
    other.normals(SURFACES[2], "pulsed-500", "Jonas", 7)
    again = other.normals(SURFACES[0], "pulsed-300", "Ida", 1)
    assert np.array_equal(first[1], again[1])


def test_pieces_of_shops_are_what_published_data_leave_open():
    # Over many shops every unknown of a piece has mean 0 and variance 1.
    y = np.array([Shop(seed).normals(SURFACES[0], "pulsed-300", "Ida", 0)[1] for seed in range(300)])
    assert y.mean(axis=0) == pytest.approx(0.0, abs=0.25)
    assert np.mean(y**2) == pytest.approx(1.0, abs=0.05)


def test_a_lean_is_in_what_is_seen_alone():
    _, true, seen = Shop(2).normals(SURFACES[0], "pulsed-300", GRADERS[0], 0)
    assert np.flatnonzero(true != seen).size == 1


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr(memory_shop, "HISTORY_DRAWS", 256)
    monkeypatch.setattr(memory_shop, "MEMORIES", (0, 1, 3))
    monkeypatch.setattr(memory_shop, "STEPS", 1)
    monkeypatch.setattr(memory, "MEMORIES", (0, 1, 3))


@pytest.fixture
def two_shops(small):
    """One that remembers three jobs, one that remembers one."""
    return [
        memory_shop.one_shop((seed, past, 2, 2)) | {"ceiling": memory_shop.ceiling((seed, 2, 2))}
        for seed, past in ((101, 3), (102, 1))
    ]


def test_memory_of_some_jobs_scores_and_counts_steps(two_shops):
    found = memory.shops(two_shops[:1])
    assert found.scores.shape == (2, 3, 3)
    assert (found.scores <= 0).all()
    assert len(memory.score_rows(found)) == 4
    assert "1 earlier job of oil varnish on oak" in found.because
    # A shop of one job has no memory of three: taken together they are scored on what both have.
    page = "\n".join(memory.page(two_shops, [("good", "good", 0.7)], "Origin."))
    assert "2 shops of 7 kinds of job, up to 3 remembered" in page
    assert "The first of these shops alone, with 3 jobs" in page
    assert page.count("\n| 3 |") == 2


def test_what_was_done_is_not_done_again(tmp_path):
    kept, task = tmp_path / "kept.jsonl", ("pair", 0)
    kept.write_text(json.dumps({"task": task, "found": ["good", "left", 0.5]}) + "\n", encoding="utf-8")
    assert memory.answers([task], kept) == [["good", "left", 0.5]]


def test_the_page_tells_of_what_is_done_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(memory, "DOCS", tmp_path)
    scores = [[[-1.0 - n, -0.5, -0.5], [-0.8 - n, -0.4, -0.5]] for n in range(2)]
    shop = {"scores": scores, "steps": [[[3, 0, True, "good"]] * 2] * 2, "because": "Because."}
    memory.write({
        json.dumps(("shop", (401, memory.PAST, memory.FRESH, memory.WORKED))): shop,
        json.dumps(("ceiling", (401, memory.FRESH, memory.WORKED))): [[-0.5, -0.4, -0.5]] * 2,
        json.dumps(("pair", 3)): ["good", "good", 0.5],
    })  # fmt: skip
    text = (tmp_path / "memory.md").read_text(encoding="utf-8")
    assert "Shops 401, pieces" in text
    assert "| 10 | -1.300 (+0.200 ± 0.000)" in text
    assert "1 of 1" in text
    assert memory_code.covers() in text


def test_the_longest_memory_is_asked_of_one_shop():
    asked = [what for name, what in memory.long_tasks() if name == "shop"]
    assert [past for _, past, *_ in asked].count(memory.MANY) == 1
    assert min(seed for seed, *_ in asked) >= 400  # those below were looked at
    assert len(asked) >= memory.LEAST_SHOPS


def test_a_memory_knows_what_it_was_told():
    # Every unknown of 60 pieces read exactly: what is common and heard of comes back, nearer than published data.
    shop, surface = Shop(3), SURFACES[5]
    found = concretes(surface, "pulsed-300", "Ida")[0]
    unknowns = len(layout(found).rest)
    rng = np.random.default_rng(1)
    sites = []
    for n in range(60):
        _, _, seen = shop.normals(surface, "pulsed-300", "Ida", n)
        f = 3.0 * np.eye(unknowns)
        part = memory_part(found, f, f @ seen + rng.standard_normal(unknowns))
        sites.append(Site(surface, (part,), 8, "pulsed-300", "Ida"))
    mean, covariance = population(sites, warm=3, kept=10).predicted(found)
    told = heard(found).loading.any(axis=1)
    common = shop.common(found)
    assert np.sqrt(np.mean((mean - common)[told] ** 2)) < 0.2 < 0.5 * np.sqrt(np.mean(common[told] ** 2))
    assert not mean[~told].any()
    piece = sum(
        max(shop.spread(key), 1.0) * own for key, own in zip(layout(found).scales, layout(found).piece, strict=True)
    )
    assert np.diag(covariance)[told].mean() == pytest.approx(float(np.mean(piece[told])), rel=0.2)


def memory_part(found, reading, read):
    return Part(found.stack, found.state, 1.0, reading, read)


def test_a_carried_recipe_is_judged_where_it_was_carried_to():
    lines = memory.carry_lines([("good", "good", 0.7), ("good", "harmed", 1.1), ("none", "none", None)])
    assert "1 of 2" in lines[2]
    assert "**not reached**" in lines[2]
    assert len(CARRIED) > 3


def test_the_interval_of_a_share_is_the_printed_one():
    # 0 of 30: 1 − 0.025^(1/30) = 0.116, the closed form of the exact interval.
    assert memory.interval(0, 30) == pytest.approx((0.0, 1 - 0.025 ** (1 / 30)))


# ---- What is kept: `make long` ----


@pytest.mark.parametrize("name", ["memory", "memory-fit"])
def test_the_studies_are_of_this_code(name):
    assert memory_code.covers() in DOCS.joinpath(f"{name}.md").read_text(encoding="utf-8"), "run: make long"


def test_another_rule_or_share_makes_the_studies_stale(tmp_path, monkeypatch):
    shutil.copytree(compiled.PACKAGE / "learn" / "memory", tmp_path / "learn" / "memory")
    before = memory_code.digest()
    monkeypatch.setattr(compiled, "PACKAGE", tmp_path)
    assert memory_code.digest() == before
    folder = tmp_path / "learn" / "memory"
    folder.joinpath("exchange.py").write_text("", encoding="utf-8")
    assert memory_code.digest() == before
    for name in ("fit.py", "shares.csv"):
        folder.joinpath(name).write_text("other", encoding="utf-8")
        assert memory_code.digest() != before
        before = memory_code.digest()
