"""What a job starts from, kept with it from the first thing done on it: a job graded later never moves it.

With memory off no forecast rests on other jobs, whatever is kept here. With memory on

- a job on which nothing was done yet starts from what the shop's other jobs teach now;
- one that has a strip, a grade, a decided recipe, a quote or a run keeps the start it had then; if that was published
  data alone, it stays so;
- a job that is described anew, or gets another laser, is another piece: its start is taken anew;
- its owner may start it anew from what is known now, and take that back.
"""

from __future__ import annotations

import base64
import hashlib
import lzma
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief, Recalled
from proofpatch.learn.unknowns import latents
from proofpatch.shop.job import Job
from proofpatch.shop.memory import recalled_of
from proofpatch.shop.settings import keep_settings, settings_of
from proofpatch.shop.sites import work_of
from proofpatch.shop.store import LARGEST, Entry, Overtaken, Store

KIND = "start"
MOST_BYTES = 64_000_000  # of the numbers of a start that is read; far more than any surface has
ACTS = ("strip", "patch", "recipe", "quote", "run")  # after the first of these a job keeps its start
OTHERS = ("job", "patch", "run", "site", "lot", "lent", "laser", "shop")  # what a start that moves follows from
PUBLISHED = "published data alone"
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Start:
    """What a job starts from. recalled: None: published data alone. entry: where it is kept; None: it is not kept yet,
    and moves with what is learned. used: whether memory is on. stale: kept, but of another description of the piece."""

    recalled: Recalled | None
    entry: Entry | None
    used: bool
    stale: bool = False

    @property
    def moves(self) -> bool:
        """Whether it still follows what other jobs teach."""
        return self.used and self.entry is None

    @property
    def because(self) -> str:
        """In words."""
        if not self.used:
            return "Memory is off: this job starts from published data alone."
        if self.entry is None:
            return (
                f"Nothing was laid yet: it starts from {self._from}, and moves with what other jobs teach until then."
            )
        day = self.entry.changed.date().isoformat()
        return f"It starts from {self._from}, as known on {day}. Jobs graded since do not move it."

    @property
    def _from(self) -> str:
        if self.recalled is None:
            return PUBLISHED
        return f"published data and what {jobs_in(self.recalled.name)} taught"


def jobs_in(name: str) -> str:
    """The jobs that the name of a start tells of: "1 job"."""
    said = name.partition(",")[0]
    return said if not said.startswith("1 ") else "1 job"


def start_of(store: Store, entry: Entry, asks: bool = True) -> Start:
    """What a job starts from as things stand.

    Args:
        asks: the other jobs, of a start that moves; that may call the kernels. False: its `recalled` is None then.
    """
    kept = next(iter(store.all(KIND, entry.id, most=1)), None)
    if not settings_of(store)[0].memory:
        return Start(None, kept, False)
    work = work_of(store, entry) if kept is not None else None
    if kept is None or work is None:
        return Start(recalled_of(store, entry) if asks else None, None, True)
    if kept.data["of"] != _of(work):
        return Start(recalled_of(store, entry) if asks else None, None, True, stale=True)
    return Start(recalled_from(kept.data), kept, True)


def start_as(store: Store, entry: Entry, belief: Belief) -> Start:
    """What this belief of the job started from, without asking the other jobs anew."""
    kept, on = next(iter(store.all(KIND, entry.id, most=1)), None), settings_of(store)[0].memory
    if not on:
        return Start(None, kept, False)
    stale = kept is not None and kept.data["of"] != _of(belief)
    return Start(belief.recalled, None if stale else kept, True, stale)


def keep_start(store: Store, entry: Entry, belief: Belief) -> None:
    """Keeps what this belief started from, where something was done on the job and nothing that fits is kept."""
    kept = next(iter(store.all(KIND, entry.id, most=1)), None)
    if kept is not None and (kept.data["of"] == _of(belief) or not settings_of(store)[0].memory):
        return
    if kept is None and not acted(store, entry.id):
        return
    data = _data(_of(belief), belief.recalled)
    if len(str(data["value"])) > LARGEST // 2:
        return  # thousands of mixtures; it goes on moving, and says so
    if kept is None:
        store.add(KIND, data, entry.id, _title(belief.recalled))
        return
    with suppress(Overtaken):  # whoever writes last or first, the next look writes it anew
        store.change(KIND, kept.id, kept.version, data, _title(belief.recalled))


