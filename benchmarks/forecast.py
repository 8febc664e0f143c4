"""How fast the six calls answer, each as a ratio to its plain NumPy form or to a named limit in the same run.

Run: python benchmarks/forecast.py     (a quiet machine; the host is shared, so ratios under 2 mean little)

The share of the machine's limit is that of processor time: operations of `Straight.flops` (an exp counts as its
series' 23) over those of a matrix product in the same minute. Another compiled engine, JAX, is given the very same
straight line where it is installed (not a requirement of this package).
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import proofpatch as pp  # isort: skip  # first, as in the program itself: it says how many threads NumPy takes

import numpy as np
from timing import warm

from proofpatch.learn import kernels
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.forecast import FORECAST_DRAWS, envelope, setting_rows_cached, thinned
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.rows import hand_row
from proofpatch.learn.update import patch_arguments
from proofpatch.physics.straight import OF_DRAW, OF_SETTING

OPTIONS = "forecast --coating varnish --substrate oak --json"
COMMAND = [str(Path(sys.executable).with_name("proofpatch")), *OPTIONS.split()]


def median(call: Callable[[], object], times: int = 5) -> float:
    """Median seconds of a warm call."""
    return float(np.median(warm(call, times)))


def row(words: str, ours: float, peer: float, peer_words: str) -> None:
    print(f"{words:44s} {ours * 1e3:8.0f} ms   {ours / peer:6.2f} × {peer_words} ({peer * 1e3:.0f} ms)")


def processor(call: Callable[[], object], times: int = 7) -> float:
    """Least processor seconds, of all threads, of a warm call."""
    return min(warm(call, times, time.process_time))


def limit() -> float:
    """Operations in a second of one core in a matrix product of doubles, by processor time."""
    square = np.random.default_rng(1).random((1200, 1200))
    return float(2.0 * 1200**3 / processor(lambda: square @ square))


def in_jax(arguments: tuple[Any, ...]) -> Callable[[], Any] | None:
    """P(clean) and P(harm) of the same straight line in JAX, doubles, jit, settings by vmapped chunks; or None."""
    try:
        import jax
    except ImportError:
        print("JAX is not installed here: no ratio to another compiled engine.")
        return None
    jax.config.update("jax_enable_x64", True)
    import jax.numpy as jnp
    from jax.scipy.special import erfc

    layer, sub, weight, settings, hand, noise = arguments
    line = kernels.straight(layer.shape[1])
    lines, found = line.text("s[{}]", "d[{}]")
    body = "\n    ".join([*lines, f"return ({', '.join(found)})"])
    scope: dict[str, Any] = {name: getattr(jnp, name) for name in ("sqrt", "exp", "log", "expm1", "log1p", "tanh")}
    scope |= {
        "absolute": jnp.abs,
        "select": jnp.where,
        "larger": jnp.maximum,
        "smaller": jnp.minimum,
        "erfc": erfc,
        "inf": np.inf,
    }
    exec(f"def pair(d, s):\n    {body}\n", scope)

    def one(columns: Any, row: Any) -> Any:
        need, spread, margin, *_ = scope["pair"](columns, row)
        clean = 0.5 * erfc(-(CLEAN_EDGE * spread - need) / noise / np.sqrt(2.0))
        return weight @ clean, weight @ (0.5 * erfc(margin / noise / np.sqrt(2.0)))

    many = jax.jit(lambda columns, rows: jax.lax.map(lambda row: one(columns, row), rows, batch_size=16))
    inputs = np.concatenate([layer.reshape(len(layer), -1), sub], axis=1)
    rows = np.concatenate([settings, np.broadcast_to([*hand, layer.shape[1] - 1], (len(settings), 5))], axis=1)
    d, s = jnp.asarray(line.table(OF_DRAW, inputs)), jnp.asarray(line.table(OF_SETTING, rows).T)
    return lambda: jax.block_until_ready(many(d, s))


def big_window(arguments: tuple[Any, ...], count: int = 100_000) -> None:
    """Time and memory of a window of so many settings."""
    layer, sub, weight, rows, hand, noise = arguments
    many = np.resize(rows, (count, rows.shape[1]))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    started = time.perf_counter()
    kernels.window(layer, sub, weight, many, hand, noise)
    took = time.perf_counter() - started
    more = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024.0
    print(f"{f'window of {count} settings':44s} {took:8.2f} s    {more:.0f} MB more at the highest")


def main() -> None:
    surface = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged")
    belief = pp.prior(surface, "pulsed-500")
    few, noise = thinned(belief, FORECAST_DRAWS), assumption("setting_noise").value
    rows, hand = setting_rows_cached(belief.laser), hand_row(belief.hand)
    arguments = (few.layer, few.substrate, few.weight, rows, hand, noise)
    plain = median(lambda: kernels.plain_window(*arguments), 3)
    print(f"{len(envelope(belief.laser))} settings × {FORECAST_DRAWS} draws, {os.cpu_count()} cores")
    row("window, compiled", median(lambda: kernels.window(*arguments)), plain, "plain NumPy, same work")
    line = kernels.straight(few.layer.shape[1])
    spent = processor(lambda: kernels.window(*arguments))
    most, pairs = limit(), len(rows) * FORECAST_DRAWS
    print(
        f"  {line.flops()} operations a pair ({len(line.pair)} steps; {len(line.settings)} of the setting and "
        f"{len(line.draws)} of the draw beforehand): {line.flops() * pairs / spent / 1e9:.1f} of {most / 1e9:.0f} "
        f"Gflop/s and core, {line.flops() * pairs / spent / most:.0%}"
    )
    other = in_jax(arguments)
    if other is not None:
        ours, theirs = kernels.window(*arguments), other()
        off = max(float(np.abs(a - np.asarray(b)).max()) for a, b in zip(ours[:2], theirs, strict=True))
        row(
            f"window, compiled (JAX agrees to {off:.0e})",
            median(lambda: kernels.window(*arguments)),
            median(other),
            "JAX",
        )
    big_window(arguments)
    row("interactive forecast, warm", median(lambda: pp.forecast(replace(belief))), 0.3, "of the 300 ms aimed at")
    base = envelope(belief.laser)[len(envelope(belief.laser)) // 2]
    evidence = [pp.Graded(base.with_(passes=n), "partial", "none") for n in range(1, 13)]
    patches = (belief.layer, belief.substrate, *patch_arguments(belief, evidence))
    once = median(lambda: kernels.plain_patch_logs(*patches), 3)
    forty = [pp.Graded(base.with_(passes=n), "partial", "none") for n in range(1, 41)]
    long = (belief.layer, belief.substrate, *patch_arguments(belief, forty))
    slow = median(lambda: kernels.plain_patch_logs(*long), 3)
    row("likelihood of 40 grades, compiled", median(lambda: kernels.patch_logs(*long)), slow, "plain NumPy, same work")
    row("update with 40 grades", median(lambda: pp.update(belief, forty), 3), slow, "one NumPy likelihood")
    row("update with 12 grades", median(lambda: pp.update(belief, evidence)), once, "one NumPy likelihood")
    row(
        "likelihood of 12 grades, compiled",
        median(lambda: kernels.patch_logs(*patches)),
        once,
        "plain NumPy, same work",
    )
    # A copy has not been asked yet; the belief itself holds its window, as it does once its forecast was shown.
    row(
        "next patch, forecast included",
        median(lambda: pp.next_patch(replace(belief)), 3),
        0.05,
        "of the 50 ms aimed at",
    )
    pp.forecast(belief)
    row("next patch, forecast shown before", median(lambda: pp.next_patch(belief)), 0.05, "of the 50 ms aimed at")
    row(
        "next strip of 3, forecast included",
        median(lambda: pp.next_patch(replace(belief), count=3), 3),
        plain,
        "one plain NumPy window",
    )
    row("recipe with margins", median(lambda: pp.recipe(replace(belief)), 3), plain, "one plain NumPy window")
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
