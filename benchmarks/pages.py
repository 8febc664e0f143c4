"""Time of the pages with 2 000 jobs in the shop, server side: python benchmarks/pages.py

Each page three times after one warm call, the middle one; beside it the time of a page that only reads one row, in the
same run. Asked: 200 ms.
"""

from __future__ import annotations

import json
import statistics
import tempfile
import time

from fastapi.testclient import TestClient

from proofpatch.shop.store import Store
from proofpatch.web.app import create

JOBS = 2000
DATA = {
    "job": {"title": "", "laser": "pulsed-500"}, "limits": {"preset": "ordinary"},
    "evidence": {"substrate": "mahogany", "kind": "clear film", "year": "1905"},
}  # fmt: skip
NOTE = {"version": 1, "next": "Try: cracks in the film", "states": ["begun", "done", "to do", "to do", "to do"],
        "found": "shellac or spirit varnish, 47 in 100"}  # fmt: skip


def main() -> None:
    """Prints one line a page."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(folder)
        for number in range(JOBS):
            title = f"Piece {number}, mahogany"
            job = store.add("job", {**DATA, "job": {**DATA["job"], "title": title}}, title=title)
            store.add("survey", {"record": None, "job_version": 1}, job.id, json.dumps(NOTE))
        with TestClient(create(store, patience=None), base_url="http://127.0.0.1") as client:
            road = f"/jobs/{job.id}"
            steps = [f"{road}/{step}" for step in ("survey", "forecast", "patches", "recipe", "hazards")]
            times = {path: middle(client, path) for path in ("/new", "/", "/?q=1999", *steps)}
            for path, seconds in times.items():
                print(
                    f"{path.replace(job.id, '…'):20} {seconds * 1e3:6.0f} ms, {seconds / times['/new']:5.1f} times /new"
                )
        store.close()


def middle(client: TestClient, path: str) -> float:
    """Seconds of a page, the middle of three."""
    found = []
    for turn in range(4):
        before = time.perf_counter()
        assert client.get(path).status_code == 200
        if turn:
            found.append(time.perf_counter() - before)
    return statistics.median(found)


if __name__ == "__main__":
    main()
