"""Time of the bench's page when a knob of B moves, server side: python benchmarks/bench_page.py

Every change is one that was not asked before, so that B is computed anew; the middle and the slowest of them, with the
page of a new job in between, in the same run. Asked: 150 ms.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Iterator
from urllib.parse import urlencode

from fastapi.testclient import TestClient

from proofpatch.lasers import laser, laser_ids
from proofpatch.shop.store import Store
from proofpatch.web.app import create

CHANGES = 9
VARNISH = {"coating": "oil-varnish", "coating_condition": "aged", "substrate": "oak", "substrate_condition": "aged"}
JOB = {
    "job": {"title": "Side table", "laser": "pulsed-300"}, "limits": {"preset": "ordinary"},
    "evidence": {"substrate": "mahogany", "kind": "clear film", "year": "1905"},
}  # fmt: skip
DEEP = {
    "job": {"title": "Door", "laser": "pulsed-500", "year": 1990}, "surface": {"substrate": "oak"},
    "layers": [{"coating": "latex-paint"}, {"coating": "alkyd-paint"}, {"coating": "oil-varnish"}],
}  # fmt: skip
# As many pulses as the drawing takes: the slowest it gets.
CROWDED = {"a-rate": "200 kHz", "b-rate": "200 kHz", "a-travel_speed": "5 mm/s", "b-travel_speed": "5 mm/s"}


def cases(store: Store) -> Iterator[tuple[str, dict[str, str]]]:
    """(words, what is on the bench)."""
    for key in laser_ids():
        yield f"{key}, no surface", {"laser": key}
        yield f"{key}, varnish", {"laser": key, **VARNISH}
        yield f"{key}, varnish, crowded", {"laser": key, **VARNISH, **CROWDED}
    for words, data in (("a job, surveyed", JOB), ("a job, three layers", DEEP)):
        yield words, {"job": store.add("job", data, title=data["job"]["title"]).id}


def main() -> None:
    """Prints one line a case."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(folder)
        with TestClient(create(store, patience=None), base_url="http://127.0.0.1") as client:
            for words, stands in cases(store):
                most = laser(stands.get("laser", "pulsed-300")).max_power
                seconds(client, f"/bench?{urlencode(stands)}")
                moved, beside = [], []
                for change in range(CHANGES):
                    knobs = {"b-power": f"{0.5 * most + change:g} W"}
                    moved.append(seconds(client, f"/bench?{urlencode({**stands, **knobs})}"))
                    beside.append(seconds(client, "/new"))
                middle, peer = statistics.median(moved), statistics.median(beside)
                print(
                    f"{words:28} {middle * 1e3:5.0f} ms, slowest {max(moved) * 1e3:5.0f} ms; "
                    f"/new {peer * 1e3:4.1f} ms"
                )  # fmt: skip
        store.close()


def seconds(client: TestClient, path: str) -> float:
    """Of one page."""
    before = time.perf_counter()
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return time.perf_counter() - before


if __name__ == "__main__":
    main()
