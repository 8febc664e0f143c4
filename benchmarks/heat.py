"""The layered solvers against a general-purpose finite-element library at equal error, and how they grow.

Run: python benchmarks/heat.py      (a quiet machine; the host is shared, so ratios under 2 mean little)

The problem has an exact answer: light taken along a depth in one thick solid under one pulse, the face just at its end
(thermal-optical.md 4.2). Each solver is refined until its error there is below ERROR, and only then timed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import skfem
from scipy.sparse.linalg import splu
from skfem.helpers import dot, grad
from timing import warm

from proofpatch.physics.clocks import ROOM
from proofpatch.physics.heat import volume_heated_face_rise
from proofpatch.physics.heat_stack import HeatLayer
from proofpatch.physics.layered_batch import HeatCase, layered_histories
from proofpatch.physics.reacting import Curve, Slab, heat_course

K, RHO_C, ALPHA, FLUX, WIDTH = 0.25, 1400 * 1400.0, 1e5, 1e11, 1e-6
ERROR = 2e-3
EXACT = float(volume_heated_face_rise(WIDTH, FLUX, K, K / RHO_C, ALPHA))
REFINEMENTS = (0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0)


def case() -> HeatCase:
    return HeatCase([HeatLayer(None, K, 1.0, RHO_C, ALPHA)], [0.0], WIDTH, FLUX, WIDTH)


def linear(resolution: float, count: int = 1) -> float:
    """Error of the batched linear solver."""
    return abs(float(layered_histories([case()] * count, resolution=resolution).front[0, -1, 0]) / EXACT - 1)


def changing(resolution: float) -> float:
    """Error of the solver for layers that change."""
    course = heat_course([Slab(None, Curve.steady(K, RHO_C), ALPHA)], [0.0], WIDTH, FLUX, WIDTH, resolution=resolution)
    return abs(float(course.front[-1, 0] - ROOM) / EXACT - 1)


def elements(refinement: float) -> float:
    """Error of the library: quadratic elements graded downward, Crank–Nicolson after four backward-Euler steps."""
    nodes = np.concatenate([[0.0], np.geomspace(2e-7 / refinement, 12 / ALPHA, round(24 * refinement))])
    basis = skfem.Basis(skfem.MeshLine(nodes), skfem.ElementLineP2(), intorder=6)
    stiff = skfem.BilinearForm(lambda u, v, w: K * dot(grad(u), grad(v))).assemble(basis)
    mass = skfem.BilinearForm(lambda u, v, w: RHO_C * u * v).assemble(basis)
    load = skfem.LinearForm(lambda v, w: FLUX * ALPHA * np.exp(-ALPHA * w.x[0]) * v).assemble(basis)
    state = np.zeros(basis.N)
    steps = np.diff(np.concatenate([[0.0], np.geomspace(WIDTH / 500, WIDTH, round(24 * refinement))]))
    for n, dt in enumerate(steps):
        theta = 1.0 if n < 4 else 0.5
        state = splu((mass + theta * dt * stiff).tocsc()).solve((mass - (1 - theta) * dt * stiff) @ state + dt * load)
    return abs(float(state[int(np.argmin(basis.doflocs[0]))]) / EXACT - 1)


def coarsest(solve: Callable[[float], float]) -> tuple[float, float]:
    """(refinement, error) of the coarsest run within ERROR."""
    for refinement in REFINEMENTS:
        error = solve(refinement)
        if error <= ERROR:
            return refinement, error
    raise AssertionError("none is fine enough")


def best(call: Callable[[], object], times: int = 5) -> float:
    """Least seconds of a warm call."""
    return min(warm(call, times))


def main() -> None:
    at = {name: coarsest(solve) for name, solve in (("linear", linear), ("changing", changing), ("elements", elements))}
    peer = best(lambda: elements(at["elements"][0]))
    print(f"one case within {ERROR:.1%}: finite-element library {peer * 1e3:.1f} ms (error {at['elements'][1]:.1e})")
    one = best(lambda: changing(at["changing"][0]))
    print(
        f"  layers that change, one case    {one * 1e3:7.1f} ms  {peer / one:7.2f} × as fast "
        f"(error {at['changing'][1]:.1e})"
    )
    fine = at["linear"][0]
    for count in (1, 32, 256, 1024, 4096):
        cases = [case() for _ in range(count)]
        seconds = best(lambda cases=cases: layered_histories(cases, resolution=fine), 3)
        work = layered_histories(cases, resolution=fine).node_steps
        print(
            f"  linear, {count:5d} cases at once     {seconds * 1e3:7.1f} ms  {peer * count / seconds:7.1f} × as fast "
            f"a case, {work / seconds / 1e6:6.0f} M node-steps/s (error {at['linear'][1]:.1e})"
        )
    rng = np.random.default_rng(0)
    from proofpatch.physics import layered_batch

    nodes, steps, size = 160, 600, 4096
    arrays = (
        rng.uniform(1, 2, (nodes, size)), rng.uniform(1, 2, (nodes, size)), rng.uniform(0, 1, (nodes, size)),
        rng.uniform(0, 1, (steps, size)), np.full(steps, 0.5), rng.uniform(0, 1, (steps, size)),
        np.zeros((1, size), dtype=np.int64),
    )  # fmt: skip
    kernel = layered_batch._lanes()
    seconds = best(lambda: kernel(*arrays), 3)
    small = tuple(a[..., :256] if a.ndim == 2 else a for a in arrays)
    plain = best(lambda: layered_batch.march_plain(*small), 1) * size / 256
    print(
        f"the loop alone, {nodes} cells, {steps} steps, {size} cases: {nodes * steps * size / seconds / 1e6:.0f} M "
        f"node-steps/s, {plain / seconds:.1f} × plain NumPy on the same work"
    )


if __name__ == "__main__":
    main()