def start_anew(store: Store, entry: Entry, version: int) -> Entry:
    """The job from what is known now.

    Args:
        version: of the start as it was looked at.

    Raises:
        InputError: memory is off, or the job has no start that is kept.
        Overtaken: it was started anew meanwhile.
    """
    if not settings_of(store)[0].memory:
        raise InputError("memory", "Memory is off, so there is nothing to start from.", "Switch it on first.")
    kept, work = next(iter(store.all(KIND, entry.id, most=1)), None), work_of(store, entry)
    if kept is None or work is None:
        raise InputError("start", "This job keeps no start yet: it follows what is known.", "Lay a patch first.")
    found = recalled_of(store, entry)
    return store.change(KIND, kept.id, version, _data(_of(work), found), _title(found))


def switch(store: Store, on: bool, version: int) -> None:
    """Memory on or off. Jobs that were begun without it keep starting from published data.

    Args:
        version: of the shop's settings.

    Raises:
        Overtaken: somebody changed them meanwhile.
    """
    with store.together():
        before = settings_of(store)[0].memory
        keep_settings(store, {"memory": on}, version)
        if on and not before:
            begun = {job for kind in ACTS for _, job, _ in store.names(kind)}
            begun -= {job for _, job, _ in store.names(KIND)}
            for entry in store.in_order("job"):
                work = work_of(store, entry) if entry.id in begun else None
                if work is not None:
                    store.add(KIND, _data(_of(work), None), entry.id, _title(None))


def acted(store: Store, key: str) -> bool:
    """Whether something was done on a job."""
    return any(store.all(kind, key, most=1) for kind in ACTS)


def _of(given: Job | Belief) -> str:
    """What a start is of: the surface and what is open of it, and the laser by name."""
    said = repr((given.surface, latents(given.surface).names, given.laser.id))
    return hashlib.sha256(said.encode()).hexdigest()[:24]


def _title(recalled: Recalled | None) -> str:
    return PUBLISHED if recalled is None else recalled.name


def _data(of: str, recalled: Recalled | None) -> dict[str, Any]:
    """A start as JSON has it: every number to its last digit, so that keeping it moves nothing."""
    data: dict[str, Any] = {"of": of, "name": None, "value": "", "shape": []}
    if recalled is not None:
        raw = recalled.mean.astype("<f8").tobytes() + recalled.root.astype("<f8").tobytes()
        packed = base64.b85encode(lzma.compress(raw)).decode()
        data |= {"name": recalled.name, "value": packed, "shape": list(recalled.mean.shape)}
    return data


def recalled_from(data: Mapping[str, Any]) -> Recalled | None:
    """What a kept start holds; None: published data alone. It may have come in a file: no more is unpacked than fits.

    Raises:
        ValueError, KeyError, TypeError: it is none.
    """
    if data["name"] is None:
        return None
    components, unknowns = data["shape"]
    size = 8 * components * unknowns * (1 + unknowns)
    if components < 1 or unknowns < 1 or size > MOST_BYTES:
        raise ValueError("no belief is of this shape")
    try:
        raw = lzma.LZMADecompressor().decompress(base64.b85decode(data["value"]), size + 1)
    except lzma.LZMAError as trouble:
        raise ValueError("it cannot be unpacked") from trouble
    values: Floats = np.frombuffer(raw, dtype="<f8").astype(np.float64)
    if len(raw) != size or not np.isfinite(values).all():
        raise ValueError("its numbers are not those of its shape")
    mean, root = np.split(values, [components * unknowns])
    return Recalled(mean.reshape(components, unknowns), root.reshape(components, unknowns, unknowns), data["name"])
