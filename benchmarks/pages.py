"""Time of the pages with 2 000 jobs in the shop, server side: python benchmarks/pages.py

The first look at each step after a change, when the page may say that it is at work: its longest answer, and how long
the answer took. Then each page three times after a warm call, the middle one. Beside each the time of a page that
reads nothing, in the same run. Asked: 200 ms for every page.
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
        road = f"/jobs/{job.id}"
        with TestClient(create(store), base_url="http://127.0.0.1") as client:
            client.get("/new")
            client.get(f"/api{road}/forecast")  # kernels are loaded, as `proofpatch serve` does before it opens
            steps = [f"{road}/{step}" for step in ("survey", "forecast", "patches", "recipe", "hazards")]
            nothing = middle(client, "/new")
            for path in steps:
                change = store.get("job", job.id)
                store.change("job", job.id, change.version, {**change.data, "job": {**DATA["job"], "title": path}})
                first, whole = looks(client, path)
                print(f"{path.replace(job.id, '…'):20} {first * 1e3:6.0f} ms at first, answered after {whole:.2f} s, "
                      f"{first / nothing:5.1f} times /new")  # fmt: skip
            for path in ("/new", "/", "/?q=1999", *steps):
                seconds = middle(client, path)
                print(f"{path.replace(job.id, '…'):20} {seconds * 1e3:6.0f} ms, {seconds / nothing:5.1f} times /new")
        store.close()


def looks(client: TestClient, path: str) -> tuple[float, float]:
    """(seconds of the longest page, seconds until the answer is there) of looking again and again."""
    began, longest = time.perf_counter(), 0.0
    while True:
        before = time.perf_counter()
        page = client.get(path)
        longest = max(longest, time.perf_counter() - before)
        if "refresh" not in page.headers:
            return longest, time.perf_counter() - began


def middle(client: TestClient, path: str) -> float:
    """Seconds of a page whose answer is there, the middle of three."""
    looks(client, path)
    found = []
    for _ in range(3):
        before = time.perf_counter()
        assert client.get(path).status_code == 200
        found.append(time.perf_counter() - before)
    return statistics.median(found)


if __name__ == "__main__":
    main()
