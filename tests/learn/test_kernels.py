"""Compiled kernels against their plain NumPy form: the same body over series that are good to 1e-10."""

import os
import subprocess
import sys

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn import kernels
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.learn.update import patch_arguments

SURFACES = (
    pp.Surface([pp.Layer("oil-varnish")], "oak"),
    pp.Surface([pp.Layer("wax"), pp.Layer("shellac"), pp.Layer("oil-stain")], "veneer-on-core"),
    pp.Surface([pp.Layer({"alkyd-paint": 0.5, "latex-paint": 0.5}), pp.Layer("mill-scale")], "mild-steel"),
    pp.Surface([pp.Layer("masonry-paint")], "limestone"),
    pp.Surface([pp.Layer("soot")], "paper"),
)


def random_settings(rng, count):
    laser = pp.laser("pulsed-500")
    return [
        pp.Setting(
            float(rng.uniform(5, 500)), float(10 ** rng.uniform(3.5, 6)), float(rng.choice([30e-9, 100e-9, 500e-9])),
            laser.spot_radius, float(rng.uniform(0.01, 0.15)), float(rng.uniform(1, 20)),
            float(10 ** rng.uniform(-2.7, -0.8)),
            int(rng.integers(1, 40)), str(rng.choice(["line", "sine"])),
        )
        for _ in range(count)
    ]  # fmt: skip


@pytest.mark.parametrize("surface", SURFACES)
@pytest.mark.parametrize("starts", ["mask", "free"])
def test_window_equals_numpy(surface, starts):
    belief = pp.prior(surface, "pulsed-500", draws=64)
    rows = setting_rows(random_settings(np.random.default_rng(3), 40), belief.laser)
    arguments = (belief.layer, belief.substrate, belief.weight, rows, hand_row(pp.Hand(starts=starts)), 0.15)
    fast, plain = kernels.window(*arguments), kernels.plain_window(*arguments)
    for a, b in zip(fast, plain, strict=True):
        np.testing.assert_allclose(np.asarray(a, float), np.asarray(b, float), rtol=0, atol=1e-8)


@pytest.mark.parametrize("surface", SURFACES)
def test_outcomes_and_patches_equal_numpy(surface):
    belief = pp.prior(surface, "pulsed-500", draws=64)
    rng = np.random.default_rng(4)
    settings = random_settings(rng, 20)
    rows = setting_rows(settings, belief.laser)
    target = int(rng.integers(len(surface.coats)))
    fast = kernels.outcomes(belief.layer, belief.substrate, rows, hand_row(belief.hand), target)
    plain = kernels.plain_outcomes(belief.layer, belief.substrate, rows, hand_row(belief.hand), target)
    for a, b in zip(fast, plain, strict=True):
        assert np.isfinite(a).all()
        np.testing.assert_allclose(a, b, rtol=1e-7, atol=1e-8)
    measured = ({}, {"fraction_left": 0.3}, {"fraction_left": 0.3, "fraction_error": 0.02})
    evidence = [
        pp.Graded(s, str(rng.choice(pp.RESIDUES)), str(rng.choice(pp.HARMS)), layer=target, **rng.choice(measured))
        for s in settings
    ]
    arguments = (belief.layer, belief.substrate, *patch_arguments(belief, evidence))
    np.testing.assert_allclose(
        kernels.patch_logs(*arguments), kernels.plain_patch_logs(*arguments), rtol=1e-7, atol=1e-7
    )


@pytest.mark.parametrize("surface", SURFACES)
def test_what_may_be_said_equals_numpy(surface):
    belief = pp.prior(surface, "pulsed-500", draws=70)  # no whole block
    rows = setting_rows(random_settings(np.random.default_rng(8), 20), belief.laser)
    hand = hand_row(belief.hand, patch=True)
    arguments = (belief.layer, belief.substrate, rows, hand, belief.typical_spread(rows, hand), 0.15, 0.03)
    for a, b in zip(kernels.grades(*arguments), kernels.plain_grades(*arguments), strict=True):
        np.testing.assert_allclose(a, b, rtol=0, atol=1e-8)
    joint, _, harm = kernels.grades(*arguments)
    np.testing.assert_allclose(joint.sum(axis=1), 1.0, rtol=1e-9)
    assert harm.shape == (20, 70)


def test_a_window_of_many_settings_is_one_of_few(varnished_oak):
    belief = pp.prior(varnished_oak, "pulsed-500", draws=17)  # no whole block
    rows = setting_rows(random_settings(np.random.default_rng(5), 50), belief.laser)
    many = np.tile(rows, (kernels.AT_ONCE // 25, 1))
    arguments = (belief.layer, belief.substrate, belief.weight), (hand_row(belief.hand), 0.15)
    few, all_of = (kernels.window(*arguments[0], r, *arguments[1]) for r in (rows, many))
    for a, b in zip(few[:4], all_of[:4], strict=True):
        np.testing.assert_array_equal(np.tile(a, (kernels.AT_ONCE // 25, *[1] * (a.ndim - 1))), b)
    np.testing.assert_array_equal(few[4], all_of[4])


@pytest.mark.skipif(kernels.numba is None, reason="one thread only without Numba")
def test_one_thread_or_two_agree_to_the_last_bit(oak_belief):
    rows = setting_rows(random_settings(np.random.default_rng(6), 60), oak_belief.laser)
    arguments = (oak_belief.layer, oak_belief.substrate, oak_belief.weight, rows, hand_row(oak_belief.hand), 0.15)
    evidence = [pp.Graded(s, "trace", "none") for s in random_settings(np.random.default_rng(7), 5)]
    threads = kernels.numba.get_num_threads()
    try:
        found = []
        for count in (1, min(2, kernels.numba.config.NUMBA_NUM_THREADS)):
            kernels.numba.set_num_threads(count)
            logs = kernels.patch_logs(*arguments[:2], *patch_arguments(oak_belief, evidence))
            said = kernels.grades(*arguments[:2], rows, arguments[4], np.linspace(0.1, 0.6, 60), 0.15, 0.03)
            found.append((*kernels.window(*arguments), logs, *said))
    finally:
        kernels.numba.set_num_threads(threads)
    for a, b in zip(*found, strict=True):
        np.testing.assert_array_equal(a, b)


def test_the_cache_folder_changes_with_the_source(tmp_path, monkeypatch):
    from proofpatch.learn import compiled

    before = compiled.digest()
    copy = tmp_path / "beam.py"
    copy.write_text(compiled.SOURCES[0].read_text() + "\n# changed\n")
    monkeypatch.setattr(compiled, "SOURCES", (copy, *compiled.SOURCES[1:]))
    assert compiled.digest() != before


def test_matrix_products_leave_the_cores_to_the_kernels():
    # Counted by the operating system: a large product starts no thread beside the one that asks for it.
    code = (
        "import os, proofpatch, numpy as np; np.ones((900, 900)) @ np.ones((900, 900)); "
        "print(len(os.listdir('/proc/self/task')))"
    )
    plain = {name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
    run = subprocess.run([sys.executable, "-c", code], env=plain, capture_output=True, text=True, check=True)
    assert int(run.stdout) == 1
