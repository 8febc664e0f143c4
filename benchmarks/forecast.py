"""How fast the six calls answer, each as a ratio to its plain NumPy form or to a named limit in the same run.

Run: python benchmarks/forecast.py     (a quiet machine; the host is shared, so ratios under 2 mean little)
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

import proofpatch as pp
from proofpatch.learn import kernels
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.forecast import FORECAST_DRAWS, envelope, setting_rows_cached, thinned
from proofpatch.learn.rows import hand_row
from proofpatch.learn.update import patch_arguments

OPTIONS = "forecast --coating varnish --substrate oak --json"
COMMAND = [str(Path(sys.executable).with_name("proofpatch")), *OPTIONS.split()]


def median(call: Callable[[], object], times: int = 5) -> float:
    """Median seconds of a warm call."""
    call()
    seen = []
    for _ in range(times):
        started = time.perf_counter()
        call()
        seen.append(time.perf_counter() - started)
    return float(np.median(seen))


def row(words: str, ours: float, peer: float, peer_words: str) -> None:
    print(f"{words:44s} {ours * 1e3:8.0f} ms   {ours / peer:6.2f} × {peer_words} ({peer * 1e3:.0f} ms)")


def main() -> None:
    surface = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged")
    belief = pp.prior(surface, "pulsed-500")
    few, noise = thinned(belief, FORECAST_DRAWS), assumption("setting_noise").value
    rows, hand = setting_rows_cached(belief.laser), hand_row(belief.hand)
    arguments = (few.layer, few.substrate, few.weight, rows, hand, noise)
    plain = median(lambda: kernels.plain_window(*arguments), 3)
    print(f"{len(envelope(belief.laser))} settings × {FORECAST_DRAWS} draws, {os.cpu_count()} cores")
    row("window, compiled", median(lambda: kernels.window(*arguments)), plain, "plain NumPy, same work")
    row("interactive forecast, warm", median(lambda: pp.forecast(belief)), 0.3, "of the 300 ms aimed at")
    base = envelope(belief.laser)[len(envelope(belief.laser)) // 2]
    evidence = [pp.Graded(base.with_(passes=n), "partial", "none") for n in range(1, 13)]
    patches = (belief.layer, belief.substrate, *patch_arguments(belief, evidence))
    once = median(lambda: kernels.plain_patch_logs(*patches), 3)
    row("update with 12 grades", median(lambda: pp.update(belief, evidence)), once, "one NumPy likelihood")
    row(
        "likelihood of 12 grades, compiled",
        median(lambda: kernels.patch_logs(*patches)),
        once,
        "plain NumPy, same work",
    )
    row("next strip of 3", median(lambda: pp.next_patch(belief, count=3), 3), plain, "one plain NumPy window")
    row("recipe with margins", median(lambda: pp.recipe(belief), 3), plain, "one plain NumPy window")
    imports = [sys.executable, "-c", "import numpy, scipy.special, numba"]
    interpreter = median(lambda: subprocess.run(imports, check=True), 3)
    subprocess.run(COMMAND, check=False, capture_output=True)
    cold = median(lambda: subprocess.run(COMMAND, check=False, capture_output=True), 3)
    row("command line, cold, kernels cached", cold, interpreter, "importing numpy, scipy, numba")
    with tempfile.TemporaryDirectory() as empty:
        started = time.perf_counter()
        subprocess.run(COMMAND, check=False, capture_output=True, env={**os.environ, "NUMBA_CACHE_DIR": empty})
        row(
            "command line, first run (compiles)",
            time.perf_counter() - started,
            interpreter,
            "importing numpy, scipy, numba",
        )


if __name__ == "__main__":
    main()
