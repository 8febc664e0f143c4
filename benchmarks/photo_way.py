"""How long it takes from a phone's photo of a strip to the new forecast, at 12 MP: python benchmarks/photo_way.py

Through the pages, as a phone goes: the photo is sent, what it shows is looked at, the grades are kept, the forecast is
looked at until it is there. Wall-clock seconds on this machine, other work on it included. Asked: 5 s on two cores. The
first way, which loads libraries, is not counted. --write puts the line into docs/strip-photo.md.
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from fastapi.testclient import TestClient
from pages import looks

sys.path.append(str(Path(__file__).parents[1] / "tests" / "made"))

from made_camera import BIG
from made_laid import photo_of
from made_pages import LEAD, PAN, laid, send

from proofpatch.shop.store import Store
from proofpatch.web.app import create

PAGE = Path(__file__).resolve().parents[1] / "docs" / "strip-photo.md"
WAYS = 2
LEFT = {"1": 0.6, "2": 0.2, "3": 0.0}
GRADES = {"A1": "partial", "A2": "partial", "A3": "clean"}
PARTS = ("the photo sent", "what it shows", "grades kept", "new forecast")


def way(client: TestClient, base: str, job: str, photo: bytes) -> tuple[float, ...]:
    """Seconds of each of PARTS, and last those of the processor for all of them."""
    form = {f"residue-{name}": grade for name, grade in GRADES.items()} | {f"harm-{name}": "none" for name in GRADES}
    steps: tuple[Callable[[], object], ...] = (
        lambda: answered(client.post(f"{base}/photo", files={"photo": ("a.jpg", photo, "image/jpeg")}), 303),
        lambda: answered(client.get(f"{base}/seen"), 200),
        lambda: answered(client.post(f"{base}/grades", data=form), 303),
        lambda: looks(client, f"{job}/forecast"),
    )
    found, began = [], time.process_time()
    for step in steps:
        before = time.perf_counter()
        step()
        found.append(time.perf_counter() - before)
    return (*found, time.process_time() - began)


def answered(answer: object, status: int) -> None:
    """Fails where a page did not do what was asked."""
    assert getattr(answer, "status_code", None) == status, getattr(answer, "text", "")[:300]


def ways(many: int, size: tuple[int, int]) -> list[tuple[float, ...]]:
    """As `way`, so many times, each on a job of its own with a photo of its own."""
    found = []
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(Path(folder) / "shop")
        with TestClient(create(store), base_url="http://127.0.0.1", follow_redirects=False) as client:
            photo = b""
            for number in range(many + 1):
                job = client.post("/new", data=PAN).headers["location"].removesuffix("/survey")
                send(client, store, job, "settle", **LEAD)
                looks(client, f"{job}/patches")
                laid(client, job)
                (strip,) = store.all("strip", job.rsplit("/", 1)[1])
                base = f"{job}/strips/{strip.id}"
                if not photo:
                    sheet = Path(folder) / "sheet.pdf"
                    sheet.write_bytes(client.get(f"{base}/sheet.pdf").content)
                    photo, _ = photo_of(sheet, LEFT, np.random.default_rng(5), size=size)
                found.append(way(client, base, job, photo + bytes(number)))  # another file each time
        store.close()
    return found[1:]


def line(found: list[tuple[float, ...]], size: tuple[int, int]) -> str:
    """The figures in a sentence."""
    whole, worked = [sum(one[:-1]) for one in found], statistics.median(one[-1] for one in found)
    parts = ", ".join(f"{name} {statistics.median(one[n] for one in found):.1f} s" for n, name in enumerate(PARTS))
    return (
        f"From the photo to the new forecast, {size[0] * size[1] / 1e6:.0f} MP, {len(LEFT)} steps: the median of "
        f"{len(found)} is {statistics.median(whole):.1f} s, the longest {max(whole):.1f} s ({parts}), of which "
        f"{worked:.1f} s of one processor's time. {os.cpu_count()} cores, load {os.getloadavg()[0]:.0f}."
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    said = line(ways(WAYS, BIG), BIG)
    print(said)
    if given.write:
        text = PAGE.read_text("utf-8")
        PAGE.write_text(re.sub(r"(?<=<!-- way -->\n).*(?=<!-- end of way -->)", f"{said}\n", text, flags=re.S), "utf-8")


if __name__ == "__main__":
    main()
