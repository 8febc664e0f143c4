"""Would the tests see it? One small slip at a time is put into a room of the core, and its tests have to fail.

Run: python benchmarks/mutants.py hazards 100     prints; a room and how many slips
     python benchmarks/mutants.py --write         all four rooms: docs/mutants.md

The slips are those of cosmic-ray, a general tool (`pip install cosmic-ray`, or COSMIC_RAY=path of its program). Places
are drawn by a seeded generator, each place as likely as any other, and one slip at each; annotations are left out, as
nothing runs them. It works in a copy of the committed tree. A slip is seen when a test of its own room fails or hangs;
what tests of other rooms would see is not counted.
"""

from __future__ import annotations

import argparse
import ast
import collections
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy import stats
from stamp import DOCS, keep, stamp

SEED = 13
ROOMS = {"hazards": 100, "survey": 60, "learn": 24, "physics": 12}  # slips of each; the last two compile kernels anew
PATIENCE = 1800.0  # s until a run of the tests counts as hanging
TOOL = os.environ.get("COSMIC_RAY", "cosmic-ray")
SETTINGS = """[cosmic-ray]
module-path = "src/proofpatch/{room}"
timeout = {patience}
excluded-modules = []
test-command = "{python} -m pytest -q -x -p no:cacheprovider tests/{room}"
[cosmic-ray.distributor]
name = "local"
"""


def annotated(path: Path) -> list[tuple[int, int, int, int]]:
    """(first row, column, last row, column) of every annotation in a file."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        for name in ("annotation", "returns"):
            part = getattr(node, name, None)
            if part is not None:
                found.append((part.lineno, part.col_offset, part.end_lineno, part.end_col_offset))
    return found


def drawn(session: Path, tree: Path, count: int, seed: int) -> None:
    """Leaves so many slips in a session, one at a place, no place likelier than another."""
    base = sqlite3.connect(session)
    places: dict[tuple[str, int, int], list[str]] = collections.defaultdict(list)
    idle: dict[str, list[tuple[int, int, int, int]]] = {}
    rows = base.execute("select module_path, start_pos_row, start_pos_col, job_id from mutation_specs "
                        "order by 1, 2, 3, operator_name, occurrence")  # fmt: skip
    for module, row, column, job in rows:
        spans = idle.setdefault(module, annotated(tree / module))
        if not any(first <= (row, column) < last for first, last in (((a, b), (c, d)) for a, b, c, d in spans)):
            places[module, row, column].append(job)
    rng = np.random.default_rng(seed)
    chosen = rng.choice(len(places), min(count, len(places)), replace=False)
    every = list(places.values())
    jobs = {str(rng.choice(every[at])) for at in sorted(chosen)}
    for table in ("mutation_specs", "work_items"):
        kept = ", ".join("?" * len(jobs))
        base.execute(f"delete from {table} where job_id not in ({kept})", tuple(jobs))
    base.commit()
    base.close()


def tried(room: str, count: int, seed: int = SEED) -> tuple[int, list[str], int]:
    """(seen, what was not seen, slips) of a room."""
    with tempfile.TemporaryDirectory() as place:
        tree = Path(place) / "tree"
        subprocess.run(["git", "clone", "-q", DOCS.parent, tree], check=True)
        session, settings = Path(place) / "slips.sqlite", Path(place) / "slips.toml"
        settings.write_text(SETTINGS.format(room=room, patience=PATIENCE, python=sys.executable), encoding="utf-8")
        # Python's own cache of bytecode is keyed by the second; a slip put in and out within one would not be noticed.
        env = os.environ | {"PYTHONPATH": str(tree / "src"), "PYTHONDONTWRITEBYTECODE": "1"}
        subprocess.run([TOOL, "init", settings, session], check=True, cwd=tree, env=env)
        drawn(session, tree, count, seed)
        whole = subprocess.run([sys.executable, "-m", "pytest", "-q", "-x", f"tests/{room}"], cwd=tree, env=env)
        if whole.returncode:
            raise SystemExit(f"The tests of {room} fail without any slip.")
        subprocess.run([TOOL, "exec", settings, session], check=True, cwd=tree, env=env)
        base = sqlite3.connect(session)
        rows = base.execute("select test_outcome, module_path, start_pos_row, operator_name, definition_name from "
                            "work_results join mutation_specs using (job_id) order by 2, 3").fetchall()  # fmt: skip
        base.close()
    unseen = [f"{Path(module).name}:{row} in {name or 'the module'}: {slip.removeprefix('core/')}"
              for outcome, module, row, slip, name in rows if outcome == "SURVIVED"]  # fmt: skip
    return len(rows) - len(unseen), unseen, len(rows)


def said(room: str, seen: int, unseen: list[str], count: int) -> list[str]:
    """The lines of a room."""
    low, high = stats.binomtest(seen, count).proportion_ci(method="exact")
    return [f"**{room}**: {seen} of {count} slips seen, {seen / count:.0%} ({low:.0%} to {high:.0%}).",
            *(f"not seen: `{one}`" for one in unseen)]  # fmt: skip


def main() -> None:
    """Runs and says; --write keeps it in docs/mutants.md."""
    reader = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    reader.add_argument("room", nargs="?", choices=ROOMS)
    reader.add_argument("count", nargs="?", type=int)
    reader.add_argument("--write", action="store_true")
    given = reader.parse_args()
    if shutil.which(TOOL) is None:
        raise SystemExit("There is no cosmic-ray here. Install it into an environment of its own, and name its program "
                         "by COSMIC_RAY.")  # fmt: skip
    for room in [given.room] if given.room else ROOMS:
        lines = said(room, *tried(room, given.count or ROOMS[room]))
        print("\n".join(lines), flush=True)
        if given.write:
            keep("mutants.md", room, lines, stamp(f"seed {SEED}"))


if __name__ == "__main__":
    main()
